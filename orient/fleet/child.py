"""The process that evaluates: a request a line comes in, an answer a line goes out.

It is kept by `orient.fleet.limited`, which ends it where it takes too long or too much. It ends by itself as
soon as the pipe that it is asked through closes, even amid an evaluation: its keeper is gone then.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from contextlib import suppress
from queue import SimpleQueue
from typing import TextIO

# How a process ends that found no memory: no code that Python or a shell uses for anything else.
OUT_OF_MEMORY = 77
READY = "ready"


def main() -> None:
    """Answer until no one asks any more."""
    # What libraries print must not stand among the answers.
    answers = os.fdopen(os.dup(1), "w", encoding="ascii")
    os.dup2(2, 1)
    with suppress(OSError), open("/proc/self/oom_score_adj", "w") as file:
        # Where the machine runs out of memory, this process is to go, not who keeps it (proc(5), Linux).
        file.write("1000")
    requests: SimpleQueue[str] = SimpleQueue()
    threading.Thread(target=_listen, args=(requests,), daemon=True).start()
    try:
        _serve(requests, answers)
    except MemoryError:
        os._exit(OUT_OF_MEMORY)


def _listen(requests: SimpleQueue[str]) -> None:
    for line in sys.stdin:
        requests.put(line)
    os._exit(0)


def _serve(requests: SimpleQueue[str], answers: TextIO) -> None:
    from orient.fleet.rows import Request, rows_of

    warm()
    print(json.dumps(READY), file=answers, flush=True)
    while True:
        asked = Request(**json.loads(requests.get()))
        print(json.dumps(rows_of(asked)), file=answers, flush=True)


def warm() -> None:
    """Load, or on a first run compile, every loop, so that the first part is not charged for it."""
    import numpy as np

    from orient.brief import Brief
    from orient.evaluation import evaluate
    from orient.part.mesh import part_from_arrays

    corners = np.array([[x, y, z] for x in (0, 20.0) for y in (0, 30.0) for z in (0, 10.0)])
    sides = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = np.array([half for a, b, c, d in sides for half in ((a, b, c), (a, c, d))])
    evaluate(part_from_arrays(corners, faces), Brief(), directions=20, features=True, threads=1)


if __name__ == "__main__":
    main()

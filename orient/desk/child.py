"""The child process: does what it is asked, keeps what it read, ends with the desk.

It is a process, not a thread, because a solve in compiled code can only be stopped by ending what it runs in.
"""

from __future__ import annotations

import ctypes
import gc
import os
import pickle
import queue
import shutil
import signal
import struct
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from orient.errors import OrientError

# Comes before all answers, once the process is woken when the desk dies.
BEGUN = b"+"
# How an answer begins.
READY, SAID, DONE, REFUSED, FAULT = "ready", "said", "done", "refused", "fault"
LENGTH = struct.Struct(">Q")
# Progress is told no more often than this.
_LEAST_S = 0.2


def frame(message: object) -> bytes:
    """Pack a message for the pipe: its length, then itself."""
    packed = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    return LENGTH.pack(len(packed)) + packed


def serve_jobs(inward: BinaryIO, outward: BinaryIO, root: str) -> None:
    """Do one job after another until the pipe is closed.

    Parameters
    ----------
    inward : binary file
        Brings ``(name, arguments, folder)``.
    outward : binary file
        Takes answers: ``ready`` once, then for every job any number of ``said`` and one of ``done``,
        ``refused`` or ``fault``.
    root : str
        Private folder of the desk, removed when the desk itself has died.
    """
    tempfile.tempdir = root
    asked: queue.SimpleQueue[tuple[str, dict[str, Any], str]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(inward, asked, root), daemon=True).start()

    def answer(*message: object) -> None:
        outward.write(frame(message))
        outward.flush()

    from orient.desk.jobs import JOBS, Held

    _compile_once()
    _warm_up(lambda: not asked.empty())
    answer(READY)
    held = Held()
    while True:
        name, arguments, folder = asked.get()
        # Whatever a reader lays down for a moment goes with the visitor's folder.
        tempfile.tempdir = folder
        try:
            answer(DONE, JOBS[name](held, _progress(answer), **arguments))
        except OrientError as error:
            answer(REFUSED, str(error))
        except MemoryError:
            answer(
                REFUSED, "There is too little memory for this: bring a coarser mesh, or close other programs."
            )
        except Exception as error:
            traceback.print_exc()
            answer(FAULT, f"{type(error).__name__}: {error}"[:300])


def _listen(inward: BinaryIO, asked: queue.SimpleQueue, root: str) -> None:
    """Pass on what comes; when the desk has died, clean up for it and end at once.

    A desk that closes ends its children itself, so a pipe that is closed means one that could not.
    """
    while True:
        length = inward.read(LENGTH.size)
        packed = inward.read(LENGTH.unpack(length)[0]) if len(length) == LENGTH.size else b""
        if not packed:
            shutil.rmtree(root, ignore_errors=True)
            end()
        asked.put(pickle.loads(packed))


def end() -> None:
    """End this process and those it started, in the middle of whatever they do."""
    if hasattr(os, "killpg") and os.getpgrp() == os.getpid():
        os.killpg(0, signal.SIGKILL)
    os._exit(1)


def _progress(answer: Callable[..., None]) -> Callable[[str, float | None], None]:
    last: tuple[str, float] = ("", 0.0)

    def say(text: str, share: float | None) -> None:
        nonlocal last
        now = time.monotonic()
        if text != last[0] or now - last[1] >= _LEAST_S:
            last = (text, now)
            answer(SAID, text, share)

    return say


def _compile_once() -> None:
    """Compile on the machine's first run, on two processors."""
    from orient.show.compiled import compile_beside, compiled_before, features_compiled_before

    if not (compiled_before() and features_compiled_before()):
        compile_beside(measures=not compiled_before(), features=not features_compiled_before())()


def _warm_up(asked: Callable[[], bool]) -> None:
    """Load what the first jobs need. The first waits no longer than it must: the rest is then left out."""
    from orient.desk.jobs import Held

    for step in _warming(Held()):
        if asked():
            return
        step()
    # What was loaded stays: to go through it again takes a tenth of a second in the middle of an answer.
    gc.collect()
    gc.freeze()


def _warming(held: Any) -> list[Callable[[], object]]:
    """What loads the code of the first jobs: the jobs themselves, on a small part, in steps."""
    from orient.desk.jobs import JOBS

    folder = tempfile.TemporaryDirectory(prefix="orient-warm-")
    path = Path(folder.name) / "small.stl"

    def silent(text: str, share: float | None) -> None:
        pass

    def do(job: str, **arguments: Any) -> Callable[[], object]:
        return lambda: JOBS[job](held, silent, **arguments)

    up = (0.0, 0.0, 1.0)
    return [
        lambda: path.write_bytes(_small_part()),
        do("bring", path=str(path), name="small"),
        folder.cleanup,
        do("evaluate", toml=""),
        do("pose", direction=up, number=1),
        do("picture", direction=up),
        do("holes"),
        do("pose", direction=up, number=1, features=True),
    ]


def _small_part() -> bytes:
    """A plate with a hole, as binary STL."""
    import manifold3d
    import trimesh

    plate = manifold3d.Manifold.cube((20.0, 12.0, 4.0), True)
    mesh = (plate - manifold3d.Manifold.cylinder(8.0, 2.5, 2.5, 24, True)).to_mesh()
    made = trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)
    return bytes(made.export(file_type="stl"))


def woken_by(desk: int) -> None:
    """Be woken when the desk dies: a process that stands still does not see that its pipe is closed.

    Parameters
    ----------
    desk : int
        The desk's process.
    """
    if sys.platform == "linux":
        # PR_SET_PDEATHSIG, prctl(2).
        ctypes.CDLL(None).prctl(1, signal.SIGCONT)
    if os.getppid() != desk:
        end()


def main(root: str, desk: int) -> None:
    """Run as a child of the desk: jobs come on standard input, answers go where standard output was."""
    woken_by(desk)
    outward = os.fdopen(os.dup(1), "wb")
    outward.write(BEGUN)
    outward.flush()
    # Whatever a library prints is not to be taken for an answer.
    os.dup2(2, 1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    serve_jobs(sys.stdin.buffer, outward, root)

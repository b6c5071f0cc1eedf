"""Files through the shell, each in a process of its own that may take only so much time and memory.

``python -m tests.trust.bounded FOLDER`` prints a line of JSON for every file below the folder. The program is
loaded once and forked, so that three hundred files take a minute or two rather than a quarter of an hour.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import select
import signal
import sys
import time
import traceback
from dataclasses import asdict, dataclass
from pathlib import Path

SECONDS = 60
BYTES = 2 << 30


@dataclass(frozen=True)
class Ended:
    """How a run ended: exit code (minus the signal where one ended it), what was said, and what it took."""

    name: str
    code: int
    said: str
    seconds: float
    bytes: int
    answer: str = ""


def run_shell(arguments: list[str]) -> tuple[int, str, str]:
    """Run the shell here: exit code, standard error and standard output."""
    from orient.cli import main

    said, answer = io.StringIO(), io.StringIO()
    kept, sys.argv = sys.argv, ["orient", *arguments]
    with contextlib.redirect_stderr(said), contextlib.redirect_stdout(answer):
        try:
            main()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(bool(end.code))
        except BaseException:
            traceback.print_exc(file=said)
            code = 1
        finally:
            sys.argv = kept
    return code, said.getvalue(), answer.getvalue()


def bounded(name: str, arguments: list[str]) -> Ended:
    """Run the shell in a fork of this process under `SECONDS` and `BYTES`."""
    began = time.perf_counter()
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        os.setsid()
        # Pages of code and libraries are shared and small; what is allocated is what may run away.
        held = int(_status("VmData")) << 10
        resource.setrlimit(resource.RLIMIT_DATA, (held + BYTES, held + BYTES))
        code, said, answer = run_shell(arguments)
        with os.fdopen(into, "wb") as file:
            file.write(json.dumps({"code": code, "said": said, "answer": answer[:2000]}).encode())
        os._exit(0)
    os.close(into)
    told = b""
    while (left := began + SECONDS - time.perf_counter()) > 0:
        ready, _, _ = select.select([out], [], [], left)
        if not ready or not (more := os.read(out, 1 << 16)):
            break
        told += more
    if left <= 0 or not ready:
        os.killpg(child, signal.SIGKILL)
    os.close(out)
    _, status, used = os.wait4(child, 0)
    seconds = time.perf_counter() - began
    result = json.loads(told) if told else {"code": os.waitstatus_to_exitcode(status), "said": ""}
    return Ended(name=name, seconds=round(seconds, 2), bytes=used.ru_maxrss << 10, **result)


def _status(key: str) -> str:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(key):
            return line.split()[1]
    return "0"


def warm() -> None:
    """Load everything, and compile it, before the first fork."""
    import trimesh  # noqa: F401

    import orient

    sample = Path(__file__).resolve().parents[2] / "sample_parts" / "gusset.stl"
    orient.evaluate(orient.load(sample), directions=20, threads=1)
    run_shell(["rank", str(sample), "--directions", "20", "--threads", "1", "--json", "-"])


def main() -> None:
    """Run every file below a folder, or those named."""
    names = sys.argv[1:]
    warm()
    for name in names:
        files = (
            sorted(p for p in Path(name).rglob("*") if not p.is_dir())
            if Path(name).is_dir()
            else [Path(name)]
        )
        for path in files:
            run = ["rank", str(path), "--together", "--directions", "30", "--threads", "1", "--json", "-"]
            print(json.dumps(asdict(bounded(path.name, run))), flush=True)


if __name__ == "__main__":
    main()

"""An evaluation under limits: in a process of its own that is ended where it takes too long or too much.

A library's compiled code may crash, hang or allocate without end, and no exception tells. So every thread of
a worker keeps one process that evaluates (`orient.fleet.child`), asks it file by file, and starts another
where it ended. The process lives on from part to part: starting one takes seconds.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import IO, Any

import psutil

from orient.fleet.child import OUT_OF_MEMORY, READY
from orient.fleet.rows import Request, Row

# A file whose evaluation ends its process is tried so often.
ATTEMPTS = 2
# Loading takes seconds; compiling on a first run, beside others that compile too, takes minutes.
START_S = 600.0
# How often time and memory are looked at; what a process's own processes hold, less often.
_LOOK_S = 0.25
_LOOKS_AT_OWN = 2
# A process that keeps more than this share of its memory between two files is replaced.
_KEPT = 0.5


class NotStarted(RuntimeError):
    """No process that evaluates can be started: nothing that a file could be blamed for."""


class _Ended(Exception):
    """The process is gone; what the file did, as the end of a sentence."""


@dataclass(frozen=True)
class Limits:
    """What one file may take.

    Attributes
    ----------
    seconds : float
        Time of an attempt.
    memory_bytes : int
        Memory of the process, with all that it started.
    """

    seconds: float
    memory_bytes: int


def evaluate_within(request: Request, limits: Limits) -> Row:
    """Evaluate a file in this thread's own process.

    Parameters
    ----------
    request : Request
        The file and the brief.
    limits : Limits
        Time and memory.

    Returns
    -------
    dict
        As `orient.fleet.rows.rows_of`. A file that ended its process twice is set aside, with the reason.

    Raises
    ------
    NotStarted
        When the program cannot be started on this machine.
    """
    began = time.perf_counter()
    reasons: list[str] = []
    for _ in range(ATTEMPTS):
        child = _own()
        try:
            return child.ask(request, limits)
        except _Ended as ended:
            reasons.append(str(ended))
            child.end()
    alike = len(set(reasons)) == 1
    said = f"twice it {reasons[0]}" if alike else ", then it ".join([f"first it {reasons[0]}", *reasons[1:]])
    return {
        "outcome": "set aside",
        "sentence": f"{said[0].upper()}{said[1:]}.",
        "seconds": round(time.perf_counter() - began, 4),
    }


_threads = threading.local()


def _own() -> _Child:
    """The process of this thread, started if there is none."""
    child: _Child | None = getattr(_threads, "child", None)
    if child is None or not child.alive:
        child = _threads.child = _Child()
    return child


class _Child:
    """One process that evaluates, with a thread that waits for its lines."""

    def __init__(self) -> None:
        self._said: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115, open as long as the process is
        # A session of its own: Ctrl-C at the terminal is for who keeps it, whose end it notices.
        self._process = subprocess.Popen(
            [sys.executable, "-m", "orient.fleet.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._said,
            text=True,
            encoding="ascii",
            start_new_session=True,
            env=os.environ | dict.fromkeys(_ONE_THREAD, "1"),
        )
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._listen, daemon=True).start()
        try:
            ready = self._lines.get(timeout=START_S)
        except queue.Empty:
            ready = None
        if ready is None or json.loads(ready) != READY:
            self.end()
            raise NotStarted(self._last_words())

    @property
    def alive(self) -> bool:
        return self._process.poll() is None

    def ask(self, request: Request, limits: Limits) -> Any:
        """Ask for one file and watch over time and memory until the answer is there."""
        until = time.monotonic() + limits.seconds
        assert self._process.stdin is not None
        with suppress(BrokenPipeError):
            self._process.stdin.write(json.dumps(asdict(request)) + "\n")
            self._process.stdin.flush()
        looks = 0
        while True:
            with suppress(queue.Empty):
                line = self._lines.get(timeout=min(_LOOK_S, max(until - time.monotonic(), 0.0)))
                if line is None:
                    raise _Ended(self._how_it_ended())
                if self._memory(whole=False) > _KEPT * limits.memory_bytes:
                    self.end()
                return json.loads(line)
            if time.monotonic() > until:
                raise _Ended(f"took longer than the {limits.seconds:g} s that a part may take")
            looks += 1
            if self._memory(whole=looks % _LOOKS_AT_OWN == 0) > limits.memory_bytes:
                raise _Ended(
                    f"took more than the {limits.memory_bytes / 1e9:.3g} GB of memory that a part may take"
                )

    def end(self) -> None:
        """End it now, with all that it started."""
        with suppress(psutil.Error):
            for one in psutil.Process(self._process.pid).children(recursive=True):
                with suppress(psutil.Error):
                    one.kill()
        self._process.kill()
        self._process.wait()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.put(line)
        self._lines.put(None)

    def _memory(self, *, whole: bool) -> int:
        """Bytes that it holds; those of its own processes too where all is asked for."""
        held = 0
        with suppress(psutil.Error):
            process = psutil.Process(self._process.pid)
            held = process.memory_info().rss
            for one in process.children(recursive=True) if whole else ():
                with suppress(psutil.Error):
                    held += one.memory_info().rss
        return held

    def _how_it_ended(self) -> str:
        code = self._process.wait()
        if code == OUT_OF_MEMORY:
            return "needed more memory than there is"
        if code < 0:
            return f"ended the process that evaluated it ({signal.Signals(-code).name})"
        return f"ended the process that evaluated it (exit code {code})"

    def _last_words(self) -> str:
        self._said.seek(0)
        lines = self._said.read().decode(errors="replace").strip().splitlines()
        return lines[-1] if lines else "it said nothing"


_ONE_THREAD = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

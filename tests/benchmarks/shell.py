"""The command line from a cold process: help, a whole ranking, and the first run ever."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.poses import ROOT, written

COMMAND = [sys.executable, "-c", "from orient.cli import main; main()"]


def seconds(*arguments: str, environment: dict[str, str] | None = None) -> tuple[float, float, float]:
    """Seconds until the first line, on either stream, until the end, and of processor."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    process = subprocess.Popen(
        [*COMMAND, *arguments],
        cwd=ROOT,
        env={**os.environ, **(environment or {})},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    assert process.stdout is not None
    process.stdout.readline()
    first = time.perf_counter() - start
    process.stdout.read()
    if process.wait() != 0:
        raise RuntimeError(f"orient {' '.join(arguments)} ended with exit code {process.returncode}")
    end = time.perf_counter()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return first, end - start, processor


def help_s() -> float:
    return min(seconds("--help")[1] for _ in range(5))


def rank_s(source: str = "") -> tuple[float, float, float]:
    """Warm the compiled kernels, then time one whole run."""
    part = source or str(written(84_000))
    arguments = ("rank", part, "--stress-axis", "1,0,0")
    seconds(*arguments)
    return seconds(*arguments)


def first_run_s() -> tuple[float, float, float]:
    """Time a sample part with no compiled kernel anywhere."""
    with tempfile.TemporaryDirectory() as empty:
        part = str(Path("sample_parts") / "mast_bracket.stl")
        return seconds("rank", part, "--stress-axis", "1,0,0", environment={"NUMBA_CACHE_DIR": empty})

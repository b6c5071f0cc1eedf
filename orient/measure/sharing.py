"""Poses dealt out to threads: compiled code that looks at one pose after another runs beside itself."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache


def available_threads() -> int:
    """Processors that this process may use; ORIENT_THREADS sets another number."""
    wanted = os.environ.get("ORIENT_THREADS", "")
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def share_out(
    run: Callable[[int, int], object],
    poses: int,
    threads: int,
    progress: Callable[[int], None] | None = None,
) -> None:
    """Deal poses out in batches small enough to share evenly, and report as they are done.

    Parameters
    ----------
    run : callable
        Does the poses from one number up to another; to gain by it, it leaves the interpreter alone.
    poses : int
        How many there are.
    threads : int
        How many batches are done beside each other.
    progress : callable, optional
        Called with the number of poses that a batch has added.
    """
    report = progress or (lambda _: None)
    size = max(1, min(64, -(-poses // (4 * threads))))
    starts = range(0, poses, size)
    stops = [min(start + size, poses) for start in starts]
    deal = map if threads == 1 or len(starts) == 1 else _threads(threads).map
    for start, stop, _ in zip(starts, stops, deal(run, starts, stops), strict=True):
        report(stop - start)


@cache
def _threads(count: int) -> ThreadPoolExecutor:
    """Threads are kept between calls: starting one takes as long as a tenth of a pose."""
    return ThreadPoolExecutor(count, thread_name_prefix="orient-poses")


if hasattr(os, "register_at_fork"):
    # A forked process has no threads but its own.
    os.register_at_fork(after_in_child=_threads.cache_clear)

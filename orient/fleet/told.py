"""How far a run has come, on standard error: a bar for who watches, a line now and then for a log."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from orient.fleet.run import Progress

# A log gets a line at most so often.
_LINE_S = 20.0


@contextmanager
def telling() -> Iterator[Callable[[Progress], None]]:
    """Tell of progress; yields the callable that `run_fleet` reports to."""
    if not sys.stderr.isatty():
        yield _lines()
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    with Bar(
        TextColumn("Evaluating"),
        BarColumn(),
        TextColumn("{task.fields[said]}"),
        console=Console(stderr=True),
        transient=True,
    ) as view:
        bar = view.add_task("", total=None, said="")

        def report(progress: Progress) -> None:
            view.update(bar, completed=progress.done, total=progress.of, said=progress_words(progress))

        yield report


def _lines() -> Callable[[Progress], None]:
    said = time.monotonic()

    def report(progress: Progress) -> None:
        nonlocal said
        if time.monotonic() - said >= _LINE_S:
            said = time.monotonic()
            print(progress_words(progress), file=sys.stderr, flush=True)

    return report


def progress_words(progress: Progress) -> str:
    """How far, how fast, how long yet.

    >>> progress_words(Progress(120, 2000, 34.2, 3300.0))
    '120 of 2,000 · 34 a minute · 55 min left'
    """
    words = f"{progress.done:,} of {progress.of:,}"
    if progress.left_s is not None:
        words += (
            f" · {progress.per_minute:.2g} a minute"
            if progress.per_minute < 10
            else (f" · {progress.per_minute:.0f} a minute")
        )
        words += f" · {time_words(progress.left_s)} left"
    return words


def time_words(seconds: float) -> str:
    """A time as people say it.

    >>> time_words(42), time_words(3300), time_words(200000)
    ('42 s', '55 min', '55.6 h')
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 90 * 60 else f"{seconds / 3600:.1f} h"

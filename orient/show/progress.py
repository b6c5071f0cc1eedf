"""Progress on standard error: nothing for quick work, nothing when no one is watching."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Work that is done within this time shows nothing.
PATIENCE_S = 1.0
# What the steps of the strength are called.
_SOLVING = {"first look": "Finding what bears the load", "solve": "Solving for the stress"}


def prepare(features: bool | None = None) -> Callable[[], None]:
    """Begin to compile what a first run needs, and say so; the callable that comes back waits for it.

    Parameters
    ----------
    features : bool, optional
        Whether hard features will be looked for. If not said, their loops wait until the others are there,
        so that no run waits long.

    Returns
    -------
    callable
    """
    from orient.show.compiled import compile_beside, compiled_before, features_compiled_before

    if not compiled_before():
        long = "half a minute at most" if features else "some ten seconds"
        _tell(f"Preparing the measuring code for this machine (first run only, {long}) …")
        return compile_beside(measures=True, features=bool(features))
    if features is not False and not features_compiled_before():
        _tell("Preparing the code that looks for hard features (this once, some ten seconds) …")
        return compile_beside(measures=False, features=True)
    return lambda: None


def _tell(said: str) -> None:
    print(said, file=sys.stderr, flush=True)


@contextmanager
def following(faces: int) -> Iterator[Callable[[str, int, int], None]]:
    """Follow an evaluation; yields the callable that `evaluate` reports to.

    Parameters
    ----------
    faces : int
        Size of the mesh, to say what is being measured.

    Yields
    ------
    callable
        Takes a step's name, poses done and poses in all.
    """
    if not sys.stderr.isatty():
        yield lambda step, done, of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    started = time.perf_counter()
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.fields[count]}"),
        console=Console(stderr=True),
        transient=True,
    ) as view:
        bar = view.add_task(f"Measuring {faces:,} faces", total=None, visible=False, count="")

        def report(step: str, done: int, of: int) -> None:
            if time.perf_counter() - started < PATIENCE_S:
                return
            if step in _SOLVING:
                view.update(bar, description=_SOLVING[step], completed=done, total=of, count="", visible=True)
            elif step == "measure":
                measuring = f"Measuring {faces:,} faces"
                view.update(
                    bar,
                    description=measuring,
                    completed=done,
                    total=of,
                    count=f"{done:,} of {of:,} poses",
                    visible=True,
                )
            elif step == "features":
                view.update(
                    bar,
                    description="Looking for hard features",
                    completed=done,
                    total=of,
                    count=f"{done:,} of {of:,} poses",
                    visible=True,
                )
            elif view.tasks[bar].fields["count"] or not view.tasks[bar].visible:
                # How far the search goes on from the best is not known beforehand: only its name is shown.
                view.reset(
                    bar, total=None, description="Searching on from the best poses", count="", visible=True
                )

        yield report

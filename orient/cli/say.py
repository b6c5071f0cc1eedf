"""What a verb says while it works, and how it hands over what it found."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

# What to tell who stops the program in the middle, where there is more to tell than that it stopped.
if_stopped: list[str] = []


def say(line: str) -> None:
    """Tell how the work goes, where it does not mix with results."""
    print(line, file=sys.stderr, flush=True)


def warn(warnings: Iterable[str]) -> None:
    """Tell what may make the answer wrong, for a verb whose view does not."""
    for warning in warnings:
        say(f"! {warning}")


def hand_over(json: str | None, text: Callable[[], str], view: Callable[[int], Any]) -> None:
    """Print a view for people, or write a result as JSON.

    Parameters
    ----------
    json : str or None
        File for the JSON, which is written beside the view; ``-`` prints it instead of the view.
    text : callable
        Makes the JSON.
    view : callable
        Makes what rich prints, for a width in columns.
    """
    from orient.show.files import write_whole
    from orient.show.terminal import print_view

    if json == "-":
        sys.stdout.write(text())
    else:
        if json is not None:
            write_whole(Path(json), text().encode(errors="replace"))
        print_view(view)
    sys.stdout.flush()
    if json not in (None, "-"):
        say(f"Wrote {json}.")

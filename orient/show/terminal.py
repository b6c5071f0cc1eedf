"""Printing to standard output, no wider than reads well."""

from __future__ import annotations

import sys
from collections.abc import Callable

from rich.console import Console, RenderableType

# Text is wrapped at the widest.
WIDEST = 100


def print_view(draw: Callable[[int], RenderableType]) -> None:
    """Print a view that is drawn for the columns there are.

    Parameters
    ----------
    draw : callable
        Gives the view for a number of columns.
    """
    if sys.stdout.isatty():
        width = min(Console().width, WIDEST)
        Console(highlight=False, width=width).print(draw(width))
        return
    # A file, a notebook or another program gets plain text, without blanks at the ends of lines.
    console = Console(highlight=False, width=WIDEST, force_terminal=False, force_jupyter=False)
    with console.capture() as written:
        console.print(draw(WIDEST))
    sys.stdout.writelines(f"{line.rstrip()}\n" for line in written.get().splitlines())

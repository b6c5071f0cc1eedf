"""Naming features by place and holding sizes against limits, alike on every triangulation."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from orient.features.growth import Floats


def numbered(items: Sequence[Any], letter: str, at: Callable[[Any], Sequence[float]]) -> list[Any]:
    """Sort features by place in the file's coordinates and give them names.

    Parameters
    ----------
    items : sequence of dataclass
        Features with a field ``id``.
    letter : str
        What names begin with.
    at : callable
        Gives the numbers to sort by: coordinates first, mm, then sizes. They are rounded to 0.1 mm, since the
        last digits differ between triangulations.

    Returns
    -------
    list
        The same features, named ``letter1``, ``letter2`` …
    """
    ordered = sorted(items, key=lambda item: tuple(round(float(x), 1) + 0.0 for x in at(item)))
    return [replace(item, id=f"{letter}{number}") for number, item in enumerate(ordered, start=1)]


def triple(values: Floats) -> tuple[float, float, float]:
    """Give three numbers as a plain tuple."""
    return float(values[0]), float(values[1]), float(values[2])


def below(size_mm: float, limit_mm: float) -> bool:
    """Tell whether a size falls short of a limit by more than a mesh can hide (0.01 mm).

    Examples
    --------
    >>> below(2.9999999, 3.0), below(2.9, 3.0)
    (False, True)
    """
    return size_mm < limit_mm - 0.01

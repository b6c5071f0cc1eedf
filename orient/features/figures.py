"""How a place, a direction and a figure are written into a feature."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.features.model import Point

# Sizes are given to a thousandth of a millimetre: finer than any mesh is true to.
PLACES = 3


def size(value: float) -> float:
    """A size or an area as a field holds it.

    >>> size(11.313708498984761)
    11.314
    """
    return round(float(value), PLACES) + 0.0


def point(values: NDArray[np.float64]) -> Point:
    """A place or a direction as plain numbers."""
    return (float(values[0]), float(values[1]), float(values[2]))


def words(value: float) -> str:
    """A size in a sentence: three figures, no more decimals than the field has.

    >>> words(20.0), words(11.314), words(0.45), words(123.4)
    ('20', '11.3', '0.45', '123')
    """
    shown = f"{value:.3g}" if abs(value) < 100 else f"{value:.0f}"
    return shown

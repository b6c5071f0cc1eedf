"""Phrases that several views share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def direction_words(direction: NDArray[np.float64]) -> str:
    """Name a build direction: an axis of the file where it is one, its components otherwise.

    >>> import numpy as np
    >>> direction_words(np.array([0.0, -1.0, 0.0])), direction_words(np.array([0.6, 0.0, 0.8]))
    ('−y', '0.60 0.00 0.80')
    """
    for axis, name in enumerate("xyz"):
        if abs(direction[axis]) > 1.0 - 1e-9:
            return ("+" if direction[axis] > 0 else "−") + name
    return " ".join(f"{value:.2f}".replace("-0.00", "0.00").replace("-", "−") for value in direction)

"""Build directions spread evenly over the sphere."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.errors import OrientError

_GOLDEN = (1.0 + np.sqrt(5.0)) / 2.0


def spherical_grid(count: int = 1000, frame: ArrayLike | None = None) -> NDArray[np.float64]:
    """Lay a Fibonacci lattice on the sphere.

    Point i of n lies at height 1 − (2i + 1)/n and at i/φ turns about the pole, φ the golden ratio, so that
    each stands for the same area: González, Measurement of areas on a sphere using Fibonacci and
    latitude–longitude lattices, Mathematical Geosciences 42, 2010, 49–64 (arXiv:0912.4540), in the form with
    points half a step from the poles that takes any count. Compared with other point sets by Hardin,
    Michaels and Saff, Dolomites Research Notes on Approximation 9, 2016, 16–49.

    Parameters
    ----------
    count : int
        Number of directions.
    frame : (3, 3) array_like, optional
        Axes to lay the lattice in, as rows; the last is its pole. Default: the coordinate axes.

    Returns
    -------
    (count, 3) float64
        Unit vectors, from the pole down.

    Raises
    ------
    OrientError
        If the count is negative.

    Examples
    --------
    >>> spherical_grid(2).round(6)
    array([[ 0.866025,  0.      ,  0.5     ],
           [-0.63858 , -0.584992, -0.5     ]])
    """
    if count < 0:
        raise OrientError(f"A grid of {count} directions cannot be laid: ask for 0 or more.")
    i = np.arange(count, dtype=np.float64)
    height = 1.0 - (2.0 * i + 1.0) / max(count, 1)
    radius = np.sqrt(1.0 - height * height)
    turn = 2.0 * np.pi * ((i / _GOLDEN) % 1.0)
    directions = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), height])
    return directions if frame is None else directions @ np.asarray(frame, dtype=np.float64)

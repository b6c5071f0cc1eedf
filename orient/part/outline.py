"""Convex outlines in the plane: how far they extend, and which of their corners lie farthest apart.

Edges of a convex outline are sorted by angle, so what lies outermost along a way is found by its angle alone
(rotating callipers: M. I. Shamos, Computational geometry, thesis, Yale 1978). Every corner against every way
would take gigabytes where a part is finely turned.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def extents(rim: Floats, ways: Floats) -> Floats:
    """Measure how far a convex outline extends along each of some ways.

    Parameters
    ----------
    rim : (N, 2) float64
        Corners in order, either way round, each once; two or one where it is a line or a point.
    ways : (W, 2) float64
        Directions.

    Returns
    -------
    (W,) float64
        In units of each direction's length.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]])
    >>> extents(square, np.array([[1.0, 0.0], [0.0, 1.0]])).tolist()
    [2.0, 1.0]
    """
    far, near = (np.einsum("wkd,wd->wk", rim[_outermost(rim, way)], ways) for way in (ways, -ways))
    return np.asarray(far.max(axis=1) - near.min(axis=1))


def farthest(rim: Floats) -> tuple[int, int, float]:
    """Find the two corners of a convex outline that lie farthest apart.

    Parameters
    ----------
    rim : (N, 2) float64
        As for `extents`.

    Returns
    -------
    first, second : int
        Corners; the first pair of several that are equally far.
    apart : float
        Their distance.
    """
    # Parallel lines hold the two between them, and one of the two ends an edge along such a line.
    edges = np.roll(rim, -1, axis=0) - rim
    inward = np.column_stack([-edges[:, 1], edges[:, 0]])
    corners = np.arange(len(rim))
    ends = np.stack([corners, (corners + 1) % len(rim)], axis=1)
    both = [_outermost(rim, way) for way in (inward, -inward)]
    one = np.repeat(ends, 6, axis=1).ravel()
    other = np.tile(np.hstack(both), 2).ravel()
    apart = np.linalg.norm(rim[one] - rim[other], axis=1)
    best = np.flatnonzero(apart == apart.max())
    first, second = min(
        (min(pair), max(pair)) for pair in zip(one[best].tolist(), other[best].tolist(), strict=True)
    )
    return first, second, float(apart.max())


def _outermost(rim: Floats, ways: Floats) -> NDArray[np.int64]:
    """Corners of which one lies outermost along each way, (W, 3).

    It lies between the edges before and after a right angle to the way; its neighbours go with it for the
    sake of rounding.
    """
    edges = np.roll(rim, -1, axis=0) - rim
    sense = 1.0 if (rim[:, 0] * edges[:, 1] - rim[:, 1] * edges[:, 0]).sum() > 0 else -1.0
    angles = np.unwrap(np.arctan2(edges[:, 1], edges[:, 0])) * sense
    first = angles[0]
    angles = np.maximum.accumulate(angles - first)
    turned = np.arctan2(ways[:, 1], ways[:, 0]) * sense + np.pi / 2 - first
    found = np.searchsorted(angles, np.mod(turned, 2 * np.pi))
    return (found[:, None] + (-1, 0, 1)) % len(rim)

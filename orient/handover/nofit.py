"""Where one shape must not stand beside another: no-fit polygons."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

Floats = NDArray[np.float64]

# Segments of a quarter circle round a corner that is kept at a distance.
ROUND = 8


def no_fit(fixed: Sequence[Polygon], moving: Sequence[Polygon], gap_mm: float) -> Polygon | MultiPolygon:
    """Give every shift of one shape that brings it nearer to another than a gap.

    Two shapes meet when a point of one is a point of the other moved: the shifts that make them meet are
    the Minkowski sum of one and the other turned inside out (J. A. Bennell, J. F. Oliveira, The geometry of
    nesting problems, European Journal of Operational Research 184, 2008, 397–415). The sum is what its
    edges sweep along each other, and each shape at one corner of the other. A gap adds a disc to it.

    Parameters
    ----------
    fixed, moving : sequence of Polygon
        Pieces of either shape, without holes.
    gap_mm : float
        Distance to keep.

    Returns
    -------
    Polygon or MultiPolygon
        Its inside is forbidden, its boundary is not. A hole in it is a place inside a hollow.

    Examples
    --------
    >>> square = [shapely.box(0, 0, 10, 10)]
    >>> no_fit(square, square, 0.0).bounds
    (-10.0, -10.0, 10.0, 10.0)
    """
    meets = shapely.union_all([_sum(a, b) for a in fixed for b in moving])
    return meets.buffer(gap_mm, quad_segs=ROUND) if gap_mm > 0 else meets


def edges_of(shape: Polygon | MultiPolygon) -> Floats:
    """Edges of the outer rings, (E, 4): from x, y to x, y."""
    rings = [np.asarray(one.exterior.coords) for one in getattr(shape, "geoms", [shape])]
    return np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


def _sum(fixed: Polygon, moving: Polygon) -> Polygon | MultiPolygon:
    a = np.asarray(fixed.exterior.coords)
    b = -np.asarray(moving.exterior.coords)
    if _convex(a) and _convex(b):
        return shapely.convex_hull(shapely.multipoints((a[:-1, None] + b[None, :-1]).reshape(-1, 2)))
    start, other = a[:-1, None, :], b[None, :-1, :]
    along, beside = np.diff(a, axis=0)[:, None, :], np.diff(b, axis=0)[None, :, :]
    first = start + other
    swept = np.stack([first, first + along, first + along + beside, first + beside], axis=2).reshape(-1, 4, 2)
    wide = np.abs((along[..., 0] * beside[..., 1] - along[..., 1] * beside[..., 0]).ravel()) > 1e-9
    whole = [Polygon(a + b[0]), Polygon(b + a[0])]
    return shapely.union_all([*shapely.polygons(swept[wide]), *whole])


def _convex(ring: Floats) -> bool:
    side = np.diff(ring, axis=0)
    after = np.roll(side, -1, axis=0)
    turn = side[:, 0] * after[:, 1] - side[:, 1] * after[:, 0]
    bend = np.arctan2(turn, (side * after).sum(axis=1)).sum()
    return bool((turn >= -1e-12).all() or (turn <= 1e-12).all()) and abs(abs(bend) - 2 * np.pi) < 1e-6

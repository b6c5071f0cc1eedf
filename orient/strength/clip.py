"""Triangles cut along the walls of cells.

Everything is in cells counted from the grid's origin, so that the walls stand at whole numbers.
"""

from __future__ import annotations

import numpy as np
from numba import njit

# A triangle cut by six walls has at most nine corners.
CORNERS = 12


@njit(cache=True, nogil=True, error_model="numpy")
def half_clip(poly, n, axis, wall, sense, out):  # type: ignore[no-untyped-def]
    """Keep the part of a polygon on one side of a wall (Sutherland and Hodgman, 1974); its corners."""
    m = 0
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        a = sense * (poly[i, axis] - wall)
        b = sense * (poly[j, axis] - wall)
        if a >= 0.0:
            for k in range(3):
                out[m, k] = poly[i, k]
            m += 1
        if (a > 0.0 and b < 0.0) or (a < 0.0 and b > 0.0):
            t = a / (a - b)
            for k in range(3):
                out[m, k] = poly[i, k] + t * (poly[j, k] - poly[i, k])
            out[m, axis] = wall
            m += 1
    return m


@njit(cache=True, nogil=True, error_model="numpy")
def slab_clip(poly, n, axis, low, spare, out):  # type: ignore[no-untyped-def]
    """Keep the part of a polygon between two walls one cell apart; returns its number of corners."""
    m = half_clip(poly, n, axis, low, 1.0, spare)
    if m < 3:
        return 0
    m = half_clip(spare, m, axis, low + 1.0, -1.0, out)
    return m if m >= 3 else 0


@njit(cache=True, nogil=True, error_model="numpy")
def slabs_of(poly, n, axis, count):  # type: ignore[no-untyped-def]
    """First and last cell along an axis that a polygon reaches into; one that lies in a wall counts once."""
    low = high = poly[0, axis]
    for i in range(1, n):
        low = min(low, poly[i, axis])
        high = max(high, poly[i, axis])
    first = int(np.floor(low))
    last = int(np.ceil(high)) - 1
    if last < first:
        last = first
    return min(max(first, 0), count - 1), min(max(last, 0), count - 1)

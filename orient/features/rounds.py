"""How much of a known cylinder looks down beyond the limit: exact where facets are not.

On a coarse mesh the flagged part of a lying cylinder jumps with every facet that passes the limit. A strip
of its wall is a chord; the arc over it, cut off at the limit, is what the part has there.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def area_beyond(
    corners: Floats,
    areas: Floats,
    centre: Floats,
    axis: Floats,
    radius: float,
    concave: bool,
    direction: Floats,
    limit_deg: float,
) -> tuple[float, float]:
    """Area of a cylinder's wall that looks down beyond the limit.

    With c the sine of the angle between axis and build direction, the outward normal at an angle φ from
    straight down falls off as c·cos φ, so the wall looks down beyond the limit t where cos φ > sin t / c. A
    strip over the arc Δφ with chord w has the true area A·r·Δφ/w.

    Parameters
    ----------
    corners : (k, 3, 3) float64
        Corners of the wall's faces, mm.
    areas : (k,) float64
        Their areas.
    centre, axis : (3,) float64
        A point of the axis, and its direction.
    radius : float
        mm.
    concave : bool
        True for the wall of a hole, whose normals point to the axis.
    direction : (3,) float64
        Build direction.
    limit_deg : float
        Overhang limit.

    Returns
    -------
    area_mm2 : float
        Beyond the limit.
    angle_deg : float
        Steepest angle from the wall that is reached.

    Examples
    --------
    A lying rod of radius 10 and length 40 mm beyond 45°: L·r·(π − 2t) = 628.3 mm², whatever the facets.

    >>> turn = 2 * np.pi * np.arange(7) / 6
    >>> ring = np.stack([10 * np.cos(turn), np.zeros(7), 10 * np.sin(turn)], axis=1)
    >>> far = ring + [0, 40, 0]
    >>> one = np.stack([ring[:-1], far[:-1], ring[1:]], axis=1)
    >>> two = np.stack([ring[1:], far[:-1], far[1:]], axis=1)
    >>> area, angle = area_beyond(np.concatenate([one, two]), np.full(12, 200.0), np.zeros(3),
    ...     np.array([0.0, 1, 0]), 10.0, False, np.array([0.0, 0, 1]), 45.0)
    >>> round(area, 1), round(angle, 1)
    (628.3, 90.0)
    """
    level = direction - (direction @ axis) * axis
    sine = float(np.linalg.norm(level))
    highest = math.sin(math.radians(limit_deg))
    if sine <= highest:
        return 0.0, 0.0
    half = math.acos(highest / sine)
    # φ is measured from where the wall looks straight down: under a rod, over the axis of a hole.
    down = level / sine * (1.0 if concave else -1.0)
    side = np.cross(axis, down)
    offset = corners - centre
    x, y = offset @ down, offset @ side
    angle = np.arctan2(y, x)
    # Unrolled from each face's first corner, so that none is cut where the angle jumps.
    unrolled = angle[:, :1] + (angle - angle[:, :1] + math.pi) % (2 * math.pi) - math.pi
    first, last = unrolled.argmin(axis=1), unrolled.argmax(axis=1)
    rows = np.arange(len(corners))
    low, high = unrolled[rows, first], unrolled[rows, last]
    chord = np.hypot(x[rows, last] - x[rows, first], y[rows, last] - y[rows, first])
    within = np.zeros(len(corners))
    for turn in (-2 * math.pi, 0.0, 2 * math.pi):
        within += np.clip(np.minimum(high + turn, half) - np.maximum(low + turn, -half), 0.0, None)
    wide = chord > 0
    area = float((areas[wide] * radius * within[wide] / chord[wide]).sum())
    nearest = np.where((low <= 0) & (high >= 0), 0.0, np.minimum(np.abs(low), np.abs(high)))
    best = float(np.cos(nearest.min())) * sine if len(nearest) else 0.0
    return area, math.degrees(math.asin(min(1.0, max(best, 0.0))))

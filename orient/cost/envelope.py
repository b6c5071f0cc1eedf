"""Whether a pose fits a machine over all turns about the vertical, and how many fit side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from orient.part.hull import plane_axes

Floats = NDArray[np.float64]

# Room left free at every side of the bed, and between parts. Common practice, no source.
MARGIN_MM = 5.0
GAP_MM = 5.0
# What rounding may add to a size that fits exactly.
SLACK_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Fit:
    """How P poses lie in a build volume; every array is (P,).

    Attributes
    ----------
    fits : bool
        Whether some turn about the vertical puts the pose inside.
    turn_deg : float64
        Such a turn, from the frame of `plane_axes`; NaN where there is none.
    missing_mm : float64
        How much the height is too tall, or the footprint too wide at its best turn; 0 where it fits.
    """

    fits: NDArray[np.bool_]
    turn_deg: Floats
    missing_mm: Floats


def fit_in(
    directions: ArrayLike,
    points: ArrayLike,
    envelope_mm: tuple[float, float, float],
    margin_mm: float = MARGIN_MM,
) -> Fit:
    """Try every pose in a build volume, askew as well as straight.

    Between two turns at which the footprint's supporting corners change, each side of the bounding rectangle
    is d·cos(φ − φ₀) of one pair of corners, which bulges upwards. The larger of the two oversteps is
    therefore least where a corner changes (an edge of the hull lies along a side of the bed) or where both
    sides overstep alike; those turns are tried, and no others need be.

    Parameters
    ----------
    directions : (P, 3) array_like
        Build directions in the part's coordinates.
    points : (N, 3) array_like
        Points of the part, mm; its hull's are enough.
    envelope_mm : (3,) tuple
        Room to build in: x, y, z.
    margin_mm : float
        Room to leave free at every side of the bed.

    Returns
    -------
    Fit

    Examples
    --------
    A bar of 120 × 10 mm lies across a bed of 100 × 100 mm, corner to corner, and not along it.

    >>> bar = [[x, y, z] for x in (0, 120) for y in (0, 10) for z in (0, 5)]
    >>> found = fit_in([[0, 0, 1]], bar, (100, 100, 50), margin_mm=0)
    >>> bool(found.fits[0]), round(float(found.turn_deg[0]) % 90, 1)
    (True, 45.0)
    """
    b = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    given = np.asarray(points, dtype=np.float64)
    x, y = envelope_mm[0] - 2 * margin_mm, envelope_mm[1] - 2 * margin_mm
    fits = np.zeros(len(b), dtype=bool)
    turn = np.full(len(b), np.nan)
    missing = np.zeros(len(b))
    # A part whose largest extent fits every side fits in every pose, whatever its turn.
    reach = float(np.linalg.norm(np.ptp(given, axis=0)))
    if reach <= min(x, y, envelope_mm[2]):
        return Fit(np.ones(len(b), dtype=bool), np.zeros(len(b)), missing)
    for p, direction in enumerate(b):
        heights = given @ direction
        tall = float(np.ptp(heights)) - envelope_mm[2]
        rim = _rim(direction, given)
        angle, over = _best_turn(rim, x, y)
        if tall <= SLACK_MM and over <= SLACK_MM:
            fits[p], turn[p] = True, math.degrees(angle)
        else:
            missing[p] = max(tall, over, 0.0)
    return Fit(fits, turn, missing)


def side_by_side(
    direction: ArrayLike,
    points: ArrayLike,
    envelope_mm: tuple[float, float, float],
    *,
    margin_mm: float = MARGIN_MM,
    gap_mm: float = GAP_MM,
    brim_mm: float = 0.0,
) -> int:
    """Count how many copies of a pose lie on a bed in rows and columns.

    Rectangles round the footprint are set in a grid, for every turn at which an edge of the footprint lies
    along the bed. Nesting of odd shapes can do better, never worse.

    Parameters
    ----------
    direction, points, envelope_mm, margin_mm
        As for `fit_in`, one direction.
    gap_mm : float
        Room between parts.
    brim_mm : float
        Width of the brim round each.

    Returns
    -------
    int
        0 when not even one fits.

    Examples
    --------
    >>> cube = [[x, y, z] for x in (0, 20) for y in (0, 20) for z in (0, 20)]
    >>> side_by_side([0, 0, 1], cube, (110, 60, 50), margin_mm=5, gap_mm=5)
    8
    """
    b = np.asarray(direction, dtype=np.float64)
    given = np.asarray(points, dtype=np.float64)
    x, y = envelope_mm[0] - 2 * margin_mm, envelope_mm[1] - 2 * margin_mm
    if np.ptp(given @ b) > envelope_mm[2] + SLACK_MM:
        return 0
    rim = _rim(b, given)
    best = 0
    for angle in _edge_angles(rim):
        along, across = _sides(rim, angle)
        along, across = along + 2 * brim_mm, across + 2 * brim_mm
        for a, c in ((along, across), (across, along)):
            columns = math.floor((x + gap_mm + SLACK_MM) / (a + gap_mm))
            rows = math.floor((y + gap_mm + SLACK_MM) / (c + gap_mm))
            best = max(best, columns * rows)
    if best == 0:
        _, over = _best_turn(rim, x - 2 * brim_mm, y - 2 * brim_mm)
        best = int(over <= SLACK_MM)
    return best


def _rim(direction: Floats, points: Floats) -> Floats:
    """Corners of the footprint's hull, in order."""
    across, up = plane_axes(direction)
    shape = shapely.convex_hull(shapely.multipoints(np.column_stack([points @ across, points @ up])))
    rim = shapely.get_coordinates(shape)
    return rim[:-1] if shape.geom_type == "Polygon" else rim


def _edge_angles(rim: Floats) -> Floats:
    """Angles of the hull's edges, folded into a quarter turn."""
    edges = np.roll(rim, -1, axis=0) - rim
    edges = edges[np.hypot(*edges.T) > 1e-12]
    if not len(edges):
        return np.zeros(1)
    return np.unique(np.arctan2(edges[:, 1], edges[:, 0]) % (math.pi / 2))


def _sides(rim: Floats, angle: float) -> tuple[float, float]:
    c, s = math.cos(angle), math.sin(angle)
    return float(np.ptp(rim @ (c, s))), float(np.ptp(rim @ (-s, c)))


def _best_turn(rim: Floats, x: float, y: float) -> tuple[float, float]:
    """Turn at which the footprint oversteps an x × y bed least, and by how much, mm."""
    edges = _edge_angles(rim)
    turns = [float(angle) for angle in edges]
    # Between two edge angles the supporting corners do not change: where do both sides overstep alike?
    for start, end in pairwise([*edges, edges[0] + math.pi / 2]):
        middle = (start + end) / 2.0
        u, v = (math.cos(middle), math.sin(middle)), (-math.sin(middle), math.cos(middle))
        e = rim[int((rim @ u).argmax())] - rim[int((rim @ u).argmin())]
        f = rim[int((rim @ v).argmax())] - rim[int((rim @ v).argmin())]
        # Sides e·(cos, sin) and f·(−sin, cos); their difference is one wave of the turn.
        cosine, sine = e[0] - f[1], e[1] + f[0]
        size, where = math.hypot(cosine, sine), math.atan2(sine, cosine)
        for wanted in (x - y, y - x):
            if size > abs(wanted):
                swing = math.acos(wanted / size)
                for angle in (where - swing, where + swing):
                    folded = start + (angle - start) % (2 * math.pi)
                    if folded <= end:
                        turns.append(folded)
    best, least = 0.0, math.inf
    for angle in turns:
        a, c = _sides(rim, angle)
        for turned, over in ((angle, max(a - x, c - y)), (angle + math.pi / 2, max(c - x, a - y))):
            if over < least - 1e-12:
                best, least = turned, over
    return best, least

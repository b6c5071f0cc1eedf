"""Whether a pose fits a machine over all turns about the vertical, and how many fit side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from orient.measure.outline import outline_of, sort_numbers
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
    given = np.ascontiguousarray(points, dtype=np.float64)
    x, y = envelope_mm[0] - 2 * margin_mm, envelope_mm[1] - 2 * margin_mm
    turn, missing = np.zeros(len(b)), np.zeros(len(b))
    # A part whose largest extent fits every side fits in every pose, whatever its turn.
    reach = float(np.linalg.norm(np.ptp(given, axis=0)))
    if reach <= min(x, y, envelope_mm[2]):
        return Fit(np.ones(len(b), dtype=bool), turn, missing)
    axes = np.array([plane_axes(direction) for direction in b])
    _fit_all(given, b, axes[:, 0], axes[:, 1], x, y, float(envelope_mm[2]), turn, missing)
    fits = missing <= SLACK_MM
    missing[fits] = 0.0
    turn = np.where(fits, np.degrees(turn), np.nan)
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
    """Corners of the footprint's hull, counter-clockwise."""
    across, up = plane_axes(direction)
    return _hull(np.column_stack([points @ across, points @ up]))


@njit(cache=True, nogil=True, error_model="numpy")
def _hull(points):  # type: ignore[no-untyped-def]
    """Convex hull in the plane, counter-clockwise; sorts the points."""
    hull = np.empty((2 * points.shape[0] + 2, 2))
    m = max(outline_of(points, hull), 1)
    rim = np.empty((m, 2))
    for k in range(m):
        rim[k, 0] = hull[k, 0]
        rim[k, 1] = hull[k, 1]
    return rim


@njit(cache=True, nogil=True, error_model="numpy")
def _edge_angles(rim):  # type: ignore[no-untyped-def]
    """Angles of the hull's edges, folded into a quarter turn, in order."""
    m = rim.shape[0]
    angles = np.zeros(m)
    for k in range(m):
        dx, dy = rim[(k + 1) % m, 0] - rim[k, 0], rim[(k + 1) % m, 1] - rim[k, 1]
        angle = math.atan2(dy, dx) % (math.pi / 2.0)
        angles[k] = angle
    sort_numbers(angles)
    return angles


@njit(cache=True, nogil=True, error_model="numpy")
def _sides(rim, angle):  # type: ignore[no-untyped-def]
    c, s = math.cos(angle), math.sin(angle)
    low_a, high_a, low_b, high_b = 1e300, -1e300, 1e300, -1e300
    for k in range(rim.shape[0]):
        a = c * rim[k, 0] + s * rim[k, 1]
        b = c * rim[k, 1] - s * rim[k, 0]
        low_a, high_a = min(low_a, a), max(high_a, a)
        low_b, high_b = min(low_b, b), max(high_b, b)
    return high_a - low_a, high_b - low_b


@njit(cache=True, nogil=True, error_model="numpy")
def _better(rim, angle, x, y, best, least):  # type: ignore[no-untyped-def]
    a, c = _sides(rim, angle)
    over = max(a - x, c - y)
    if over < least - 1e-12:
        best, least = angle, over
    over = max(c - x, a - y)
    if over < least - 1e-12:
        best, least = angle + math.pi / 2.0, over
    return best, least


@njit(cache=True, nogil=True, error_model="numpy")
def _best_turn(rim, x, y):  # type: ignore[no-untyped-def]
    """Turn at which the footprint oversteps an x × y bed least, and by how much, mm."""
    angles = _edge_angles(rim)
    best, least = 0.0, 1e300
    m = angles.shape[0]
    for k in range(m):
        start = angles[k]
        end = angles[k + 1] if k + 1 < m else angles[0] + math.pi / 2.0
        best, least = _better(rim, start, x, y, best, least)
        # Between two edge angles the supporting corners do not change: where do both sides overstep alike?
        c, s = math.cos((start + end) / 2.0), math.sin((start + end) / 2.0)
        first, last, low, high = 0, 0, 0, 0
        for i in range(m):
            along, beside = c * rim[i, 0] + s * rim[i, 1], c * rim[i, 1] - s * rim[i, 0]
            if along < c * rim[first, 0] + s * rim[first, 1]:
                first = i
            if along > c * rim[last, 0] + s * rim[last, 1]:
                last = i
            if beside < c * rim[low, 1] - s * rim[low, 0]:
                low = i
            if beside > c * rim[high, 1] - s * rim[high, 0]:
                high = i
        # Sides e·(cos, sin) and f·(−sin, cos); their difference is one wave of the turn.
        e0, e1 = rim[last, 0] - rim[first, 0], rim[last, 1] - rim[first, 1]
        f0, f1 = rim[high, 0] - rim[low, 0], rim[high, 1] - rim[low, 1]
        cosine, sine = e0 - f1, e1 + f0
        size, where = math.hypot(cosine, sine), math.atan2(sine, cosine)
        for sign in (1.0, -1.0):
            wanted = sign * (x - y)
            if size > abs(wanted):
                swing = math.acos(wanted / size)
                for way in (-1.0, 1.0):
                    folded = start + (where + way * swing - start) % (2.0 * math.pi)
                    if folded <= end:
                        best, least = _better(rim, folded, x, y, best, least)
    return best, least


@njit(cache=True, nogil=True, error_model="numpy")
def _fit_all(points, directions, across, up, x, y, z, turn, missing):  # type: ignore[no-untyped-def]
    n = points.shape[0]
    flat = np.empty((n, 2))
    for p in range(directions.shape[0]):
        low, high = 1e300, -1e300
        for i in range(n):
            px, py, pz = points[i, 0], points[i, 1], points[i, 2]
            h = px * directions[p, 0] + py * directions[p, 1] + pz * directions[p, 2]
            low, high = min(low, h), max(high, h)
            flat[i, 0] = px * across[p, 0] + py * across[p, 1] + pz * across[p, 2]
            flat[i, 1] = px * up[p, 0] + py * up[p, 1] + pz * up[p, 2]
        tall = high - low - z
        # Most poses fit at some plain turn, and need no hull.
        over = 1e300
        for quick in range(4):
            best, over = _better(flat, quick * math.pi / 8.0, x, y, 0.0, 1e300)
            if over <= 0.0:
                break
        if over > 0.0:
            best, over = _best_turn(_hull(flat), x, y)
        turn[p] = best
        missing[p] = max(tall, over, 0.0)

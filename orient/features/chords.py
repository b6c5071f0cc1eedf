"""Chords across a ceiling: which way to run the lines, and how far they span.

A ceiling is seen from below as the area inside a set of rim edges, each of which is held or not. Lines
run over it in one direction; each stretch of a line inside the ceiling is a chord, and a chord is held
when both its ends lie on held edges.

The **span** is the least, over the directions that hold the largest share of the ceiling, of the longest
held chord: a person running lines would choose that direction, and its longest line decides. The naive
"shortest crossing between held edges" tends to 0 at every corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.features.loops import sort_by

Floats = NDArray[np.float64]

# Directions tried first, over half a turn; the best of them are then narrowed down.
DIRECTIONS = 60
# Shares nearer than this are equal: a line's direction is not set finer.
SAME_SHARE = 0.0005
# Lines that together cover less than this, mm, decide nothing: they run along a rim.
SPECK_MM = 2e-4
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0
# Points over which the local span is sought, along the longer side, and directions through each.
_POINTS, _RAYS = 14, 36
_AROUND = np.array([[1, 0], [1, 1], [0, 1], [-1, 1], [-1, 0], [-1, -1], [0, -1], [1, -1]], dtype=np.float64)


@dataclass(frozen=True)
class Span:
    """How a ceiling is bridged.

    Attributes
    ----------
    share : float
        Largest share of the ceiling whose chords are held at both ends, 0 to 1.
    span_mm : float
        Longest held chord in the best direction; 0 when none is held.
    angle : float
        That direction, radians from the first axis, 0 to π.
    width_mm : float
        Extent of the ceiling across the lines.
    """

    share: float
    span_mm: float
    angle: float
    width_mm: float


def span_of(edges: Floats, held: NDArray[np.bool_], speck_mm: float = SPECK_MM) -> Span:
    """Find the direction of lines that holds most of a ceiling with the shortest longest line.

    Parameters
    ----------
    edges : (M, 4) float64
        Rim edges (x₁, y₁, x₂, y₂), mm, in any order; together they close the ceiling.
    held : (M,) bool
        Which edges hold the ends of lines.
    speck_mm : float
        Longest lines are left out of account when they cover less than this, mm; more on a rough rim.

    Returns
    -------
    Span

    Examples
    --------
    A ceiling 30 × 12 held all round is bridged across, one held on its short sides alone lengthwise.

    >>> box = np.array([[0, 0, 30, 0], [30, 0, 30, 12], [30, 12, 0, 12], [0, 12, 0, 0.0]])
    >>> round(span_of(box, np.ones(4, bool)).span_mm, 3)
    12.0
    >>> round(span_of(box, np.array([False, True, False, True])).span_mm, 3)
    30.0
    """
    step = math.pi / DIRECTIONS
    along = np.arctan2(edges[:, 3] - edges[:, 1], edges[:, 2] - edges[:, 0])
    length = np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])
    longest = np.argsort(-length, kind="stable")[:16]
    first = along[longest[0]]
    # Edges and their normals are where chords jump in length, so they are tried exactly.
    tried = np.concatenate(
        [first + step * np.arange(DIRECTIONS), along[longest], along[longest] + math.pi / 2]
    )
    angles = np.unique(np.round(np.mod(tried, math.pi), 12))
    share, reach = _scan(edges, held, angles, speck_mm)
    if not share.max() > 0:
        angle = float(np.mod(first, math.pi))
        return Span(0.0, 0.0, angle, _width(edges, angle))

    seeds = np.argsort(-share, kind="stable")[:3]
    for i in seeds:
        more = _narrow(edges, held, angles[i] - step, angles[i] + step, 0.0, False, speck_mm)
        angles = np.append(angles, more)
    share, reach = _scan(edges, held, angles, speck_mm)
    enough = share.max() - SAME_SHARE
    good = np.flatnonzero(share >= enough)
    for i in good[np.argsort(reach[good], kind="stable")[:4]]:
        more = _narrow(edges, held, angles[i] - step, angles[i] + step, enough, True, speck_mm)
        angles = np.append(angles, more)
    share, reach = _scan(edges, held, angles, speck_mm)
    good = np.flatnonzero(share >= enough)
    least = reach[good].min()
    # Of equal spans the direction that holds more; of those the one that stands first.
    best = good[reach[good] <= least * (1 + 1e-6)]
    i = best[np.argmax(np.round(share[best], 4))]
    angle = float(np.mod(angles[i], math.pi))
    return Span(float(share[i]), float(reach[i]), angle, _width(edges, angle))


def _width(edges: Floats, angle: float) -> float:
    across = -math.sin(angle) * edges[:, 0::2] + math.cos(angle) * edges[:, 1::2]
    return float(np.ptp(across))


@njit(cache=True, nogil=True, error_model="numpy")
def _scan(edges, held, angles, speck):  # type: ignore[no-untyped-def]
    """Held share and longest held chord for many directions."""
    share = np.empty(angles.shape[0])
    reach = np.empty(angles.shape[0])
    for i in range(angles.shape[0]):
        share[i], reach[i] = _sweep(edges, held, angles[i], speck)
    return share, reach


@njit(cache=True, nogil=True, error_model="numpy")
def _narrow(edges, held, low, high, enough, by_span, speck):  # type: ignore[no-untyped-def]
    """Golden-section search for the largest share, or for the shortest span among shares large enough."""
    a, b = low, high
    c, d = b - _GOLDEN * (b - a), a + _GOLDEN * (b - a)
    fc, fd = _cost(edges, held, c, enough, by_span, speck), _cost(edges, held, d, enough, by_span, speck)
    while b - a > 1e-4:
        if fc <= fd:
            b, d, fd = d, c, fc
            c = b - _GOLDEN * (b - a)
            fc = _cost(edges, held, c, enough, by_span, speck)
        else:
            a, c, fc = c, d, fd
            d = a + _GOLDEN * (b - a)
            fd = _cost(edges, held, d, enough, by_span, speck)
    return c if fc <= fd else d


@njit(cache=True, nogil=True, error_model="numpy")
def _cost(edges, held, angle, enough, by_span, speck):  # type: ignore[no-untyped-def]
    share, reach = _sweep(edges, held, angle, speck)
    if not by_span:
        return -share
    return reach if share >= enough else 1e6 * (1.0 + enough - share)


@njit(cache=True, nogil=True, error_model="numpy")
def _sweep(edges, held, angle, speck):  # type: ignore[no-untyped-def]
    """Held share of the ceiling, and the longest held chord, for lines at one angle.

    Between two neighbouring corners, seen along the lines, chords change in length linearly, so both
    are exact.
    """
    n = edges.shape[0]
    c, s = math.cos(angle), math.sin(angle)
    low = np.empty(n)
    high = np.empty(n)
    low_t = np.empty(n)
    slope = np.empty(n)
    ends = np.empty(2 * n)
    for i in range(n):
        t0 = c * edges[i, 0] + s * edges[i, 1]
        s0 = c * edges[i, 1] - s * edges[i, 0]
        t1 = c * edges[i, 2] + s * edges[i, 3]
        s1 = c * edges[i, 3] - s * edges[i, 2]
        if s0 > s1:
            t0, t1, s0, s1 = t1, t0, s1, s0
        low[i], high[i], low_t[i] = s0, s1, t0
        slope[i] = (t1 - t0) / (s1 - s0) if s1 > s0 else 0.0
        ends[2 * i], ends[2 * i + 1] = s0, s1
    cuts = np.empty(2 * n, dtype=np.int64)
    sort_by(ends, cuts, 2 * n)
    order = np.empty(n, dtype=np.int64)
    sort_by(low, order, n)
    live = np.empty(n, dtype=np.int64)
    lives = 0
    come = 0
    area = 0.0
    held_area = 0.0
    chord = np.empty(8 * n)
    wide = np.empty(8 * n)
    chords = 0
    for k in range(2 * n - 1):
        s0, s1 = ends[cuts[k]], ends[cuts[k + 1]]
        if s1 - s0 <= 1e-12:
            continue
        middle = 0.5 * (s0 + s1)
        kept = 0
        for i in range(lives):
            if high[live[i]] > middle:
                live[kept] = live[i]
                kept += 1
        lives = kept
        while come < n and low[order[come]] < middle:
            if high[order[come]] > middle:
                live[lives] = order[come]
                lives += 1
            come += 1
        # Nearly sorted from the strip before.
        for i in range(1, lives):
            e = live[i]
            t = low_t[e] + slope[e] * (middle - low[e])
            j = i
            while j > 0 and low_t[live[j - 1]] + slope[live[j - 1]] * (middle - low[live[j - 1]]) > t:
                live[j] = live[j - 1]
                j -= 1
            live[j] = e
        for i in range(0, lives - 1, 2):
            e, f = live[i], live[i + 1]
            first = low_t[f] + slope[f] * (s0 - low[f]) - low_t[e] - slope[e] * (s0 - low[e])
            last = low_t[f] + slope[f] * (s1 - low[f]) - low_t[e] - slope[e] * (s1 - low[e])
            piece = 0.5 * (first + last) * (s1 - s0)
            area += piece
            if held[e] and held[f]:
                held_area += piece
                if chords == chord.shape[0]:
                    more, broad = np.empty(2 * chords), np.empty(2 * chords)
                    for j in range(chords):
                        more[j], broad[j] = chord[j], wide[j]
                    chord, wide = more, broad
                chord[chords] = max(first, last)
                wide[chords] = s1 - s0
                chords += 1
    longest = 0.0
    covered = 0.0
    by_length = np.empty(chords, dtype=np.int64)
    sort_by(chord, by_length, chords)
    for k in range(chords - 1, -1, -1):
        longest = chord[by_length[k]]
        covered += wide[by_length[k]]
        if covered > speck:
            break
    return (held_area / area if area > 0.0 else 0.0), longest


def local_span_mm(edges: Floats, held: NDArray[np.bool_]) -> float:
    """Longest of the shortest held chords: what the worst place spans if lines could run every way.

    Parameters
    ----------
    edges, held
        As for `span_of`.

    Returns
    -------
    float
        mm; 0 where no chord is held. Sought over a grid of points and narrowed down at the best.
    """
    points, pitch = _grid(edges, _POINTS)
    if not len(points):
        return 0.0
    angles = np.arange(_RAYS) * (math.pi / _RAYS)
    shortest = _shortest_chords(edges, held, points, angles)
    angles = np.arange(4 * _RAYS) * (math.pi / (4 * _RAYS))
    best = 0.0
    for i in np.argsort(-shortest, kind="stable")[:3]:
        at, here, step = points[i], 0.0, pitch / 2
        while step > pitch / 32:
            around = at + step * _AROUND
            # On the rim itself every chord is short.
            off_rim = _inside(edges, around) & (_distances(around, edges) > pitch / 64)
            found = np.where(off_rim, _shortest_chords(edges, held, around, angles), 0.0)
            k = int(found.argmax())
            if found[k] > here * (1 + 1e-9):
                at, here = around[k], float(found[k])
            else:
                step /= 2
        best = max(best, here)
    return best


@njit(cache=True, nogil=True, error_model="numpy")
def _shortest_chords(edges, held, points, angles):  # type: ignore[no-untyped-def]
    """Shortest held chord through each inner point, 0 for a point without one."""
    out = np.zeros(points.shape[0])
    for p in range(points.shape[0]):
        shortest = 1e300
        for k in range(angles.shape[0]):
            c, s = math.cos(angles[k]), math.sin(angles[k])
            ahead, behind = 1e300, 1e300
            ahead_held, behind_held = False, False
            for e in range(edges.shape[0]):
                s0 = c * (edges[e, 1] - points[p, 1]) - s * (edges[e, 0] - points[p, 0])
                s1 = c * (edges[e, 3] - points[p, 1]) - s * (edges[e, 2] - points[p, 0])
                if (s0 > 0) == (s1 > 0):
                    continue
                t0 = c * (edges[e, 0] - points[p, 0]) + s * (edges[e, 1] - points[p, 1])
                t1 = c * (edges[e, 2] - points[p, 0]) + s * (edges[e, 3] - points[p, 1])
                t = t0 + (t1 - t0) * s0 / (s0 - s1)
                if t > 0:
                    if t < ahead:
                        ahead, ahead_held = t, held[e]
                elif -t < behind:
                    behind, behind_held = -t, held[e]
            if ahead_held and behind_held:
                shortest = min(shortest, ahead + behind)
        if shortest < 1e299:
            out[p] = shortest
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _distances(points, edges):  # type: ignore[no-untyped-def]
    """Distance from each point to the nearest edge."""
    out = np.empty(points.shape[0])
    for p in range(points.shape[0]):
        nearest = 1e300
        for e in range(edges.shape[0]):
            ax, ay = edges[e, 0], edges[e, 1]
            dx, dy = edges[e, 2] - ax, edges[e, 3] - ay
            square = dx * dx + dy * dy
            u = ((points[p, 0] - ax) * dx + (points[p, 1] - ay) * dy) / square if square > 0 else 0.0
            u = min(max(u, 0.0), 1.0)
            x, y = ax + u * dx - points[p, 0], ay + u * dy - points[p, 1]
            nearest = min(nearest, x * x + y * y)
        out[p] = math.sqrt(nearest)
    return out


def reach_mm(edges: Floats, held: NDArray[np.bool_]) -> float:
    """Largest distance from a point of a ceiling to the nearest held edge.

    The distance, not the chord: what sticks out of a round stem by 8 mm has a reach of 8 mm.

    Parameters
    ----------
    edges, held
        As for `span_of`.

    Returns
    -------
    float
        mm; infinite where nothing is held.
    """
    if not held.any():
        return math.inf
    holding = edges[held]
    corners = np.concatenate([edges[:, :2], (edges[:, :2] + edges[:, 2:]) / 2])
    best = float(_distances(corners, holding).max())
    # The farthest point of a wide ceiling between posts lies inside it.
    points, pitch = _grid(edges, 2 * _POINTS)
    if not len(points):
        return best
    found = _distances(points, holding)
    for i in np.argsort(-found, kind="stable")[:3]:
        at, here, step = points[i], float(found[i]), pitch / 2
        while step > 1e-4 * pitch:
            around = at + step * _AROUND
            distance = np.where(_inside(edges, around), _distances(around, holding), 0.0)
            k = int(distance.argmax())
            if distance[k] > here:
                at, here = around[k], float(distance[k])
            else:
                step /= 2
        best = max(best, here)
    return best


def _grid(edges: Floats, count: int) -> tuple[Floats, float]:
    """Points inside a ceiling on a square grid, and its pitch: `count` of them along the longer side."""
    low = np.minimum(edges[:, :2], edges[:, 2:]).min(axis=0)
    size = np.maximum(edges[:, :2], edges[:, 2:]).max(axis=0) - low
    pitch = float(size.max()) / count
    if not pitch > 0:
        return np.zeros((0, 2)), 0.0
    across = [
        low[k] + size[k] * (np.arange(n) + 0.5) / n
        for k, n in enumerate(np.ceil(size / pitch).astype(int).clip(1))
    ]
    points = np.stack(np.meshgrid(*across), axis=-1).reshape(-1, 2)
    return np.ascontiguousarray(points[_inside(edges, points)]), pitch


@njit(cache=True, nogil=True, error_model="numpy")
def _inside(edges, points):  # type: ignore[no-untyped-def]
    """Which points lie inside the ceiling (even–odd rule)."""
    out = np.zeros(points.shape[0], dtype=np.bool_)
    for p in range(points.shape[0]):
        for e in range(edges.shape[0]):
            y0, y1 = edges[e, 1] - points[p, 1], edges[e, 3] - points[p, 1]
            if (y0 > 0) == (y1 > 0):
                continue
            x = edges[e, 0] + (edges[e, 2] - edges[e, 0]) * y0 / (y0 - y1)
            if x > points[p, 0]:
                out[p] = not out[p]
    return out

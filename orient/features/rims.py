"""The rim of a ceiling: its loops seen from below, with the arcs that the mesh has cut short."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FREE, HELD, HANGING = 0, 1, 2
# Arcs are drawn with steps this fine, degrees: off the circle by 0.04 % of its radius.
_ARC_DEG = 3.0
# How far, as a share of the radius, the ends of an arc may be off its circle.
_OFF_CIRCLE = 0.02
# A rim longer than this is thinned, so that the chords of a scanned part stay affordable.
_MOST_EDGES = 300
_COARSEST_MM = 1.0
# Corners nearer than this to the straight line between their neighbours, mm, say nothing.
_STRAIGHT_MM = 1e-4


@dataclass(frozen=True, eq=False)
class Rim:
    """Edges round a ceiling, closed loops seen along the build direction.

    Attributes
    ----------
    edges : (M, 4) float64
        (x₁, y₁, x₂, y₂), mm.
    state : (M,) int8
        `FREE`, `HELD`, or `HANGING`: something goes down there, but hangs itself.
    """

    edges: Floats
    state: NDArray[np.int8]

    @property
    def held(self) -> NDArray[np.bool_]:
        """Which edges hold the ends of lines; where nothing stands, those on what hangs there already."""
        holding: NDArray[np.bool_] = self.state == (HELD if (self.state == HELD).any() else HANGING)
        return holding

    @property
    def held_share(self) -> float:
        """Share of the rim's length that is held, 0 to 1."""
        length = np.hypot(self.edges[:, 2] - self.edges[:, 0], self.edges[:, 3] - self.edges[:, 1])
        return float(length[self.held].sum() / max(float(length.sum()), 1e-300))

    @property
    def shadow_mm2(self) -> float:
        """Area inside, mm² (Green's theorem)."""
        x0, y0, x1, y1 = self.edges.T
        return abs(float((x0 * y1 - x1 * y0).sum()) / 2.0)


def rim_of(
    corners: Floats,
    ends: NDArray[np.int32],
    state: NDArray[np.int8],
    centre: Floats,
    radius: Floats,
) -> Rim:
    """Make the rim of one ceiling.

    Inner loops that something hangs from are filled: lines run on over a hanging post.

    Parameters
    ----------
    corners : (V, 2) float64
        Corners seen along the build direction, mm.
    ends : (M, 2) int32
        Corners of each rim edge, the ceiling on the same side of all.
    state : (M,) int8
        What holds each edge.
    centre : (M, 2) float64
        Middle of the circle on which the edge is a chord.
    radius : (M,) float64
        Its radius, mm; NaN for a straight edge.

    Returns
    -------
    Rim
    """
    order, begin = _chained(ends)
    loops = []
    for k in range(len(begin) - 1):
        at = order[begin[k] : begin[k + 1]]
        loops.append(_Loop(corners[ends[at, 0]], state[at], centre[at], radius[at]))
    loops = _filled(loops)
    loops, arc_deg = _thinned(loops)
    pieces, states = [], []
    for loop in loops:
        points = _onto_circles(loop.points, loop.centre, loop.radius)
        following = np.roll(points, -1, axis=0)
        for row in range(len(points)):
            piece = _arc(points[row], following[row], loop.centre[row], loop.radius[row], arc_deg)
            pieces.append(piece)
            states.append(np.full(len(piece), loop.state[row], dtype=np.int8))
    if not pieces:
        return Rim(np.zeros((0, 4)), np.zeros(0, dtype=np.int8))
    return Rim(np.concatenate(pieces), np.concatenate(states))


@dataclass(frozen=True, eq=False)
class _Loop:
    """One closed loop: edge i runs from corner i to the next."""

    points: Floats
    state: NDArray[np.int8]
    centre: Floats
    radius: Floats

    @property
    def turn(self) -> float:
        """Twice the signed area."""
        x, y = self.points.T
        return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())

    @property
    def size_mm(self) -> float:
        """Longer side of the bounding box."""
        return float(np.ptp(self.points, axis=0).max())


def _filled(loops: list[_Loop]) -> list[_Loop]:
    """Close the inner loops that something hangs from, and let none of its sides hold anything."""
    outer = max((loop.turn for loop in loops), key=abs, default=0.0)
    out = []
    for loop in loops:
        if loop.turn * outer < 0 and (loop.state == HANGING).any():
            if not (loop.state == FREE).any():
                continue
            loop = replace(loop, state=np.where(loop.state == HELD, HANGING, loop.state).astype(np.int8))
        out.append(loop)
    return out


def _thinned(loops: list[_Loop]) -> tuple[list[_Loop], float]:
    """Drop corners that say nothing; of a rim that is very long also those that say little.

    Returns the loops and the step, degrees, at which their arcs can be afforded.
    """
    tolerance, arc_deg = _STRAIGHT_MM, _ARC_DEG
    while True:
        loops = [_straightened(loop, tolerance) for loop in loops]
        edges = sum(len(loop.points) for loop in loops)
        arcs = sum(int(np.count_nonzero(loop.radius > 0)) for loop in loops)
        if edges <= _MOST_EDGES or tolerance > _COARSEST_MM:
            # An arc of 360° takes 120 steps however many chords it has; give each chord what is left.
            if arcs and arcs * _steps_of(loops, arc_deg) > 2 * _MOST_EDGES:
                arc_deg = 360.0
            return loops, arc_deg
        tolerance = 0.002 if tolerance == _STRAIGHT_MM else 2 * tolerance
        large = [loop for loop in loops if loop.size_mm > 8 * tolerance]
        loops = large or loops


def _steps_of(loops: list[_Loop], arc_deg: float) -> float:
    """Mean number of steps of a chord's arc."""
    steps = []
    for loop in loops:
        chord = np.hypot(*(np.roll(loop.points, -1, axis=0) - loop.points).T)
        on = loop.radius > 0
        half = np.clip(chord[on] / (2 * loop.radius[on]), 0.0, 1.0)
        steps.append(np.ceil(np.degrees(2 * np.arcsin(half)) / arc_deg))
    return float(np.concatenate(steps).clip(1).mean())


def _straightened(loop: _Loop, tolerance: float) -> _Loop:
    """Drop the corners of a loop that lie within a tolerance of straight."""
    state, radius = loop.state, loop.radius
    same = state == np.roll(state, 1)
    if tolerance == _STRAIGHT_MM:
        # Corners between chords of a circle stay, for they are moved onto it.
        same &= ~(radius > 0) & ~(np.roll(radius, 1) > 0)
    keep = _corners(loop.points, same, tolerance)
    if keep.sum() < 3:
        return loop
    return _Loop(loop.points[keep], state[keep], loop.centre[keep], radius[keep])


def _onto_circles(points: Floats, centre: Floats, radius: Floats) -> Floats:
    """Move corners between two chords of one circle onto it: splitting a chord puts corners inside."""
    before = np.roll(np.arange(len(points)), 1)
    between = (radius == radius[before]) & (centre == centre[before]).all(axis=1)
    out = points - centre
    length = np.hypot(out[:, 0], out[:, 1])
    with np.errstate(invalid="ignore"):
        near = between & (np.abs(length - radius) <= _OFF_CIRCLE * radius) & (length > 0)
    moved = points.copy()
    moved[near] = centre[near] + out[near] * (radius[near] / length[near])[:, None]
    return moved


def _arc(start: Floats, end: Floats, centre: Floats, radius: float, step_deg: float) -> Floats:
    """The edge, or the pieces of the arc that it is the chord of."""
    straight = np.concatenate([start, end])[None]
    if not radius > 0:
        return straight
    one, two = start - centre, end - centre
    # A corner that is off the circle, as where another wall cuts it, ends a chord and no arc.
    if max(abs(math.hypot(*one) - radius), abs(math.hypot(*two) - radius)) > _OFF_CIRCLE * radius:
        return straight
    a, b = math.atan2(one[1], one[0]), math.atan2(two[1], two[0])
    sweep = (b - a + math.pi) % (2 * math.pi) - math.pi
    steps = max(1, math.ceil(abs(sweep) / math.radians(step_deg) - 1e-9))
    angles = a + sweep * np.arange(1, steps) / steps
    between = centre + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    points = np.concatenate([start[None], between, end[None]])
    return np.concatenate([points[:-1], points[1:]], axis=1)


@njit(cache=True, nogil=True, error_model="numpy")
def _corners(points, same, tolerance):  # type: ignore[no-untyped-def]
    """Which corners to keep: those off the line between kept neighbours, and where the state changes."""
    n = points.shape[0]
    keep = np.ones(n, dtype=np.bool_)
    first = 0
    for i in range(n):
        if not same[i]:
            first = i
            break
    last = first
    for step in range(1, n):
        i = (first + step) % n
        if not same[i]:
            last = i
            continue
        after = (i + 1) % n
        ax, ay = points[last]
        dx, dy = points[after, 0] - ax, points[after, 1] - ay
        length = np.sqrt(dx * dx + dy * dy)
        if length == 0.0:
            last = i
            continue
        # All corners dropped since the last kept one must stay near the line.
        straight = True
        j = (last + 1) % n
        while True:
            x, y = points[j, 0] - ax, points[j, 1] - ay
            along = (x * dx + y * dy) / length
            if abs(x * dy - y * dx) > tolerance * length or along < -tolerance or along > length + tolerance:
                straight = False
                break
            if j == i:
                break
            j = (j + 1) % n
        if straight:
            keep[i] = False
        else:
            last = i
    return keep


def _chained(ends: NDArray[np.int32]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Edges in loops: their order, and where each loop begins."""
    by_start = np.argsort(ends[:, 0], kind="stable")
    starts = ends[by_start, 0]
    return _follow(ends, by_start, starts, np.searchsorted(starts, ends[:, 1]))


@njit(cache=True, nogil=True, error_model="numpy")
def _follow(ends, by_start, starts, first):  # type: ignore[no-untyped-def]
    """Go from edge to edge until a loop closes; edges from one corner stand together in `by_start`."""
    n = ends.shape[0]
    used = np.zeros(n, dtype=np.bool_)
    order = np.empty(n, dtype=np.int64)
    begin = np.empty(n + 1, dtype=np.int64)
    loops = 0
    placed = 0
    for seed in range(n):
        if used[seed]:
            continue
        begin[loops] = placed
        loops += 1
        e = seed
        while e >= 0:
            used[e] = True
            order[placed] = e
            placed += 1
            at, corner = first[e], ends[e, 1]
            e = -1
            while at < n and starts[at] == corner:
                if not used[by_start[at]]:
                    e = by_start[at]
                    break
                at += 1
    begin[loops] = placed
    return order, begin[: loops + 1]

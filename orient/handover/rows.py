"""Like parts in interlocking rows: one part, or two of them joined head to tail, repeated along the bed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from orient.handover.nofit import edges_of, no_fit
from orient.handover.silhouette import Silhouette, turned

Floats = NDArray[np.float64]

# What rounding may add to a size that fits exactly, mm.
SLACK_MM = 1e-6
# Turns that are tried beside those that lay an edge along the bed, degrees apart.
_TURN_STEP = 7.5
# Places tried for the second part of a pair, along the line on which it touches the first.
_PLACES = 120
# Shifts tried between one row and the next.
_SHIFTS = 60
# Most turns that lay an edge along the bed; the longest edges are taken.
_EDGE_TURNS = 12
# Plans that take this much more room a part than the tightest are not counted out on the bed.
_LOOSEST = 1.12


@dataclass(frozen=True)
class Spot:
    """Where one copy stands: turned about its origin, then moved there."""

    x_mm: float
    y_mm: float
    turn_deg: float


def rows_on(
    shape: Silhouette, width_mm: float, depth_mm: float, gap_mm: float, *, best: int = 4
) -> list[list[Spot]]:
    """Lay as many copies as fit in rows that interlock.

    Parameters
    ----------
    shape : Silhouette
        The part.
    width_mm, depth_mm : float
        Room for silhouettes, from 0, 0.
    gap_mm : float
        Distance between silhouettes.
    best : int
        How many layouts to give.

    Returns
    -------
    list of list of Spot
        The fullest first.
    """
    pieces = shape.pieces
    opposite = tuple(shapely.transform(piece, lambda xy: -xy) for piece in pieces)
    alone = no_fit(pieces, pieces, gap_mm)
    paired = no_fit(pieces, opposite, gap_mm)
    corners = np.concatenate([np.asarray(piece.exterior.coords)[:-1] for piece in pieces])
    places = _along(paired, _PLACES)
    area = 0.99 * sum(piece.area for piece in pieces)
    edges, between = edges_of(alone), edges_of(paired)
    sizes = np.array([[width_mm, depth_mm], [depth_mm, width_mm]])
    found: list[tuple[int, int, float, int, Floats, int]] = []
    for turn_deg in turns_of(pieces):
        turn = turned(turn_deg)
        laid = _both(edges, turn)
        beside, back = _both(between, turn), _both(-between, turn)
        box = corners @ turn.T
        # Rows run along the bed's width, or along its depth.
        counts, plans = _count_rows(
            laid, beside, back, places @ turn.T, _extent(box), _extent(-box), sizes, _SHIFTS, area
        )
        for flip in range(2):
            for k in np.argsort(-counts[:, flip], kind="stable")[:best]:
                if counts[k, flip] > 0:
                    found.append((int(counts[k, flip]), len(found), turn_deg, flip, plans[k, flip], k))
    found.sort(key=lambda one: (-one[0], one[1]))
    layouts = []
    for _, _, turn_deg, flip, plan, k in found[:best]:
        turn = turned(turn_deg)
        w, h = (depth_mm, width_mm) if flip else (width_mm, depth_mm)
        box = corners @ turn.T
        second = (places @ turn.T)[k - 1] if k > 0 else None
        spots = _spots(plan, _extent(box), _extent(-box), second, w, h)
        layouts.append([_spot(x, y, over, turn_deg, flip, width_mm) for x, y, over in spots])
    return layouts


def _spot(x: float, y: float, over: bool, turn_deg: float, flip: int, width: float) -> Spot:
    turn_deg += 180.0 if over else 0.0
    if flip:  # rows run along the bed's depth: the whole is turned by a quarter
        x, y, turn_deg = width - y, x, turn_deg + 90.0
    return Spot(x, y, turn_deg % 360.0)


def turns_of(pieces: tuple[Polygon, ...], step_deg: float | None = _TURN_STEP) -> list[float]:
    """Give turns to try, degrees in [0, 180): by a round step, and with long edges along the rows."""
    ring = np.concatenate([np.asarray(piece.exterior.coords) for piece in pieces])
    rim = np.asarray(shapely.convex_hull(shapely.multipoints(ring)).exterior.coords)
    sides = np.vstack(
        [np.diff(rim, axis=0), *(np.diff(np.asarray(p.exterior.coords), axis=0) for p in pieces)]
    )
    length = np.hypot(*sides.T)
    order = np.argsort(-length, kind="stable")
    turns = [round(float(turn), 9) for turn in np.arange(0.0, 180.0, step_deg)] if step_deg else []
    own = 0
    for k in order:
        turn = -math.degrees(math.atan2(sides[k, 1], sides[k, 0])) % 180.0
        turn = 0.0 if abs(turn - 180.0) < 1e-9 else turn
        if own < _EDGE_TURNS and all(abs(turn - other) > 0.01 for other in turns):
            turns.append(turn)
            own += 1
    return turns


def _along(shape: Polygon | MultiPolygon, count: int) -> Floats:
    """Corners of a boundary, and points evenly along it, (n, 2)."""
    rim = shape.boundary
    even = shapely.line_interpolate_point(rim, np.linspace(0.0, 1.0, count, endpoint=False), normalized=True)
    corners = shapely.get_coordinates(shapely.simplify(rim, 0.05))
    return np.concatenate([corners[:count], shapely.get_coordinates(even)])


def _both(edges: Floats, turn: Floats) -> Floats:
    """Edges turned, the highest first."""
    laid = np.hstack([edges[:, :2] @ turn.T, edges[:, 2:] @ turn.T])
    return np.ascontiguousarray(laid[np.argsort(-np.maximum(laid[:, 1], laid[:, 3]), kind="stable")])


def _extent(corners: Floats) -> Floats:
    low, high = corners.min(axis=0), corners.max(axis=0)
    return np.array([low[0], high[0], low[1], high[1]])


@njit(cache=True, nogil=True, error_model="numpy")
def _reach_x(edges, dx, dy):  # type: ignore[no-untyped-def]
    """Farthest x at which the shape, moved by dx, dy, meets the x axis; 0 where it does not."""
    far = 0.0
    for e in range(edges.shape[0]):
        ya, yb = edges[e, 1] + dy, edges[e, 3] + dy
        if (ya < 0.0 and yb < 0.0) or (ya > 0.0 and yb > 0.0):
            continue
        xa, xb = edges[e, 0] + dx, edges[e, 2] + dx
        if ya == yb:
            # Its own lower or upper edge along the axis is boundary, and not in the way.
            continue
        far = max(far, xa + (xb - xa) * (-ya) / (yb - ya))
    return far


@njit(cache=True, nogil=True, error_model="numpy")
def _reach_y(edges, dx, dy, x, pitch):  # type: ignore[no-untyped-def]
    """Farthest y of the shape, moved by dx, dy, over x and every pitch beside it."""
    far = 0.0
    for e in range(edges.shape[0]):
        xa, xb = edges[e, 0] + dx, edges[e, 2] + dx
        ya, yb = edges[e, 1] + dy, edges[e, 3] + dy
        if max(ya, yb) <= far:
            break  # edges come highest first
        if xa == xb:
            continue
        low, high = min(xa, xb), max(xa, xb)
        at = x + pitch * math.ceil((low - x) / pitch - 1e-12)
        while at <= high:
            far = max(far, ya + (yb - ya) * (at - xa) / (xb - xa))
            at += pitch
    return far


@njit(cache=True, nogil=True, error_model="numpy")
def _in_row(x0, pitch, low, high, width):  # type: ignore[no-untyped-def]
    """Copies of a row that lie between 0 and the width: first index and number."""
    first = math.ceil((-low - x0 - 1e-6) / pitch)
    last = math.floor((width - high - x0 + 1e-6) / pitch)
    return first, max(last - first + 1, 0)


@njit(cache=True, nogil=True, error_model="numpy")
def _filled(x0, y0, pitch, shift, step, zigzag, one, two, sx, sy, pair, width, depth):  # type: ignore[no-untyped-def]
    """Count copies of a plan: parts at every row and pitch, each if it lies on the bed."""
    total = 0
    r = 0
    while True:
        bx = x0 + (shift * (r % 2) if zigzag else (shift * r) % pitch)
        by = y0 + step * r
        below = by + one[2]
        if pair:
            below = min(below, by + sy + two[2])
        if below > depth:
            return total
        if by + one[2] >= -1e-6 and by + one[3] <= depth + 1e-6:
            total += _in_row(bx, pitch, one[0], one[1], width)[1]
        if pair and by + sy + two[2] >= -1e-6 and by + sy + two[3] <= depth + 1e-6:
            total += _in_row(bx + sx, pitch, two[0], two[1], width)[1]
        r += 1


@njit(cache=True, nogil=True, error_model="numpy")
def _apart(alone, beside, back, sx, sy, pair, x, pitch):  # type: ignore[no-untyped-def]
    """Least distance upwards to a row that is shifted by x."""
    far = _reach_y(alone, 0.0, 0.0, x, pitch)
    if pair:
        far = max(far, _reach_y(beside, -sx, -sy, x, pitch))
        far = max(far, _reach_y(back, sx, sy, x, pitch))
    return far + 1e-9


@njit(cache=True, nogil=True, error_model="numpy")
def _clear(alone, beside, back, sx, sy, pair, pitch, shift, step, zigzag, tall):  # type: ignore[no-untyped-def]
    """Whether rows two and more apart keep clear of each other too."""
    m = 2
    while m * step < tall:
        x = shift * (m % 2) if zigzag else (m * shift) % pitch
        if _apart(alone, beside, back, sx, sy, pair, x, pitch) > m * step + 2e-9:
            return False
        m += 1
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _count_rows(alone, beside, back, places, one, two, sizes, shifts, area):  # type: ignore[no-untyped-def]
    """Try single rows (index 0) and a pair at every place, on every size of bed; the fullest plan of each.

    A plan is pitch, shift, step, zigzag, x0, y0. Plans that take much more room a part than the tightest
    are not laid out.
    """
    n = places.shape[0]
    counts = np.zeros((n + 1, sizes.shape[0]), dtype=np.int64)
    plans = np.zeros((n + 1, sizes.shape[0], 6))
    pitches = np.empty(n + 1)
    steps = np.empty((n + 1, shifts))
    tightest = 1e300
    for k in range(n + 1):
        pair = k > 0
        sx = places[k - 1, 0] if pair else 0.0
        sy = places[k - 1, 1] if pair else 0.0
        pitch = _reach_x(alone, 0.0, 0.0)
        if pair:
            pitch = max(pitch, _reach_x(beside, -sx, -sy), _reach_x(back, sx, sy))
        pitches[k] = pitch + 1e-9
        for j in range(shifts):
            steps[k, j] = _apart(alone, beside, back, sx, sy, pair, pitches[k] * j / shifts, pitches[k])
            room = pitches[k] * steps[k, j] / (2 if pair else 1)
            if room < area:
                # Nothing stands over this shift: a second row would fall into the first.
                steps[k, j] = 1e300
            else:
                tightest = min(tightest, room)
    for k in range(n + 1):
        pair = k > 0
        sx = places[k - 1, 0] if pair else 0.0
        sy = places[k - 1, 1] if pair else 0.0
        pitch = pitches[k]
        tall = max(alone[0, 1], alone[0, 3])
        if pair:
            tall = max(tall, max(beside[0, 1], beside[0, 3]) - sy, max(back[0, 1], back[0, 3]) + sy)
        for j in range(shifts):
            for zig in range(2):
                step = steps[k, j]
                if zig == 1:
                    if j == 0 or 2 * j == shifts:
                        continue
                    step = max(step, steps[k, shifts - j])
                if pitch * step / (2 if pair else 1) > _LOOSEST * tightest:
                    continue
                shift = pitch * j / shifts
                if not _clear(alone, beside, back, sx, sy, pair, pitch, shift, step, zig == 1, tall):
                    continue
                for size in range(sizes.shape[0]):
                    width, depth = sizes[size, 0], sizes[size, 1]
                    for vertical in range(2 if pair else 1):
                        y0 = -one[2]
                        if pair:
                            low = min(one[2], sy + two[2])
                            high = max(one[2], sy + two[2])
                            y0 = -low if vertical == 0 else -high
                        for side in range(8 if pair else 4):
                            box = two if side >= 4 else one
                            off = sx if side >= 4 else 0.0
                            move = shift if side % 4 >= 2 else 0.0
                            x0 = -box[0] - off - move if side % 2 == 0 else width - box[1] - off - move
                            x0 = x0 % pitch
                            total = _filled(
                                x0, y0, pitch, shift, step, zig == 1, one, two, sx, sy, pair, width, depth
                            )
                            if total > counts[k, size]:
                                counts[k, size] = total
                                plans[k, size, 0] = pitch
                                plans[k, size, 1] = shift
                                plans[k, size, 2] = step
                                plans[k, size, 3] = zig
                                plans[k, size, 4] = x0
                                plans[k, size, 5] = y0
    return counts, plans


def _spots(
    plan: Floats, one: Floats, two: Floats, second: Floats | None, width: float, depth: float
) -> list[tuple[float, float, bool]]:
    """Write a plan out: x, y of every copy and whether it is turned over."""
    pitch, shift, step, zigzag, x0, y0 = (float(value) for value in plan)
    shapes = [(0.0, 0.0, one, False)]
    if second is not None:
        shapes.append((float(second[0]), float(second[1]), two, True))
    spots = []
    row = 0
    while y0 + step * row + min(sy + box[2] for _, sy, box, _ in shapes) <= depth:
        bx = x0 + shift * (row % 2) if zigzag else x0 + (shift * row) % pitch
        by = y0 + step * row
        for sx, sy, box, over in shapes:
            if by + sy + box[2] >= -SLACK_MM and by + sy + box[3] <= depth + SLACK_MM:
                first, many = _in_row(bx + sx, pitch, box[0], box[1], width)
                spots += [(bx + sx + pitch * (first + i), by + sy, over) for i in range(many)]
        row += 1
    return spots

"""Support volume down real columns: what each pose must hold up, and what that support stands on.

A pose is seen along its build direction as a grid of square columns. The faces that need holding
up are painted into the columns first; then every face that looks up is dropped through the
columns that were painted, and each painted point keeps the highest of them below it. Nothing is
sorted and nothing else is stored, so most of the part is never touched: blocks of faces that
look the wrong way, or lie above everything that was painted over them, are skipped whole.

Areas and moments of the faces that need holding up are exact (summed over faces). Only the gap
under them is sampled, and the sample is corrected by the two sums that are known exactly, area
and height above the bed: a regression estimator (W. G. Cochran, Sampling Techniques, 3rd ed.,
1977, ch. 7). Where all support stands on the bed the volume is therefore exact, and a ledge
narrower than a column still counts in full.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from weakref import WeakKeyDictionary

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.measure.blocks import BLOCK_FACES, Blocks

Floats = NDArray[np.float64]
Single = np.float32

# Columns over the part's mean shadow. With the regression estimate this keeps the volume within
# about half a per cent of a ten times finer grid; see tests/measure/test_columns.py.
COLUMNS = 20_000
# A grid is at most this wide, which bounds memory for needles; their columns are then coarser.
WIDEST_GRID = 2_000
# The grid is turned against the part's own axes by the angle whose slope is the golden section:
# the slope worst approximated by fractions, so straight edges cross the columns most evenly.
GRID_TURN = math.atan((math.sqrt(5.0) - 1.0) / 2.0)

# A face needs holding up beyond the limit by more than this, so that rounding decides nothing.
LIMIT_TOLERANCE_DEG = 0.1
# The support penalty fades in over the limit ± this.
FADE_DEG = 2.0
# A face lies on the bed when it is level within this angle and no higher than this.
LEVEL_DEG = 1.0
ON_BED_MM = 0.02

TILE = 8  # columns along the side of a tile of the coarse map that tells blocks above from blocks below
HITS = 4 * COLUMNS  # painted points to begin with; a deeper part makes room for more
TAGS = 8  # kinds of faces that can be told apart in one count
# Added to the tag of a face that holds itself up after all, such as the ceiling of a small hole.
_FREE = 128

# What one count of one half of the grid adds up. `_SUMS` columns, then per tag two more.
(
    _AREA,
    _SHADOW,
    _MOMENT,
    _W_AREA,
    _W_MOMENT,
    _HITS,
    _GAP,
    _HEIGHT,
    _HEIGHT2,
    _GAP_HEIGHT,
    _W_HITS,
    _W_GAP,
    _W_HEIGHT,
    _W_HEIGHT2,
    _W_GAP_HEIGHT,
    _GAP_ON_PART,
    _SCAR,
    # The same again of the faces that hold themselves up after all.
    _F_SHADOW,
    _F_MOMENT,
    _F_W_AREA,
    _F_W_MOMENT,
    _F_HITS,
    _F_GAP,
    _F_HEIGHT,
    _F_HEIGHT2,
    _F_GAP_HEIGHT,
    _F_W_HITS,
    _F_W_GAP,
    _F_W_HEIGHT,
    _F_W_HEIGHT2,
    _F_W_GAP_HEIGHT,
    _SUMS,
) = range(32)


@dataclass(frozen=True, eq=False)
class Support:
    """What poses must hold up; every array is (P,), `tag_…` are (P, TAGS).

    Attributes
    ----------
    overhang_area : float64
        True area of the faces that need holding up, mm².
    overhang_projected : float64
        Their area seen from below, mm².
    volume : float64
        Volume from each such face down to the next surface below it or to the bed, mm³.
    volume_weighted : float64
        The same with faces weighed linearly from limit − 2° to limit + 2°, mm³.
    needed, needed_weighted : float64
        The same two without the faces that hold themselves up after all, mm³.
    volume_on_part : float64
        Part of `volume` that stands on the part, mm³.
    scar_area : float64
        Area that the support touches at its upper and its lower end, mm².
    tag_overhang_area, tag_landing_area : float64
        Upper and lower scars on the faces that carry each tag, mm².
    """

    overhang_area: Floats
    overhang_projected: Floats
    volume: Floats
    volume_weighted: Floats
    needed: Floats
    needed_weighted: Floats
    volume_on_part: Floats
    scar_area: Floats
    tag_overhang_area: Floats
    tag_landing_area: Floats


def column_pitch(hull_area_mm2: float, radius_mm: float, columns: int = COLUMNS) -> float:
    """Side of a column, mm, that puts about `columns` of them over the part's mean shadow.

    The mean shadow of a convex body is a quarter of its surface (A. Cauchy, 1841), so one pitch
    serves all poses and turns with the part.

    >>> round(column_pitch(600.0, 8.7, columns=150), 3)   # a 10 mm cube
    1.0
    """
    return max(math.sqrt(hull_area_mm2 / 4.0 / columns), 2.0 * radius_mm / WIDEST_GRID)


def count_columns(
    blocks: Blocks,
    directions: Floats,
    frame: Floats,
    pitch_mm: float,
    limit_deg: float,
    *,
    closed: bool = True,
    tags: NDArray[np.uint8] | None = None,
    free: NDArray[np.bool_] | None = None,
    judged_along: Floats | None = None,
    threads: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Support:
    """Count what every pose must hold up.

    Parameters
    ----------
    blocks : Blocks
        The part, sorted.
    directions : (P, 3) float64
        Build directions, unit vectors in part coordinates.
    frame : (3, 3) float64
        The part's own axes, rows; the grid of columns turns with them.
    pitch_mm : float
        Side of a column, mm.
    limit_deg : float
        Overhang limit, measured from the vertical wall, degrees.
    closed : bool
        On a mesh that is not closed any face can be what a support lands on, not only those that
        look up.
    tags : (F,) uint8, optional
        0, or 1 to TAGS for faces that matter, in the part's own face order.
    free : (F,) bool, optional
        Faces that hold themselves up whatever their angle: support that lands on them still counts.
    judged_along : (P, 3) float64, optional
        Directions along which faces are held against the overhang limit, where those are not the
        build directions themselves: a part laid slightly askew.
    threads : int, optional
        Threads to count on. The answer is the same bit for bit on any number.
    progress : callable, optional
        Called with the number of poses that a batch has added.

    Returns
    -------
    Support
    """
    rotations = np.empty((len(directions), 12), dtype=Single)
    rotations[:, 9:] = directions if judged_along is None else judged_along
    _look_along(np.ascontiguousarray(directions), np.ascontiguousarray(frame), pitch_mm, rotations)
    width = int(2.0 * blocks.radius / pitch_mm) + 8
    face_tags = (
        np.zeros(len(blocks.faces), dtype=np.uint8)
        if tags is None
        else np.ascontiguousarray(tags[blocks.original])
    )
    if free is not None:
        face_tags += np.uint8(_FREE) * free[blocks.original]
    angles = np.array(_angles(limit_deg), dtype=Single)
    sums = np.zeros((len(directions), 2, _SUMS + 2 * TAGS))
    landing_cosine = Single(1e-3) if closed else Single(-2.0)
    rooms = _ROOMS.setdefault(blocks, [])

    def run(start: int, stop: int, half_from: int = 0, half_to: int = 2) -> int:
        room = _room(rooms, len(blocks.x), width)
        pose = start
        while pose < stop:
            pose = _count(
                blocks.x, blocks.y, blocks.z, blocks.faces, blocks.normals, blocks.areas, face_tags,
                blocks.first, blocks.cone_axis, blocks.cone_cos, blocks.cone_sin, blocks.box_middle,
                blocks.box_half, rotations, pose, stop, half_from, half_to, width, angles, landing_cosine,
                Single(4e-6 * blocks.radius), *room.arrays, sums,
            )  # fmt: skip
            if pose < stop:
                room.grow()
        rooms.append(room)
        return stop - start

    _share_out(run, len(directions), threads or available_threads(), progress)
    return _support(sums, pitch_mm)


def available_threads() -> int:
    """Processors that this process may use; ORIENT_THREADS sets another number."""
    wanted = os.environ.get("ORIENT_THREADS", "")
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _share_out(
    run: Callable[..., int], poses: int, threads: int, progress: Callable[[int], None] | None
) -> None:
    """Deal the poses out in batches small enough to share evenly, and report as they come back.

    A single pose is shared by two threads, half of the grid each.
    """
    report = progress or (lambda _: None)
    if poses == 1 and threads > 1:
        half = _threads(threads).submit(run, 0, 1, 0, 1)
        run(0, 1, 1, 2)
        report(half.result())
        return
    size = max(1, min(64, -(-poses // (4 * threads))))
    starts = range(0, poses, size)
    stops = [min(start + size, poses) for start in starts]
    for counted in (map if threads == 1 else _threads(threads).map)(run, starts, stops):
        report(counted)


@cache
def _threads(count: int) -> ThreadPoolExecutor:
    """Threads are kept between calls: starting one takes as long as a tenth of a pose."""
    return ThreadPoolExecutor(count, thread_name_prefix="orient-columns")


if hasattr(os, "register_at_fork"):
    # A forked process has no threads but its own.
    os.register_at_fork(after_in_child=_threads.cache_clear)


class _Room:
    """Scratch memory of one thread: vertices as a pose sees them, columns, and painted points."""

    def __init__(self, vertices: int, width: int, hits: int) -> None:
        tiles = width // TILE + 2
        self.width = width
        self._fixed = (
            np.empty((3, vertices), dtype=Single),
            np.empty(vertices, dtype=np.int32),
            np.empty(BLOCK_FACES, dtype=np.int32),
            np.full(width * width, -1, dtype=np.int32),
            np.empty(width, dtype=np.int64),
            np.empty(width, dtype=np.int64),
            np.zeros(width, dtype=np.int64),
            np.full(width, width, dtype=np.int64),
            np.empty(tiles * tiles, dtype=Single),
            np.empty(width * width, dtype=np.int32),
            np.empty(width * width, dtype=Single),
        )
        self._hits = hits
        self._make_hits()

    def _make_hits(self) -> None:
        self.arrays = (
            *self._fixed,
            np.empty(self._hits, dtype=np.int32),
            np.empty(self._hits, dtype=Single),
            np.empty(self._hits, dtype=Single),
            np.empty(self._hits, dtype=np.int32),
            np.empty(self._hits, dtype=Single),
            np.empty(self._hits, dtype=np.int32),
        )

    def grow(self) -> None:
        """Hold four times the painted points, when a pose has painted more than fit."""
        self._hits *= 4
        self._make_hits()


# Rooms are kept as long as the blocks they were made for, so that a search, which asks for pose after
# pose, finds them ready.
_ROOMS: WeakKeyDictionary[Blocks, list[_Room]] = WeakKeyDictionary()


def _room(rooms: list[_Room], vertices: int, width: int) -> _Room:
    """Take a room that no other thread is in, or make one."""
    with suppress(IndexError):
        while True:
            room = rooms.pop()
            if room.width == width:
                return room
    return _Room(vertices, width, HITS)


@njit(cache=True, nogil=True, error_model="numpy")
def _look_along(directions, frame, pitch, rotations):  # type: ignore[no-untyped-def]
    """Rows x, y (in columns) and z (in mm) of every pose, turned against the part's own axes."""
    cosine, sine = math.cos(GRID_TURN) / pitch, math.sin(GRID_TURN) / pitch
    for pose in range(directions.shape[0]):
        b = directions[pose]
        a = frame[0]
        if abs(a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) >= 0.9:
            a = frame[1]
        along = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
        x0, x1, x2 = a[0] - along * b[0], a[1] - along * b[1], a[2] - along * b[2]
        length = math.sqrt(x0 * x0 + x1 * x1 + x2 * x2)
        x0, x1, x2 = x0 / length, x1 / length, x2 / length
        y0, y1, y2 = b[1] * x2 - b[2] * x1, b[2] * x0 - b[0] * x2, b[0] * x1 - b[1] * x0
        r = rotations[pose]
        r[0], r[1], r[2] = cosine * x0 + sine * y0, cosine * x1 + sine * y1, cosine * x2 + sine * y2
        r[3], r[4], r[5] = cosine * y0 - sine * x0, cosine * y1 - sine * x1, cosine * y2 - sine * x2
        r[6], r[7], r[8] = b[0], b[1], b[2]


@cache
def _angles(limit_deg: float) -> tuple[float, ...]:
    """Cosines against the build direction that tell the kinds of faces apart, and the limit itself."""

    def downward(angle_deg: float) -> float:
        return -math.sin(math.radians(min(max(angle_deg, 0.0), 90.0)))

    return (
        downward(limit_deg - FADE_DEG),
        downward(limit_deg + FADE_DEG),
        downward(limit_deg + LIMIT_TOLERANCE_DEG),
        downward(90.0 - LEVEL_DEG),
        limit_deg,
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _turn(x, y, z, r, half, seen, corner):  # type: ignore[no-untyped-def]
    """Vertices as a pose sees them, the column each lies in, and the lowest height."""
    across, back, up = seen[0], seen[1], seen[2]
    for i in range(x.shape[0]):
        u = r[0] * x[i] + r[1] * y[i] + r[2] * z[i] + half
        v = r[3] * x[i] + r[4] * y[i] + r[5] * z[i] + half
        across[i] = u
        back[i] = v
        up[i] = r[6] * x[i] + r[7] * y[i] + r[8] * z[i]
        # Three corners that agree in the row or in the column of this code enclose no column centre.
        corner[i] = (np.int32(v) << 16) | np.int32(u)
    # Four minima side by side: one alone waits for itself at every vertex.
    low0 = low1 = low2 = low3 = up[0]
    for i in range(0, x.shape[0] - 3, 4):
        low0 = min(low0, up[i])
        low1 = min(low1, up[i + 1])
        low2 = min(low2, up[i + 2])
        low3 = min(low3, up[i + 3])
    for i in range(x.shape[0] - x.shape[0] % 4, x.shape[0]):
        low0 = min(low0, up[i])
    return min(min(low0, low1), min(low2, low3))


@njit(cache=True, nogil=True, error_model="numpy")
def _columns_inside(x0, y0, z0, x1, y1, z1, x2, y2, z2, q0, q1, g0, g1, width, low, high, column, height):  # type: ignore[no-untyped-def]
    """Columns whose centre lies in a triangle, and the triangle's height there; returns how many."""
    twice = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    if twice == 0:
        return 0
    n = 0
    if (q1 - q0) * (g1 - g0) <= 12:  # small: try each column in the box
        inverse = Single(1) / twice
        for q in range(q0, q1):
            y = Single(q)
            for g in range(max(g0, low[q]), min(g1, high[q])):
                x = Single(g)
                u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) * inverse
                v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) * inverse
                w = Single(1) - u - v
                column[n] = q * width + g
                height[n] = u * z0 + v * z1 + w * z2
                n += 1 if (u >= 0) & (v >= 0) & (w > 0) else 0
        return n
    # Large: walk the rows between the edges.
    if y1 < y0:
        x0, x1, y0, y1, z0, z1 = x1, x0, y1, y0, z1, z0
    if y2 < y0:
        x0, x2, y0, y2, z0, z2 = x2, x0, y2, y0, z2, z0
    if y2 < y1:
        x1, x2, y1, y2, z1, z2 = x2, x1, y2, y1, z2, z1
    twice = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
    if twice == 0:  # the swap above can round a sliver's area to nothing
        return 0
    slope_x = ((z1 - z0) * (y2 - y0) - (z2 - z0) * (y1 - y0)) / twice
    slope_y = ((x1 - x0) * (z2 - z0) - (x2 - x0) * (z1 - z0)) / twice
    z_low = min(z0, min(z1, z2))
    z_high = max(z0, max(z1, z2))
    long_edge = (x2 - x0) / (y2 - y0)
    lower_edge = (x1 - x0) / (y1 - y0) if y1 > y0 else Single(0)
    upper_edge = (x2 - x1) / (y2 - y1) if y2 > y1 else Single(0)
    for q in range(q0, q1):
        y = Single(q)
        xa = x0 + (y - y0) * long_edge
        xb = x0 + (y - y0) * lower_edge if y < y1 else x1 + (y - y1) * upper_edge
        start = max(np.int64(np.ceil(min(xa, xb))), low[q])
        stop = min(np.int64(np.ceil(max(xa, xb))), high[q])
        z = z0 + slope_y * (y - y0) - slope_x * x0
        for g in range(start, stop):
            column[n] = q * width + g
            # Steep faces: rounding must not carry the height beyond the triangle's own.
            plane = z + slope_x * Single(g)
            height[n] = min(max(plane, z_low), z_high)
            # A sliver so thin that its slope overflows has no height. (The test also keeps the compiler
            # from preparing eight columns at a time, which costs more than the two or three there are.)
            n += 1 if abs(plane) < Single(1e30) else 0
    return n


@njit(cache=True, nogil=True, error_model="numpy")
def _count(  # type: ignore[no-untyped-def]
    x, y, z, faces, normals, areas, tags, first, cone_axis, cone_cos, cone_sin, box_middle, box_half,
    rotations, start, stop, half_from, half_to, width, angles, landing, touching,
    seen, corner, near, head, row_low, row_high, all_low, all_high, tile_top, column, height,
    hit_column, hit_height, hit_weight, hit_next, below, below_face, sums,
):  # fmt: skip
    """Count poses start to stop into `sums`; returns the first pose that did not fit the scratch memory.

    Each pose is counted in two halves of the grid that are added up afterwards, whatever the number
    of threads, so that one pose can be shared by two threads without changing a bit.
    """
    half = Single(width * 0.5)
    for pose in range(start, stop):
        lowest = _turn(x, y, z, rotations[pose], half, seen, corner)
        for part in range(half_from, half_to):
            row0 = part * (width // 2)
            row1 = width if part == 1 else width // 2
            # Loops, not slices: compiling a slice costs the first run half a second.
            for q in range(width):
                row_low[q] = width
                row_high[q] = 0
            for tile in range(tile_top.shape[0]):
                tile_top[tile] = Single(-1e30)
            r, out = rotations[pose], sums[pose, part]
            for i in range(out.shape[0]):
                out[i] = 0.0
            hits = _paint(
                faces, normals, areas, tags, first, cone_axis, cone_cos, cone_sin, box_middle, box_half,
                r, width, row0, row1, angles, lowest, seen, corner, head, row_low, row_high, all_low,
                all_high, tile_top, column, height, hit_column, hit_height, hit_weight, hit_next, below,
                below_face, out,
            )  # fmt: skip
            if hits < 0:
                for i in range(-hits - 1):
                    head[hit_column[i]] = -1
                return pose
            _drop(
                faces, normals, first, cone_axis, cone_cos, cone_sin, box_middle, box_half,
                r, width, row0, row1, landing, touching, seen, corner, near, head, row_low, row_high,
                tile_top, column, height, hit_height, hit_next, below, below_face,
            )  # fmt: skip
            _add_up(
                hits, lowest, normals, tags, r, head,
                hit_column, hit_height, hit_weight, below, below_face, out,
            )  # fmt: skip
    return stop


@njit(cache=True, nogil=True, error_model="numpy")
def _paint(  # type: ignore[no-untyped-def]
    faces, normals, areas, tags, first, cone_axis, cone_cos, cone_sin, box_middle, box_half,
    r, width, row0, row1, angles, lowest, seen, corner, head, row_low, row_high, all_low, all_high,
    tile_top, column, height, hit_column, hit_height, hit_weight, hit_next, below, below_face, out,
):  # fmt: skip
    """Paint the faces that may need holding up into the columns.

    Returns the number of points, or −n − 1 when there was no room beyond n.
    """
    fade_from, fade_to, sharp, level, limit = angles[0], angles[1], angles[2], angles[3], angles[4]
    across, back, up = seen[0], seen[1], seen[2]
    tiles = width // TILE + 1
    half = Single(width * 0.5)
    third = Single(1.0 / 3.0)
    hits = 0
    # Five running sums in registers; through memory each would wait for itself at every face.
    area = shadows = moments = weighted_area = weighted_moment = 0.0
    for block in range(first.shape[0] - 1):
        cosine = cone_axis[block, 0] * r[9] + cone_axis[block, 1] * r[10] + cone_axis[block, 2] * r[11]
        sine = math.sqrt(max(Single(0), Single(1) - cosine * cosine))
        if cosine > -cone_cos[block] and cosine * cone_cos[block] - sine * cone_sin[block] >= fade_from:
            continue
        middle = (
            r[3] * box_middle[block, 0] + r[4] * box_middle[block, 1] + r[5] * box_middle[block, 2] + half
        )
        reach = (
            abs(r[3]) * box_half[block, 0] + abs(r[4]) * box_half[block, 1] + abs(r[5]) * box_half[block, 2]
        )
        if middle + reach < row0 or middle - reach > row1:
            continue
        for face in range(first[block], first[block + 1]):
            down = normals[face, 0] * r[9] + normals[face, 1] * r[10] + normals[face, 2] * r[11]
            if down >= fade_from:
                continue
            a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
            y0, y1, y2 = back[a], back[b], back[c]
            z0, z1, z2 = up[a], up[b], up[c]
            top = max(z0, max(z1, z2))
            if down <= level and top <= lowest + Single(ON_BED_MM):
                continue
            weight = Single(1)
            if down > fade_to:
                angle = Single(math.degrees(math.asin(-down)))
                weight = (angle - (limit - Single(FADE_DEG))) / Single(2 * FADE_DEG)
            mean_y = (y0 + y1 + y2) * third
            if mean_y >= row0 and mean_y < row1:
                facing = normals[face, 0] * r[6] + normals[face, 1] * r[7] + normals[face, 2] * r[8]
                shadow = -facing * areas[face]
                moment = shadow * ((z0 + z1 + z2) * third - lowest)
                weighted_area += weight * shadow
                weighted_moment += weight * moment
                tag = tags[face]
                if tag >= _FREE:
                    out[_F_W_AREA] += weight * shadow
                    out[_F_W_MOMENT] += weight * moment
                if down < sharp:
                    area += areas[face]
                    shadows += shadow
                    moments += moment
                    if tag >= _FREE:
                        out[_F_SHADOW] += shadow
                        out[_F_MOMENT] += moment
                        tag -= _FREE
                    if tag > 0:
                        out[_SUMS + tag - 1] += areas[face]
            differs = (corner[a] ^ corner[b]) | (corner[a] ^ corner[c])
            if ((differs & 0xFFFF) == 0) | ((differs >> 16) == 0):
                continue
            x0, x1, x2 = across[a], across[b], across[c]
            q0 = max(np.int64(np.ceil(min(y0, min(y1, y2)))), row0)
            q1 = min(np.int64(np.ceil(max(y0, max(y1, y2)))), row1)
            g0 = np.int64(np.ceil(min(x0, min(x1, x2))))
            g1 = np.int64(np.ceil(max(x0, max(x1, x2))))
            if q0 >= q1:
                continue
            n = _columns_inside(
                x0, y0, z0, x1, y1, z1, x2, y2, z2, q0, q1, g0, g1, width, all_low, all_high, column, height
            )
            if n == 0:
                continue
            if hits + n > hit_column.shape[0]:
                return -hits - 1
            for q in range(q0, q1):
                row_low[q] = min(row_low[q], g0)
                row_high[q] = max(row_high[q], g1)
            for u in range(q0 // TILE, (q1 - 1) // TILE + 1):
                for v in range(g0 // TILE, (g1 - 1) // TILE + 1):
                    tile_top[u * tiles + v] = max(tile_top[u * tiles + v], top)
            # The sign of the stored weight says whether the face also counts sharply, and two more that it
            # holds itself up.
            signed = weight + Single(2) if tags[face] >= _FREE else weight
            signed = signed if down < sharp else -signed
            for i in range(n):
                hit_column[hits] = column[i]
                hit_height[hits] = height[i]
                hit_weight[hits] = signed
                hit_next[hits] = head[column[i]]
                below[hits] = Single(-1e30)
                below_face[hits] = -1
                head[column[i]] = hits
                hits += 1
    out[_AREA] = area
    out[_SHADOW] = shadows
    out[_MOMENT] = moments
    out[_W_AREA] = weighted_area
    out[_W_MOMENT] = weighted_moment
    return hits


@njit(cache=True, nogil=True, error_model="numpy")
def _drop(  # type: ignore[no-untyped-def]
    faces, normals, first, cone_axis, cone_cos, cone_sin, box_middle, box_half,
    r, width, row0, row1, landing, touching, seen, corner, near, head, row_low, row_high,
    tile_top, column, height, hit_height, hit_next, below, below_face,
):  # fmt: skip
    """Give every painted point the highest surface below it that a support can land on."""
    across, back, up = seen[0], seen[1], seen[2]
    tiles = width // TILE + 1
    half = Single(width * 0.5)
    for block in range(first.shape[0] - 1):
        cosine = cone_axis[block, 0] * r[6] + cone_axis[block, 1] * r[7] + cone_axis[block, 2] * r[8]
        sine = math.sqrt(max(Single(0), Single(1) - cosine * cosine))
        if cosine < cone_cos[block] and cosine * cone_cos[block] + sine * cone_sin[block] <= landing:
            continue
        m0, m1, m2 = box_middle[block, 0], box_middle[block, 1], box_middle[block, 2]
        h0, h1, h2 = box_half[block, 0], box_half[block, 1], box_half[block, 2]
        middle = r[3] * m0 + r[4] * m1 + r[5] * m2 + half
        reach = abs(r[3]) * h0 + abs(r[4]) * h1 + abs(r[5]) * h2
        if middle + reach < row0 or middle - reach > row1:
            continue
        u0 = np.int64(max(Single(row0), middle - reach)) // TILE
        u1 = min(np.int64(middle + reach), row1) // TILE
        middle = r[0] * m0 + r[1] * m1 + r[2] * m2 + half
        reach = abs(r[0]) * h0 + abs(r[1]) * h1 + abs(r[2]) * h2
        v0 = np.int64(max(Single(0), middle - reach)) // TILE
        v1 = min(np.int64(middle + reach) // TILE, tiles - 1)
        bottom = r[6] * m0 + r[7] * m1 + r[8] * m2 - (abs(r[6]) * h0 + abs(r[7]) * h1 + abs(r[8]) * h2)
        under = False
        for u in range(u0, u1 + 1):
            for v in range(v0, v1 + 1):
                if tile_top[u * tiles + v] > bottom:
                    under = True
                    break
            if under:
                break
        if not under:
            continue
        # Most faces are smaller than a column. Those that can reach a centre are listed first, without a
        # branch that the processor would guess wrong.
        count = 0
        for face in range(first[block], first[block + 1]):
            a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
            differs = (corner[a] ^ corner[b]) | (corner[a] ^ corner[c])
            near[count] = face
            count += 1 if ((differs & 0xFFFF) != 0) & ((differs >> 16) != 0) else 0
        for index in range(count):
            face = near[index]
            a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
            if normals[face, 0] * r[6] + normals[face, 1] * r[7] + normals[face, 2] * r[8] <= landing:
                continue
            x0, x1, x2 = across[a], across[b], across[c]
            y0, y1, y2 = back[a], back[b], back[c]
            q0 = max(np.int64(np.ceil(min(y0, min(y1, y2)))), row0)
            q1 = min(np.int64(np.ceil(max(y0, max(y1, y2)))), row1)
            g0 = np.int64(np.ceil(min(x0, min(x1, x2))))
            g1 = np.int64(np.ceil(max(x0, max(x1, x2))))
            if q0 >= q1:
                continue
            n = _columns_inside(
                x0, y0, up[a], x1, y1, up[b], x2, y2, up[c],
                q0, q1, g0, g1, width, row_low, row_high, column, height,
            )  # fmt: skip
            for i in range(n):
                hit = head[column[i]]
                while hit >= 0:
                    if height[i] < hit_height[hit] - touching and height[i] > below[hit]:
                        below[hit] = height[i]
                        below_face[hit] = face
                    hit = hit_next[hit]


@njit(cache=True, nogil=True, error_model="numpy")
def _add_up(  # type: ignore[no-untyped-def]
    hits, lowest, normals, tags, r, head, hit_column, hit_height, hit_weight, below, below_face, out
):
    """Add up the gaps under the painted points, and leave the columns clean for the next pose."""
    for i in range(hits):
        head[hit_column[i]] = -1
        h = np.float64(hit_height[i] - lowest)
        face = below_face[i]
        gap = h if face < 0 else np.float64(hit_height[i] - below[i])
        weight = np.float64(abs(hit_weight[i]))
        if weight > 1.5:
            weight -= 2.0
            out[_F_W_HITS] += weight
            out[_F_W_GAP] += weight * gap
            out[_F_W_HEIGHT] += weight * h
            out[_F_W_HEIGHT2] += weight * h * h
            out[_F_W_GAP_HEIGHT] += weight * gap * h
            if hit_weight[i] > 0:
                out[_F_HITS] += 1.0
                out[_F_GAP] += gap
                out[_F_HEIGHT] += h
                out[_F_HEIGHT2] += h * h
                out[_F_GAP_HEIGHT] += gap * h
        out[_W_HITS] += weight
        out[_W_GAP] += weight * gap
        out[_W_HEIGHT] += weight * h
        out[_W_HEIGHT2] += weight * h * h
        out[_W_GAP_HEIGHT] += weight * gap * h
        if hit_weight[i] > 0:
            out[_HITS] += 1.0
            out[_GAP] += gap
            out[_HEIGHT] += h
            out[_HEIGHT2] += h * h
            out[_GAP_HEIGHT] += gap * h
            if face >= 0:
                out[_GAP_ON_PART] += gap
                up = abs(normals[face, 0] * r[6] + normals[face, 1] * r[7] + normals[face, 2] * r[8])
                landed = 1.0 / max(np.float64(up), 0.05)
                out[_SCAR] += landed
                tag = tags[face] & (_FREE - 1)
                if tag > 0:
                    out[_SUMS + TAGS + tag - 1] += landed


def _support(sums: Floats, pitch_mm: float) -> Support:
    """Turn sums over both halves of the grid into areas and volumes."""
    s = sums[:, 0] + sums[:, 1]
    volumes = np.empty((len(s), 6))
    _fit(s, pitch_mm, volumes)
    volume, weighted, on_part, column_area, needed, needed_weighted = volumes.T
    return Support(
        overhang_area=s[:, _AREA],
        overhang_projected=s[:, _SHADOW],
        volume=volume,
        volume_weighted=weighted,
        needed=needed,
        needed_weighted=needed_weighted,
        volume_on_part=on_part,
        scar_area=s[:, _AREA] + s[:, _SCAR] * column_area,
        tag_overhang_area=s[:, _SUMS : _SUMS + TAGS],
        tag_landing_area=s[:, _SUMS + TAGS :] * column_area[:, None],
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _fit(sums, pitch, volumes):  # type: ignore[no-untyped-def]
    """Volume, weighted volume, volume on the part, and the shadow that one painted point stands for."""
    for pose in range(sums.shape[0]):
        s = sums[pose]
        volumes[pose, 0] = _regressed(
            s[_HITS], s[_GAP], s[_HEIGHT], s[_HEIGHT2], s[_GAP_HEIGHT], s[_SHADOW], s[_MOMENT]
        )
        volumes[pose, 1] = _regressed(
            s[_W_HITS], s[_W_GAP], s[_W_HEIGHT], s[_W_HEIGHT2], s[_W_GAP_HEIGHT], s[_W_AREA], s[_W_MOMENT]
        )
        volumes[pose, 2] = volumes[pose, 0] * s[_GAP_ON_PART] / s[_GAP] if s[_GAP] > 0.0 else 0.0
        # Sampled columns stand for the exact shadow.
        volumes[pose, 3] = s[_SHADOW] / s[_HITS] if s[_HITS] > 0.0 else pitch * pitch
        volumes[pose, 4], volumes[pose, 5] = volumes[pose, 0], volumes[pose, 1]
        if s[_F_W_AREA] > 0.0:
            volumes[pose, 4] = _regressed(
                s[_HITS] - s[_F_HITS],
                s[_GAP] - s[_F_GAP],
                s[_HEIGHT] - s[_F_HEIGHT],
                s[_HEIGHT2] - s[_F_HEIGHT2],
                s[_GAP_HEIGHT] - s[_F_GAP_HEIGHT],
                s[_SHADOW] - s[_F_SHADOW],
                s[_MOMENT] - s[_F_MOMENT],
            )
            volumes[pose, 5] = _regressed(
                s[_W_HITS] - s[_F_W_HITS],
                s[_W_GAP] - s[_F_W_GAP],
                s[_W_HEIGHT] - s[_F_W_HEIGHT],
                s[_W_HEIGHT2] - s[_F_W_HEIGHT2],
                s[_W_GAP_HEIGHT] - s[_F_W_GAP_HEIGHT],
                s[_W_AREA] - s[_F_W_AREA],
                s[_W_MOMENT] - s[_F_W_MOMENT],
            )


@njit(cache=True, nogil=True, error_model="numpy")
def _regressed(n, gap, height, height2, gap_height, area, moment):  # type: ignore[no-untyped-def]
    """Volume from sampled gaps, corrected by the exact area and the exact moment about the bed.

    The gap is fitted as α + β·height by least squares over the sample; α·area + β·moment is then
    the regression estimate of the total (Cochran 1977, ch. 7).
    """
    if gap == height or n < 1e-6:
        # Every painted point reaches the bed, or there is none and the bed is taken: nothing to estimate.
        return max(moment, 0.0)
    spread = height2 - height * height / n
    beta = 0.0
    # Level ceilings have no spread to fit: the mean gap times the area is then exact.
    if n > 8.0 and spread > 1e-6 * height2:
        beta = (gap_height - gap * height / n) / spread
    alpha = (gap - beta * height) / n
    return min(max(alpha * area + beta * moment, 0.0), moment)

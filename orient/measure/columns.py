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
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from queue import SimpleQueue
from threading import Thread
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.measure.blocks import BLOCK_FACES, Blocks
from orient.measure.painting import (
    AREA,
    F_GAP,
    F_GAP_HEIGHT,
    F_HEIGHT,
    F_HEIGHT2,
    F_HITS,
    F_MOMENT,
    F_SHADOW,
    F_W_AREA,
    F_W_GAP,
    F_W_GAP_HEIGHT,
    F_W_HEIGHT,
    F_W_HEIGHT2,
    F_W_HITS,
    F_W_MOMENT,
    FADE_DEG,
    FREE,
    GAP,
    GAP_HEIGHT,
    GAP_ON_PART,
    HEIGHT,
    HEIGHT2,
    HITS,
    MOMENT,
    QUEUE,
    SCAR,
    SEEN,
    SHADOW,
    SIGHT,
    SUMS,
    TAGS,
    W_AREA,
    W_GAP,
    W_GAP_HEIGHT,
    W_HEIGHT,
    W_HEIGHT2,
    W_HITS,
    W_MOMENT,
    count_poses,
)
from orient.measure.sharing import available_threads, share_out

Floats = NDArray[np.float64]
Single = np.float32

# Columns over the part's mean shadow. With the regression estimate this keeps the volume within
# about half a per cent of a ten times finer grid; see tests/measure/test_columns.py.
COLUMNS = 12_000
# A grid is at most this wide, which bounds memory for needles; their columns are then coarser.
WIDEST_GRID = 2_000
# The grid is turned against the part's own axes by the angle whose slope is the golden section:
# the slope worst approximated by fractions, so straight edges cross the columns most evenly.
GRID_TURN = math.atan((math.sqrt(5.0) - 1.0) / 2.0)

# A face needs holding up beyond the limit by more than this, so that rounding decides nothing.
LIMIT_TOLERANCE_DEG = 0.1
# A face lies on the bed when it is level within this angle and no higher than ON_BED_MM.
LEVEL_DEG = 1.0

# Tiles tell what lies above all that was painted: at most about so many along a side of the grid.
TILES = 100
_UNTAGGED = np.zeros(0, dtype=np.uint8)
POINTS = 4 * COLUMNS  # painted points to begin with; a deeper part makes room for more


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
    shift = max(1, (width // TILES).bit_length())
    face_tags = _tags(blocks, tags, free)
    angles = _angles(limit_deg)
    sums = np.empty((len(directions), 2, SUMS + 2 * TAGS))
    landing_cosine = Single(1e-3) if closed else Single(-2.0)
    touching = Single(4e-6 * blocks.radius)
    rooms = _ROOMS.setdefault(blocks, [])

    def given(room: _Room, start: int, stop: int, half_from: int = 0, half_to: int = 2) -> tuple[Any, ...]:
        return (
            blocks.lanes, blocks.runs, blocks.first, blocks.normals, blocks.areas, face_tags, rotations,
            start, stop, half_from, half_to, width, shift, angles, landing_cosine, touching,
            *room.arrays, sums,
        )  # fmt: skip

    def run(start: int, stop: int, half_from: int = 0, half_to: int = 2) -> None:
        room = _room(rooms, width)
        pose = start
        while (pose := count_poses(*given(room, pose, stop, half_from, half_to))) < stop:
            room.grow()
        rooms.append(room)

    threads = threads or available_threads()
    if len(directions) == 1 and threads > 1:
        _share_one(given, run, rooms, width)
        if progress:
            progress(1)
    else:
        share_out(run, len(directions), threads, progress)
    table = np.empty((len(directions), 8 + 2 * TAGS))
    _fit(sums, pitch_mm, table)
    figures: tuple[Floats, ...] = (*table.T[:8], table[:, 8 : 8 + TAGS], table[:, 8 + TAGS :])
    return Support(*figures)


def _tags(
    blocks: Blocks, tags: NDArray[np.uint8] | None, free: NDArray[np.bool_] | None
) -> NDArray[np.uint8]:
    """Tags in block order, empty where no face has one."""
    if tags is None and free is None:
        return _UNTAGGED
    in_order = np.zeros(len(blocks.faces), dtype=np.uint8)
    if tags is not None:
        in_order += tags[blocks.original]
    if free is not None:
        in_order += np.uint8(FREE) * free[blocks.original]
    return in_order


def _share_one(
    given: Callable[..., tuple[Any, ...]], run: Callable[..., None], rooms: list[_Room], width: int
) -> None:
    """Share a single pose between two threads, half of the grid each.

    All is made ready before the other thread is woken, so that the two do not wait for one another's Python.
    """
    room, other = _room(rooms, width), _room(rooms, width)
    mine = given(room, 0, 1, 1, 2)
    done: SimpleQueue[int | BaseException] = SimpleQueue()
    _partner().put((given(other, 0, 1, 0, 1), done))
    fits = count_poses(*mine)
    others_fits = done.get()
    # Each thread finds its own room again, still in its processor's cache.
    rooms += (other, room)
    if isinstance(others_fits, BaseException):
        raise others_fits
    for half, ended in ((1, fits), (0, others_fits)):
        if ended < 1:  # there was no room for all that the pose paints
            run(0, 1, half, half + 1)


@cache
def _partner() -> SimpleQueue[tuple[tuple[Any, ...], SimpleQueue[int | BaseException]]]:
    """A thread that counts the first half of a pose: handing over to a pool takes three times as long."""
    tasks: SimpleQueue[tuple[tuple[Any, ...], SimpleQueue[int | BaseException]]] = SimpleQueue()

    def work() -> None:
        while True:
            given, done = tasks.get()
            try:
                done.put(count_poses(*given))
            except BaseException as error:
                done.put(error)

    Thread(target=work, name="orient-columns-partner", daemon=True).start()
    return tasks


if hasattr(os, "register_at_fork"):
    # A forked process has no threads but its own.
    os.register_at_fork(after_in_child=_partner.cache_clear)


class _Room:
    """Scratch memory of one thread: a block as a pose sees it, columns, and painted points."""

    def __init__(self, width: int, points: int) -> None:
        self.width = width
        self._fixed = (
            np.empty(SEEN, dtype=Single),
            np.zeros(QUEUE, dtype=Single),
            np.empty(SIGHT, dtype=Single),
            *(np.empty(size * BLOCK_FACES, dtype=np.int32) for size in (1, 1, 1, 4, 1, 1)),
            np.empty(10 * BLOCK_FACES),
            np.empty(width, dtype=np.int64),
            np.full(width * width, -1, dtype=np.int32),
            np.empty(width, dtype=np.int64),
            np.empty(width, dtype=np.int64),
            np.zeros(width, dtype=np.int64),
            np.full(width, width, dtype=np.int64),
            np.empty(min(width // 2 + 4, TILES + 6) ** 2 + 1, dtype=Single),
            np.empty(width * width, dtype=np.int32),
            np.empty(width * width, dtype=Single),
        )
        self._points = points
        self._make_points()

    def _make_points(self) -> None:
        self.arrays = (
            *self._fixed,
            np.empty(self._points, dtype=np.int32),
            np.empty(self._points, dtype=Single),
            np.empty(self._points, dtype=Single),
            np.empty(self._points, dtype=np.int32),
            np.empty(self._points, dtype=Single),
            np.empty(self._points, dtype=np.int32),
        )

    def grow(self) -> None:
        """Hold four times the painted points, when a pose has painted more than fit."""
        self._points *= 4
        self._make_points()


# Rooms are kept as long as the blocks they were made for, so that a search, which asks for pose after
# pose, finds them ready.
_ROOMS: WeakKeyDictionary[Blocks, list[_Room]] = WeakKeyDictionary()


def _room(rooms: list[_Room], width: int) -> _Room:
    """Take a room that no other thread is in, or make one."""
    with suppress(IndexError):
        while True:
            room = rooms.pop()
            if room.width == width:
                return room
    return _Room(width, POINTS)


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
def _angles(limit_deg: float) -> NDArray[np.float32]:
    """Cosines against the build direction that tell the kinds of faces apart, and the limit itself."""

    def downward(angle_deg: float) -> float:
        return -math.sin(math.radians(min(max(angle_deg, 0.0), 90.0)))

    return np.array(
        [
            downward(limit_deg - FADE_DEG),
            downward(limit_deg + FADE_DEG),
            downward(limit_deg + LIMIT_TOLERANCE_DEG),
            downward(90.0 - LEVEL_DEG),
            limit_deg,
        ],
        dtype=Single,
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _fit(sums, pitch, table):  # type: ignore[no-untyped-def]
    """Turn sums over both halves of the grid into areas and volumes, in the order of `Support`."""
    for pose in range(sums.shape[0]):
        s = sums[pose, 0]
        for i in range(s.shape[0]):
            s[i] += sums[pose, 1, i]
        out = table[pose]
        out[0], out[1] = s[AREA], s[SHADOW]
        out[2] = _regressed(s[HITS], s[GAP], s[HEIGHT], s[HEIGHT2], s[GAP_HEIGHT], s[SHADOW], s[MOMENT])
        out[3] = _regressed(
            s[W_HITS], s[W_GAP], s[W_HEIGHT], s[W_HEIGHT2], s[W_GAP_HEIGHT], s[W_AREA], s[W_MOMENT]
        )
        out[4], out[5] = out[2], out[3]
        if s[F_W_AREA] > 0.0:
            out[4] = _regressed(
                s[HITS] - s[F_HITS],
                s[GAP] - s[F_GAP],
                s[HEIGHT] - s[F_HEIGHT],
                s[HEIGHT2] - s[F_HEIGHT2],
                s[GAP_HEIGHT] - s[F_GAP_HEIGHT],
                s[SHADOW] - s[F_SHADOW],
                s[MOMENT] - s[F_MOMENT],
            )
            out[5] = _regressed(
                s[W_HITS] - s[F_W_HITS],
                s[W_GAP] - s[F_W_GAP],
                s[W_HEIGHT] - s[F_W_HEIGHT],
                s[W_HEIGHT2] - s[F_W_HEIGHT2],
                s[W_GAP_HEIGHT] - s[F_W_GAP_HEIGHT],
                s[W_AREA] - s[F_W_AREA],
                s[W_MOMENT] - s[F_W_MOMENT],
            )
        out[6] = out[2] * s[GAP_ON_PART] / s[GAP] if s[GAP] > 0.0 else 0.0
        # Sampled columns stand for the exact shadow.
        column_area = s[SHADOW] / s[HITS] if s[HITS] > 0.0 else pitch * pitch
        out[7] = s[AREA] + s[SCAR] * column_area
        for tag in range(TAGS):
            out[8 + tag] = s[SUMS + tag]
            out[8 + TAGS + tag] = s[SUMS + TAGS + tag] * column_area


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

"""Beds laid out: how many parts lie on each, and where."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.handover.fill import Fill
from orient.handover.rows import SLACK_MM, Spot, rows_on, turns_of
from orient.handover.silhouette import Silhouette, turned

Floats = NDArray[np.float64]

# Parts nearer than this are no parts apart, mm.
LEAST_GAP_MM = 0.01
# Turns at which single parts are tried in what rows leave free, and among parts of several kinds.
_FILL_TURNS = 8
# Among parts of several kinds outlines are drawn in no more corners than this, up to so far outside, mm.
_MIXED_CORNERS = 20
_MIXED_MM = 1.0
# Turns of each part there: more would ask for many more pairs.
_MIXED_TURNS = 8
# Full layouts of like parts whose rest is filled up, the best of which is taken.
_TRIED = 3


@dataclass(frozen=True)
class Room:
    """A bed and what to keep free.

    Attributes
    ----------
    width_mm, depth_mm : float
        Of the bed.
    margin_mm : float
        Free at every side.
    gap_mm : float
        Between parts, or between their brims.
    """

    width_mm: float
    depth_mm: float
    margin_mm: float
    gap_mm: float

    @property
    def inner_mm(self) -> tuple[float, float]:
        """Room for parts and brims."""
        return self.width_mm - 2 * self.margin_mm, self.depth_mm - 2 * self.margin_mm


@dataclass(frozen=True)
class Placement:
    """One copy on a bed: turned about the origin of its silhouette, then moved there.

    Attributes
    ----------
    kind : int
        Which part.
    x_mm, y_mm : float
        From the front left corner of the bed.
    turn_deg : float
        Counter-clockwise seen from above, 0 to below 360.
    """

    kind: int
    x_mm: float
    y_mm: float
    turn_deg: float


@dataclass(frozen=True)
class Bed:
    """A bed, and how often it is run.

    Attributes
    ----------
    placements : tuple of Placement
        Front row first.
    times : int
        Beds that are laid out alike.
    """

    placements: tuple[Placement, ...]
    times: int

    def count(self, kind: int) -> int:
        """Copies of a part on it."""
        return sum(one.kind == kind for one in self.placements)


def lay_beds(
    shapes: Sequence[Silhouette],
    copies: Sequence[int],
    room: Room,
    brims_mm: Sequence[float] | None = None,
) -> tuple[Bed, ...]:
    """Lay parts on as few beds as this finds.

    Like parts lie in rows that interlock, and what rows leave free is filled one by one; never fewer than
    rectangles round them in rows and columns would give. Of several kinds, those that cover most come
    first, each at the lowest place that is free. Beds that would be laid out alike are counted, not laid
    out again.

    Parameters
    ----------
    shapes : sequence of Silhouette
        Kinds of parts.
    copies : sequence of int
        How many of each.
    room : Room
        The bed.
    brims_mm : sequence of float, optional
        Width of the brim round each kind.

    Returns
    -------
    tuple of Bed
        In the order in which they are run.

    Raises
    ------
    OrientError
        For a part for which the bed has no room.

    Examples
    --------
    >>> from orient.handover.silhouette import silhouette_from
    >>> square = silhouette_from(shapely.box(-20, -20, 20, 20))
    >>> beds = lay_beds([square], [100], Room(250.0, 250.0, 0.0, 2.0))
    >>> [(len(bed.placements), bed.times) for bed in beds]
    [(36, 2), (28, 1)]
    """
    brims = [0.0] * len(shapes) if brims_mm is None else [float(brim) for brim in brims_mm]
    room = Room(room.width_mm, room.depth_mm, room.margin_mm, max(room.gap_mm, LEAST_GAP_MM))
    if len(shapes) == 1:
        return _alike(shapes[0], copies[0], room, brims[0])
    return _mixed(shapes, copies, room, brims)


def most_on(shape: Silhouette, room: Room, brim_mm: float = 0.0) -> list[Spot]:
    """Fill one bed with copies of one part.

    Returns
    -------
    list of Spot
        Front row first, from the corner of the room inside the margins; empty when there is no room for one.
    """
    room = Room(room.width_mm, room.depth_mm, room.margin_mm, max(room.gap_mm, LEAST_GAP_MM))
    width, depth = room.inner_mm
    # Brims belong to a part as far as the margin goes, and lie between parts twice.
    w, h, gap = width - 2 * brim_mm, depth - 2 * brim_mm, room.gap_mm + 2 * brim_mm
    if w <= 0 or h <= 0:
        return []
    best = _grid(shape, w, h, gap)
    no_fits: dict = {}
    for spots in rows_on(shape, w, h, gap, best=_TRIED):
        fill = Fill([shape], [0.0], w, h, gap, no_fits)
        for spot in spots:
            fill.put(0, spot)
        turns = _fill_turns(shape, spots[0].turn_deg)
        while fill.place(0, turns) is not None:
            pass
        if len(fill.spots) > len(best):
            best = [spot for _, spot in fill.spots]
    if not best:
        fill = Fill([shape], [0.0], w, h, gap, no_fits)
        one = fill.place(0, _many_turns(shape))
        best = [one] if one is not None else []
    return sorted(
        (Spot(s.x_mm + brim_mm, s.y_mm + brim_mm, s.turn_deg) for s in best),
        key=lambda s: (round(s.y_mm, 3), round(s.x_mm, 3)),
    )


def grid_count(shape: Silhouette, room: Room, brim_mm: float = 0.0) -> int:
    """Count the copies that lie in rows and columns of rectangles, at the best turn."""
    width, depth = room.inner_mm
    gap = max(room.gap_mm, LEAST_GAP_MM) + 2 * brim_mm
    return len(_grid(shape, width - 2 * brim_mm, depth - 2 * brim_mm, gap))


def _alike(shape: Silhouette, copies: int, room: Room, brim: float) -> tuple[Bed, ...]:
    spots = most_on(shape, room, brim)
    if not spots:
        raise OrientError(_too_large(shape, room, brim))
    full, left = divmod(copies, len(spots))
    beds = [Bed(_as_placed(shape, spots, room, brim), full)] if full else []
    if left:
        beds.append(Bed(_as_placed(shape, spots[:left], room, brim), 1))
    return tuple(beds)


def _as_placed(shape: Silhouette, spots: Sequence[Spot], room: Room, brim: float) -> tuple[Placement, ...]:
    """Spots as placements on the bed, as a group in its middle."""
    seen = shapely.total_bounds([shape.at(s.x_mm, s.y_mm, s.turn_deg) for s in spots])
    width, depth = room.inner_mm
    dx = room.margin_mm + (width - seen[0] - seen[2]) / 2
    dy = room.margin_mm + (depth - seen[1] - seen[3]) / 2
    return tuple(Placement(0, s.x_mm + float(dx), s.y_mm + float(dy), s.turn_deg) for s in spots)


def _grid(shape: Silhouette, width: float, depth: float, gap: float) -> list[Spot]:
    """Rectangles round the silhouette in rows and columns, at the turn that fits most."""
    rim = shapely.get_coordinates(shapely.convex_hull(shape.true))
    best: tuple[int, float, Floats, int, int] = (0, 0.0, np.zeros(4), 0, 0)
    pieces = (shapely.convex_hull(shape.true),)
    for turn in sorted({turn % 180.0 for base in turns_of(pieces) for turn in (base, base + 90.0)}):
        laid = rim @ turned(turn).T
        low, high = laid.min(axis=0), laid.max(axis=0)
        across, along = high - low
        columns = math.floor((width + gap + SLACK_MM) / (across + gap))
        rows = math.floor((depth + gap + SLACK_MM) / (along + gap))
        if columns * rows > best[0]:
            best = (columns * rows, turn, np.array([*low, across, along]), columns, rows)
    _, turn, box, columns, rows = best
    return [
        Spot(-float(box[0]) + i * float(box[2] + gap), -float(box[1]) + j * float(box[3] + gap), turn)
        for j in range(rows)
        for i in range(columns)
    ]


def _mixed(
    shapes: Sequence[Silhouette], copies: Sequence[int], room: Room, brims: Sequence[float]
) -> tuple[Bed, ...]:
    width, depth = room.inner_mm
    shapes = [shape.coarser(_MIXED_CORNERS, _MIXED_MM) for shape in shapes]
    order = sorted(range(len(shapes)), key=lambda kind: (-shapes[kind].area_mm2, kind))
    left = list(copies)
    turns = {kind: _fill_turns(shapes[kind], 0.0)[:_MIXED_TURNS] for kind in order}
    no_fits: dict = {}
    beds: list[Bed] = []
    while any(left):
        fill = Fill(shapes, brims, width, depth, room.gap_mm, no_fits)
        for kind in order:
            for _ in range(left[kind]):
                if fill.place(kind, turns[kind]) is None:
                    break
        if not fill.spots:
            kind = next(kind for kind in order if left[kind])
            # Askew it may still fit.
            if fill.place(kind, _many_turns(shapes[kind])) is None:
                raise OrientError(_too_large(shapes[kind], room, brims[kind]))
        shelved = _shelves(shapes, left, width, depth, room.gap_mm, brims, order)
        spots = fill.spots if _covered(shapes, fill.spots) >= _covered(shapes, shelved) else shelved
        counts = [sum(kind == one for kind, _ in spots) for one in range(len(shapes))]
        # The same bed again, as long as there is enough of everything on it.
        times = min(left[kind] // counts[kind] for kind in range(len(shapes)) if counts[kind])
        # Where a kind runs out, the others could spread: lay out anew from there.
        placed = tuple(
            Placement(kind, spot.x_mm + room.margin_mm, spot.y_mm + room.margin_mm, spot.turn_deg)
            for kind, spot in spots
        )
        beds.append(Bed(placed, times))
        left = [had - times * gone for had, gone in zip(left, counts, strict=True)]
    return tuple(beds)


def _covered(shapes: Sequence[Silhouette], spots: Sequence[tuple[int, Spot]]) -> float:
    return sum(shapes[kind].area_mm2 for kind, _ in spots)


def _shelves(
    shapes: Sequence[Silhouette],
    left: Sequence[int],
    width: float,
    depth: float,
    gap: float,
    brims: Sequence[float],
    order: Sequence[int],
) -> list[tuple[int, Spot]]:
    """Rectangles of several kinds in rows, the deepest first: the plain way, to be no worse than."""
    boxes = []
    for kind in order:
        low_x, low_y, high_x, high_y = shapes[kind].true.bounds
        grown = 2 * brims[kind]
        boxes.append((high_y - low_y + grown, high_x - low_x + grown, -low_x, -low_y, kind))
    spots: list[tuple[int, Spot]] = []
    x, y, tall = 0.0, 0.0, 0.0
    for deep, wide, ox, oy, kind in sorted(boxes, key=lambda box: (-box[0], box[4])):
        for _ in range(left[kind]):
            if x + wide > width + SLACK_MM:
                x, y, tall = 0.0, y + tall + gap, 0.0
            if x + wide > width + SLACK_MM or y + deep > depth + SLACK_MM:
                break
            spots.append((kind, Spot(x + ox + brims[kind], y + oy + brims[kind], 0.0)))
            x, tall = x + wide + gap, max(tall, deep)
    return spots


def _fill_turns(shape: Silhouette, first: float) -> list[float]:
    """Quarter turns from the first, and those that lay a long edge along the bed."""
    turns = [(first + quarter) % 360.0 for quarter in (0.0, 180.0, 90.0, 270.0)]
    for turn in turns_of(shape.pieces, step_deg=None):
        for way in (turn, turn + 180.0):
            if len(turns) < _FILL_TURNS and all(abs((way - t + 180) % 360 - 180) > 0.5 for t in turns):
                turns.append(way % 360.0)
    return turns


def _many_turns(shape: Silhouette) -> list[float]:
    return [*_fill_turns(shape, 0.0), *np.arange(0.0, 180.0, 2.5).tolist()]


def _too_large(shape: Silhouette, room: Room, brim: float) -> str:
    low_x, low_y, high_x, high_y = shape.true.bounds
    width, depth = (side - 2 * brim for side in room.inner_mm)
    over = min(
        max(a - width, b - depth)
        for a, b in ((high_x - low_x, high_y - low_y), (high_y - low_y, high_x - low_x))
    )
    return f"is {max(over, 0.0):.1f} mm too large for a bed of {room.width_mm:g} × {room.depth_mm:g} mm"

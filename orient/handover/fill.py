"""Parts of any kinds set one by one where there is room, the lowest place first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry as Shape

from orient.handover.nofit import no_fit
from orient.handover.rows import SLACK_MM, Spot
from orient.handover.silhouette import Silhouette, placed, turned

Floats = NDArray[np.float64]


@dataclass(eq=False)
class Fill:
    """A bed that is being filled.

    Attributes
    ----------
    shapes : sequence of Silhouette
        Kinds of parts.
    grown_mm : sequence of float
        What surrounds each kind, such as a brim, mm.
    width_mm, depth_mm, gap_mm : float
        Room for parts and what surrounds them, from 0, 0; distance between them.
    no_fits : dict
        No-fit polygons of pairs of kinds, filled as they are needed; shared between beds.
    """

    shapes: Sequence[Silhouette]
    grown_mm: Sequence[float]
    width_mm: float
    depth_mm: float
    gap_mm: float
    no_fits: dict[tuple[int, int, float], Shape] = field(default_factory=dict)
    spots: list[tuple[int, Spot]] = field(default_factory=list)
    _free: dict[tuple[int, float], tuple[int, Shape]] = field(default_factory=dict)

    def put(self, kind: int, spot: Spot) -> None:
        """Set a part down, where its caller knows that there is room."""
        self.spots.append((kind, spot))

    def place(self, kind: int, turns: Sequence[float]) -> Spot | None:
        """Set one part at the lowest place that is free at some turn, the leftmost of the lowest.

        Parameters
        ----------
        kind : int
            Row of `shapes`.
        turns : sequence of float
            Turns to try, degrees.

        Returns
        -------
        Spot or None
            None where there is no room.
        """
        best: tuple[float, float, float, float, float] | None = None
        for turn in turns:
            free = self._room_for(kind, turn)
            if free.is_empty:
                continue
            corners = shapely.get_coordinates(free)
            top = _box(self.shapes[kind], turn)[3]
            k = int(np.lexsort((corners[:, 0], np.round(corners[:, 1], 6)))[0])
            x, y = float(corners[k, 0]), float(corners[k, 1])
            key = (round(y + top, 6), round(x, 6), turn, x, y)
            if best is None or key < best:
                best = key
        if best is None:
            return None
        spot = Spot(best[3], best[4], best[2])
        self.put(kind, spot)
        return spot

    def _room_for(self, kind: int, turn: float) -> Shape:
        """Where the origin of a part may stand."""
        seen, free = self._free.get((kind, turn), (0, None))
        if free is None:
            low_x, low_y, high_x, high_y = _box(self.shapes[kind], turn)
            grown = self.grown_mm[kind] - SLACK_MM
            left, right = grown - low_x, self.width_mm - grown - high_x
            front, back = grown - low_y, self.depth_mm - grown - high_y
            free = shapely.box(left, front, right, back) if left < right and front < back else Polygon()
        new = self.spots[seen:]
        if new and not free.is_empty:
            taken = [self._forbidden(other, spot, kind, turn) for other, spot in new]
            # A sliver that is left is no place: rounding could make it.
            free = free.difference(shapely.union_all(taken))
            free = _without_slivers(free)
        self._free[kind, turn] = (len(self.spots), free)
        return free

    def _forbidden(self, other: int, spot: Spot, kind: int, turn: float) -> Shape:
        between = round((turn - spot.turn_deg) % 360.0, 6)
        key = (other, kind, between)
        if key not in self.no_fits:
            moving = tuple(placed(piece, 0.0, 0.0, between) for piece in self.shapes[kind].pieces)
            gap = self.gap_mm + self.grown_mm[other] + self.grown_mm[kind]
            self.no_fits[key] = no_fit(self.shapes[other].pieces, moving, gap + SLACK_MM)
        return placed(self.no_fits[key], spot.x_mm, spot.y_mm, spot.turn_deg)


def fill_up(fill: Fill, kinds: Sequence[int], turns: Callable[[int], Sequence[float]]) -> int:
    """Set as many of some kinds as there is room for, in the order given.

    Returns
    -------
    int
        How many found room.
    """
    count = 0
    full: set[int] = set()
    for kind in kinds:
        if kind in full:
            continue
        if fill.place(kind, turns(kind)) is None:
            full.add(kind)
        else:
            count += 1
    return count


def _box(shape: Silhouette, turn: float) -> tuple[float, float, float, float]:
    corners = np.concatenate([np.asarray(piece.exterior.coords) for piece in shape.pieces]) @ turned(turn).T
    low, high = corners.min(axis=0), corners.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _without_slivers(shape: Shape) -> Shape:
    kept = [one for one in getattr(shape, "geoms", [shape]) if isinstance(one, Polygon) and one.area > 1e-9]
    return shapely.multipolygons(kept) if kept else Polygon()

"""Air starts: places where material begins with nothing under it.

A place begins in the air when it is a minimum of the height off the bed, looks down, and hangs for at least
one layer before it meets what stands; without that persistence every split triangle would be one.
"""

from __future__ import annotations

import numpy as np

from orient.features.ceilings import Ceiling
from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "air_start"


def find(laid: Laid) -> list[Feature]:
    """Find what begins in the air in a pose.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        ``size_mm`` is the height above what is below. A hanging underside is one entry, however many lowest
        places it has.
    """
    layer = laid.process.layer_height_mm
    lasting = laid.standing.start_persistence >= layer * (1 - 1e-6)
    starts = laid.standing.start_vertex[lasting]
    persistence = laid.standing.start_persistence[lasting]
    if not len(starts):
        return []
    order = np.argsort(laid.heights[starts], kind="stable")
    hanging = [ceiling for ceiling in laid.ceilings if ceiling.kind == "hanging"]
    owner = _ceiling_of(laid, starts, hanging)
    seen: set[int] = set()
    found = []
    for i in order.tolist():
        under = owner[i]
        if under >= 0 and under in seen:
            continue
        seen.add(under)
        faces = hanging[under].faces if under >= 0 else _around(laid, int(starts[i]))
        at = hanging[under].at if under >= 0 else laid.part.vertices[starts[i]]
        lowest = float(laid.heights[starts[i]])
        # From the middle of an underside, but no farther than its lowest place hangs.
        rise = float(at @ laid.direction - laid.part.vertices[starts[i]] @ laid.direction)
        room = size(min(lowest, max(float(laid.room_below_mm(at[None])[0]) - max(rise, 0.0), 0.0)))
        lasts = size(float(persistence[i]))
        found.append(
            Feature(
                id="",
                kind=KIND,
                verdict="support",
                size_mm=room,
                limit_mm=size(layer),
                at_mm=point(at),
                direction=None,
                area_mm2=size(float(laid.part.areas[faces].sum())),
                why=(
                    f"It begins in the air, {words(room)} mm above what is below, and hangs for "
                    f"{words(lasts)} mm before it meets the rest."
                ),
                try_first=(
                    "Support it.",
                    "Turn the part so that it grows from what stands already.",
                    "Shorten it, or join it to a wall by a 45° slope.",
                ),
                faces=faces,
                more={"hangs_mm": lasts, "height_mm": size(lowest)},
            )
        )
    return found


def _ceiling_of(laid: Laid, starts: np.ndarray, hanging: list[Ceiling]) -> list[int]:
    """Which hanging underside each start belongs to, −1 for none."""
    owner = np.full(len(laid.part.vertices), -1, dtype=np.int32)
    for number, ceiling in enumerate(hanging):
        owner[laid.part.faces[ceiling.faces].ravel()] = number
    return owner[starts].tolist()


def _around(laid: Laid, vertex: int) -> np.ndarray:
    """Faces at a vertex."""
    return np.flatnonzero((laid.part.faces == vertex).any(axis=1)).astype(np.int64)

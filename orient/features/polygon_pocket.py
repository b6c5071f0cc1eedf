"""Polygon pockets: the seats of nuts and bolt heads, told from round holes by their flats.

The corners of a regular polygon lie on a circle, so a pocket passes for a round hole; its flats give it away.
What to try first is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features.bores import bores_of
from orient.features.growth import Floats
from orient.features.hole import TILT_DEG, tilt_deg
from orient.features.model import Feature
from orient.features.places import below, numbered, triple
from orient.features.thread import belongs_to_thread
from orient.features.thread import find as find_threads
from orient.part.mesh import Part
from orient.process import Process

# Width across flats of hexagon nuts, ISO 4032, from memory (older tables say 17 and 19 for M10 and M12).
NUTS = {
    "M2": 4.0,
    "M2.5": 5.0,
    "M3": 5.5,
    "M4": 7.0,
    "M5": 8.0,
    "M6": 10.0,
    "M8": 13.0,
    "M10": 16.0,
    "M12": 18.0,
}
# A pocket is drawn up to this much wider than its nut; less play than this binds in print.
LOOSEST_MM = 0.6
PLAY_MM = 0.1


@dataclass(frozen=True, eq=False)
class PolygonPocket:
    """A regular pocket of five to seven sides.

    Attributes
    ----------
    id : str
        ``K1`` …
    across_flats_mm, depth_mm : float
        Distance between opposite flats (twice the distance of a flat from the axis), depth.
    sides : int
        How many.
    axis, centre_mm : (3,) tuple
        Axis and the middle of the pocket.
    through : bool
        Open at both ends.
    nut : str
        Size of the hexagon nut that it takes, or nothing.
    faces : (k,) int64
        Its flats.
    """

    id: str
    across_flats_mm: float
    depth_mm: float
    sides: int
    axis: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    through: bool
    nut: str
    faces: NDArray[np.int64]


def find(part: Part) -> list[PolygonPocket]:
    """Find the polygon pockets of a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of PolygonPocket
        Numbered by place.
    """
    threads = find_threads(part)
    pockets = []
    for bore in bores_of(part):
        if not bore.concave or not bore.sides or belongs_to_thread(bore.cylinder, threads):
            continue
        flats = 2 * bore.inner_mm
        fitting = [name for name, size in NUTS.items() if -0.05 <= flats - size <= LOOSEST_MM]
        pockets.append(
            PolygonPocket(
                id="",
                across_flats_mm=flats,
                depth_mm=bore.ends.depth_mm,
                sides=bore.sides,
                axis=triple(bore.cylinder.axis),
                centre_mm=triple(bore.centre_mm),
                through=bore.ends.low.open and bore.ends.high.open,
                nut=fitting[-1] if fitting and bore.sides == 6 else "",
                faces=bore.cylinder.faces,
            )
        )
    return numbered(pockets, "K", lambda pocket: (*pocket.centre_mm, pocket.across_flats_mm))


def judge(pocket: PolygonPocket, process: Process, direction: Floats) -> Feature:
    """Judge one polygon pocket in one pose.

    Parameters
    ----------
    pocket : PolygonPocket
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``polygon_pocket``, its size the width across flats.
    """
    tilt = tilt_deg(pocket.axis, direction)
    flats = pocket.across_flats_mm
    play = flats - NUTS[pocket.nut] if pocket.nut else None
    lies = tilt > 90.0 - TILT_DEG
    limit: float | None = None
    tips: tuple[str, ...] = ()
    if lies and below(process.bridge_limit_mm, flats):
        verdict, limit = "support", process.bridge_limit_mm
        why = (
            f"It lies, and its ceiling spans up to {flats:.1f} mm, more than {process.bridge_limit_mm:g} mm."
        )
        tips = ("Turn the part so that the pocket stands.", "Turn a corner of the pocket upward.")
    elif play is not None and play < PLAY_MM:
        verdict = "tune"
        why = f"An {pocket.nut} nut has only {max(play, 0.0):.2f} mm of play in it, and pockets print tight."
        tips = ("Draw it 0.2 mm wider across flats.", "Print a test pocket first.")
    elif TILT_DEG < tilt < 90.0 - TILT_DEG:
        verdict = "tune"
        why = f"Its axis tilts by {tilt:.0f}°, so its flats come out stepped."
        tips = ("Turn the part so that the pocket stands.", "Draw it 0.2 mm wider across flats.")
    else:
        verdict = "fine"
        why = f"A pocket of {flats:.2f} mm across flats prints well here."
    return Feature(
        id=pocket.id,
        kind="polygon_pocket",
        verdict=verdict,
        size_mm=flats,
        limit_mm=limit,
        at_mm=pocket.centre_mm,
        direction=pocket.axis,
        area_mm2=pocket.sides * flats * math.tan(math.pi / pocket.sides) * pocket.depth_mm,
        why=why,
        try_first=tips,
        faces=pocket.faces,
        more={
            "depth_mm": pocket.depth_mm,
            "sides": pocket.sides,
            "nut": pocket.nut,
            "play_mm": play,
            "through": pocket.through,
            "tilt_deg": tilt,
        },
    )

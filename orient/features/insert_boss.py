"""Bosses for heat-set inserts: a bore of an insert's size in a round boss, and the wall left around it.

Sizes of bores for inserts and the rule that the boss be twice as wide as the bore are common practice, no
source, as is what to try first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features.bores import Bore, bores_of, coaxial
from orient.features.growth import Floats
from orient.features.hole import tilt_deg
from orient.features.model import Feature
from orient.features.places import below, numbered, triple
from orient.features.sections import Sections
from orient.part.mesh import Part
from orient.process import Process

# Bore for the usual brass insert of each thread, mm (common practice, no source; makers differ by 0.1 mm).
INSERT_BORES = {"M2": 3.2, "M3": 4.0, "M4": 5.6, "M5": 6.4, "M6": 8.0, "M8": 9.7}
WITHIN_MM = 0.12
# A boss wider than this many bores is a block with a hole in it.
WIDEST = 3.0
# Round a bore that passes through, a wall thinner than this share of the bore makes a tube.
THINNEST_TUBE = 0.3
# A boss that an edge cuts short of this much of a turn is one only where its bore is blind: the eye of a lug
# looks the same.
WHOLE_DEG = 300.0
# Places along the bore at which the wall around it is measured.
_PLACES = np.array([0.3, 0.5, 0.7])


@dataclass(frozen=True, eq=False)
class InsertBoss:
    """A boss for a heat-set insert.

    Attributes
    ----------
    id : str
        ``N1`` …
    screw : str
        Thread of the insert.
    hole_mm, outer_mm, wall_mm, depth_mm : float
        Diameter of the bore and of the boss, thinnest wall between them, depth of the bore.
    axis, centre_mm : (3,) tuple
        Axis and the middle of the bore.
    faces : (k,) int64
        Faces of bore and boss.
    """

    id: str
    screw: str
    hole_mm: float
    outer_mm: float
    wall_mm: float
    depth_mm: float
    axis: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    faces: NDArray[np.int64]


def find(part: Part) -> list[InsertBoss]:
    """Find the bosses whose bore is of the size that takes a heat-set insert.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of InsertBoss
        Numbered by place.
    """
    bores = bores_of(part)
    bosses = []
    for bore, others in zip(bores, coaxial(bores), strict=True):
        if not bore.concave or bore.sides:
            continue
        screw = min(INSERT_BORES, key=lambda name: abs(INSERT_BORES[name] - bore.diameter_mm))
        if abs(INSERT_BORES[screw] - bore.diameter_mm) > WITHIN_MM + bore.cylinder.residual_mm:
            continue
        around = [
            stud
            for stud in others
            if not stud.concave
            and bore.radius_mm < stud.radius_mm <= WIDEST * bore.radius_mm
            and bore.overlap_mm(stud) > 0.4 * bore.ends.depth_mm
        ]
        if not around:
            continue
        boss = min(around, key=lambda stud: stud.radius_mm)
        passes = bore.ends.low.open and bore.ends.high.open
        if passes and boss.radius_mm < (1 + 2 * THINNEST_TUBE) * bore.radius_mm:
            continue
        if passes and boss.cylinder.covered_deg < WHOLE_DEG:
            continue
        bosses.append(
            InsertBoss(
                id="",
                screw=screw,
                hole_mm=bore.diameter_mm,
                outer_mm=boss.diameter_mm,
                wall_mm=_wall_mm(part, bore, boss),
                depth_mm=bore.ends.depth_mm,
                axis=triple(bore.cylinder.axis),
                centre_mm=triple(bore.centre_mm),
                faces=np.union1d(bore.cylinder.faces, boss.cylinder.faces),
            )
        )
    return numbered(bosses, "N", lambda boss: (*boss.centre_mm, boss.hole_mm))


def _wall_mm(part: Part, bore: Bore, boss: Bore) -> float:
    """Thinnest wall around a bore, mm: to the boss, or to a flat, an edge or a pocket that cuts into it."""
    gap = boss.cylinder.point_mm - bore.cylinder.point_mm
    off = float(np.linalg.norm(gap - (gap @ bore.cylinder.axis) * bore.cylinder.axis))
    wall = boss.radius_mm - bore.radius_mm - off
    low = max(bore.span()[0], bore.place_of(boss)[0])
    high = min(bore.span()[1], bore.place_of(boss)[1])
    places = bore.cylinder.point_mm + (low + _PLACES * (high - low))[:, None] * bore.cylinder.axis
    own = np.union1d(bore.cylinder.faces, boss.cylinder.faces)
    nearest = Sections(part).nearest_mm(places, bore.cylinder.axis, boss.radius_mm, own)
    return float(min(wall, np.median(nearest) - bore.radius_mm))


def judge(boss: InsertBoss, process: Process, direction: Floats) -> Feature:
    """Judge one insert boss in one pose.

    Parameters
    ----------
    boss : InsertBoss
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``insert_boss``, its size the diameter of the bore; ``wall_mm`` is held against half of
        that, which makes the boss twice as wide as the bore.
    """
    least = boss.hole_mm / 2
    tilt = tilt_deg(boss.axis, direction)
    tips: tuple[str, ...] = ()
    if below(boss.wall_mm, process.wall_limit_mm):
        verdict = "redesign"
        why = f"Only {boss.wall_mm:.2f} mm of wall stand around the bore: the hot insert splits the boss."
        tips = ("Make the boss twice as wide as the bore.", "Use a smaller insert.")
    elif below(boss.wall_mm, 0.9 * least):
        verdict = "tune"
        why = f"The wall around the bore is {boss.wall_mm:.2f} mm, less than half the bore ({least:.2f} mm)."
        tips = ("Print the boss solid.", "Make the boss wider.", "Press the insert in slowly.")
    else:
        verdict = "fine"
        why = f"The bore takes an {boss.screw} insert and {boss.wall_mm:.2f} mm of wall stand around it."
    return Feature(
        id=boss.id,
        kind="insert_boss",
        verdict=verdict,
        size_mm=boss.hole_mm,
        limit_mm=None,
        at_mm=boss.centre_mm,
        direction=boss.axis,
        area_mm2=math.pi * boss.hole_mm * boss.depth_mm,
        why=why,
        try_first=tips,
        faces=boss.faces,
        more={
            "wall_mm": boss.wall_mm,
            "least_wall_mm": least,
            "outer_mm": boss.outer_mm,
            "depth_mm": boss.depth_mm,
            "screw": boss.screw,
            "tilt_deg": tilt,
        },
    )

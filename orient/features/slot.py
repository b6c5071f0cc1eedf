"""Slots: two half-round ends of one width that face each other.

A slot is hard as a hole is: too narrow to print open, or lying so that its flat ceiling spans too far. What
to try first is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features.cylinders import Cylinder, cylinders_of
from orient.features.growth import Floats
from orient.features.hole import TILT_DEG, ceiling_span_mm, tilt_deg
from orient.features.model import Feature
from orient.features.places import below, numbered, triple
from orient.features.sections import Sections
from orient.features.thread import belongs_to_thread
from orient.features.thread import find as find_threads
from orient.part.mesh import Part
from orient.process import Process

# A half-round end covers this much of a turn.
HALF_DEG = (125.0, 215.0)


@dataclass(frozen=True, eq=False)
class Slot:
    """A slot with round ends.

    Attributes
    ----------
    id : str
        ``S1`` …
    width_mm, length_mm, depth_mm : float
        Diameter of the ends, overall length, depth along the axis.
    axis, along, centre_mm : (3,) tuple
        Axis through it, direction of its length, middle.
    residual_mm : float
        How far corners of the ends are off their cylinders, mm.
    faces : (k,) int64
        Faces of both ends.
    """

    id: str
    width_mm: float
    length_mm: float
    depth_mm: float
    axis: tuple[float, float, float]
    along: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    residual_mm: float
    faces: NDArray[np.int64]


def find(part: Part) -> list[Slot]:
    """Find the slots of a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of Slot
        Numbered by place.
    """
    threads = find_threads(part)
    ends = [
        c
        for c in cylinders_of(part)
        if c.concave and HALF_DEG[0] <= c.covered_deg <= HALF_DEG[1] and not belongs_to_thread(c, threads)
    ]
    if len(ends) < 2:
        return []
    sections = Sections(part)
    inward = [_inward(part, end) for end in ends]
    pairs = []
    for i, one in enumerate(ends):
        for j in range(i + 1, len(ends)):
            gap = _facing(one, ends[j], inward[i], inward[j])
            if gap is not None:
                pairs.append((gap, i, j))
    slots, used = [], set()
    for gap, i, j in sorted(pairs):
        if i in used or j in used or not _is_open(sections, ends[i], ends[j]):
            continue
        used |= {i, j}
        slots.append(_slot(ends[i], ends[j], gap))
    return numbered(slots, "S", lambda slot: (*slot.centre_mm, slot.width_mm))


def judge(slot: Slot, process: Process, direction: Floats) -> Feature:
    """Judge one slot in one pose.

    Parameters
    ----------
    slot : Slot
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``slot``, its size the width. Where the slot lies, its ceiling spans the flat between
        the ends if that is level, and otherwise the crown of its upper end.
    """
    tilt = tilt_deg(slot.axis, direction)
    rise = 90.0 - tilt_deg(slot.along, direction)
    flat = slot.length_mm - slot.width_mm
    span = ceiling_span_mm(slot.width_mm / 2, tilt, process.overhang_limit_deg)
    # The flank between the ends is a ceiling where it is steeper than the limit from a wall. The ends hold
    # it: along the depth it runs out to the mouths.
    across = np.cross(slot.axis, slot.along)
    slope = abs(float(np.dot(across, direction)))
    if slope > math.sin(math.radians(process.overhang_limit_deg)):
        span += flat
    limit: float | None = process.hole_limit_mm
    tips: tuple[str, ...] = ()
    if below(slot.width_mm, process.hole_limit_mm / 2):
        verdict = "redesign"
        why = f"A slot {slot.width_mm:.2f} mm wide closes up in printing."
        tips = ("Make it wider.", "Leave it out and cut it.")
    elif below(slot.width_mm, process.hole_limit_mm):
        verdict = "tune"
        why = f"A slot {slot.width_mm:.2f} mm wide is below {process.hole_limit_mm:g} mm and prints tight."
        tips = ("Draw it 0.2 mm wider.", "File it to size.")
    elif below(process.bridge_support_mm, span):
        verdict, limit = "support", None
        why = f"It lies, and its ceiling spans {span:.1f} mm, more than can be bridged."
        tips = ("Turn the part so that the slot stands.", "Support it inside.")
    elif below(process.bridge_limit_mm, span):
        verdict, limit = "tune", None
        why = f"It lies, and its ceiling bridges {span:.1f} mm, more than {process.bridge_limit_mm:g} mm."
        tips = (
            "Turn the part so that the slot stands on end.",
            "Slow bridges down and cool them.",
            "Support it.",
        )
    elif TILT_DEG < tilt < 90.0 - TILT_DEG:
        verdict, limit = "tune", None
        why = f"Its axis tilts by {tilt:.0f}°, so its walls come out stepped."
        tips = ("Turn the part so that the slot stands.", "File it to size.")
    else:
        verdict = "fine"
        why = f"A slot {slot.width_mm:.2f} mm wide prints well here."
    return Feature(
        id=slot.id,
        kind="slot",
        verdict=verdict,
        size_mm=slot.width_mm,
        limit_mm=limit,
        at_mm=slot.centre_mm,
        direction=slot.axis,
        area_mm2=(math.pi * slot.width_mm + 2 * flat) * slot.depth_mm,
        why=why,
        try_first=tips,
        faces=slot.faces,
        more={
            "length_mm": slot.length_mm,
            "depth_mm": slot.depth_mm,
            "tilt_deg": tilt,
            "rise_deg": rise,
            "ceiling_span_mm": span,
            "bridge_limit_mm": process.bridge_limit_mm,
        },
    )


def _inward(part: Part, end: Cylinder) -> Floats:
    """Mean direction in which a half-round end looks."""
    mean = part.areas[end.faces] @ part.normals[end.faces]
    mean = mean - (mean @ end.axis) * end.axis
    return mean / max(float(np.linalg.norm(mean)), 1e-300)


def _facing(one: Cylinder, other: Cylinder, looks: Floats, back: Floats) -> float | None:
    """Give the distance between the axes of two ends that face each other, or None."""
    radius = one.radius_mm
    slack = 0.02 * radius + 2 * max(one.residual_mm, other.residual_mm)
    if abs(other.radius_mm - radius) > slack or abs(float(one.axis @ other.axis)) < 0.998:
        return None
    gap = other.point_mm - one.point_mm
    along = float(gap @ one.axis)
    if abs(along) > 0.25 * (one.length_mm + other.length_mm):
        return None
    gap = gap - along * one.axis
    distance = float(np.linalg.norm(gap))
    if distance < 0.05 * radius:
        return None
    if float(looks @ gap) < 0.98 * distance or float(back @ gap) > -0.98 * distance:
        return None
    return distance


def _is_open(sections: Sections, one: Cylinder, other: Cylinder) -> bool:
    """Tell whether the way between two ends is free, and as wide as they are but where another crosses."""
    places = one.point_mm + np.array([0.2, 0.35, 0.5, 0.65, 0.8])[:, None] * (other.point_mm - one.point_mm)
    radius = one.radius_mm
    own = np.concatenate([one.faces, other.faces])
    nearest = sections.nearest_mm(places, one.axis, 1.2 * radius, own[:0])
    slack = 0.03 * radius + 2 * max(one.residual_mm, other.residual_mm)
    beside = np.count_nonzero(nearest < radius + slack)
    return bool((nearest > 0.9 * radius - slack).all() and beside >= 2)


def _slot(one: Cylinder, other: Cylinder, gap: float) -> Slot:
    width = one.radius_mm + other.radius_mm
    axis = one.axis if one.length_mm >= other.length_mm else other.axis
    along = other.point_mm - one.point_mm
    along = along - (along @ axis) * axis
    along = along / np.linalg.norm(along)
    along = along * np.sign(along[np.argmax(np.abs(along))])
    return Slot(
        id="",
        width_mm=width,
        length_mm=gap + width,
        depth_mm=0.5 * (one.length_mm + other.length_mm),
        axis=triple(axis),
        along=triple(along),
        centre_mm=triple(0.5 * (one.point_mm + other.point_mm)),
        residual_mm=max(one.residual_mm, other.residual_mm),
        faces=np.sort(np.concatenate([one.faces, other.faces])),
    )

"""Pins: round solid studs that stand on something.

A pin is hard when it is thin, since each layer is over before the last has set, and when it is slender and
stands across its layers, since it snaps. What to try first is common practice, no source.
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
from orient.features.thread import belongs_to_thread
from orient.features.thread import find as find_threads
from orient.part.mesh import Part
from orient.process import Process

# A stud wider than this is a boss, and one flatter than this share of its width a disc.
WIDEST_MM = 15.0
LEAST_RATIO = 0.3
# Thinner than this in the layers, a pin that stands is asked to carry no side load.
SLENDER = 4.0


@dataclass(frozen=True, eq=False)
class Pin:
    """A round solid stud.

    Attributes
    ----------
    id : str
        ``P1`` …
    diameter_mm, height_mm : float
        Of its cylindrical wall.
    axis, centre_mm : (3,) tuple
        Axis, and the middle of the wall on it.
    both_ends : bool
        Held at both ends, as a spacer is.
    residual_mm : float
        How far corners are off the cylinder, mm.
    faces : (k,) int64
        Faces of the wall.
    """

    id: str
    diameter_mm: float
    height_mm: float
    axis: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    both_ends: bool
    residual_mm: float
    faces: NDArray[np.int64]


def find(part: Part) -> list[Pin]:
    """Find the pins of a part: not tubes, threads, discs, polygons, nor a rod that is the whole part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of Pin
        Numbered by place.
    """
    bores = bores_of(part)
    threads = find_threads(part)
    pins = []
    for stud, others in zip(bores, coaxial(bores), strict=True):
        if stud.concave or stud.sides or stud.diameter_mm > WIDEST_MM:
            continue
        height = stud.ends.depth_mm
        held = (not stud.ends.low.open) + (not stud.ends.high.open)
        if held == 0 or height < LEAST_RATIO * stud.diameter_mm:
            continue
        if _is_tube(stud, others) or belongs_to_thread(stud.cylinder, threads):
            continue
        pins.append(
            Pin(
                id="",
                diameter_mm=stud.diameter_mm,
                height_mm=height,
                axis=triple(stud.cylinder.axis),
                centre_mm=triple(stud.centre_mm),
                both_ends=held == 2,
                residual_mm=stud.cylinder.residual_mm,
                faces=stud.cylinder.faces,
            )
        )
    return numbered(pins, "P", lambda pin: (*pin.centre_mm, pin.diameter_mm))


def judge(pin: Pin, process: Process, direction: Floats) -> Feature:
    """Judge one pin in one pose.

    Parameters
    ----------
    pin : Pin
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``pin``, its size the diameter.
    """
    diameter, height = pin.diameter_mm, pin.height_mm
    ratio = height / diameter
    tilt = tilt_deg(pin.axis, direction)
    limit: float | None = process.pin_limit_mm
    tips: tuple[str, ...] = ()
    if ratio < 1 and diameter < process.pin_limit_mm / 2:
        # Too low to snap: it is drawn, not held.
        blurred = below(diameter, 2 * process.line_width_mm)
        verdict = "redesign" if blurred else "tune"
        why = f"A dot of Ø {diameter:.2f} mm is drawn with hardly more than one loop and comes out blurred."
        tips = ("Make it wider.", "Slow small layers down.", "Use a finer nozzle.")
    elif below(diameter, process.pin_limit_mm / 2):
        verdict = "redesign"
        why = f"A pin of Ø {diameter:.2f} mm is too thin to print round or to hold."
        tips = ("Make it thicker.", "Press in a metal pin.")
    elif below(diameter, process.pin_limit_mm):
        verdict = "tune"
        why = f"A pin of Ø {diameter:.2f} mm is below {process.pin_limit_mm:g} mm and may wobble in printing."
        tips = ("Print several at once so that layers cool.", "Round off its foot.", "Make it thicker.")
    elif ratio > SLENDER and tilt < 45 and not pin.both_ends:
        verdict, limit = "tune", None
        why = (
            f"It is {ratio:.1f} times as high as thick and stands across its layers, so it snaps at the foot."
        )
        tips = (
            "Round off its foot.",
            "Lay the part so that the pin lies in the layers.",
            "Press in a metal pin.",
        )
    else:
        verdict = "fine"
        why = f"A pin of Ø {diameter:.2f} mm and {height:.1f} mm high prints well."
    return Feature(
        id=pin.id,
        kind="pin",
        verdict=verdict,
        size_mm=diameter,
        limit_mm=limit,
        at_mm=pin.centre_mm,
        direction=pin.axis,
        area_mm2=math.pi * diameter * height,
        why=why,
        try_first=tips,
        faces=pin.faces,
        more={"height_mm": height, "slenderness": ratio, "tilt_deg": tilt, "both_ends": pin.both_ends},
    )


def _is_tube(stud: Bore, others: list[Bore]) -> bool:
    """Tell whether a coaxial bore runs inside a stud along a good part of it."""
    return any(
        other.concave
        and other.radius_mm < stud.radius_mm
        and stud.overlap_mm(other) > 0.25 * stud.ends.depth_mm
        for other in others
    )

"""Holes: the inventory of cylindrical bores, and which of them will cost tuning.

A hole is hard when it is smaller than what prints open, when it lies and its ceiling sags, and when its axis
tilts, so that every layer cuts it as another ellipse. What to try first is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from orient.features.bores import Bore, bores_of, coaxial
from orient.features.growth import Floats
from orient.features.iso_sizes import counterbores_of, fits_of
from orient.features.model import Feature, Hole
from orient.features.places import below, numbered, triple
from orient.features.thread import belongs_to_thread
from orient.features.thread import find as find_threads
from orient.part.mesh import Part
from orient.process import Process

# A conical mouth this much wider than the hole is a countersink, a narrower one a broken edge.
COUNTERSINK_RATIO = 1.2
# An axis within this of upright or of level is upright or level.
TILT_DEG = 5.0


@dataclass(frozen=True, eq=False)
class RoundHole(Hole):
    """A hole, and where its wall is cut open along its length, as under the roof of a teardrop.

    Attributes
    ----------
    covered_deg : float
        How much of a turn the wall covers.
    gap : (3,) tuple
        Direction from the axis to the middle of what it leaves out.
    """

    covered_deg: float = 360.0
    gap: tuple[float, float, float] = (0.0, 0.0, 0.0)


def find(part: Part) -> list[Hole]:
    """List every cylindrical hole of a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of Hole
        Numbered by place in the file's coordinates. A stepped hole has an entry for each diameter.

    Examples
    --------
    >>> from manifold3d import Manifold
    >>> from orient.part.mesh import part_from_arrays
    >>> plate = Manifold.cube((20, 20, 5)) - Manifold.cylinder(9, 1.7, -1, 24).translate((10, 8, -2))
    >>> mesh = plate.to_mesh()
    >>> (hole,) = find(part_from_arrays(mesh.vert_properties, mesh.tri_verts))
    >>> round(hole.diameter_mm, 4), round(hole.depth_mm, 4), hole.through, hole.fits[0]
    (3.4, 5.0, True, 'M3 clearance, medium')
    """
    threads = find_threads(part)
    bores = [
        bore
        for bore in bores_of(part)
        if bore.concave and not bore.sides and not belongs_to_thread(bore.cylinder, threads)
    ]
    holes = []
    beside = {
        id(bore): [other for other in others if _is_next(bore, other)]
        for bore, others in zip(bores, coaxial(bores), strict=True)
    }
    for bore in bores:
        cylinder = bore.cylinder
        neighbours = beside[id(bore)]
        holes.append(
            RoundHole(
                id="",
                diameter_mm=2 * cylinder.radius_mm,
                depth_mm=bore.ends.depth_mm,
                axis=triple(cylinder.axis),
                centre_mm=triple(bore.centre_mm),
                tilt_deg=None,
                through=_leads_out(bore, beside, ()),
                countersunk=_is_countersunk(part, bore),
                stepped=bool(neighbours),
                residual_mm=cylinder.residual_mm,
                fits=_fits(bore, neighbours),
                faces=cylinder.faces,
                covered_deg=cylinder.covered_deg,
                gap=triple(bore.gap),
            )
        )
    return numbered(holes, "H", lambda hole: (*hole.centre_mm, hole.diameter_mm))


def judge(hole: Hole, process: Process, direction: Floats) -> Feature:
    """Judge one hole in one pose.

    Parameters
    ----------
    hole : Hole
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``hole``, its size the diameter.

    Notes
    -----
    The wall of a hole of radius r whose axis tilts by τ from the build direction is a ceiling beyond the
    overhang limit t where cos φ > sin t / sin τ, φ the angle from its crown. That ceiling spans
    2 r √(1 − (sin t / sin τ)²): for a lying hole 2 r cos t (plane geometry, derived here).
    """
    tilt = tilt_deg(hole.axis, direction)
    diameter = hole.diameter_mm
    span = ceiling_span_mm(diameter / 2, tilt, process.overhang_limit_deg)
    if _roofed(hole, span, direction):
        span = 0.0
    lies = tilt > 90.0 - TILT_DEG
    limit: float | None = process.hole_limit_mm
    if below(diameter, process.hole_limit_mm / 2):
        verdict = "redesign"
        why = f"Ø {diameter:.2f} mm is so small that it closes up in printing."
        tips: tuple[str, ...] = ("Leave it out and drill it.", "Make it larger.")
    elif below(diameter, process.hole_limit_mm):
        verdict = "tune"
        why = f"Ø {diameter:.2f} mm is below {process.hole_limit_mm:g} mm, and small holes print tight."
        tips = ("Print it and drill it to size.", "Draw it 0.2 mm larger.", "Slow the walls of small holes.")
    elif below(process.bridge_limit_mm, span):
        verdict, limit = "support", None
        why = (
            f"Its ceiling hangs over {span:.1f} mm, more than the {process.bridge_limit_mm:g} mm that bridge."
        )
        tips = (
            "Turn the part so that the hole stands.",
            "Give the hole a pointed roof.",
            "Support it inside.",
        )
    elif lies and span > 0 and below(process.lying_hole_limit_mm, diameter):
        verdict, limit = "tune", process.lying_hole_limit_mm
        why = f"It lies, and the crown of Ø {diameter:.2f} mm sags over a span of {span:.1f} mm."
        tips = (
            "Give the hole a pointed roof.",
            "Turn the part so that the hole stands.",
            "Ream it after printing.",
        )
    elif TILT_DEG < tilt < 90.0 - TILT_DEG:
        verdict, limit = "tune", None
        why = (
            f"Its axis tilts by {tilt:.0f}°, so each layer cuts it as another ellipse and it comes out rough."
        )
        tips = ("Turn the part so that the hole stands.", "Print it and drill it to size.")
    else:
        verdict = "fine"
        why = f"Ø {diameter:.2f} mm prints well {'lying' if lies else 'upright'}."
        tips = ()
    more = {
        "depth_mm": hole.depth_mm,
        "tilt_deg": tilt,
        "ceiling_span_mm": span,
        "bridge_limit_mm": process.bridge_limit_mm,
        "through": hole.through,
        "countersunk": hole.countersunk,
        "stepped": hole.stepped,
    }
    return Feature(
        id=hole.id,
        kind="hole",
        verdict=verdict,
        size_mm=diameter,
        limit_mm=limit,
        at_mm=hole.centre_mm,
        direction=hole.axis,
        area_mm2=math.pi * diameter * hole.depth_mm,
        why=why,
        try_first=tips,
        faces=hole.faces,
        more=more,
    )


def tilt_deg(axis: tuple[float, float, float], direction: Floats) -> float:
    """Give the angle between an axis and the build direction, 0 to 90 degrees."""
    d = np.asarray(direction, dtype=np.float64)
    cross = float(np.linalg.norm(np.cross(axis, d)))
    return math.degrees(math.atan2(cross, abs(float(np.dot(axis, d)))))


def ceiling_span_mm(radius_mm: float, tilt: float, overhang_limit_deg: float) -> float:
    """Span of the part of a tilted bore's wall that is a ceiling beyond the overhang limit, mm.

    Examples
    --------
    >>> round(ceiling_span_mm(5, 90, 45), 4)
    7.0711
    >>> ceiling_span_mm(5, 30, 45)
    0.0
    """
    ratio = math.sin(math.radians(overhang_limit_deg)) / max(math.sin(math.radians(tilt)), 1e-12)
    return 2 * radius_mm * math.sqrt(1 - ratio**2) if ratio < 1 - 1e-9 else 0.0


def _roofed(hole: Hole, span_mm: float, direction: Floats) -> bool:
    """Tell whether the crown of a hole is cut away as far as it would be a ceiling, as in a teardrop."""
    if not isinstance(hole, RoundHole) or hole.covered_deg > 350.0 or span_mm <= 0:
        return False
    up = np.asarray(direction) - np.dot(hole.axis, direction) * np.asarray(hole.axis)
    up = up / max(float(np.linalg.norm(up)), 1e-300)
    off = math.degrees(math.acos(float(np.clip(up @ np.asarray(hole.gap), -1.0, 1.0))))
    half = math.degrees(math.asin(min(span_mm / hole.diameter_mm, 1.0)))
    return off + half <= (360.0 - hole.covered_deg) / 2 + 1.0


def _is_next(bore: Bore, other: Bore) -> bool:
    """Tell whether a coaxial wall begins where this one ends, at most a short cone between."""
    low, high = bore.place_of(other)
    gap = max(low - bore.span()[1], bore.span()[0] - high)
    wide = max(bore.radius_mm, other.radius_mm)
    return -0.05 * wide <= gap <= 1.1 * abs(wide - min(bore.radius_mm, other.radius_mm)) + 0.01 * wide


def _fits(bore: Bore, neighbours: list[Bore]) -> tuple[str, ...]:
    """Screws that a hole fits: first those whose heads it takes, by its narrow neighbour, then by itself."""
    heads = [
        name
        for other in neighbours
        if other.radius_mm < bore.radius_mm
        for name in counterbores_of(bore.diameter_mm, other.diameter_mm)
    ]
    return tuple(dict.fromkeys([*heads, *fits_of(bore.diameter_mm)]))


def _leads_out(bore: Bore, beside: Mapping[int, list[Bore]], seen: tuple[Bore, ...]) -> bool:
    """Tell whether both ends of a bore open, at a floor by way of a narrower bore that leads out."""
    for end, at_high in ((bore.ends.low, False), (bore.ends.high, True)):
        if end.open:
            continue
        onward = [
            other
            for other in beside[id(bore)]
            if other not in seen
            and other.radius_mm < bore.radius_mm
            and (sum(bore.place_of(other)) / 2 > sum(bore.span()) / 2) == at_high
        ]
        if not any(_leads_out(other, beside, (*seen, bore)) for other in onward):
            return False
    return True


def _is_countersunk(part: Part, bore: Bore) -> bool:
    """Tell whether a cone widens from one of the mouths."""
    cylinder = bore.cylinder
    for end in (bore.ends.low, bore.ends.high):
        if not end.open or end.cone < 0.5:
            continue
        offset = part.vertices[np.unique(part.faces[end.beyond])] - cylinder.point_mm
        offset = offset - np.outer(offset @ cylinder.axis, cylinder.axis)
        wide = float(np.quantile(np.linalg.norm(offset, axis=1), 0.9))
        if wide > COUNTERSINK_RATIO * cylinder.radius_mm:
            return True
    return False

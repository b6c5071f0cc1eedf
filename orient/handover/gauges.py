"""Coupons for the material and the machine: bars for strength, and ladders for what can be built.

Dimensions of the tensile bar are those of ISO 527-2 type 1A and of the plain bar those of ISO 178, as
published summaries give them. The ladders are this program's own shapes, computed from the limits of the
process; they claim no conformity to any standard artefact.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import manifold3d
import numpy as np
from manifold3d import Manifold as Solid
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.handover.lettering import HEIGHT_MM, STROKE_MM, letters, text_width_mm
from orient.process import Process

Floats = NDArray[np.float64]

# ISO 527-2 type 1A, mm: overall length, narrow parallel length, fillet radius, widths, thickness. The radius
# is from memory; with it the distance between the wide parts comes to 109.3 mm, as the standard has it.
TENSILE_LENGTH_MM = 170.0
TENSILE_PARALLEL_MM = 80.0
TENSILE_RADIUS_MM = 24.0
TENSILE_NARROW_MM = 10.0
TENSILE_WIDE_MM = 20.0
TENSILE_THICK_MM = 4.0
# ISO 178 (and ISO 179), mm.
BAR_MM = (80.0, 10.0, 4.0)
# Segments of a quarter circle.
_ARC = 24
# What stands a slender bar up: a foot, and ribs that leave its middle two thirds free. Our own shape.
_FOOT_MM = 2.0
_RIB_MM = 12.0
_POST_MM = 4.0
_PLATE_MM = 1.0


@dataclass(frozen=True, eq=False)
class Gauge:
    """A coupon, as it is built.

    Attributes
    ----------
    name : str
        What `orient coupon --material` calls it.
    title : str
        In words.
    vertices, faces : arrays
        The solid on the bed, mm.
    steps_mm : tuple of float
        The sizes on it, of ladders; degrees on the overhang fan.
    measures : str
        What is measured on it, and where the value goes.
    """

    name: str
    title: str
    vertices: Floats
    faces: NDArray[np.int64]
    steps_mm: tuple[float, ...]
    measures: str


def tensile_outline() -> Floats:
    """Outline of the type 1A bar, (N, 2), its middle at 0, 0, counter-clockwise.

    The fillet is tangent to the narrow part and meets the wide one after √(r² − (r − (b₂ − b₁)/2)²).

    Examples
    --------
    >>> corners = tensile_outline()
    >>> np.ptp(corners, axis=0).round(6).tolist()
    [170.0, 20.0]
    """
    narrow, wide, r = TENSILE_NARROW_MM / 2, TENSILE_WIDE_MM / 2, TENSILE_RADIUS_MM
    rise = wide - narrow
    sweep = math.acos(1 - rise / r)
    angle = np.linspace(0.0, sweep, _ARC)
    x = TENSILE_PARALLEL_MM / 2 + r * np.sin(angle)
    y = narrow + r * (1 - np.cos(angle))
    quarter = np.vstack([np.column_stack([x, y]), [[TENSILE_LENGTH_MM / 2, wide]]])
    right = np.vstack([(quarter * (1, -1)), quarter[::-1]])
    return np.vstack([right, (right * (-1, -1))])


def gauge(name: str, process: Process) -> Gauge:
    """Make a coupon.

    Parameters
    ----------
    name : str
        A key of `GAUGES`.
    process : Process
        Limits, layer and line.

    Returns
    -------
    Gauge

    Raises
    ------
    OrientError
        For a name that there is not, with those that there are.
    """
    if name not in GAUGES:
        raise OrientError(f"There is no coupon {name}: there are {', '.join(GAUGES)}.")
    title, measures, make = GAUGES[name]
    solid, steps = make(process)
    low = solid.bounding_box()
    solid = solid.translate((-(low[0] + low[3]) / 2, -(low[1] + low[4]) / 2, -low[2]))
    mesh = solid.to_mesh64()
    return Gauge(
        name,
        title,
        np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3].copy(),
        np.asarray(mesh.tri_verts, dtype=np.int64),
        steps,
        measures,
    )


def _tensile(process: Process) -> tuple[Solid, tuple[float, ...]]:
    return manifold3d.CrossSection([tensile_outline()]).extrude(TENSILE_THICK_MM), ()


def _bar_edge(process: Process) -> tuple[Solid, tuple[float, ...]]:
    length, width, thick = BAR_MM
    return _box(length, thick, width), ()


def _bar_standing(process: Process) -> tuple[Solid, tuple[float, ...]]:
    """An upright bar on a foot, with four ribs that end below its middle two thirds."""
    length, width, thick = BAR_MM
    foot = _box(width + 2 * _RIB_MM, thick + 2 * _RIB_MM, _FOOT_MM)
    bar = _box(width, thick, _FOOT_MM + length)
    rib = max(2 * process.line_width_mm, 1.2)
    reach = length / 6.0
    ribs = []
    for turn in (0.0, 90.0, 180.0, 270.0):
        half = (width if turn % 180 == 0 else thick) / 2
        side = manifold3d.CrossSection(
            [np.array([[half - 0.2, 0], [half + _RIB_MM, 0], [half, reach], [half - 0.2, reach]])]
        ).extrude(rib)
        upright = side.rotate((90.0, 0.0, 0.0)).translate((0, rib / 2, _FOOT_MM - 0.01))
        ribs.append(upright.rotate((0.0, 0.0, turn)))
    return _joined([foot, bar, *ribs]), ()


def bridge_steps(process: Process) -> tuple[float, ...]:
    """Spans of the ladder: from half the bridge limit to what may still hold, mm."""
    low, high = process.bridge_limit_mm / 2, process.bridge_support_mm
    return tuple(round(float(span) * 2) / 2 for span in np.geomspace(low, high, 6))


def _bridges(process: Process) -> tuple[Solid, tuple[float, ...]]:
    spans = bridge_steps(process)
    tall, wide = 5.0, 6.0
    deck = max(3 * process.layer_height_mm, 0.6)
    solids, x = [], 0.0
    for span in spans:
        solids.append(_block(x, 0, 0, _POST_MM, wide, tall + deck))
        solids.append(_block(x + _POST_MM - 0.1, 0, tall, span + 0.2, wide, deck))
        solids.append(_text(f"{span:g}", x + _POST_MM + span / 2, -_text_depth()))
        x += _POST_MM + span
    solids.append(_block(x, 0, 0, _POST_MM, wide, tall + deck))
    total = x + _POST_MM
    solids.append(_block(0, -_text_depth(), 0, total, wide + _text_depth(), _PLATE_MM))
    return _joined(solids), spans


def overhang_steps(process: Process) -> tuple[float, ...]:
    """Angles of the fan: fifteen degrees either side of the limit, in fives, from the vertical wall."""
    limit = 5.0 * round(process.overhang_limit_deg / 5.0)
    return tuple(float(a) for a in np.arange(limit - 15.0, min(limit + 20.0, 80.0) + 0.1, 5.0))


def _overhangs(process: Process) -> tuple[Solid, tuple[float, ...]]:
    """Flags that lean out of a wall by more and more, side by side."""
    angles = overhang_steps(process)
    rise, wide, thick = 8.0, max(7.0, text_width_mm("00") + 1.0), 3.0
    solids = []
    for k, angle in enumerate(angles):
        out = rise * math.tan(math.radians(angle))
        side = np.array([[0, 0], [thick, 0], [thick + out, rise], [thick + out, rise + 1.0], [0, rise + 1.0]])
        leaning = manifold3d.CrossSection([side]).extrude(wide).rotate((90.0, 0.0, 90.0))
        solids.append(leaning.translate((k * wide, 0.0, _PLATE_MM - 0.01)))
        solids.append(_text(f"{angle:g}", k * wide + wide / 2, -_text_depth()))
    solids.append(_block(0, -_text_depth(), 0, len(angles) * wide, thick + _text_depth(), _PLATE_MM))
    return _joined(solids), angles


def hole_steps(process: Process) -> tuple[float, ...]:
    """Diameters: from half the smallest hole or pin that holds to twice the larger, mm."""
    low = min(process.hole_limit_mm, process.pin_limit_mm) / 2
    high = max(process.hole_limit_mm, process.pin_limit_mm) * 2
    return tuple(round(float(d) * 2) / 2 for d in np.linspace(low, high, 6))


def _holes(process: Process) -> tuple[Solid, tuple[float, ...]]:
    diameters = hole_steps(process)
    solids, holes, x = [], [], 0.0
    deep, thick = max(diameters) + 4.0, 3.0
    for d in diameters:
        wide = max(d, text_width_mm(f"{d:g}")) + 2.5
        middle = x + wide / 2
        # Circumscribed, so that the clear hole is full size: r / cos(π/n).
        n = 64
        hole = Solid.cylinder(thick + 2, d / 2 / math.cos(math.pi / n), circular_segments=n)
        holes.append(hole.translate((middle, deep / 2, -1.0)))
        solids.append(
            Solid.cylinder(6.0, d / 2, circular_segments=n).translate((middle, 1.5 * deep, thick - 0.01))
        )
        solids.append(_text(f"{d:g}", middle, -_text_depth(), thick))
        x += wide
    plate = _block(0, -_text_depth(), 0, x, 2 * deep + _text_depth(), thick)
    return _joined([plate - Solid.batch_boolean(holes, manifold3d.OpType.Add), *solids]), diameters


def wall_steps(process: Process) -> tuple[float, ...]:
    """Thicknesses: from half a line by quarters to two lines, and the limit of walls, mm."""
    line = process.line_width_mm
    steps = {round(line * share, 2) for share in (0.5, 0.75, 1.0, 1.25, 1.5, 2.0, 3.0)}
    return tuple(sorted(steps | {round(process.wall_limit_mm, 2)}))


def _walls(process: Process) -> tuple[Solid, tuple[float, ...]]:
    steps = wall_steps(process)
    solids, x = [], 0.0
    for wall in steps:
        said = f"{wall:.2f}"
        wide = text_width_mm(said) + 2.0
        solids.append(_block(x + wide / 2 - wall / 2, 0.5, _PLATE_MM - 0.01, wall, 12.0, 8.0))
        solids.append(_text(said, x + wide / 2, -_text_depth()))
        x += wide
    solids.append(_block(0, -_text_depth(), 0, x, 13.0 + _text_depth(), _PLATE_MM))
    return _joined(solids), steps


def _text_depth() -> float:
    return HEIGHT_MM + STROKE_MM + 1.5


def _text(said: str, middle: float, y: float, on: float = _PLATE_MM) -> Solid:
    return letters(said, 0.4 + 0.01).translate((middle - text_width_mm(said) / 2, y + 0.75, on - 0.01))


def _box(x: float, y: float, z: float) -> Solid:
    return Solid.cube((x, y, z)).translate((-x / 2, -y / 2, 0.0))


def _block(x: float, y: float, z: float, wide: float, deep: float, tall: float) -> Solid:
    return Solid.cube((wide, deep, tall)).translate((x, y, z))


def _joined(solids: list[Solid]) -> Solid:
    return Solid.batch_boolean(solids, manifold3d.OpType.Add)


_STRENGTH = "give it as {} in [polymer] of the brief"
GAUGES: dict[str, tuple[str, str, Callable[[Process], tuple[Solid, tuple[float, ...]]]]] = {
    "tensile": (
        "tensile bar, ISO 527-2 type 1A, flat",
        "Pull it: force at break over 40 mm²; " + _STRENGTH.format("strength_in_layer_mpa") + ".",
        _tensile,
    ),
    "bar-edge": (
        "bar of 80 × 10 × 4 mm on its edge, ISO 178",
        "Bend it over 64 mm: 3·F·L/(2·b·h²), lines along the bar; compare it with the standing bar.",
        _bar_edge,
    ),
    "bar-standing": (
        "bar of 80 × 10 × 4 mm standing, ISO 178, on a foot with ribs",
        "Cut off foot and ribs, bend it as the bar on its edge: strength_in_layer_mpa times standing over "
        "edge is the strength_across_mpa to give in [polymer] of the brief.",
        _bar_standing,
    ),
    "bridges": (
        "bridge ladder, spans in mm",
        "Longest span that does not sag: compare it with the bridge limit of the inspection.",
        _bridges,
    ),
    "overhangs": (
        "overhang fan, degrees from the vertical wall",
        "Steepest flag with a clean underside: give it as overhang_limit_deg in [process] of the brief.",
        _overhangs,
    ),
    "holes": (
        "hole and pin gauge, diameters in mm",
        "Measure holes and pins with gauge pins and calipers: what is missing is the allowance to draw in.",
        _holes,
    ),
    "walls": (
        "wall gauge, thicknesses in mm",
        "Thinnest wall that is whole and cannot be bent off by hand: draw none thinner.",
        _walls,
    ),
}

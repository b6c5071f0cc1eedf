"""Details that vanish: strokes narrower than one line, and edges that taper to nothing.

Engraved strokes are gaps and embossed ones are walls, but no deeper or higher than about a millimetre; where
they are narrower than one line they are lettering that does not come out, not a gap that fuses. A wall whose
two sides meet in an edge is a wedge, and ends where it is thinner than one line.

The depth of lettering and what to try are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features.model import Feature
from orient.features.sheets import Sheet
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "vanishing"
# No lettering is cut deeper or stands higher than this.
LETTERING_MM = 1.0
# Mean square of the cosine to a direction: up to the first all sides of a stroke are square to it, from the
# second on it bends.
_SQUARE, _BENT = 0.02, 0.05
# The sides of a wedge meet at an edge that turns by at least this: 180° less the 30° within which surfaces
# count as facing.
_KNIFE_DEG = 150.0


@dataclass(frozen=True, eq=False)
class Detail:
    """One detail that does not come out.

    Attributes
    ----------
    form : {"engraved", "embossed", "knife"}
        A stroke cut in, a stroke that stands out, or an edge that tapers to nothing.
    width_mm : float
        Width of the stroke, thickness at the edge.
    depth_mm : float
        Depth of the stroke; length of the edge for a knife edge.
    angle_deg : float or None
        Angle of the wedge.
    sheet : Sheet
        The two sides of it.
    centre : (3,) float64
        Middle of the stroke or of the edge, mm.
    """

    form: str
    width_mm: float
    depth_mm: float
    angle_deg: float | None
    sheet: Sheet
    centre: Floats


@dataclass(frozen=True, eq=False)
class Sorted:
    """Sheets told apart: those that stay walls and gaps, and the details among them."""

    walls: tuple[Sheet, ...]
    gaps: tuple[Sheet, ...]
    details: tuple[Detail, ...]


def sort_out(
    part: Part, angles: NDArray[np.float32], walls: Sequence[Sheet], gaps: Sequence[Sheet], process: Process
) -> Sorted:
    """Tell details from walls and gaps.

    Parameters
    ----------
    part : Part
        The part.
    angles : (F, 3) float32
        Signed angle at each edge, radians.
    walls, gaps : sequence of Sheet
        What faces each other through material and through air.
    process : Process
        Line width.

    Returns
    -------
    Sorted
        A groove that closes to nothing is neither a gap nor a detail: it is a sharp inner corner.
    """
    line = process.line_width_mm
    kept_walls, kept_gaps, details = [], [], []
    convex = _edges(part, angles, 1.0)
    concave = _edges(part, angles, -1.0)
    for sheet in walls:
        edges = _held_by(sheet, convex)
        if len(edges):
            length = convex.length[edges]
            angle = 180.0 - float(np.degrees(length @ convex.turn[edges] / length.sum()))
            tip = length @ convex.middle[edges] / length.sum()
            details.append(Detail("knife", 0.0, float(length.sum()), angle, sheet, tip))
        elif _is_stroke(part, sheet, line):
            details.append(
                Detail("embossed", sheet.size_mm, _depth_mm(part, sheet), None, sheet, sheet.centre)
            )
        else:
            kept_walls.append(sheet)
    for sheet in gaps:
        if len(_held_by(sheet, concave)):
            continue
        if _is_stroke(part, sheet, line):
            details.append(
                Detail("engraved", sheet.size_mm, _depth_mm(part, sheet), None, sheet, sheet.centre)
            )
        else:
            kept_gaps.append(sheet)
    details.sort(key=lambda detail: (*detail.centre.round(2).tolist(), detail.width_mm))
    return Sorted(tuple(kept_walls), tuple(kept_gaps), tuple(details))


def judge(detail: Detail, process: Process, direction: Floats | None = None) -> Feature:
    """Judge a detail.

    Parameters
    ----------
    detail : Detail
        From `sort_out`.
    process : Process
        Line width.
    direction : (3,) float64, optional
        Build direction; a stroke is as wide in any pose.

    Returns
    -------
    Feature
        ``size_mm`` is the width of the stroke, or the thickness at the edge.
    """
    line = process.line_width_mm
    width = round(detail.width_mm, 3)
    more: dict[str, float | int | str | bool | None] = {"form": detail.form, "line_width_mm": line}
    tries: tuple[str, ...]
    if detail.form == "knife":
        angle = round(float(detail.angle_deg or 0.0), 1)
        lost = round(line / (2 * np.tan(np.radians(max(angle, 0.1) / 2))), 2)
        more |= {"angle_deg": angle, "lost_mm": lost, "length_mm": round(detail.depth_mm, 3)}
        verdict = "tune"
        why = (
            f"The edge tapers to nothing at {angle:.0f}°: its last {lost:.2f} mm are thinner than one line "
            f"of {line:.2f} mm and go missing."
        )
        tries = (f"End it in a flat of {line:.2f} mm or more.", "Round the edge.")
    else:
        depth = round(detail.depth_mm, 3)
        more |= {"depth_mm": depth}
        verdict = "redesign"
        cut = detail.form == "engraved"
        why = f"The {detail.form} stroke is {width:.2f} mm wide, less than one line of {line:.2f} mm, " + (
            "so it closes up." if cut else "so it is not laid."
        )
        tries = (
            f"Make its strokes {line:.2f} mm wide or more.",
            "Emboss it instead of engraving it." if cut else "Engrave it instead of embossing it.",
            "Take a finer nozzle.",
        )
    sheet = detail.sheet
    return Feature(
        id="",
        kind=KIND,
        verdict=verdict,
        size_mm=width,
        limit_mm=round(line, 3),
        at_mm=(float(detail.centre[0]), float(detail.centre[1]), float(detail.centre[2])),
        direction=(float(sheet.normal[0]), float(sheet.normal[1]), float(sheet.normal[2])),
        area_mm2=sheet.area_mm2,
        why=why,
        try_first=tries,
        faces=sheet.faces,
        more=more,
    )


def _is_stroke(part: Part, sheet: Sheet, line: float) -> bool:
    return sheet.size_mm < line and sheet.shape != "ligament" and _depth_mm(part, sheet) <= LETTERING_MM


def _depth_mm(part: Part, sheet: Sheet) -> float:
    """How deep a stroke is cut, or how high it stands, whichever way it runs, mm.

    The sides of a bent stroke, a ring's or an S's, are all square to one direction: the depth is their extent
    along it. Those of a straight one are square to two, and it is narrower the one way than the other.
    """
    faces = sheet.faces
    normals = part.normals[faces]
    weighed = normals * (part.areas[faces] / max(float(part.areas[faces].sum()), 1e-300))[:, None]
    values, vectors = np.linalg.eigh(weighed.T @ normals)
    if values[0] > _SQUARE or values[1] < _BENT:
        return sheet.narrow_mm
    return min(sheet.narrow_mm, float(np.ptp(part.vertices[part.faces[faces]] @ vectors[:, 0])))


@dataclass(frozen=True, eq=False)
class _Edges:
    """Edges where two sides of a wedge meet: both faces, turn (radians), length and middle."""

    faces: NDArray[np.int64]
    turn: Floats
    length: Floats
    middle: Floats


def _edges(part: Part, angles: NDArray[np.float32], sign: float) -> _Edges:
    bent = sign * angles >= np.radians(_KNIFE_DEG)
    bent &= part.neighbours > np.arange(len(part.faces), dtype=np.int32)[:, None]
    face, side = np.nonzero(bent)
    start = part.vertices[part.faces[face, side]]
    end = part.vertices[part.faces[face, (side + 1) % 3]]
    return _Edges(
        faces=np.stack([face, part.neighbours[face, side]], axis=1).astype(np.int64),
        turn=np.abs(angles[face, side]).astype(np.float64),
        length=np.linalg.norm(end - start, axis=1),
        middle=0.5 * (start + end),
    )


def _held_by(sheet: Sheet, edges: _Edges) -> NDArray[np.int64]:
    """Edges where the two sides of a sheet meet; none where it does not taper to nothing."""
    if sheet.shape != "tapered" or sheet.least_mm > 0.2 * sheet.median_mm:
        return np.empty(0, dtype=np.int64)
    found = np.flatnonzero(np.isin(edges.faces, sheet.faces).all(axis=1))
    return found if edges.length[found].sum() > 0.25 * sheet.long_mm else found[:0]

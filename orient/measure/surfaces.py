"""Faces that matter: what a pose does to the ones the customer named."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.measure.columns import LEVEL_DEG, ON_BED_MM, TAGS, Support
from orient.part.mesh import Part

Floats = NDArray[np.float64]

# What counts as trouble on a face, by why it matters. Common practice, no source: a scar spoils a
# seal and a fit, the bed's texture shows, a bore built askew is neither round nor true to size.
TROUBLES: Mapping[str, tuple[str, ...]] = {
    "visible": ("scar", "cusp", "bed"),
    "fit": ("scar", "cusp", "tilt"),
    "seal": ("scar", "cusp"),
    "no_support": ("scar",),
}


@dataclass(frozen=True, eq=False)
class NamedFaces:
    """Faces that the brief named: why they matter, which they are, and their axis if they wrap one.

    Attributes
    ----------
    selector : str
        The words that selected them.
    matters : str
        A key of `TROUBLES`.
    faces : (k,) int64
        Face numbers.
    axis : (3,) float64 or None
        Axis of a cylindrical selection.
    """

    selector: str
    matters: str
    faces: NDArray[np.int64]
    axis: Floats | None


@dataclass(frozen=True, eq=False)
class NamedFacesMeasures:
    """What every pose does to one selection; each array is (P,).

    Attributes
    ----------
    scar_mm2 : float64
        Area that support touches, mm².
    stair_step_mm : float64
        Area-weighted mean cusp, mm.
    on_bed_mm2 : float64
        Area that lies on the bed, mm².
    tilt_deg : float64
        Angle between the selection's axis and the build direction; NaN without an axis.
    trouble : float64
        0 (none) to 1 (spoilt): 1 − Π(1 − share) over the shares that count for this kind.
    """

    scar_mm2: Floats
    stair_step_mm: Floats
    on_bed_mm2: Floats
    tilt_deg: Floats
    trouble: Floats


def tags_of(part: Part, named: Sequence[NamedFaces]) -> NDArray[np.uint8]:
    """Tag of each face: 0, or 1 for the first selection that holds it, 2 for the second and so on."""
    tags = np.zeros(len(part.faces), dtype=np.uint8)
    for number in range(min(len(named), TAGS), 0, -1):
        tags[named[number - 1].faces] = number
    return tags


def measure_named(
    part: Part,
    named: Sequence[NamedFaces],
    support: Support,
    directions: Floats,
    lowest: Floats,
    layer_mm: float,
) -> tuple[NamedFacesMeasures, ...]:
    """Measure what every pose does to each selection.

    Parameters
    ----------
    part : Part
        The part.
    named : sequence of NamedFaces
        At most TAGS selections.
    support : Support
        Column counts made with `tags_of(part, named)`.
    directions : (P, 3) float64
        Build directions.
    lowest : (P,) float64
        Lowest height of the part along each direction, mm.
    layer_mm : float
        Layer height, mm.

    Returns
    -------
    tuple of NamedFacesMeasures
        One for each selection.
    """
    return tuple(_measure(part, one, k, support, directions, lowest, layer_mm) for k, one in enumerate(named))


def _measure(
    part: Part,
    one: NamedFaces,
    tag: int,
    support: Support,
    directions: Floats,
    lowest: Floats,
    layer_mm: float,
) -> NamedFacesMeasures:
    areas = part.areas[one.faces]
    total = float(areas.sum())
    corners = part.vertices[part.faces[one.faces]].reshape(-1, 3)
    cusp = np.empty(len(directions))
    on_bed = np.empty(len(directions))
    level = math.cos(math.radians(LEVEL_DEG))
    # A few hundred poses at a time keep the table of poses × faces small.
    step = max(1, 2_000_000 // max(len(corners), 1))
    for start in range(0, len(directions), step):
        some = slice(start, start + step)
        cosine = directions[some] @ part.normals[one.faces].T
        stairs = np.where(np.abs(cosine) < level, np.abs(cosine), 0.0)
        cusp[some] = stairs @ areas / total
        heights = (directions[some] @ corners.T).reshape(len(cosine), -1, 3).max(axis=2)
        lies = (cosine <= -level) & (heights <= lowest[some, None] + ON_BED_MM)
        on_bed[some] = lies @ areas
    scar = np.minimum(support.tag_overhang_area[:, tag] + support.tag_landing_area[:, tag], total)
    if one.axis is None:
        tilt = np.full(len(directions), np.nan)
    else:
        across = np.linalg.norm(np.cross(directions, one.axis), axis=1)
        tilt = np.degrees(np.arctan2(across, np.abs(directions @ one.axis)))
    shares = {
        "scar": scar / total,
        "cusp": cusp,
        "bed": on_bed / total,
        "tilt": np.nan_to_num(np.sin(np.radians(tilt))),
    }
    spared = np.ones(len(directions))
    for name in TROUBLES[one.matters]:
        spared = spared * (1.0 - np.clip(shares[name], 0.0, 1.0))
    return NamedFacesMeasures(
        scar_mm2=scar, stair_step_mm=cusp * layer_mm, on_bed_mm2=on_bed, tilt_deg=tilt, trouble=1.0 - spared
    )

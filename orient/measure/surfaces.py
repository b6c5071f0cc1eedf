"""Faces that matter: what a pose does to the ones the customer named."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.measure.columns import LEVEL_DEG, Support
from orient.measure.painting import ON_BED_MM, TAGS
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


@dataclass(frozen=True, eq=False)
class Tags:
    """Which selections hold which faces; faces that the same selections hold share a tag.

    Attributes
    ----------
    of_face : (F,) uint8
        Tag of each face from 1; 0 for a face that no selection holds.
    held : (S, T) bool
        Whether selection s holds the faces with tag t + 1.
    """

    of_face: NDArray[np.uint8]
    held: NDArray[np.bool_]


def tags_of(part: Part, named: Sequence[NamedFaces]) -> Tags:
    """Tag the faces so that a face held by two selections counts for both.

    Parameters
    ----------
    part : Part
        The part.
    named : sequence of NamedFaces
        At least one selection.

    Returns
    -------
    Tags

    Raises
    ------
    OrientError
        When more than TAGS different sets of selections hold faces.
    """
    faces = np.unique(np.concatenate([one.faces for one in named]))
    held, kind = np.unique(
        np.stack([np.isin(faces, one.faces) for one in named]), axis=1, return_inverse=True
    )
    if held.shape[1] > TAGS:
        raise OrientError(
            f"The brief's [[faces]] make {held.shape[1]} different groups, and {TAGS} can be told apart: "
            "name fewer faces."
        )
    of_face = np.zeros(len(part.faces), dtype=np.uint8)
    of_face[faces] = kind.ravel() + 1
    return Tags(of_face, held)


def measure_named(
    part: Part,
    named: Sequence[NamedFaces],
    tags: Tags,
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
        The selections.
    tags : Tags
        From `tags_of(part, named)`.
    support : Support
        Column counts made with these tags.
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
    return tuple(
        _measure(part, one, np.flatnonzero(held), support, directions, lowest, layer_mm)
        for one, held in zip(named, tags.held, strict=True)
    )


def _measure(
    part: Part,
    one: NamedFaces,
    tags: NDArray[np.int64],
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
    touched = support.tag_overhang_area[:, tags] + support.tag_landing_area[:, tags]
    scar = np.minimum(touched.sum(axis=1), total)
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

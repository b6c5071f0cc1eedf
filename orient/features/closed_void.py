"""Closed voids: hollows that nothing can leave.

A void is a closed shell of faces whose signed volume is negative: its faces look into the hollow. On reading,
bodies drawn inside out were turned by what lies in what, so the sign can be trusted.

The verdicts and what to try are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from orient.features.model import VERDICTS, Feature
from orient.part.faces import signed_volumes
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "closed_void"
# Hollows below this are pores of a careless mesh.
LEAST_VOLUME_MM3 = 0.05
# A ceiling this small holds itself up.
LEAST_CEILING_MM2 = 1.0
# Corners on one sphere, and so much of its volume: a ball, however coarse. A box and a drum, whose corners
# lie on one sphere as well, fill 0.58 of it at most.
_ON_BALL, _BALL_SHARE = 0.03, 0.7


@dataclass(frozen=True, eq=False)
class Void:
    """One closed void.

    Attributes
    ----------
    extent_mm : float
        Longest side of the smallest box round it, however that box lies; of a ball its diameter.
    volume_mm3, area_mm2 : float
        Its volume and surface.
    centre : (3,) float64
        Centroid of its surface, mm.
    faces : (k,) int64
        Its faces.
    normals, areas : (k, 3), (k,) float64
        Of its faces.
    """

    extent_mm: float
    volume_mm3: float
    area_mm2: float
    centre: Floats
    faces: NDArray[np.int64]
    normals: Floats
    areas: Floats


def find(part: Part) -> list[Void]:
    """Find the closed voids of a part.

    Parameters
    ----------
    part : Part
        The part. Shells that are not closed are passed over.

    Returns
    -------
    list of Void
        In order of their centres.
    """
    neighbours = part.neighbours
    count = len(neighbours)
    ends = np.where(neighbours < 0, np.arange(count, dtype=np.int32)[:, None], neighbours)
    graph = csr_array(
        (np.ones(3 * count, np.int8), ends.ravel(), np.arange(0, 3 * count + 1, 3, dtype=np.int32)),
        shape=(count, count),
    )
    shells, label = connected_components(graph, directed=True, connection="strong")
    if shells < 2:
        return []
    volume = np.bincount(label, signed_volumes(part.vertices, part.faces, part.bounds.mean(axis=0)), shells)
    is_open = np.bincount(label, (neighbours < 0).any(axis=1), shells) > 0
    voids = []
    order = np.argsort(label, kind="stable")
    start = np.append(0, np.cumsum(np.bincount(label, minlength=shells)))
    for shell in np.flatnonzero((volume < -LEAST_VOLUME_MM3) & ~is_open):
        faces = np.sort(order[start[shell] : start[shell + 1]]).astype(np.int64)
        area = part.areas[faces]
        voids.append(
            Void(
                extent_mm=_extent(part.vertices[np.unique(part.faces[faces])], float(-volume[shell])),
                volume_mm3=float(-volume[shell]),
                area_mm2=float(area.sum()),
                centre=area @ part.centroids[faces] / area.sum(),
                faces=faces,
                normals=part.normals[faces],
                areas=area,
            )
        )
    return sorted(voids, key=lambda void: (*void.centre.round(2).tolist(), void.extent_mm))


def judge(
    void: Void,
    process: Process,
    direction: Floats | None = None,
    ceilings: Sequence[Feature] | None = None,
) -> Feature:
    """Judge a void.

    Parameters
    ----------
    void : Void
        From `find`.
    process : Process
        Overhang limit.
    direction : (3,) float64, optional
        Build direction. Where a ceiling of the void needs support, that support stays in it for good.
    ceilings : sequence of Feature, optional
        What was found of its ceilings in that pose, which say whether it does; else whatever leans beyond the
        overhang limit does.

    Returns
    -------
    Feature
        ``size_mm`` is the void's largest extent.
    """
    size, volume = round(void.extent_mm, 3), round(void.volume_mm3, 3)
    steep = False
    worst = max(ceilings or (), key=lambda one: (-VERDICTS.index(one.verdict), one.size_mm), default=None)
    if ceilings is not None:
        steep = worst is not None and worst.verdict == "support"
    elif direction is not None:
        limit = np.sin(np.radians(process.overhang_limit_deg + 0.1))
        ceiling = void.normals @ np.asarray(direction) < -limit
        steep = float(void.areas[ceiling].sum()) > LEAST_CEILING_MM2
    if steep:
        verdict = "redesign"
        why = f"A closed void of {volume:.1f} mm³ has a ceiling that needs support, and no support leaves it."
        tries: tuple[str, ...] = (
            "Open the void to the outside.",
            "Give it a roof of 45° or a teardrop's top, which needs no support.",
            "Fill it and leave saving material to the infill.",
        )
    elif worst is not None and worst.verdict == "tune":
        verdict = "tune"
        why = (
            f"A closed void of {volume:.1f} mm³ is sealed in, and its ceiling sags where nobody can mend it."
        )
        tries = (
            "Give it a roof of 45° or a teardrop's top, which needs no support.",
            "Fill it and leave saving material to the infill.",
        )
    else:
        verdict = "tune"
        why = f"A closed void of {volume:.1f} mm³ is sealed in: what gets into it stays."
        tries = ("Make sure that it is meant.", "Fill it and leave saving material to the infill.")
    return Feature(
        id="",
        kind=KIND,
        verdict=verdict,
        size_mm=size,
        limit_mm=None,
        at_mm=(float(void.centre[0]), float(void.centre[1]), float(void.centre[2])),
        direction=None,
        area_mm2=void.area_mm2,
        why=why,
        try_first=tries,
        faces=void.faces,
        more={
            "volume_mm3": volume,
            "needs_support": steep,
            "ceiling": None if worst is None else worst.kind,
            "ceiling_mm": None if worst is None else worst.size_mm,
        },
    )


def _extent(points: Floats, volume: float) -> float:
    """Diameter of a ball; else the longest side of the smallest box, or of that along the axes."""
    ball = _ball_mm(points, volume)
    if ball is not None:
        return ball
    try:
        # Loaded only where there is a void: it takes as long to load as half a small part takes to inspect.
        import trimesh

        return float(trimesh.bounds.oriented_bounds(points)[1].max())
    except Exception:  # points in one plane, or worse: whatever the hull says of them
        return float(np.ptp(points, axis=0).max())


def _ball_mm(points: Floats, volume: float) -> float | None:
    """Diameter of the ball on which corners lie, by least squares; None where they lie on none."""
    middle = points.mean(axis=0)
    offset = points - middle
    # |p|² = 2 c·p + (r² − |c|²) is linear in the centre c and the rest.
    columns = np.column_stack([2.0 * offset, np.ones(len(offset))])
    found = np.linalg.lstsq(columns, (offset**2).sum(axis=1), rcond=None)[0]
    square = float(found[3] + found[:3] @ found[:3])
    if not square > 0:
        return None
    radius = square**0.5
    away = np.linalg.norm(offset - found[:3], axis=1)
    full = 4.0 / 3.0 * np.pi * radius**3
    on = np.abs(away - radius).max() < _ON_BALL * radius and volume > _BALL_SHARE * full
    # Of chords that were cut finer only the old corners lie on the ball, and none outside.
    return 2.0 * float(away.max()) if on else None

"""Every measure of every pose: one row a pose, one column a measure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.measure.blocks import Blocks, sort_into_blocks
from orient.measure.columns import column_pitch, count_columns
from orient.measure.faces import NormalGroups, group_normals, surface_of
from orient.measure.footprint import footprint_of, neighbours_in_blocks
from orient.measure.load import Kind, load_angle_deg, strength_retained
from orient.measure.surfaces import NamedFaces, NamedFacesMeasures, measure_named, tags_of
from orient.part.mesh import Part
from orient.pose.frame import part_frame
from orient.process import Process

Floats = NDArray[np.float64]


# A mesh that is not closed and has more surface than this many times its hull is stacked sheets.
LAYERS = 4.0


@dataclass(frozen=True, eq=False)
class Sorted:
    """A part made ready to be measured in many poses: what does not depend on the pose, found once."""

    part: Part
    blocks: Blocks
    neighbours: NDArray[np.int32]
    groups: NormalGroups
    frame: Floats
    pitch_mm: float


@dataclass(frozen=True, eq=False)
class Loads:
    """The axes along which the part is stressed, (A, 3), and how."""

    axes: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    kind: Kind = "tension"


@dataclass(frozen=True, eq=False)
class Measures:
    """Measures of P poses.

    Attributes
    ----------
    columns : dict of str to (P,) float64
        Named as in the JSON, unit in the name.
    named : tuple of NamedFacesMeasures
        One for each selection of faces that matter.
    """

    columns: dict[str, Floats]
    named: tuple[NamedFacesMeasures, ...]


def sort_part(part: Part) -> Sorted:
    """Find once what every pose needs.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    Sorted
    """
    blocks = sort_into_blocks(part)
    return Sorted(
        part=part,
        blocks=blocks,
        neighbours=neighbours_in_blocks(part, blocks),
        groups=group_normals(part),
        frame=part_frame(part),
        pitch_mm=column_pitch(part.hull.area_mm2, blocks.radius) * _coarser(part),
    )


def _coarser(part: Part) -> float:
    """Widen the columns of loose sheets that lie over each other by the dozen.

    Every sheet meets every other in each column, so the work goes by the square of their number, and so
    do the columns that a side divides. Closed parts are few layers deep, and keep theirs.
    """
    return 1.0 if part.closed else max(part.area_mm2 / part.hull.area_mm2 / LAYERS, 1.0)


def measure_poses(
    ready: Sorted,
    process: Process,
    directions: ArrayLike,
    loads: Loads | None = None,
    named: Sequence[NamedFaces] = (),
    *,
    free: NDArray[np.bool_] | None = None,
    threads: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Measures:
    """Measure a part in many poses.

    Parameters
    ----------
    ready : Sorted
        The part, from `sort_part`.
    process : Process
        Layer height, overhang limit and strengths.
    directions : (P, 3) array_like
        Build directions, unit vectors in part coordinates.
    loads : Loads, optional
        Stress axes; without one the load columns are NaN.
    named : sequence of NamedFaces
        Faces that matter.
    free : (F,) bool, optional
        Faces that hold themselves up whatever their angle, such as the ceilings of small holes.
    threads : int, optional
        Threads to count on; the answer does not depend on it.
    progress : callable, optional
        Called with the number of poses each batch has added.

    Returns
    -------
    Measures
    """
    b = np.ascontiguousarray(np.atleast_2d(np.asarray(directions, dtype=np.float64)))
    loads = loads or Loads()
    part, layer = ready.part, process.layer_height_mm
    lowest, highest = _heights(part.hull.points, b)
    tags = tags_of(part, named) if named else None
    support = count_columns(
        ready.blocks,
        b,
        ready.frame,
        ready.pitch_mm,
        process.overhang_limit_deg,
        closed=part.closed,
        tags=tags.of_face if tags else None,
        free=free,
        threads=threads,
        progress=progress,
    )
    footprint = footprint_of(part, ready.blocks, ready.neighbours, b, lowest, layer, threads=threads)
    surface = surface_of(ready.groups, b, layer)
    angle, retained = _governing(b, loads, process)
    height = highest - lowest
    columns = {
        "overhang_area_mm2": support.overhang_area,
        "overhang_projected_mm2": support.overhang_projected,
        "support_volume_mm3": support.volume,
        "support_needed_mm3": support.needed,
        "support_weighted_mm3": support.needed_weighted,
        "support_on_part_mm3": support.volume_on_part,
        "scar_area_mm2": support.scar_area,
        "height_mm": height,
        # A height that is a whole number of layers must not gain one by rounding.
        "layers": np.ceil(height / layer - 1e-6),
        "first_layer_mm2": footprint.first_layer_mm2,
        "islands": footprint.islands.astype(np.float64),
        "tip_margin_deg": footprint.tip_margin_deg,
        "stair_step_mm": surface.stair_step_mm,
        "rough_area_mm2": surface.rough_area_mm2,
        "load_angle_deg": angle,
        "strength_retained": retained,
        "contour_length_mm": surface.contour_length_mm,
    }
    of_named = measure_named(part, named, tags, support, b, lowest, layer) if tags else ()
    if of_named:
        columns["faces_trouble"] = np.mean([one.trouble for one in of_named], axis=0)
    return Measures(columns=columns, named=of_named)


def _heights(points: Floats, directions: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest height of the hull along every direction."""
    lowest = np.empty(len(directions))
    highest = np.empty(len(directions))
    step = max(1, 4_000_000 // max(len(points), 1))
    for start in range(0, len(directions), step):
        heights = directions[start : start + step] @ points.T
        lowest[start : start + step] = heights.min(axis=1)
        highest[start : start + step] = heights.max(axis=1)
    return lowest, highest


def _governing(directions: Floats, loads: Loads, process: Process) -> tuple[Floats, Floats]:
    """Load angle and strength retained of the axis that leaves least; NaN without an axis."""
    if not len(loads.axes):
        return np.full(len(directions), np.nan), np.full(len(directions), np.nan)
    angles = load_angle_deg(directions, loads.axes)
    strengths = (process.strength_in_layer_mpa, process.strength_across_mpa, process.strength_shear_mpa)
    retained = np.stack(
        [strength_retained(directions, axis, loads.kind, *strengths) for axis in loads.axes], axis=1
    )
    # Axes that leave equally much, or strengths that are not known: the steeper axis is shown.
    worst = np.lexsort((-angles, np.round(np.nan_to_num(retained), 12)), axis=1)[:, :1]
    pick = np.take_along_axis
    return pick(angles, worst, axis=1)[:, 0], pick(retained, worst, axis=1)[:, 0]

"""Support that cannot be taken out: no straight tool of the given diameter gets to it from outside.

Support stands in columns, from each face that needs holding up down to the next surface or the bed. A column
is trapped when the tool reaches neither it nor one within its own diameter beside it, which would break off
together. What the tool reaches does not depend on the pose, since the
part is taken off the bed before it is cleaned; only where support stands does.

Where a closed void holds the support, `closed_void` says so. The verdict and what to try are common practice,
no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from orient.features.closed_void import Void
from orient.features.facing import Samples
from orient.features.model import Feature
from orient.features.rays import Rays
from orient.features.voxels import Reached, columns_reached
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "trapped_support"
# Less than this comes out with the rest, or is no more than a bead.
LEAST_AREA_MM2 = 4.0
_NEIGHBOURS = 9


@dataclass(frozen=True, eq=False)
class Trapped:
    """Support in one place that cannot be reached.

    Attributes
    ----------
    extent_mm : float
        Largest extent of the columns together.
    area_mm2 : float
        Area of the faces they hold up.
    volume_mm3 : float
        Volume of the columns.
    voxel_mm : float
        What the answer is true to.
    centre : (3,) float64
        Middle of that ceiling, mm.
    faces : (k,) int64
        Faces they hold up.
    """

    extent_mm: float
    area_mm2: float
    volume_mm3: float
    voxel_mm: float
    centre: Floats
    faces: NDArray[np.int64]


def find(
    part: Part,
    samples: Samples,
    rays: Rays,
    reached: Reached,
    process: Process,
    direction: Floats,
    voids: Sequence[Void] = (),
    held: NDArray[np.bool_] | None = None,
) -> list[Trapped]:
    """Find the support that no tool reaches in one pose.

    Parameters
    ----------
    part : Part
        The part.
    samples : Samples
        Samples of its surface.
    rays : Rays
        Rays cast at it.
    reached : Reached
        Where the tool gets to.
    process : Process
        Overhang limit.
    direction : (3,) float64
        Build direction.
    voids : sequence of Void
        Closed voids: passed over.
    held : (F,) bool, optional
        Faces that support holds up; those beyond the overhang limit and off the bed, unless told.

    Returns
    -------
    list of Trapped
        In order of their centres.
    """
    direction = np.asarray(direction, dtype=np.float64)
    lowest = float((part.vertices @ direction).min())
    if held is None:
        held = part.normals @ direction < -np.sin(np.radians(process.overhang_limit_deg + 0.1))
    else:
        held = held.copy()
    for void in voids:
        held[void.faces] = False
    rows = np.flatnonzero(held[samples.face])
    height = samples.point[rows] @ direction - lowest
    # Within a layer of the bed there is no room for support.
    rows, height = rows[height > process.layer_height_mm], height[height > process.layer_height_mm]
    if not len(rows):
        return []
    off = max(1e-4, 1e-6 * part.size_mm)
    start = samples.point[rows] + off * part.normals[samples.face[rows]]
    _, down = rays.first_hits(start, np.broadcast_to(-direction, start.shape), part.size_mm)
    length = np.minimum(down, np.maximum(height, 0.0))
    free = columns_reached(reached.cells, reached.origin, reached.voxel_mm, start, length, direction)
    if free.any():
        beside, _ = cKDTree(start[free]).query(start, k=1, distance_upper_bound=process.support_tool_mm)
        free |= np.isfinite(beside)
    kept = ~free & (length > process.layer_height_mm)
    rows, start, length = rows[kept], start[kept], length[kept]
    found = []
    label = _near(start, samples.gap_mm[rows])
    order = np.argsort(label, kind="stable")
    for mine in np.split(order, np.flatnonzero(np.diff(label[order])) + 1) if len(order) else []:
        area = samples.area[rows[mine]]
        if area.sum() < LEAST_AREA_MM2:
            continue
        slope = -part.normals[samples.face[rows[mine]]] @ direction
        points = np.concatenate([start[mine], start[mine] - length[mine, None] * direction])
        found.append(
            Trapped(
                extent_mm=_extent(points),
                area_mm2=float(area.sum()),
                volume_mm3=float(area @ (slope * length[mine])),
                voxel_mm=reached.voxel_mm,
                centre=area @ start[mine] / area.sum(),
                faces=np.unique(samples.face[rows[mine]]).astype(np.int64),
            )
        )
    return sorted(found, key=lambda one: (*one.centre.round(2).tolist(), one.extent_mm))


def judge(trapped: Trapped, process: Process, direction: Floats | None = None) -> Feature:
    """Judge trapped support.

    Parameters
    ----------
    trapped : Trapped
        From `find`.
    process : Process
        Diameter of the tool.
    direction : (3,) float64, optional
        Build direction.

    Returns
    -------
    Feature
        ``size_mm`` is the largest extent of the support.
    """
    tool = process.support_tool_mm
    area = round(trapped.area_mm2, 2)
    return Feature(
        id="",
        kind=KIND,
        verdict="redesign",
        size_mm=round(trapped.extent_mm, 3),
        limit_mm=None,
        at_mm=(float(trapped.centre[0]), float(trapped.centre[1]), float(trapped.centre[2])),
        direction=None,
        area_mm2=trapped.area_mm2,
        why=(
            f"Support under {area:.1f} mm² of ceiling stands where no tool of Ø {tool:.1f} mm gets to, "
            "so it stays in."
        ),
        try_first=(
            "Turn the part so that this ceiling needs no support.",
            f"Open the way in to more than {tool:.1f} mm.",
            "Give the ceiling a roof of 45° or a teardrop's top.",
        ),
        faces=trapped.faces,
        more={
            "support_area_mm2": area,
            "support_volume_mm3": round(trapped.volume_mm3, 2),
            "tool_mm": tool,
            "voxel_mm": round(trapped.voxel_mm, 3),
        },
    )


def _near(points: Floats, gap: Floats) -> NDArray[np.int32]:
    """Number the groups of points that lie near one another."""
    count = len(points)
    if count < 2:
        return np.zeros(count, dtype=np.int32)
    distance, near = cKDTree(points).query(points, k=min(_NEIGHBOURS, count), workers=1)
    near = np.asarray(near)
    row, column = np.nonzero(distance <= 2.5 * np.maximum(gap[:, None], gap[near]))
    graph = coo_array((np.ones(len(row), np.int8), (row, near[row, column])), shape=(count, count))
    return connected_components(graph, directed=False)[1]


def _extent(points: Floats) -> float:
    """Largest extent along the points' own main axes, mm."""
    spread = points - points.mean(axis=0)
    axes = np.linalg.eigh(spread.T @ spread)[1]
    return float(np.ptp(spread @ axes, axis=0).max())

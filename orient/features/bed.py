"""What lies on the bed in a pose: the pieces of the first layer, how long and how steady they are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.part.hull import plane_axes
from orient.part.mesh import Part
from orient.part.outline import extents, farthest

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Island:
    """One piece of the first layer.

    Attributes
    ----------
    area_mm2 : float
        Area inside its outer outline.
    run_mm : float
        Largest distance between two of its points.
    ends : (2, 3) float64
        Those two points, part coordinates, mm.
    middle : (3,) float64
        Middle of that run, part coordinates, mm; where it hangs beside the island, as that of an angle's
        foot does, the place of the outline nearest to it.
    faces : (k,) int64
        Faces that the section cuts.
    """

    area_mm2: float
    run_mm: float
    ends: Floats
    middle: Floats
    faces: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Bed:
    """The first layer of a pose.

    Attributes
    ----------
    islands : tuple of Island
        The largest first.
    area_mm2 : float
        Area of the section, holes taken out.
    narrow_mm : float
        Least width of the hull of all islands.
    tip_margin_deg : float
        Tilt after which the part falls, degrees; negative when it falls untilted.
    shadow_mm2 : float
        Area of the hull of the part seen from above.
    """

    islands: tuple[Island, ...]
    area_mm2: float
    narrow_mm: float
    tip_margin_deg: float
    shadow_mm2: float


def bed_of(part: Part, direction: Floats, heights: Floats, layer_mm: float) -> Bed:
    """Cut the first layer at half its height.

    Parameters
    ----------
    part : Part
        The part.
    direction : (3,) float64
        Build direction.
    heights : (V,) float64
        Height of each vertex above the bed, mm.
    layer_mm : float
        Height of the first layer.

    Returns
    -------
    Bed
        The tipping margin is atan(distance of the centre of mass's foot from the nearest edge of the
        islands' hull / its height).
    """
    level = layer_mm / 2.0
    above = heights > level
    count = above[part.faces].sum(axis=1)
    cut = np.flatnonzero((count == 1) | (count == 2))
    axes = np.stack(plane_axes(direction), axis=1)
    start, end = _section(part, above, heights, cut, level)
    flat_start, flat_end = start @ axes, end @ axes
    enclosed = 0.5 * (flat_start[:, 0] * flat_end[:, 1] - flat_start[:, 1] * flat_end[:, 0])
    label = _pieces(part.neighbours, cut, len(part.faces))
    outlines = [np.flatnonzero(label == piece) for piece in range(int(label.max(initial=-1)) + 1)]
    areas = [float(enclosed[rows].sum()) for rows in outlines]
    hollow = [rows for rows, area in zip(outlines, areas, strict=True) if not area > 0]
    # Only a hole whose box holds a place can run round it.
    low = np.array([flat_start[rows].min(axis=0) for rows in hollow]).reshape(-1, 2)
    high = np.array([flat_start[rows].max(axis=0) for rows in hollow]).reshape(-1, 2)
    islands = []
    for rows, area in zip(outlines, areas, strict=True):
        if not area > 0:
            continue
        first, second, run = _longest_run(flat_start[rows])
        middle = 0.5 * (flat_start[rows[first]] + flat_start[rows[second]])
        near = np.flatnonzero(((low <= middle) & (middle <= high)).all(axis=1))
        around = np.concatenate([rows, *(hollow[k] for k in near)])
        if _inside(middle, flat_start[around], flat_end[around]):
            place = 0.5 * (start[rows[first]] + start[rows[second]])
        else:
            place = _nearest(middle, flat_start[rows], flat_end[rows], start[rows], end[rows])
        islands.append(
            Island(
                area_mm2=area,
                run_mm=run,
                ends=start[rows[[first, second]]],
                middle=place,
                faces=cut[rows].astype(np.int64),
            )
        )
    islands.sort(key=lambda island: -island.area_mm2)
    outline = shapely.convex_hull(shapely.multipoints(flat_start)) if len(cut) else shapely.Point()
    mass = part.center_of_mass
    rise = float(mass @ direction) - float(part.vertices[0] @ direction - heights[0])
    return Bed(
        islands=tuple(islands),
        area_mm2=max(float(enclosed.sum()), 0.0),
        narrow_mm=_narrow(outline),
        tip_margin_deg=_margin_deg(outline, mass @ axes, rise),
        shadow_mm2=float(shapely.convex_hull(shapely.multipoints(part.hull.points @ axes)).area),
    )


def _inside(spot: Floats, start: Floats, end: Floats) -> bool:
    """Whether outlines run round a place, by the angle that they turn about it."""
    a, b = start - spot, end - spot
    turned = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)).sum()
    return bool(turned > np.pi)


def _nearest(spot: Floats, flat_start: Floats, flat_end: Floats, start: Floats, end: Floats) -> Floats:
    """The place of an outline that is nearest to a place of its plane, in space."""
    way = flat_end - flat_start
    long = np.maximum((way**2).sum(axis=1), 1e-30)
    share = np.clip(((spot - flat_start) * way).sum(axis=1) / long, 0.0, 1.0)[:, None]
    row = int(((flat_start + share * way - spot) ** 2).sum(axis=1).argmin())
    place: Floats = start[row] + share[row] * (end[row] - start[row])
    return place


def _section(
    part: Part, above: NDArray[np.bool_], heights: Floats, cut: NDArray[np.int64], level: float
) -> tuple[Floats, Floats]:
    """Ends of the cut through each face, so that the outline runs counter-clockwise round material."""
    corners = part.faces[cut]
    after = np.roll(corners, -1, axis=1)
    falls = above[corners] & ~above[after]
    rises = ~above[corners] & above[after]
    rows = np.arange(len(cut))
    ends = []
    for side in (falls.argmax(axis=1), rises.argmax(axis=1)):
        a, b = corners[rows, side], after[rows, side]
        t = (level - heights[a]) / (heights[b] - heights[a])
        ends.append(part.vertices[a] + t[:, None] * (part.vertices[b] - part.vertices[a]))
    return ends[0], ends[1]


def _pieces(neighbours: NDArray[np.int32], cut: NDArray[np.int64], faces: int) -> NDArray[np.int32]:
    """Number the outlines that hang together."""
    if not len(cut):
        return np.zeros(0, dtype=np.int32)
    local = np.full(faces + 1, -1, dtype=np.int64)
    local[cut] = np.arange(len(cut))
    row, side = np.nonzero(local[neighbours[cut]] >= 0)
    other = local[neighbours[cut[row], side]]
    graph = coo_array((np.ones(len(row), np.int8), (row, other)), shape=(len(cut), len(cut)))
    return connected_components(graph, directed=False)[1]


def _longest_run(points: Floats) -> tuple[int, int, float]:
    """The two points farthest apart: both lie on the hull."""
    rim = _corners(shapely.convex_hull(shapely.multipoints(points)))
    i, j, apart = farthest(rim)
    first = int(np.argmin(np.abs(points - rim[i]).sum(axis=1)))
    second = int(np.argmin(np.abs(points - rim[j]).sum(axis=1)))
    return first, second, apart


def _narrow(outline: shapely.Geometry) -> float:
    """Least width of a convex outline: it is met square to one of its edges."""
    if outline.geom_type != "Polygon":
        return 0.0
    rim = _corners(outline)
    edge = np.roll(rim, -1, axis=0) - rim
    edge /= np.maximum(np.linalg.norm(edge, axis=1, keepdims=True), 1e-300)
    return float(extents(rim, np.stack([-edge[:, 1], edge[:, 0]], axis=1)).min())


def _corners(hull: shapely.Geometry) -> Floats:
    """Corners of a convex hull, each once."""
    rim: Floats = shapely.get_coordinates(hull)
    return rim[:-1] if hull.geom_type == "Polygon" else rim


def _margin_deg(outline: shapely.Geometry, foot: Floats, rise_mm: float) -> float:
    point = shapely.Point(foot)
    if outline.geom_type != "Polygon":
        return -math.degrees(math.atan2(float(outline.distance(point)), rise_mm)) if len(foot) else 0.0
    edge = float(shapely.distance(outline.exterior, point))
    inside = bool(outline.contains(point))
    return math.degrees(math.atan2(edge if inside else -edge, max(rise_mm, 1e-12)))

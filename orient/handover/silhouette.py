"""What a part covers of the bed when it is seen from above."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import MultiPolygon, Polygon

Floats = NDArray[np.float64]

# Outlines of more corners than this are drawn in fewer, outside the true one, so that nesting stays quick.
MOST_CORNERS = 72
# Never farther outside than this, mm, whatever the corners.
WIDEST_MM = 0.25
_SNAP_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Silhouette:
    """A part seen from above, in one pose.

    Attributes
    ----------
    true : shapely Polygon or MultiPolygon
        All that it covers, mm.
    pieces : tuple of Polygon
        The same without holes and in few corners, never inside the true outline: what is nested.
    """

    true: Polygon | MultiPolygon
    pieces: tuple[Polygon, ...]

    @property
    def area_mm2(self) -> float:
        """Area of the true silhouette."""
        return float(self.true.area)

    def coarser(self, most: int, widest_mm: float) -> Silhouette:
        """The same in fewer corners, a little farther outside, for where many kinds are tried together."""
        return Silhouette(self.true, tuple(_few_corners(one, most, widest_mm) for one in self.pieces))

    def at(self, x: float, y: float, turn_deg: float) -> Polygon | MultiPolygon:
        """The true silhouette, turned about the origin and then moved."""
        return placed(self.true, x, y, turn_deg)


def placed(shape: Polygon | MultiPolygon, x: float, y: float, turn_deg: float) -> Polygon | MultiPolygon:
    """Turn a shape about the origin, counter-clockwise, then move it."""
    turn = turned(turn_deg)
    return shapely.transform(shape, lambda xy: xy @ turn.T + (x, y))


def turned(turn_deg: float) -> Floats:
    """Rotation matrix (2, 2) of a turn; exact at quarter turns."""
    angle = np.radians(turn_deg)
    c, s = np.cos(angle), np.sin(angle)
    if turn_deg % 90.0 == 0.0:
        c, s = round(c), round(s)
    return np.array([[c, -s], [s, c]])


def silhouette_of(vertices: ArrayLike, faces: ArrayLike) -> Silhouette:
    """Look at a mesh along z.

    Parameters
    ----------
    vertices : (V, 3) array_like
        Corners as laid on the bed, mm.
    faces : (F, 3) array_like of int
        Corners of each face.

    Returns
    -------
    Silhouette

    Examples
    --------
    >>> import trimesh
    >>> box = trimesh.creation.box((30, 20, 10))
    >>> silhouette_of(box.vertices, box.faces).area_mm2
    600.0
    """
    points = np.asarray(vertices, dtype=np.float64)
    corners = np.asarray(faces)
    true = _projected(points, corners)
    return silhouette_from(true)


def silhouette_from(shape: Polygon | MultiPolygon) -> Silhouette:
    """Make a silhouette of a shape in the plane.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        What is covered, mm.

    Returns
    -------
    Silhouette
    """
    solid = shapely.union_all([Polygon(one.exterior) for one in _polygons(shape)])
    return Silhouette(shape, tuple(_few_corners(one) for one in _polygons(solid)))


def _polygons(shape: Polygon | MultiPolygon) -> list[Polygon]:
    return [one for one in getattr(shape, "geoms", [shape]) if isinstance(one, Polygon) and one.area > 0]


def _projected(points: Floats, corners: NDArray) -> Polygon | MultiPolygon:
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.ascontiguousarray(points, dtype=np.float64),
            np.ascontiguousarray(corners, dtype=np.uint64),
        )
    )
    if solid.status() == manifold3d.Error.NoError and not solid.is_empty():
        rings = [Polygon(ring) for ring in solid.project().to_polygons() if len(ring) >= 3]
        # Outer rings run counter-clockwise, holes clockwise.
        outer = [ring for ring in rings if ring.exterior.is_ccw]
        inner = [ring for ring in rings if not ring.exterior.is_ccw]
        shape = shapely.union_all(outer)
        if inner:
            shape = shape.difference(shapely.union_all(inner))
        if not shape.is_empty and shape.area > 0:
            return shape
    flat = points[corners][:, :, :2]
    edges = flat[:, 1:] - flat[:, :1]
    area = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]
    seen = flat[np.abs(area) > 1e-9]
    return shapely.union_all(shapely.polygons(seen), grid_size=_SNAP_MM)


def _few_corners(outline: Polygon, most: int = MOST_CORNERS, widest_mm: float = WIDEST_MM) -> Polygon:
    """An outline in few corners that lies outside the true one, by no more than a width."""
    plain = shapely.simplify(outline, _SNAP_MM)
    if plain.covers(outline):
        outline = plain
    fewer, step = outline, 0.01
    while len(fewer.exterior.coords) > most + 1 and step <= widest_mm / 2:
        wider = outline.buffer(step, join_style="mitre", mitre_limit=2.0)
        tried = Polygon(shapely.simplify(wider, step).exterior)
        if (
            tried.is_valid
            and tried.covers(outline)
            and len(tried.exterior.coords) < len(fewer.exterior.coords)
        ):
            fewer = tried
        step *= 1.8
    return fewer

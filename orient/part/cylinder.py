"""The cylinder that a set of faces lies on: the axis of a hole, a boss or a fillet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.part.mesh import Part
from orient.part.regions import FLAT_DEG, SMOOTH_DEG

# A wall may lean this far from its axis (a moulding draft) and still be called round.
_LEAN_DEG = 3.0


@dataclass(frozen=True, eq=False)
class Cylinder:
    """An axis and a radius.

    Attributes
    ----------
    point
        Point of the axis nearest the middle of the faces, (3,), mm.
    direction
        Unit vector along the axis, (3,); its sign means nothing (the largest component is positive).
    radius_mm
        Radius through the corners of the mesh, which lie on the true surface.
    hollow
        True for a hole's wall, False for a boss.
    """

    point: NDArray[np.float64]
    direction: NDArray[np.float64]
    radius_mm: float
    hollow: bool


def cylinder_of(part: Part, faces: ArrayLike) -> Cylinder | None:
    """Find the cylinder that faces lie on.

    Parameters
    ----------
    part
        The part.
    faces
        Indices of faces, (k,).

    Returns
    -------
    Cylinder or None
        None when the faces are flat or bent in any other way.

    Notes
    -----
    The axis is the direction least present among the normals, Σ A n nᵀ. All facets of a cylinder are equally
    far from its axis, so n·c = n·p + ρ holds for each, c a point of the facet, p of the axis and ρ the signed
    distance; it is solved by least squares weighted with area, which no splitting of triangles can move.
    Faces count as a cylinder when there are at least three different facets, none turned more than 31° from
    the next, none leaning more than 3° and none off by more than 1 % of the radius or 0.02 mm.

    Examples
    --------
    >>> from orient.part.mesh import part_from_trimesh
    >>> import trimesh
    >>> rod = part_from_trimesh(trimesh.creation.cylinder(radius=4, height=10, sections=32))
    >>> found = cylinder_of(rod, abs(rod.normals[:, 2]) < 0.5)
    >>> found.direction.round(9).tolist(), round(found.radius_mm, 6), found.hollow
    ([0.0, 0.0, 1.0], 4.0, False)
    """
    chosen = np.asarray(faces)
    normals, areas, centroids = part.normals[chosen], part.areas[chosen], part.centroids[chosen]
    solid = areas > 0
    normals, areas, centroids = normals[solid], areas[solid], centroids[solid]
    if len(areas) < 3:
        return None
    axis = np.linalg.eigh((normals * areas[:, None]).T @ normals)[1][:, 0]
    axis *= np.sign(axis[np.argmax(np.abs(axis))])
    if np.abs(normals @ axis).max() > np.sin(np.radians(_LEAN_DEG)):
        return None

    side = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    side /= np.linalg.norm(side)
    plane = np.stack([side, np.cross(axis, side)])
    flat_normals = normals @ plane.T
    if not _goes_round(np.arctan2(flat_normals[:, 1], flat_normals[:, 0])):
        return None

    middle = areas @ centroids / areas.sum()
    distance = np.sum(normals * (centroids - middle), axis=1)
    root = np.sqrt(areas)
    unknowns = np.column_stack([flat_normals, np.ones(len(areas))])
    x, y, offset = np.linalg.lstsq(unknowns * root[:, None], distance * root, rcond=None)[0]
    point = middle + x * plane[0] + y * plane[1]
    if np.abs(unknowns @ [x, y, offset] - distance).max() > 0.01 * abs(offset) + 0.02:
        return None
    corners = part.vertices[np.unique(part.faces[chosen])] - point
    radius = float(np.linalg.norm(corners @ plane.T, axis=1).max())
    return Cylinder(point, axis, radius, hollow=bool(offset < 0))


def _goes_round(angles: NDArray[np.float64]) -> bool:
    """Tell whether normals turn in at least three steps, with at most one gap wider than a smooth edge."""
    turned = np.sort(angles)
    gaps = np.append(np.diff(turned), turned[0] + 2 * np.pi - turned[-1])
    steps = gaps[gaps > np.radians(FLAT_DEG)]
    return len(steps) >= 3 and int(np.count_nonzero(steps > np.radians(SMOOTH_DEG))) <= 1

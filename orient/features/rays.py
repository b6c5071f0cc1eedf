"""First hit of short rays on a part: Embree where it is installed, an R-tree elsewhere.

Either engine only says **which** face is hit. How far away it is comes from the face's plane in double
precision, so that sizes do not depend on the engine. Embree reckons in single precision; the part is
moved to the origin first, where single precision is finest.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rtree.index import Index, Property

from orient.part.mesh import Part

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
except ImportError:  # no wheel for this machine
    TriangleMesh = EmbreeScene = None

Floats = NDArray[np.float64]

# Rays looked up at once by the R-tree; bounds its memory.
_AT_ONCE = 2000


class Rays:
    """Rays cast at one part.

    Parameters
    ----------
    part : Part
        The part; what is built for it is kept for every cast.
    engine : {"embree", "rtree"}, optional
        Embree where it is installed, unless told.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> cube = part_from_trimesh(trimesh.creation.box((2, 2, 2)))
    >>> face, distance = Rays(cube).first_hits(np.array([[0.1, 0.2, 0.0]]), np.array([[0.0, 0, 1]]), 5.0)
    >>> cube.normals[face].tolist(), distance.tolist()
    ([[0.0, 0.0, 1.0]], [1.0])
    """

    def __init__(self, part: Part, engine: str | None = None) -> None:
        self.engine = engine or ("rtree" if EmbreeScene is None else "embree")
        self._part = part
        self._middle = part.bounds.mean(axis=0)
        self._cast = self._embree() if self.engine == "embree" else self._rtree()

    def first_hits(
        self, origins: Floats, directions: Floats, reach_mm: float
    ) -> tuple[NDArray[np.int32], Floats]:
        """Find the first face that each ray meets.

        Parameters
        ----------
        origins : (N, 3) float64
            Where the rays start, mm.
        directions : (N, 3) float64
            Unit vectors.
        reach_mm : float
            Length of the rays.

        Returns
        -------
        face : (N,) int32
            Face hit, −1 for none.
        distance : (N,) float64
            Length of the ray up to the plane of that face, mm; infinite where nothing is hit.
        """
        face = self._cast(origins, directions, reach_mm)
        distance = np.full(len(face), np.inf)
        hit = np.flatnonzero(face >= 0)
        normal = self._part.normals[face[hit]]
        corner = self._part.vertices[self._part.faces[face[hit], 0]]
        across = np.einsum("ij,ij->i", directions[hit], normal)
        level = np.abs(across) < 1e-9
        height = np.einsum("ij,ij->i", corner - origins[hit], normal)
        distance[hit] = height / np.where(level, 1.0, across)
        # A ray along a face meets its rim only: that is no facing surface.
        face[hit[level]] = -1
        distance[hit[level]] = np.inf
        return face, distance

    def _embree(self) -> Callable[[Floats, Floats, float], NDArray[np.int32]]:
        scene = EmbreeScene()
        # The scene keeps what it is given: vertices about the origin, in single precision.
        TriangleMesh(
            scene,
            np.ascontiguousarray(self._part.vertices - self._middle, dtype=np.float32),
            np.ascontiguousarray(self._part.faces),
        )

        def cast(origins: Floats, directions: Floats, reach_mm: float) -> NDArray[np.int32]:
            start = (origins - self._middle).astype(np.float32)
            length = np.full(len(start), reach_mm, dtype=np.float32)
            if not len(start):
                return np.empty(0, dtype=np.int32)
            found: NDArray[np.int32] = scene.run(
                start, directions.astype(np.float32), dists=length, output=1
            )["primID"]
            return found.astype(np.int32)

        return cast

    def _rtree(self) -> Callable[[Floats, Floats, float], NDArray[np.int32]]:
        vertices, faces = self._part.vertices - self._middle, self._part.faces
        corners = vertices[faces]
        low, high = corners.min(axis=1), corners.max(axis=1)
        slack = 1e-6 * max(1.0, float(np.abs(vertices).max()))
        boxes = ((i, (*low[i] - slack, *high[i] + slack), None) for i in range(len(faces)))
        index: Any = Index(boxes, properties=Property(dimension=3))

        def cast(origins: Floats, directions: Floats, reach_mm: float) -> NDArray[np.int32]:
            face = np.full(len(origins), -1, dtype=np.int32)
            for first in range(0, len(origins), _AT_ONCE):
                part = slice(first, first + _AT_ONCE)
                start = origins[part] - self._middle
                end = start + reach_mm * directions[part]
                ids, count = index.intersection_v(np.minimum(start, end), np.maximum(start, end))
                ray = np.repeat(np.arange(len(start)), count.astype(np.int64))
                ids = ids.astype(np.int64)
                t = _meet(corners[ids], start[ray], directions[part][ray])
                good = (t >= 0) & (t <= reach_mm)
                ray, ids, t = ray[good], ids[good], t[good]
                order = np.lexsort((ids, t, ray))
                ray, lead = np.unique(ray[order], return_index=True)
                face[first + ray] = ids[order][lead]
            return face

        return cast


def _meet(corners: Floats, start: Floats, direction: Floats) -> Floats:
    """Distance along each ray to its triangle, NaN where it passes by.

    T. Möller, B. Trumbore: Fast, minimum storage ray/triangle intersection. J. Graphics Tools 2(1), 1997,
    21–28.
    """
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(direction, two)
    det = np.einsum("ij,ij->i", one, across)
    flat = np.abs(det) < 1e-14
    det = np.where(flat, 1.0, det)
    away = start - corners[:, 0]
    u = np.einsum("ij,ij->i", away, across) / det
    turned = np.cross(away, one)
    v = np.einsum("ij,ij->i", direction, turned) / det
    t = np.einsum("ij,ij->i", two, turned) / det
    # The rim counts for both neighbours, so that no ray slips between them.
    inside = ~flat & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    return np.where(inside, t, np.nan)

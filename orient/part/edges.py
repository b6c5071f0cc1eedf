"""Which faces meet at which edges, and at what angle.

Everything that asks about edges (closedness, bodies, smooth regions, chord error) starts from
the neighbour table built here in linear time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.readonly import readonly


@dataclass(frozen=True, eq=False)
class Edges:
    """The edges of a triangle mesh.

    Attributes
    ----------
    neighbours : (F, 3) int32
        Face across the edges v0v1, v1v2, v2v0; −1 where there is none, or where more than two
        faces meet.
    sound : (F,) bool
        True where all three edges are shared by exactly two faces that run along it in opposite
        directions.
    open : int
        Edges with one face.
    nonmanifold : int
        Edges with three or more faces.
    inconsistent : int
        Edges whose two faces run along it in the same direction.
    """

    neighbours: NDArray[np.int32]
    sound: NDArray[np.bool_]
    open: int
    nonmanifold: int
    inconsistent: int

    @property
    def closed(self) -> bool:
        """True when every edge is shared by exactly two faces in opposite directions."""
        return self.open == 0 and self.nonmanifold == 0 and self.inconsistent == 0


def edges_of(faces: NDArray[np.int32], vertex_count: int) -> Edges:
    """Pair the edges of a mesh.

    Parameters
    ----------
    faces : (F, 3) int32
        Corners of each face; a face's three corners differ.
    vertex_count : int
        Number of vertices the faces may name.

    Returns
    -------
    Edges
        Neighbours and counts.

    Examples
    --------
    >>> import numpy as np
    >>> edges_of(np.array([[0, 1, 2], [2, 1, 3]], dtype=np.int32), 4).neighbours.tolist()
    [[-1, 1, -1], [0, -1, -1]]
    """
    neighbours, sound, counts = _pair(faces, vertex_count)
    return Edges(neighbours, sound, int(counts[0]), int(counts[1]), int(counts[2]))


@njit(cache=True, nogil=True, error_model="numpy")
def _pair(faces, vertex_count):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    n_faces = faces.shape[0]
    # Half-edges are put into one bucket a vertex, that of their lower end.
    start = np.zeros(vertex_count + 1, dtype=np.int32)
    for f in range(n_faces):
        for k in range(3):
            start[min(faces[f, k], faces[f, (k + 1) % 3]) + 1] += 1
    for v in range(vertex_count):
        start[v + 1] += start[v]
    cursor = start[:-1].copy()
    bucket = np.empty(3 * n_faces, dtype=np.int32)
    for f in range(n_faces):
        for k in range(3):
            low = min(faces[f, k], faces[f, (k + 1) % 3])
            bucket[cursor[low]] = 3 * f + k
            cursor[low] += 1

    neighbours = np.full((n_faces, 3), -1, dtype=np.int32)
    sound = np.ones(n_faces, dtype=np.bool_)
    counts = np.zeros(3, dtype=np.int64)
    # At each end of the bucket's edges: how many half-edges, and the first two of them.
    met = np.zeros(vertex_count, dtype=np.int32)
    first = np.empty(vertex_count, dtype=np.int32)
    second = np.zeros(vertex_count, dtype=np.int32)
    for v in range(vertex_count):
        for i in range(start[v], start[v + 1]):
            h = bucket[i]
            end = max(faces[h // 3, h % 3], faces[h // 3, (h % 3 + 1) % 3])
            met[end] += 1
            if met[end] == 1:
                first[end] = h
            elif met[end] == 2:
                second[end] = h
            else:
                sound[h // 3] = False
        for i in range(start[v], start[v + 1]):
            h = bucket[i]
            end = max(faces[h // 3, h % 3], faces[h // 3, (h % 3 + 1) % 3])
            count = met[end]
            met[end] = 0
            if count == 0:  # settled with the first of its edge
                continue
            f, k = first[end] // 3, first[end] % 3
            g, j = second[end] // 3, second[end] % 3
            if count == 1:
                counts[0] += 1
                sound[f] = False
            elif count == 2:
                neighbours[f, k] = g
                neighbours[g, j] = f
                if faces[f, k] == faces[g, j]:
                    counts[2] += 1
                    sound[f] = False
                    sound[g] = False
            else:
                counts[1] += 1
                sound[f] = False
                sound[g] = False
    return neighbours, sound, counts


def edge_angles(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int32],
    normals: NDArray[np.float64],
    neighbours: NDArray[np.int32],
) -> NDArray[np.float32]:
    """Give the angle between the normals of the two faces at each edge.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners in mm.
    faces : (F, 3) int32
        Corners of each face.
    normals : (F, 3) float64
        Unit normals.
    neighbours : (F, 3) int32
        Face across each edge, −1 for none.

    Returns
    -------
    (F, 3) float32
        Radians, 0 where the faces lie flat, positive where the edge is convex, negative where it
        is concave; NaN where the edge has no neighbour.
    """
    return _edge_angles(readonly(vertices), readonly(faces), readonly(normals), readonly(neighbours))


@njit(cache=True, nogil=True, error_model="numpy")
def _edge_angles(vertices, faces, normals, neighbours):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    n = faces.shape[0]
    angles = np.full((n, 3), np.nan, dtype=np.float32)
    for f in range(n):
        for k in range(3):
            g = neighbours[f, k]
            if g < 0:
                continue
            ax, ay, az = normals[f, 0], normals[f, 1], normals[f, 2]
            bx, by, bz = normals[g, 0], normals[g, 1], normals[g, 2]
            cx = ay * bz - az * by
            cy = az * bx - ax * bz
            cz = ax * by - ay * bx
            angle = np.arctan2(np.sqrt(cx * cx + cy * cy + cz * cz), ax * bx + ay * by + az * bz)
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            # Along an edge walked with the face on its left, a convex edge turns the normal to the right.
            turn = (
                cx * (vertices[b, 0] - vertices[a, 0])
                + cy * (vertices[b, 1] - vertices[a, 1])
                + cz * (vertices[b, 2] - vertices[a, 2])
            )
            angles[f, k] = angle if turn >= 0.0 else -angle
    return angles

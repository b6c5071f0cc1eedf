"""Nearest points of a surface, exact, for many points at once.

Faces are sorted along a space-filling curve, eight to a leaf, and boxes are laid around leaves, pairs of
leaves, pairs of pairs. A point then looks only into boxes that are nearer than what it has found.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_LEAF = 8
_CHUNK = 2048


@dataclass(frozen=True, eq=False)
class Surface:
    """A surface that points can be held against.

    Attributes
    ----------
    corners : (F, 3, 3) float64
        Corners of the faces, in the order of the curve.
    normals : (F, 3) float64
        Unit normals; zero for a face without area.
    faces : (F,) int64
        Row of each in the mesh.
    boxes : (N, 6) float64
        Lowest and highest corner of each box; those inside box i are 2i + 1 and 2i + 2.
    """

    corners: Floats
    normals: Floats
    faces: NDArray[np.int64]
    boxes: Floats

    def nearest(
        self, points: Floats, reach_mm: float = np.inf, threads: int = 2
    ) -> tuple[NDArray[np.int64], Floats, Floats]:
        """Find the nearest point of the surface to each of many points.

        Parameters
        ----------
        points : (N, 3) float64
            Where to look from.
        reach_mm : float
            Look no further than this.
        threads : int
            Threads to look on; the answer does not depend on it.

        Returns
        -------
        face : (N,) int64
            Row of the face in the mesh; −1 where none is within reach.
        place : (N, 3) float64
            The nearest point; the point itself where none is within reach.
        distance_mm : (N,) float64
            Positive on the side that the face looks to, negative behind it; infinite beyond reach.
        """
        points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
        face = np.full(len(points), -1, dtype=np.int64)
        place = points.copy()
        distance = np.full(len(points), np.inf)
        starts = range(0, len(points), _CHUNK)

        def look(start: int) -> None:
            rows = slice(start, start + _CHUNK)
            _look(
                points[rows],
                self.corners,
                self.normals,
                self.boxes,
                float(reach_mm),
                face[rows],
                place[rows],
                distance[rows],
            )

        if threads > 1 and len(starts) > 1:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(look, starts))
        else:
            for start in starts:
                look(start)
        found = face >= 0
        face[found] = self.faces[face[found]]
        return face, place, distance


def surface_of(vertices: Floats, faces: NDArray[np.int32] | NDArray[np.int64]) -> Surface:
    """Prepare a mesh to hold points against.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int
        Corners of each face.

    Returns
    -------
    Surface

    Examples
    --------
    >>> import trimesh
    >>> box = trimesh.creation.box((2, 2, 2))
    >>> surface = surface_of(box.vertices, box.faces)
    >>> surface.nearest(np.array([[0.1, 0.2, 1.5], [0.0, 0.0, 0.9]]))[2].round(9).tolist()
    [0.5, -0.1]
    """
    corners = np.asarray(vertices, dtype=np.float64)[np.asarray(faces)]
    order = np.argsort(_along_curve(corners.mean(axis=1)), kind="stable")
    corners = np.ascontiguousarray(corners[order])
    crossed = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(crossed, axis=1)
    normals = crossed / np.where(length > 0, length, 1.0)[:, None]
    return Surface(corners, normals, order.astype(np.int64), _boxes(corners))


def _along_curve(points: Floats) -> NDArray[np.uint64]:
    """Place of points along Morton's curve: the bits of their coordinates interleaved."""
    low = points.min(axis=0)
    size = max(float(np.ptp(points, axis=0).max()), 1e-300)
    cell = ((points - low) * (2**20 / size)).astype(np.uint64)
    code = np.zeros(len(points), dtype=np.uint64)
    for axis in range(3):
        bits = np.minimum(cell[:, axis], np.uint64(2**20 - 1))
        # Spread the bits three apart.
        for shift, mask in (
            (32, 0x1F00000000FFFF),
            (16, 0x1F0000FF0000FF),
            (8, 0x100F00F00F00F00F),
            (4, 0x10C30C30C30C30C3),
            (2, 0x1249249249249249),
        ):
            bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
        code |= bits << np.uint64(axis)
    return code


def _boxes(corners: Floats) -> Floats:
    leaves = -(-len(corners) // _LEAF)
    width = 1 << max(leaves - 1, 0).bit_length()
    boxes = np.empty((2 * width - 1, 6))
    boxes[:, :3], boxes[:, 3:] = np.inf, -np.inf
    starts = np.arange(leaves) * _LEAF
    boxes[width - 1 : width - 1 + leaves, :3] = np.minimum.reduceat(corners.min(axis=1), starts)
    boxes[width - 1 : width - 1 + leaves, 3:] = np.maximum.reduceat(corners.max(axis=1), starts)
    while width > 1:
        low = boxes[width - 1 : 2 * width - 1]
        width //= 2
        boxes[width - 1 : 2 * width - 1, :3] = np.minimum(low[::2, :3], low[1::2, :3])
        boxes[width - 1 : 2 * width - 1, 3:] = np.maximum(low[::2, 3:], low[1::2, 3:])
    return boxes


@njit(cache=True, nogil=True, error_model="numpy")
def _to_box(boxes, i, x, y, z):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    dx = max(boxes[i, 0] - x, x - boxes[i, 3], 0.0)
    dy = max(boxes[i, 1] - y, y - boxes[i, 4], 0.0)
    dz = max(boxes[i, 2] - z, z - boxes[i, 5], 0.0)
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, nogil=True, error_model="numpy")
def _to_face(c, p, q):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    # Closest point of a triangle by the regions of its corners, edges and inside: Ericson, Real-Time
    # Collision Detection, 2005, section 5.1.5. Written to q.
    a, b, d = c[0], c[1], c[2]
    ab0, ab1, ab2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    ac0, ac1, ac2 = d[0] - a[0], d[1] - a[1], d[2] - a[2]
    ap0, ap1, ap2 = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    d1 = ab0 * ap0 + ab1 * ap1 + ab2 * ap2
    d2 = ac0 * ap0 + ac1 * ap1 + ac2 * ap2
    if d1 <= 0.0 and d2 <= 0.0:
        q[0], q[1], q[2] = a[0], a[1], a[2]
        return
    bp0, bp1, bp2 = p[0] - b[0], p[1] - b[1], p[2] - b[2]
    d3 = ab0 * bp0 + ab1 * bp1 + ab2 * bp2
    d4 = ac0 * bp0 + ac1 * bp1 + ac2 * bp2
    if d3 >= 0.0 and d4 <= d3:
        q[0], q[1], q[2] = b[0], b[1], b[2]
        return
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v = d1 / (d1 - d3) if d1 != d3 else 0.0
        q[0], q[1], q[2] = a[0] + v * ab0, a[1] + v * ab1, a[2] + v * ab2
        return
    cp0, cp1, cp2 = p[0] - d[0], p[1] - d[1], p[2] - d[2]
    d5 = ab0 * cp0 + ab1 * cp1 + ab2 * cp2
    d6 = ac0 * cp0 + ac1 * cp1 + ac2 * cp2
    if d6 >= 0.0 and d5 <= d6:
        q[0], q[1], q[2] = d[0], d[1], d[2]
        return
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        w = d2 / (d2 - d6) if d2 != d6 else 0.0
        q[0], q[1], q[2] = a[0] + w * ac0, a[1] + w * ac1, a[2] + w * ac2
        return
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        over = (d4 - d3) + (d5 - d6)
        w = (d4 - d3) / over if over != 0.0 else 0.0
        q[0], q[1], q[2] = b[0] + w * (d[0] - b[0]), b[1] + w * (d[1] - b[1]), b[2] + w * (d[2] - b[2])
        return
    over = va + vb + vc
    v, w = vb / over, vc / over
    q[0], q[1], q[2] = a[0] + ab0 * v + ac0 * w, a[1] + ab1 * v + ac1 * w, a[2] + ab2 * v + ac2 * w


@njit(cache=True, nogil=True, error_model="numpy")
def _look(points, corners, normals, boxes, reach, face, place, distance):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    leaves = (len(boxes) + 1) // 2
    first = leaves - 1
    stack = np.empty(128, dtype=np.int64)
    q = np.empty(3)
    for i in range(len(points)):
        p = points[i]
        x, y, z = p[0], p[1], p[2]
        best = reach
        toward = 0.0
        # Of faces at one distance, as around an edge, the one that looks most towards the point tells
        # the side.
        facing = -1.0
        stack[0] = 0
        depth = 1
        while depth:
            depth -= 1
            node = stack[depth]
            limit = best + 1e-9
            if _to_box(boxes, node, x, y, z) > limit * limit:
                continue
            if node < first:
                left, right = 2 * node + 1, 2 * node + 2
                if _to_box(boxes, left, x, y, z) <= _to_box(boxes, right, x, y, z):
                    left, right = right, left
                stack[depth], stack[depth + 1] = left, right
                depth += 2
                continue
            start = (node - first) * 8
            for f in range(start, min(start + 8, len(corners))):
                _to_face(corners[f], p, q)
                gx, gy, gz = x - q[0], y - q[1], z - q[2]
                away = math.sqrt(gx * gx + gy * gy + gz * gz)
                if away > best + 1e-9:
                    continue
                side = gx * normals[f, 0] + gy * normals[f, 1] + gz * normals[f, 2]
                if away < best - 1e-9 or abs(side) > facing:
                    toward, facing = side, abs(side)
                    best = min(best, away)
                    face[i] = f
                    place[i, 0], place[i, 1], place[i, 2] = q[0], q[1], q[2]
        if face[i] >= 0:
            distance[i] = best if toward >= 0.0 else -best

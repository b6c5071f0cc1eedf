"""Least and largest distance of two parallel planes that hold a convex polytope: its width and diameter."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order
from scipy.spatial.distance import cdist

# Pairs of edges are compared all with all; 4,000 make eight million, a tenth of a second.
MOST_EDGES = 4000
# Pairs of points likewise.
MOST_POINTS = 10_000
_ROWS = 64


def width_and_diameter(
    points: NDArray[np.float64],
    triangles: NDArray[np.int32],
    neighbours: NDArray[np.int32],
    normals: NDArray[np.float64],
) -> tuple[float, float]:
    """Measure the least width and the diameter of a convex polytope.

    The least width lies between a face and a vertex or between two edges (Houle and Toussaint,
    Computing the width of a set, IEEE Trans. PAMI 10, 1988, 761–765). All pairs of face and vertex are
    looked at, by walking uphill over the polytope from one face's farthest vertex to the next. Two edges
    face each other where their arcs on the sphere of normals cross; an edge is left out where even the
    slope of the width, which is at most the diameter D a radian, cannot bring it below the width found.

    Parameters
    ----------
    points : (H, 3) float64
        Vertices, mm.
    triangles : (T, 3) int32
        Faces, outward.
    neighbours : (T, 3) int32
        Triangle opposite to each corner.
    normals : (T, 3) float64
        Outward unit normals; triangles of one flat face share theirs.

    Returns
    -------
    width_mm : float
        Least width. Exact while no more than 4,000 edges can matter. On finer hulls the sharpest 4,000 are
        compared, and the figure is too large by at most D·sin(θ/2), θ the sharpest angle left out.
    diameter_mm : float
        Largest distance of two vertices. Exact while no more than 10,000 vertices can matter. On finer
        hulls it is the largest over the vertex pairs that face each other across some face's normal.
    """
    starts, joined = _around(triangles, len(points))
    order, parents = _spread(neighbours)
    farthest = _antipodes(points, triangles, normals, starts, joined, order, parents)
    first = points[triangles[:, 0]]
    widths = np.einsum("ij,ij->i", normals, first - points[farthest])
    diameter = _diameter(points, triangles, farthest)
    width = float(widths.min())

    faces, corners = _crests(triangles, neighbours, normals)
    one, other = normals[faces[:, 0]], normals[faces[:, 1]]
    # An edge runs along the cross product of the normals beside it.
    along = np.cross(one, other)
    sines = np.linalg.norm(along, axis=1)
    angles = np.arctan2(sines, np.einsum("ij,ij->i", one, other))
    least = (widths[faces[:, 0]] + widths[faces[:, 1]] - diameter * angles) / 2.0
    matter = np.flatnonzero((least < width) & (sines > 0))
    if len(matter) > MOST_EDGES:
        matter = matter[np.argsort(-angles[matter], kind="stable")[:MOST_EDGES]]
    along = along[matter] / sines[matter, None]
    width = _edge_pairs(points, corners[matter, 0], one[matter], other[matter], along, width)
    return max(width, 0.0), diameter


def _around(triangles: NDArray[np.int32], count: int) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """List the vertices joined to each vertex, one after another."""
    tail = np.concatenate([triangles[:, k] for k in (0, 1, 2, 1, 2, 0)])
    head = np.concatenate([triangles[:, k] for k in (1, 2, 0, 0, 1, 2)])
    order = np.argsort(tail, kind="stable")
    starts = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(tail, minlength=count), out=starts[1:])
    return starts, head[order]


def _spread(neighbours: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Order triangles so that each but the first follows one beside it, its parent."""
    count = len(neighbours)
    slots = np.arange(0, 3 * count + 1, 3, dtype=np.int32)
    graph = csr_array((np.ones(3 * count, dtype=np.int8), neighbours.ravel(), slots), shape=(count, count))
    order, parents = breadth_first_order(graph, 0, directed=True)
    return order, parents


@njit(cache=True, nogil=True, error_model="numpy")
def _antipodes(points, triangles, normals, starts, joined, order, parents):  # type: ignore[no-untyped-def]
    """Find the vertex lowest along each triangle's normal; on a convex body no valley holds the walk up."""
    farthest = np.empty(len(triangles), dtype=np.int32)
    for t in order:
        p = triangles[t, 0] if parents[t] < 0 else farthest[parents[t]]
        x, y, z = normals[t, 0], normals[t, 1], normals[t, 2]
        height = x * points[p, 0] + y * points[p, 1] + z * points[p, 2]
        lowest = -1
        while lowest != p:
            lowest = p
            for slot in range(starts[p], starts[p + 1]):
                q = joined[slot]
                other = x * points[q, 0] + y * points[q, 1] + z * points[q, 2]
                if other < height:
                    height = other
                    lowest = q
            if lowest != p:
                p = lowest
                lowest = -1
        farthest[t] = p
    return farthest


def _diameter(
    points: NDArray[np.float64], triangles: NDArray[np.int32], farthest: NDArray[np.int32]
) -> float:
    apart = np.zeros(len(triangles))
    for k in range(3):
        step = points[triangles[:, k]] - points[farthest]
        np.maximum(apart, np.einsum("ij,ij->i", step, step), out=apart)
    best = float(np.sqrt(apart.max()))
    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    reach = np.linalg.norm(points - middle, axis=1)
    # A point whose distance to the middle and the farthest reach do not add up to the best is out.
    matter = np.flatnonzero(reach + reach.max() > best)
    if 1 < len(matter) <= MOST_POINTS:
        best = max(best, _farthest_pair(points[matter]))
    return best


def _farthest_pair(points: NDArray[np.float64]) -> float:
    chunks = (points[k : k + _ROWS] for k in range(0, len(points), _ROWS))
    return float(max(cdist(chunk, points).max() for chunk in chunks))


def _crests(
    triangles: NDArray[np.int32], neighbours: NDArray[np.int32], normals: NDArray[np.float64]
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """List edges between triangles of different normals: the two triangles, the two corners."""
    faces, corners = [], []
    rows = np.arange(len(triangles), dtype=np.int32)
    for k in range(3):
        beside = neighbours[:, k]
        keep = (rows < beside) & (normals != normals[beside]).any(axis=1)
        faces.append(np.column_stack([rows[keep], beside[keep]]))
        corners.append(np.column_stack([triangles[keep, (k + 1) % 3], triangles[keep, (k + 2) % 3]]))
    return np.concatenate(faces), np.concatenate(corners)


def _edge_pairs(
    points: NDArray[np.float64],
    ends: NDArray[np.int32],
    one: NDArray[np.float64],
    other: NDArray[np.float64],
    along: NDArray[np.float64],
    width: float,
) -> float:
    """Lower the width by every pair of edges whose arcs, one of them turned to −n, cross on the sphere.

    The test of crossing arcs is Gregorius', The separating axis test between convex polyhedra, GDC 2013.
    """
    found = [np.zeros((2, 0), dtype=np.int64)]
    for k in range(0, len(ends), _ROWS):
        rows, before = slice(k, k + _ROWS), slice(0, k + _ROWS)
        i, j = np.nonzero((along[rows] @ one[before].T) * (along[rows] @ other[before].T) < 0)
        found.append(np.stack([i + k, j]))
    i, j = np.concatenate(found, axis=1)
    c_over, d_over = (np.einsum("ij,ij->i", along[i], arc[j]) for arc in (one, other))
    a_over, b_over = (np.einsum("ij,ij->i", along[j], arc[i]) for arc in (one, other))
    cross = (i > j) & (c_over * d_over < 0) & (a_over * b_over < 0) & (c_over * b_over < 0)
    i, j = i[cross], j[cross]
    normals = np.cross(along[i], along[j])
    length = np.linalg.norm(normals, axis=1)
    normals /= np.where(length > 0, length, 1.0)[:, None]
    gaps = np.abs(np.einsum("ij,ij->i", normals, points[ends[i]] - points[ends[j]]))
    gaps[length == 0] = np.inf
    for pair in np.argsort(gaps, kind="stable"):
        if gaps[pair] >= width:
            break
        # Noise can let arcs cross that do not: only the distance of the true supports counts.
        width = min(width, float(np.ptp(points @ normals[pair])))
    return width

"""What stands on the bed: from which height on each place of a part is held, and what begins in the air.

The part is built from the bed upwards, so what exists at a height is the material below it, the sublevel
set of the height. Its pieces come into being at local minima, grow, and run together. A piece that holds
a minimum on the bed stands; a piece that does not hangs in the air until it meets one that stands. The
pieces are those of the merge tree of the height over the mesh's edges, found by union–find over vertices
in order of height, and how long a piece lasts before it meets an older one is its **persistence**
(H. Edelsbrunner, D. Letscher, A. Zomorodian, Topological persistence and simplification, Discrete &
Computational Geometry 28, 2002, 511–533).

The surface alone does not say what lies inside it: the floor of a cup, and the lowest point of a closed
void, are minima with material below them. They belong to the piece of the surface that a plumb line through
that material leaves by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.features.rays import Rays
from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Plumb lines start this far inside the material, mm, so that they miss the surface they come from.
_INSIDE_MM = 1e-3


@dataclass(frozen=True, eq=False)
class Links:
    """Which vertices are joined by edges, and which way out is at each: found once for all poses.

    Attributes
    ----------
    start : (V + 1,) int32
        Vertex v is joined to ``other[start[v]:start[v + 1]]``.
    other : (2E,) int32
        The vertices at the other ends.
    outward : (V, 3) float64
        Normals weighed by the angles at each vertex; inside and outside next to the vertex go by their sign
        (J. A. Bærentzen, H. Aanæs, Signed distance computation using the angle weighted pseudonormal, IEEE
        Trans. Visualization and Computer Graphics 11, 2005, 243–253).
    """

    start: NDArray[np.int32]
    other: NDArray[np.int32]
    outward: Floats


@dataclass(frozen=True, eq=False)
class Standing:
    """What stands and what hangs in one pose.

    Attributes
    ----------
    grounded_from : (V,) float64
        Height from which on the piece that holds the vertex stands on the bed, mm; the vertex's own height
        where it stands as soon as it is built, infinite where it never does.
    start_vertex : (S,) int64
        Vertices at which pieces begin in the air.
    start_persistence : (S,) float64
        How much higher each of them meets an older piece, mm.
    """

    grounded_from: Floats
    start_vertex: NDArray[np.int64]
    start_persistence: Floats


def links_of(part: Part) -> Links:
    """Join the vertices of a part along its edges.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    Links
    """
    start, other = _adjacent(part.faces, len(part.vertices))
    return Links(start, other, _pseudonormals(part.vertices, part.faces, part.normals))


def standing(
    part: Part, links: Links, rays: Rays, direction: Floats, heights: Floats, bed_mm: float
) -> Standing:
    """Tell what stands on the bed and what begins in the air.

    Parameters
    ----------
    part : Part
        The part.
    links : Links
        Its `links_of`.
    rays : Rays
        Rays cast at it.
    direction : (3,) float64
        Build direction.
    heights : (V,) float64
        Height of each vertex above the bed, mm.
    bed_mm : float
        Vertices up to this height lie on the bed.

    Returns
    -------
    Standing
    """
    rank = np.argsort(heights, kind="stable").astype(np.int32)
    down = links.outward @ direction
    link = np.full(len(heights), -1, dtype=np.int32)
    lowest = _minima(links.start, links.other, heights, rank)
    lowest = lowest[heights[lowest] > bed_mm]
    floors = lowest[down[lowest] >= 0]
    # Where nothing hangs, every floor stands too.
    if len(floors) and (down[lowest] < 0).any():
        link[floors] = _plumb(part, rays, direction, heights, floors)
    grounded, starts, persistence = _pieces(links.start, links.other, heights, rank, down >= 0, link, bed_mm)
    return Standing(grounded, starts, persistence)


def _plumb(
    part: Part, rays: Rays, direction: Floats, heights: Floats, floors: NDArray[np.int64]
) -> NDArray[np.int32]:
    """Lowest vertex of the face by which a plumb line from each floor leaves the material, −1 for none."""
    origins = part.vertices[floors] - _INSIDE_MM * direction
    face, _ = rays.first_hits(origins, np.repeat(-direction[None], len(floors), axis=0), 2 * part.size_mm)
    corners = part.faces[face]
    lowest = corners[np.arange(len(corners)), heights[corners].argmin(axis=1)]
    leaves = (face >= 0) & (part.normals[face] @ direction < 0) & (heights[lowest] < heights[floors])
    return np.where(leaves, lowest, -1).astype(np.int32)


@njit(cache=True, nogil=True, error_model="numpy")
def _adjacent(faces, count):  # type: ignore[no-untyped-def]
    """Vertices joined to each vertex; an edge of two faces is listed twice, which does no harm."""
    start = np.zeros(count + 1, dtype=np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            start[faces[f, k] + 1] += 2
    for v in range(count):
        start[v + 1] += start[v]
    cursor = start[:-1].copy()
    other = np.empty(start[count], dtype=np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            v = faces[f, k]
            other[cursor[v]] = faces[f, (k + 1) % 3]
            other[cursor[v] + 1] = faces[f, (k + 2) % 3]
            cursor[v] += 2
    return start, other


@njit(cache=True, nogil=True, error_model="numpy")
def _pseudonormals(vertices, faces, normals):  # type: ignore[no-untyped-def]
    out = np.zeros(vertices.shape)
    for f in range(faces.shape[0]):
        for k in range(3):
            o, a, b = faces[f, k], faces[f, (k + 1) % 3], faces[f, (k + 2) % 3]
            x0, y0, z0 = vertices[a] - vertices[o]
            x1, y1, z1 = vertices[b] - vertices[o]
            x, y, z = y0 * z1 - z0 * y1, z0 * x1 - x0 * z1, x0 * y1 - y0 * x1
            angle = np.arctan2(np.sqrt(x * x + y * y + z * z), x0 * x1 + y0 * y1 + z0 * z1)
            for i in range(3):
                out[o, i] += angle * normals[f, i]
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _minima(start, other, heights, rank):  # type: ignore[no-untyped-def]
    """Vertices without a lower neighbour; of equal ones the first in order."""
    count = heights.shape[0]
    place = np.empty(count, dtype=np.int32)
    for i in range(count):
        place[rank[i]] = i
    out = np.empty(count, dtype=np.int64)
    n = 0
    for v in range(count):
        if start[v] == start[v + 1]:
            continue
        lowest = True
        for i in range(start[v], start[v + 1]):
            if place[other[i]] < place[v]:
                lowest = False
                break
        if lowest:
            out[n] = v
            n += 1
    return out[:n]


@njit(cache=True, nogil=True, error_model="numpy")
def _root(parent, v):  # type: ignore[no-untyped-def]
    while parent[v] != v:
        parent[v] = parent[parent[v]]
        v = parent[v]
    return v


@njit(cache=True, nogil=True, error_model="numpy")
def _pieces(start, other, heights, rank, floor, link, bed):  # type: ignore[no-untyped-def]
    """Run through the vertices upwards, joining pieces; a piece is named by its root."""
    count = heights.shape[0]
    parent = np.full(count, -1, dtype=np.int32)
    lowest = np.empty(count, dtype=np.int32)
    stands = np.zeros(count, dtype=np.bool_)
    # Vertices of a piece that hangs, as a list from `head`, so that they can be told when it stands.
    head = np.full(count, -1, dtype=np.int32)
    tail = np.full(count, -1, dtype=np.int32)
    follows = np.full(count, -1, dtype=np.int32)
    size = np.zeros(count, dtype=np.int32)
    grounded = np.full(count, np.inf)
    starts = np.empty(count, dtype=np.int64)
    persistence = np.empty(count)
    n = 0
    for i in range(count):
        v = rank[i]
        if start[v] == start[v + 1]:
            continue
        parent[v] = v
        lowest[v] = v
        size[v] = 1
        head[v] = v
        tail[v] = v
        alone = True
        for j in range(start[v], start[v + 1]):
            if parent[other[j]] >= 0:
                alone = False
                break
        # A new piece stands when it is on the bed, or has material below it that leads nowhere.
        stands[v] = alone and (heights[v] <= bed or (floor[v] and link[v] < 0))
        first = start[v] if not (alone and link[v] >= 0) else start[v + 1] - 1
        for j in range(first, start[v + 1]):
            to = link[v] if alone and link[v] >= 0 else other[j]
            if parent[to] < 0:
                continue
            a, b = _root(parent, v), _root(parent, to)
            if a == b:
                continue
            if lowest[a] != lowest[b] and heights[lowest[a]] < heights[lowest[b]]:
                a, b = b, a
            # a is the younger piece; a lone vertex that joins is no piece of its own.
            if not stands[a] and not stands[b] and lowest[a] != v:
                starts[n] = lowest[a]
                persistence[n] = heights[v] - heights[lowest[a]]
                n += 1
            elif stands[a] != stands[b]:
                hanging = b if stands[a] else a
                if lowest[hanging] != v:
                    starts[n] = lowest[hanging]
                    persistence[n] = heights[v] - heights[lowest[hanging]]
                    n += 1
                w = head[hanging]
                while w >= 0:
                    grounded[w] = heights[v]
                    w = follows[w]
                head[hanging] = -1
            elder = lowest[b]
            if size[a] > size[b]:
                a, b = b, a
            parent[a] = b
            size[b] += size[a]
            lowest[b] = elder
            if stands[a] or stands[b]:
                stands[b] = True
                head[b] = -1
            else:
                follows[tail[b]] = head[a]
                tail[b] = tail[a]
        root = _root(parent, v)
        if stands[root]:
            grounded[v] = heights[v]
    top = heights[rank[count - 1]]
    for v in range(count):
        if parent[v] == v and not stands[v]:
            starts[n] = lowest[v]
            persistence[n] = top - heights[lowest[v]]
            n += 1
    return grounded, starts[:n], persistence[:n]

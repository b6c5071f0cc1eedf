"""Flat facets and the lines along which they meet: what a clean tessellation leaves of a curved surface.

The strips of a drilled wall are flat facets, and where two of them meet lies a **ruling** of the true
cylinder. Facets come from `orient.part.regions`; here they get planes, and pairs of them get their line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.edges import edge_angles
from orient.part.mesh import Part
from orient.part.regions import regions_of

# Facets of a curve turn by less than this: an octagon's 45° and a hexagon's 60° are in, a chamfer's corner
# of a square is out.
STEP_DEG = 62.0
# Float32 files keep seven digits (as in orient.part.regions): how far a corner may be off, per mm of size.
PRECISION = 5e-7


@dataclass(frozen=True, eq=False)
class Facets:
    """Facets of a part and the lines between neighbouring ones.

    Attributes
    ----------
    label : (F,) int32
        Facet of each face.
    normals, areas : (K, 3), (K,)
        Mean unit normal and area of each facet, mm².
    pairs : (L, 2) int32
        The two facets at each line.
    start, along : (L, 3)
        A point of the line, mm, and its unit direction.
    step : (L,)
        Angle by which the surface turns at the line, radians, positive where convex.
    widths : (L, 2)
        How far each of the two facets reaches from the line, mm.
    tangents : (L, 2, 3)
        Unit vector in each facet, square to the line, away from it.
    ends : (L, 2) int32
        Vertices at the two ends of the line.
    """

    label: NDArray[np.int32]
    normals: NDArray[np.float64]
    areas: NDArray[np.float64]
    pairs: NDArray[np.int32]
    start: NDArray[np.float64]
    along: NDArray[np.float64]
    step: NDArray[np.float64]
    widths: NDArray[np.float64]
    tangents: NDArray[np.float64]
    ends: NDArray[np.int32]


def facets_of(part: Part, scatter_mm: float = 0.0) -> Facets:
    """Find the facets of a part and the lines at which they turn by 0.1° to 62°.

    Parameters
    ----------
    part : Part
        Any part.
    scatter_mm : float
        How far corners stray, mm: 0 for a clean mesh. Otherwise facets are gathered round the largest
        triangles, with corners up to four times this off their plane.

    Returns
    -------
    Facets
        However the triangles of a facet are split, the same facets and lines.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> rod = part_from_trimesh(trimesh.creation.cylinder(radius=4, height=10, sections=24))
    >>> facets = facets_of(rod)
    >>> len(facets.areas), len(facets.pairs), round(float(np.degrees(facets.step).max()), 6)
    (26, 24, 15.0)
    """
    vertices, faces, neighbours = part.vertices, part.faces, part.neighbours
    if scatter_mm > 0:
        largest = np.argsort(-part.areas, kind="stable").astype(np.int32)
        label = _loose(vertices, faces, neighbours, part.normals, largest, 4 * scatter_mm)
    else:
        label = regions_of(part).facet
    count = int(label.max(initial=-1)) + 1
    areas = np.bincount(label, weights=part.areas, minlength=count).astype(np.float64)
    summed = [np.bincount(label, weights=part.areas * part.normals[:, i], minlength=count) for i in range(3)]
    normals = np.stack(summed, axis=1).astype(np.float64)
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)

    angles = edge_angles(vertices, faces, part.normals, neighbours)
    face, side, other = _crossings(faces, neighbours, label, angles, np.radians(STEP_DEG + 1.0))
    del angles
    low, high = np.minimum(label[face], label[other]), np.maximum(label[face], label[other])
    order = np.lexsort((high, low))
    face, side, low, high = face[order], side[order], low[order], high[order]
    lead = np.ones(len(order), dtype=bool)
    lead[1:] = (np.diff(low) != 0) | (np.diff(high) != 0)
    first = np.append(np.flatnonzero(lead), len(order)).astype(np.int64)
    pairs = np.stack([low[lead], high[lead]], axis=1).astype(np.int32).reshape(-1, 2)
    ends = _ends(vertices, faces, face, side, first)

    start = vertices[ends[:, 0]]
    along = vertices[ends[:, 1]] - start
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-300)
    by_facet = np.argsort(label, kind="stable").astype(np.int32)
    begin = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(label, minlength=count), out=begin[1:])
    widths, tangents = _reach(vertices, faces, by_facet, begin, pairs, start, along, normals)
    a, b = normals[pairs[:, 0]], normals[pairs[:, 1]]
    step = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.einsum("ij,ij->i", a, b))
    convex = np.einsum("ij,ij->i", a, tangents[:, 1]) < 0
    return Facets(
        label, normals, areas, pairs, start, along, np.where(convex, step, -step), widths, tangents, ends
    )


def scatter_of(part: Part) -> float:
    """Estimate how far corners stray from the planes of flat faces, mm.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    float
        Standard deviation of the corners, from the large triangles whose neighbour turns by less than 5°: the
        corner across the edge is off their plane by about √3 times as much (its own stray and that of three
        others, each weighed by its share). 0 on a clean mesh.
    """
    many = min(400, len(part.faces))
    large = np.argpartition(-part.areas, many - 1)[:many].astype(np.int32)
    off = _off_plane(part.vertices, part.faces, part.neighbours, part.normals, np.sort(large))
    return float(1.4826 * np.median(off) / np.sqrt(3.0)) if len(off) >= 8 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _off_plane(vertices, faces, neighbours, normals, large):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Distances of corners across nearly flat edges from the planes of large triangles."""
    off = np.empty(3 * len(large))
    count = 0
    for f in large:
        a = faces[f, 0]
        for k in range(3):
            g = neighbours[f, k]
            if g < 0 or np.dot(normals[f], normals[g]) < 0.99619:
                continue
            for j in range(3):
                v = faces[g, j]
                if v != faces[f, 0] and v != faces[f, 1] and v != faces[f, 2]:
                    off[count] = abs(np.dot(normals[f], vertices[v] - vertices[a]))
                    count += 1
                    break
    return off[:count]


@njit(cache=True, nogil=True, error_model="numpy")
def _loose(vertices, faces, neighbours, normals, largest, tolerance):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Label faces that lie within a tolerance of the plane of the largest triangle among them."""
    label = np.full(len(faces), -1, dtype=np.int32)
    queue = np.empty(len(faces), dtype=np.int32)
    facets = 0
    for seed in largest:
        if label[seed] >= 0:
            continue
        label[seed] = facets
        queue[0] = seed
        count, at = 1, 0
        n, origin = normals[seed], vertices[faces[seed, 0]]
        while at < count:
            for k in range(3):
                g = neighbours[queue[at], k]
                if g < 0 or label[g] >= 0:
                    continue
                near = n[0] * normals[g, 0] + n[1] * normals[g, 1] + n[2] * normals[g, 2] > 0.9
                for j in range(3):
                    v = faces[g, j]
                    off = (
                        n[0] * (vertices[v, 0] - origin[0])
                        + n[1] * (vertices[v, 1] - origin[1])
                        + n[2] * (vertices[v, 2] - origin[2])
                    )
                    near = near and abs(off) <= tolerance
                if near:
                    label[g] = facets
                    queue[count] = g
                    count += 1
            at += 1
        facets += 1
    return label


@njit(cache=True, nogil=True, error_model="numpy")
def _crossings(faces, neighbours, label, angles, most):  # type: ignore[no-untyped-def]  # pragma: no cover
    """List the mesh edges between two facets that turn by no more than `most`: face, side, face across."""
    face = np.empty(3 * len(faces) // 2 + 1, dtype=np.int32)
    side = np.empty_like(face)
    other = np.empty_like(face)
    count = 0
    for f in range(len(faces)):
        for k in range(3):
            g = neighbours[f, k]
            if g > f and label[f] != label[g] and abs(angles[f, k]) <= most:
                face[count], side[count], other[count] = f, k, g
                count += 1
    return face[:count].copy(), side[:count].copy(), other[:count].copy()


@njit(cache=True, nogil=True, error_model="numpy")
def _ends(vertices, faces, face, side, first):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Find the two vertices furthest apart along each line."""
    ends = np.empty((len(first) - 1, 2), dtype=np.int32)
    for line in range(len(first) - 1):
        longest = -1.0
        a, b = 0, 0
        for i in range(first[line], first[line + 1]):
            p, q = faces[face[i], side[i]], faces[face[i], (side[i] + 1) % 3]
            length = 0.0
            for j in range(3):
                length += (vertices[q, j] - vertices[p, j]) ** 2
            if length > longest:
                longest, a, b = length, p, q
        # The longest edge gives the direction; the chain along it may be longer.
        low, high, low_at, high_at = 0.0, 1.0, a, b
        for i in range(first[line], first[line + 1]):
            for end in range(2):
                v = faces[face[i], (side[i] + end) % 3]
                t = 0.0
                for j in range(3):
                    t += (vertices[v, j] - vertices[a, j]) * (vertices[b, j] - vertices[a, j])
                t /= max(longest, 1e-300)
                if t < low:
                    low, low_at = t, v
                if t > high:
                    high, high_at = t, v
        ends[line, 0], ends[line, 1] = low_at, high_at
    return ends


@njit(cache=True, nogil=True, error_model="numpy")
def _reach(vertices, faces, by_facet, begin, pairs, start, along, normals):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Measure how far each facet of a pair reaches from its line, and which way."""
    widths = np.zeros((len(pairs), 2))
    tangents = np.zeros((len(pairs), 2, 3))
    for p in range(len(pairs)):
        d = along[p]
        for s in range(2):
            n = normals[pairs[p, s]]
            tx = n[1] * d[2] - n[2] * d[1]
            ty = n[2] * d[0] - n[0] * d[2]
            tz = n[0] * d[1] - n[1] * d[0]
            low, high = 0.0, 0.0
            for i in range(begin[pairs[p, s]], begin[pairs[p, s] + 1]):
                for k in range(3):
                    v = faces[by_facet[i], k]
                    t = (
                        (vertices[v, 0] - start[p, 0]) * tx
                        + (vertices[v, 1] - start[p, 1]) * ty
                        + (vertices[v, 2] - start[p, 2]) * tz
                    )
                    low, high = min(low, t), max(high, t)
            sign = 1.0 if high >= -low else -1.0
            widths[p, s] = max(high, -low)
            tangents[p, s, 0], tangents[p, s, 1], tangents[p, s, 2] = sign * tx, sign * ty, sign * tz
    return widths, tangents

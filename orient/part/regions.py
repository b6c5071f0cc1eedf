"""Which triangles make one face: flat facets, and the smooth regions a person would call a face.

A mesh forgets which triangles were one face. Two steps bring that back. Triangles that lie in one plane
and hang together are a **facet**. Facets that follow one another round a curve, as the strips of a hole's
wall do, are a **region**; a facet that is part of no curve is a region of its own, so a plane that runs
smoothly into a fillet stays a plane.

Both depend on the shape alone: however the triangles of a facet are split, facets and regions stay the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.part.edges import edge_angles
from orient.part.mesh import Part

# Two triangles lie in one plane below this angle.
FLAT_DEG = 0.1
# Facets further apart than this meet at an edge: a hole of twelve strips (30° each) is still round.
SMOOTH_DEG = 31.0
# Float32 files keep seven digits: a corner this near a plane, as a share of the largest coordinate, is on it.
_ON_PLANE = 5e-7
# Estimates of a curve's radius at two of its edges agree within this factor. A facet cut down at the curve's
# end halves the estimate, so it is more than 2; a plane as wide as 1.2 facets already lies beyond it.
_SAME_CURVE = 2.2
# Facets of one curve are not more than this many times as wide as their neighbours.
_SAME_WIDTH = 4.0
# Edges this parallel follow one another along a curve (cosine of 14°).
_PARALLEL = 0.97


@dataclass(frozen=True, eq=False)
class Regions:
    """Labels of a part's faces.

    Attributes
    ----------
    facet
        Flat facet of each face, (F,) int32.
    region
        Smooth region of each face, (F,) int32.
    """

    facet: NDArray[np.int32]
    region: NDArray[np.int32]


_KNOWN: WeakKeyDictionary[Part, Regions] = WeakKeyDictionary()


def regions_of(part: Part) -> Regions:
    """Join the triangles of a part into flat facets and smooth regions.

    Parameters
    ----------
    part
        The part.

    Returns
    -------
    Regions
        Kept for as long as the part lives.

    Notes
    -----
    Across an edge between facets of widths w₁ and w₂ that turns by θ, a curve through their corners has
    radius r ≈ (w₁ + w₂)/2θ. The edge belongs to a curve when the next edges along it, the parallel ones on
    the far sides of its two facets, give the same radius, and none of them a much smaller one: where a plane
    runs into a fillet the estimate jumps by 1 + plane width / strip width. Where nothing of the sort runs
    parallel, as on a triangulated sphere, a facet that is smooth all round is joined to neighbours of like
    width.

    Examples
    --------
    >>> from orient.part.mesh import part_from_trimesh
    >>> import trimesh
    >>> rod = part_from_trimesh(trimesh.creation.cylinder(radius=4, height=10, sections=24))
    >>> len(set(regions_of(rod).facet.tolist())), len(set(regions_of(rod).region.tolist()))
    (26, 3)
    """
    if part not in _KNOWN:
        _KNOWN[part] = _regions_of(part)
    return _KNOWN[part]


def _regions_of(part: Part) -> Regions:
    vertices, faces, neighbours = part.vertices, part.faces, part.neighbours
    normals, areas = part.normals, part.areas
    angles = np.abs(edge_angles(vertices, faces, normals, neighbours))
    tolerance = _ON_PLANE * float(np.abs(vertices).max(initial=0.0))
    flat = _flat_edges(vertices, faces, neighbours, normals, areas, angles, tolerance)
    facet = _joined(neighbours, flat)
    del flat

    facets = int(facet.max(initial=-1)) + 1
    face, side = np.nonzero(
        (neighbours > np.arange(len(faces))[:, None]) & (angles <= np.radians(SMOOTH_DEG))
    )
    other = neighbours[face, side]
    across = facet[face] != facet[other]
    face, side, other = face[across], side[across], other[across]
    if not len(face):
        return Regions(facet, facet)

    # One pair of facets meets along one line; its longest mesh edge stands for it.
    first, second = np.minimum(facet[face], facet[other]), np.maximum(facet[face], facet[other])
    start, end = vertices[faces[face, side]], vertices[faces[face, (side + 1) % 3]]
    length = np.linalg.norm(end - start, axis=1)
    order = np.lexsort((-length, second, first))
    lead = np.ones(len(order), dtype=bool)
    lead[1:] = (np.diff(first[order]) != 0) | (np.diff(second[order]) != 0)
    chosen = order[lead]
    pairs = np.stack([first[chosen], second[chosen]], axis=1).astype(np.int32)
    start = start[chosen]
    along = (end[chosen] - start) / length[chosen, None]

    mean = np.stack(
        [np.bincount(facet, weights=areas * normals[:, i], minlength=facets) for i in range(3)], axis=1
    )
    mean = mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-300)
    a, b = mean[pairs[:, 0]], mean[pairs[:, 1]]
    turn = np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), np.sum(a * b, axis=1))
    turn = np.maximum(turn, 1e-9)
    # Convex where the other face falls behind this face's plane.
    far = part.centroids[other[chosen]] - start
    bend = np.where(np.sum(far * normals[face[chosen]], axis=1) < 0, 1.0, -1.0)

    by_facet = np.argsort(facet, kind="stable")
    begin = np.searchsorted(facet[by_facet], np.arange(facets + 1))
    widths = _widths(vertices, faces, by_facet, begin, pairs, start, along)
    inner = _smooth_all_round(facet, neighbours, angles, facets)
    ends = np.concatenate([pairs[:, 0], pairs[:, 1]])
    by_end = np.argsort(ends, kind="stable") % len(pairs)
    begin = np.searchsorted(np.sort(ends, kind="stable"), np.arange(facets + 1))
    radius = widths.sum(axis=1) / (2.0 * turn)
    follows = _follow_a_curve(pairs, start, along, radius, bend, widths, inner, by_end, begin, 20 * tolerance)

    graph = coo_array(
        (np.ones(follows.sum(), np.int8), (pairs[follows, 0], pairs[follows, 1])), shape=(facets,) * 2
    )
    label = connected_components(graph, directed=False)[1].astype(np.int32)
    return Regions(facet, label[facet])


def _joined(neighbours: NDArray[np.int32], joins: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Label faces that hang together over the given edges."""
    face, side = np.nonzero(joins)
    other = neighbours[face, side]
    graph = coo_array((np.ones(len(face), np.int8), (face, other)), shape=(len(neighbours),) * 2)
    return connected_components(graph, directed=False)[1].astype(np.int32)


# Dot products written out: numpy's compile for half a second each, on the first run that a user waits for.
@njit(cache=True, nogil=True, error_model="numpy")
def _along(directions, d, points, a, b):  # type: ignore[no-untyped-def]
    """How far one point lies before another along a direction."""
    total = 0.0
    for j in range(3):
        total += directions[d, j] * (points[b, j] - points[a, j])
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def _distance(points, a, b):  # type: ignore[no-untyped-def]
    """Distance of two points."""
    total = 0.0
    for j in range(3):
        total += (points[b, j] - points[a, j]) ** 2
    return math.sqrt(total)


@njit(cache=True, nogil=True, error_model="numpy")
def _flat_edges(vertices, faces, neighbours, normals, areas, angles, tolerance):  # type: ignore[no-untyped-def]
    """Mark the edges whose two triangles lie in one plane."""
    n = len(faces)
    flat = np.zeros((n, 3), dtype=np.bool_)
    narrow, wide = np.radians(FLAT_DEG), np.radians(SMOOTH_DEG)
    for f in range(n):
        for k in range(3):
            g = neighbours[f, k]
            if g <= f or not angles[f, k] <= wide or areas[f] == 0.0 or areas[g] == 0.0:
                continue
            if angles[f, k] <= narrow:
                flat[f, k] = True
                continue
            # A sliver's normal is mostly noise; what counts is that its corner lies in the other's plane.
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            edge = _distance(vertices, a, b)
            if min(areas[f], areas[g]) * 2.0 <= 3.0 * tolerance * edge:
                continue
            far = faces[f, (k + 2) % 3]
            tip = a
            for i in range(3):
                if faces[g, i] != a and faces[g, i] != b:
                    tip = faces[g, i]
            off_f = abs(_along(normals, f, vertices, a, tip))
            off_g = abs(_along(normals, g, vertices, a, far))
            flat[f, k] = min(off_f, off_g) <= tolerance
    return flat


@njit(cache=True, nogil=True, error_model="numpy")
def _widths(vertices, faces, by_facet, begin, pairs, start, along):  # type: ignore[no-untyped-def]
    """Measure how far each facet of a pair reaches from the line it shares."""
    widths = np.zeros((len(pairs), 2))
    for p in range(len(pairs)):
        for s in range(2):
            facet = pairs[p, s]
            widest = 0.0
            for i in range(begin[facet], begin[facet + 1]):
                for k in range(3):
                    v = faces[by_facet[i], k]
                    x = vertices[v, 0] - start[p, 0]
                    y = vertices[v, 1] - start[p, 1]
                    z = vertices[v, 2] - start[p, 2]
                    t = x * along[p, 0] + y * along[p, 1] + z * along[p, 2]
                    widest = max(widest, x * x + y * y + z * z - t * t)
            widths[p, s] = np.sqrt(max(widest, 0.0))
    return widths


def _smooth_all_round(
    facet: NDArray[np.int32], neighbours: NDArray[np.int32], angles: NDArray[np.float32], facets: int
) -> NDArray[np.bool_]:
    """Tell which facets have no sharp and no open edge."""
    inside = np.zeros(neighbours.shape, dtype=bool)
    np.less_equal(angles, np.radians(SMOOTH_DEG), out=inside, where=neighbours >= 0)
    sharp = np.zeros(facets, dtype=bool)
    sharp[facet[~inside.all(axis=1)]] = True
    return ~sharp


@njit(cache=True, nogil=True, error_model="numpy")
def _follow_a_curve(pairs, start, along, radius, bend, widths, inner, by_end, begin, speck):  # type: ignore[no-untyped-def]
    """Mark the pairs of facets that are neighbours on one curve."""
    n = len(pairs)
    follows = np.zeros(n, dtype=np.bool_)
    for e in range(n):
        if min(widths[e, 0], widths[e, 1]) <= speck:
            continue
        agrees = False
        tighter = False
        for s in range(2):
            facet = pairs[e, s]
            for i in range(begin[facet], begin[facet + 1]):
                f = by_end[i]
                if f == e or bend[f] != bend[e] or min(widths[f, 0], widths[f, 1]) <= speck:
                    continue
                parallel = 0.0
                for j in range(3):
                    parallel += along[e, j] * along[f, j]
                if abs(parallel) < _PARALLEL:
                    continue
                ahead = _along(along, e, start, e, f)
                gap = 0.0
                for j in range(3):
                    gap += (start[f, j] - start[e, j] - ahead * along[e, j]) ** 2
                if math.sqrt(gap) < 0.1 * widths[e, s]:
                    continue  # on the same side of the facet: not the next edge, but the same one again
                if radius[f] * _SAME_CURVE < radius[e]:
                    tighter = True
                elif radius[f] <= _SAME_CURVE * radius[e]:
                    here = 0 if pairs[f, 0] == facet else 1
                    one, two, three = widths[e, 1 - s], widths[e, s], widths[f, 1 - here]
                    widest = max(one, two, three)
                    middle = one + two + three - widest - min(one, two, three)
                    agrees = agrees or middle * _SAME_WIDTH >= widest
        alike = max(widths[e, 0], widths[e, 1]) <= _SAME_WIDTH * min(widths[e, 0], widths[e, 1])
        inside = inner[pairs[e, 0]] or inner[pairs[e, 1]]
        follows[e] = not tighter and (agrees or (alike and inside))
    return follows

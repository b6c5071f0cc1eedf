"""Edges where more than two faces meet, told apart into edges of two.

Two boxes side by side share the edges of their common face; a bent body may come to touch itself.
Merged corners make such an edge look broken, though each solid there is whole. Going round the
edge, a solid begins at one face and ends at the next: those two belong together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.part.edges import Edges

# Faces whose directions from the edge differ by less lie on each other (radians).
_SAME = 1e-5


def tell_apart(
    vertices: NDArray[np.float64], faces: NDArray[np.int32], edges: Edges
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Give each sheet of a surface corners of its own.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int32
        Corners of each face.
    edges : Edges
        Edges of the mesh.

    Returns
    -------
    vertices : (W, 3) float64
        The corners, one for each fan of faces that hang together over edges of two.
    faces : (F, 3) int32
        The same faces in the same order. An edge at which the faces do not pair off keeps the
        rest open.
    """
    n = len(faces)
    face, k = np.nonzero(edges.neighbours > np.arange(n)[:, None])
    other = edges.neighbours[face, k]
    pairs = np.concatenate([np.stack([face, k, other], axis=1), _pairs_round(vertices, faces, edges)])
    # Corners of two faces that meet at an edge are one corner.
    links = []
    for end in (0, 1):
        at = (pairs[:, 1] + end) % 3
        vertex = faces[pairs[:, 0], at]
        there = np.argmax(faces[pairs[:, 2]] == vertex[:, None], axis=1)
        links.append(np.stack([3 * pairs[:, 0] + at, 3 * pairs[:, 2] + there], axis=1))
    link = np.concatenate(links)
    graph = coo_array((np.ones(len(link), dtype=np.int8), (link[:, 0], link[:, 1])), shape=(3 * n, 3 * n))
    _, corner = connected_components(graph, directed=False)
    _, first, name = np.unique(corner, return_index=True, return_inverse=True)
    return vertices[faces.ravel()[first]], name.reshape(-1, 3).astype(np.int32)


def _pairs_round(vertices: NDArray[np.float64], faces: NDArray[np.int32], edges: Edges) -> NDArray[np.int64]:
    """Pair the faces round each crowded edge: rows of face, its edge, other face."""
    face, k = np.nonzero((edges.neighbours < 0) & ~edges.sound[:, None])
    start, end = faces[face, k], faces[face, (k + 1) % 3]
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.lexsort((face, high, low))
    cuts = np.flatnonzero((np.diff(low[order]) != 0) | (np.diff(high[order]) != 0)) + 1
    pairs = []
    for half_edges in np.split(order, cuts):
        if len(half_edges) < 3:
            continue
        forward = start[half_edges] < end[half_edges]
        a, b = vertices[low[half_edges[0]]], vertices[high[half_edges[0]]]
        tip = vertices[faces[face[half_edges], (k[half_edges] + 2) % 3]] - a
        axis = (b - a) / np.linalg.norm(b - a)
        tip -= np.outer(tip @ axis, axis)
        right = tip[0].copy()
        right /= np.linalg.norm(right) or 1.0
        angle = np.arctan2(tip @ np.cross(axis, right), tip @ right) % (2 * np.pi)
        angle[angle > 2 * np.pi - _SAME] = 0.0
        # Seen along the edge, a solid lies clockwise of a face that runs along it: it ends there. Where
        # two faces lie on each other one solid ends before the next begins.
        turn = np.lexsort((~forward, np.round(angle / _SAME)))
        begun: list[int] = []
        done = set()
        for at in (*turn, *turn):
            if at in done:
                continue
            if not forward[at]:
                if at not in begun:
                    begun.append(int(at))
            elif begun:
                first = begun.pop(0)
                done |= {first, int(at)}
                one, two = half_edges[first], half_edges[at]
                pairs.append((face[one], k[one], face[two]))
    return np.array(pairs, dtype=np.int64).reshape(-1, 3)

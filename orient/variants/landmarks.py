"""Placings of one variant on another that are read off faces which both have.

A face that was not touched keeps its area, its mean normal and its spread, wherever the part was turned. Two
such faces say how the part was turned and moved; how much other face falls on its like tells which of
these placings to believe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.part.regions import regions_of

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

# The largest faces are looked at, and the likeliest pairs of pairs.
_MOST_FACES = 60
_MOST_PAIRS = 1500
_MOST_PLACINGS = 400
# Areas, mean normals and spreads agree within this share; lengths within this share of the part.
_ALIKE = 5e-3
_NEAR = 2e-3
# Placings nearer than this (in the matrix, and as a share of the part) are one.
_ONE = 0.01


@dataclass(frozen=True, eq=False)
class Landmarks:
    """The largest faces of a part.

    Attributes
    ----------
    areas : (K,) float64
        mm².
    vectors : (K, 3) float64
        Sum of area × normal, mm².
    middles : (K, 3) float64
        Centroids, mm.
    spreads : (K,) float64
        Root mean square distance from the centroid, mm.
    """

    areas: Floats
    vectors: Floats
    middles: Floats
    spreads: Floats


def landmarks_of(part: Part) -> Landmarks:
    """Measure the largest faces of a part: planes and smooth walls."""
    region = regions_of(part).region
    count = int(region.max()) + 1
    corners = part.vertices[part.faces]
    centre = corners.mean(axis=1)
    square = (np.einsum("fki,fki->f", corners, corners) + 9.0 * np.einsum("fi,fi->f", centre, centre)) / 12.0

    def summed(values: Floats) -> Floats:
        return np.bincount(region, weights=part.areas * values, minlength=count).astype(np.float64)

    areas = summed(np.ones(len(region)))
    rows = np.argsort(-areas, kind="stable")[:_MOST_FACES]
    rows = rows[areas[rows] > 0]
    vectors = np.stack([summed(part.normals[:, k]) for k in range(3)], axis=1)[rows]
    middles = np.stack([summed(centre[:, k]) for k in range(3)], axis=1)[rows] / areas[rows, None]
    spread = summed(square)[rows] / areas[rows] - np.einsum("ki,ki->k", middles, middles)
    return Landmarks(areas[rows], vectors, middles, np.sqrt(np.maximum(spread, 0.0)))


def placings(first: Part, second: Part, most: int) -> list[tuple[Floats, Floats]]:
    """Find placings of the second on the first from faces that both have.

    Parameters
    ----------
    first, second : Part
        Two variants.
    most : int
        How many placings, of proper ones and of mirror images each.

    Returns
    -------
    list of (rotation, shift)
        Best first, proper ones before mirror images; empty where no two faces of the one are like two of the
        other.
    """
    a, b = landmarks_of(first), landmarks_of(second)
    size = max(first.size_mm, second.size_mm)
    i, j = _alike(a, b)
    if len(i) < 2:
        return []
    lead = np.argsort(-a.areas[i], kind="stable")[:_MOST_PAIRS]
    i, j = i[lead], j[lead]
    p, q = np.triu_indices(len(i), 1)
    fits = (i[p] != i[q]) & (j[p] != j[q])
    p, q = p[fits], q[fits]
    apart = np.linalg.norm(a.middles[i[p]] - a.middles[i[q]], axis=1)
    apart_b = np.linalg.norm(b.middles[j[p]] - b.middles[j[q]], axis=1)
    turned = np.sum(_units(a)[i[p]] * _units(a)[i[q]], axis=1)
    turned_b = np.sum(_units(b)[j[p]] * _units(b)[j[q]], axis=1)
    fits = (np.abs(apart - apart_b) < _NEAR * size) & (np.abs(turned - turned_b) < 2.0 * _ALIKE)
    # Faces far apart turn least by what their middles are off.
    p, q, apart = p[fits], q[fits], apart[fits]
    order = np.argsort(-np.minimum(a.areas[i[p]], a.areas[i[q]]) * apart, kind="stable")[:_MOST_PLACINGS]
    p, q = p[order], q[order]
    if not len(p):
        return []
    found: list[tuple[Floats, Floats]] = []
    for sense in (1.0, -1.0):
        rotation, shift = _placed(a, b, i[p], i[q], j[p], j[q], sense)
        worth = _worth(a, b, i, j, rotation, shift, size)
        kept: list[int] = []
        for row in np.argsort(-worth, kind="stable").tolist():
            if len(kept) == most or worth[row] < 0.3 * worth.max():
                break
            if all(
                np.abs(rotation[row] - rotation[k]).max() > _ONE
                or np.abs(shift[row] - shift[k]).max() > _ONE * size
                for k in kept
            ):
                kept.append(row)
        found += [(rotation[row], shift[row]) for row in kept]
    return found


def _units(marks: Landmarks) -> Floats:
    """Mean normals as shares of the area: short for a wall that looks all round."""
    return marks.vectors / marks.areas[:, None]


def _alike(a: Landmarks, b: Landmarks) -> tuple[Rows, Rows]:
    """Rows of faces that may be one face."""

    def near(x: Floats, y: Floats, scale: Floats) -> NDArray[np.bool_]:
        return np.abs(x[:, None] - y[None, :]) <= _ALIKE * scale[:, None]

    lengths = [np.linalg.norm(marks.vectors, axis=1) for marks in (a, b)]
    alike = near(a.areas, b.areas, a.areas) & near(lengths[0], lengths[1], a.areas)
    alike &= near(a.spreads, b.spreads, a.spreads)
    rows, columns = np.nonzero(alike)
    return rows, columns


def _placed(
    a: Landmarks, b: Landmarks, i: Rows, k: Rows, j: Rows, m: Rows, sense: float
) -> tuple[Floats, Floats]:
    """Kabsch's best turn of two faces on two faces, many at once; of determinant `sense`.

    Kabsch, A solution for the best rotation to relate two sets of vectors, Acta Crystallographica A32, 1976:
    what is turned are the line between the middles and both mean normals.
    """
    across, across_b = a.middles[k] - a.middles[i], b.middles[m] - b.middles[j]
    length = np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    to = np.stack([across / length, _units(a)[i], _units(a)[k]], axis=1)
    of = np.stack([across_b / length, _units(b)[j], _units(b)[m]], axis=1)
    u, _, vt = np.linalg.svd(np.einsum("nki,nkj->nij", to, of))
    flip = sense * np.sign(np.linalg.det(u) * np.linalg.det(vt))
    u[:, :, 2] *= flip[:, None]
    rotation = u @ vt
    middle, middle_b = (a.middles[i] + a.middles[k]) / 2.0, (b.middles[j] + b.middles[m]) / 2.0
    return rotation, middle - np.einsum("nij,nj->ni", rotation, middle_b)


def _worth(
    a: Landmarks, b: Landmarks, i: Rows, j: Rows, rotation: Floats, shift: Floats, size: float
) -> Floats:
    """Area of the first's faces that each placing lays on their like."""
    worth = np.zeros(len(rotation))
    for row in range(len(rotation)):
        moved = b.middles[j] @ rotation[row].T + shift[row]
        looks = _units(b)[j] @ rotation[row].T
        on = np.linalg.norm(moved - a.middles[i], axis=1) < _NEAR * size
        on &= np.abs(looks - _units(a)[i]).max(axis=1) < 2.0 * _ALIKE
        worth[row] = a.areas[np.unique(i[on])].sum()
    return worth

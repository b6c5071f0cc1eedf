"""Directions that a part's own shape names: normals of its large planes, axes of its holes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.pose.frame import part_frame

# Directions nearer than this are one.
SAME_DEG = 1.0
# A plane counts from this share of the surface, a hole's axis from this share of all turning.
LEAST_SHARE = 0.01
MOST_PLANES = 8
MOST_AXES = 4
# Facets of one curved surface meet at less than this: nine facets a turn. Below the lower angle lies noise.
FACET_DEG = (0.1, 40.0)
# A bevelled edge turns in a facet or two; a curved surface in more.
LEAST_FACETS = 4


def main_directions(part: Part, frame: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """List the normals of the part's large planes and the axes of its cylindrical surfaces.

    Planes are clusters of face normals within 1°, both senses together, by area. An edge between two facets
    of a cylinder runs along its axis, so axes are clusters of the directions of edges that bend by
    0.1° to 40°, weighed with length × angle of bend. That is the edges' part of the integral mean curvature
    (Steiner's formula), which for a round hole of depth L is 2πL however fine its facets, and
    does not change when flat faces are split. An axis counts where at least four facet normals turn about it.

    Parameters
    ----------
    part : Part
        The part.
    frame : (3, 3) array, optional
        ``part_frame(part)``, if it is known. Clusters are gathered in it, so that they turn with the part.

    Returns
    -------
    (M, 3) float64
        Unit vectors in pairs v, −v: up to eight planes, largest first, then up to four axes that are not
        within 1° of one of the planes' normals.
    """
    own = part_frame(part) if frame is None else frame
    planes, areas = _clusters(part.normals @ own.T, part.areas, MOST_PLANES)
    planes = planes[areas >= LEAST_SHARE * part.area_mm2]
    axes = _curved_axes(part, own)
    if len(planes) and len(axes):
        axes = axes[np.abs(axes @ planes.T).max(axis=1) < np.cos(np.radians(SAME_DEG))]
    lines = np.concatenate([planes, axes[:MOST_AXES]])
    return np.stack([lines, -lines], axis=1).reshape(-1, 3) @ own + 0.0


def _curved_axes(part: Part, own: NDArray[np.float64]) -> NDArray[np.float64]:
    """Find the directions about which facets turn, in the part's own frame, the most turning first."""
    beside, along, bend = _bent_edges(part)
    if len(bend) == 0:
        return np.zeros((0, 3))
    along = along @ own.T
    axes, weights = _clusters(along, bend, 2 * MOST_AXES)
    near = np.cos(np.radians(SAME_DEG))
    keep = weights >= LEAST_SHARE * bend.sum()
    for k in np.flatnonzero(keep):
        facets = part.normals[beside[np.abs(along @ axes[k]) >= near].ravel()] @ own.T
        keep[k] = len(np.unique(np.round(facets, 3) + 0.0, axis=0)) >= LEAST_FACETS
    return axes[keep]


def _bent_edges(part: Part) -> tuple[NDArray[np.int32], NDArray[np.float64], NDArray[np.float64]]:
    """List edges that bend a little: (E, 2) faces, (E, 3) unit directions, (E,) length × angle."""
    low, high = np.cos(np.radians(FACET_DEG[1])), np.cos(np.radians(FACET_DEG[0]))
    rows = np.arange(len(part.faces), dtype=np.int32)
    normals = part.normals
    faces, edges = [], []
    for k in range(3):
        beside = part.neighbours[:, k]
        one = np.flatnonzero(beside > rows).astype(np.int32)
        cosine = np.einsum("ij,ij->i", normals[one], normals[beside[one]])
        one = one[(cosine > low) & (cosine < high)]
        faces.append(np.column_stack([one, beside[one]]))
        edges.append(
            part.vertices[part.faces[one, (k + 1) % 3]] - part.vertices[part.faces[one, k]],
        )
    beside, edge = np.concatenate(faces), np.concatenate(edges)
    length = np.linalg.norm(edge, axis=1)
    sine = np.linalg.norm(np.cross(normals[beside[:, 0]], normals[beside[:, 1]]), axis=1)
    cosine = np.einsum("ij,ij->i", normals[beside[:, 0]], normals[beside[:, 1]])
    return beside, edge / length[:, None], length * np.arctan2(sine, cosine)


def _clusters(
    vectors: NDArray[np.float64], weights: NDArray[np.float64], count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gather unit vectors, either sense, into the heaviest clusters within 1°: axes and weights."""
    bins, mass = _binned(vectors, weights)
    near = np.cos(np.radians(SAME_DEG))
    axes: list[NDArray[np.float64]] = []
    sums: list[float] = []
    while len(axes) < count and len(mass):
        # A plane may fall on the border of bins: its neighbours count before the heaviest is chosen.
        heads = np.argsort(-mass, kind="stable")[:64]
        around = np.array([mass[np.abs(bins @ bins[h]) >= near].sum() for h in heads])
        axis = bins[heads[np.argmax(np.round(around / around.max(), 9))]]
        for _ in range(4):
            cosine = bins @ axis
            inside = np.abs(cosine) >= near
            axis = (np.sign(cosine[inside]) * mass[inside]) @ bins[inside]
            axis /= np.linalg.norm(axis)
        inside = np.abs(bins @ axis) >= near
        if not inside.any():
            break
        axes.append(axis)
        sums.append(float(mass[inside].sum()))
        bins, mass = bins[~inside], mass[~inside]
    if not axes:
        return np.zeros((0, 3)), np.zeros(0)
    found, total = np.array(axes), np.array(sums)
    found = _upward(found)
    key = np.round(found, 6) + 0.0
    order = np.lexsort((-key[:, 0], -key[:, 1], -key[:, 2], -np.round(total / total.max(), 6)))
    return found[order], total[order]


def _binned(
    vectors: NDArray[np.float64], weights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sum unit vectors of either sense in cells of about half a degree."""
    held = weights > 0
    upward = _upward(vectors[held])
    cells = np.round(upward * 128.0).astype(np.int64) + 128
    _, cell = np.unique((cells[:, 0] * 257 + cells[:, 1]) * 257 + cells[:, 2], return_inverse=True)
    sums = np.column_stack([np.bincount(cell, weights[held] * upward[:, k]) for k in range(3)])
    length = np.linalg.norm(sums, axis=1)
    keep = length > 0
    return sums[keep] / length[keep, None], np.bincount(cell, weights[held])[keep]


def _upward(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn each vector to the sense whose last component that is not nearly zero is positive."""
    sense = np.zeros(len(vectors))
    for k in (2, 1, 0):
        open_still = (sense == 0) & (np.abs(vectors[:, k]) > 1e-6)
        sense[open_still] = np.sign(vectors[open_still, k])
    sense[sense == 0] = 1.0
    return vectors * sense[:, None]

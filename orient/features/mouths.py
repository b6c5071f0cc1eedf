"""The two ends of a cylindrical wall: where they lie, whether they are open, and what follows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.features.growth import Axis, Floats, Wall, frame_of
from orient.part.mesh import Part

# A cone's normal is this far from square to the axis and from the axis itself (sine of 14°, cosine of 26°).
_CONE = (0.25, 0.9)
# Below this turn the surface runs on.
_SMOOTH_DEG = 15.0


@dataclass(frozen=True, eq=False)
class Mouth:
    """One end of a wall.

    Attributes
    ----------
    at_mm : float
        Mean place along the axis, from its point, mm.
    convex : float
        Share of the rim, by angle about the axis, at which the surface turns away: near 1 at an open mouth
        or the tip of a pin, near 0 at a floor or the foot of a pin.
    cone : float
        Share of the rim that a cone follows.
    smooth : float
        Share of the rim at which the surface runs on without an edge.
    beyond : (k,) int32
        Faces on the far side of the rim.
    """

    at_mm: float
    convex: float
    cone: float
    smooth: float
    beyond: NDArray[np.int32]

    @property
    def open(self) -> bool:
        """Whether the surface turns away here."""
        return self.convex > 0.5


@dataclass(frozen=True, eq=False)
class Ends:
    """Both ends of a wall, the lower along the axis first, and the depth between them, mm."""

    low: Mouth
    high: Mouth
    depth_mm: float


def ends_of(part: Part, wall: Wall, faces: NDArray[np.int64], axis: Axis, covered_deg: float) -> Ends:
    """Find both ends of a cylindrical wall, and its depth.

    Parameters
    ----------
    part : Part
        The part.
    wall : Wall
        Its mesh, ready for borders.
    faces : (k,) int64
        Faces of the wall.
    axis : Axis
        Its cylinder.
    covered_deg : float
        How much of a turn it covers.

    Returns
    -------
    Ends
        For a wall all the way round the depth is the difference of the mean heights of the outermost rims
        that go round the axis, ∮ t dφ / 2π, which by Green's theorem is lateral area over perimeter, exact
        for tilted mouths, and which side bores do not shorten. For the rest it is area over perimeter.
    """
    face, side, other = wall.border(faces)
    a, b = part.faces[face, side], part.faces[face, (side + 1) % 3]
    frame = frame_of(axis.direction)
    start, end = (part.vertices[a] - axis.point) @ frame.T, (part.vertices[b] - axis.point) @ frame.T
    turn = np.angle(np.exp(1j * (np.arctan2(end[:, 1], end[:, 0]) - np.arctan2(start[:, 1], start[:, 0]))))
    t = 0.5 * (start[:, 2] + end[:, 2])
    across = np.linalg.norm((end - start)[:, :2], axis=1)

    loop = _loops(a, b)
    winding = np.bincount(loop, weights=turn) / (2 * np.pi)
    round_loops = np.flatnonzero(np.abs(winding) > 0.5)
    if len(round_loops) >= 2:
        mean = np.bincount(loop, weights=turn * t)[round_loops] / (2 * np.pi * winding[round_loops])
        low_edges = loop == round_loops[np.argmin(mean)]
        high_edges = loop == round_loops[np.argmax(mean)]
        depth = float(mean.max() - mean.min())
        low_at, high_at = float(mean.min()), float(mean.max())
    else:
        # No rim goes round: the wall is cut open. Edges that run across the axis are its ends.
        lengthwise = np.abs(end[:, 2] - start[:, 2]) > across
        middle = 0.5 * (t.min() + t.max())
        low_edges, high_edges = ~lengthwise & (t < middle), ~lengthwise & (t >= middle)
        perimeter = max(0.5 * float(across[~lengthwise].sum()), 1e-12)
        if not low_edges.any() or not high_edges.any():
            perimeter = axis.radius * np.radians(max(covered_deg, 1.0))
            low_edges, high_edges = t < middle, t >= middle
        depth = float(part.areas[faces].sum()) / perimeter
        low_at, high_at = middle - depth / 2, middle + depth / 2
    weight = np.abs(turn)
    mouths = [
        _mouth(part, axis, faces, at, face[edges], a[edges], other[edges], weight[edges])
        for at, edges in ((low_at, low_edges), (high_at, high_edges))
    ]
    return Ends(mouths[0], mouths[1], depth)


def _loops(a: NDArray[np.int32], b: NDArray[np.int32]) -> NDArray[np.int32]:
    """Label border edges that hang together."""
    corner, local = np.unique(np.concatenate([a, b]), return_inverse=True)
    first, second = local[: len(a)], local[len(a) :]
    graph = coo_array((np.ones(len(a), np.int8), (first, second)), shape=(len(corner),) * 2)
    return connected_components(graph, directed=False)[1][first]


def _mouth(
    part: Part,
    axis: Axis,
    own: NDArray[np.int64],
    at: float,
    face: NDArray[np.int32],
    a: NDArray[np.int32],
    other: NDArray[np.int32],
    weight: Floats,
) -> Mouth:
    """Weigh the edges of one rim by the angle that they span."""
    total = max(float(weight.sum()), 1e-300)
    known = other >= 0
    beyond, weighed = other[known], weight[known]
    far = part.centroids[beyond] - part.vertices[a[known]]
    offset = np.einsum("ij,ij->i", far, part.normals[face[known]])
    cosine = np.einsum("ij,ij->i", part.normals[beyond], part.normals[face[known]])
    turn = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    smooth = float(weighed[turn < _SMOOTH_DEG].sum()) / total

    # Where two solids met nearly at one circle, slivers line the rim: what follows lies behind them.
    beyond = _past_slivers(part, beyond, own, 4e-3 * axis.radius**2)
    lean = np.abs(part.normals[beyond] @ axis.direction)
    radial = part.centroids[beyond] - axis.point
    radial = radial - np.outer(radial @ axis.direction, axis.direction)
    inward = np.einsum("ij,ij->i", radial, part.normals[beyond]) < 0
    cone = (lean > _CONE[0]) & (lean < _CONE[1]) & inward
    # A slanted plane faces the axis too, but on one side only.
    lopsided = weighed[cone] @ part.normals[beyond[cone]]
    lopsided = lopsided - (lopsided @ axis.direction) * axis.direction
    share = float(weighed[cone].sum()) / total
    if np.linalg.norm(lopsided) > 0.3 * share * total:
        share = 0.0
    # An edge without a neighbour is where the mesh itself ends: taken as open.
    convex = float(weighed[offset < 0].sum() + weight[~known].sum()) / total
    return Mouth(at, convex, share, smooth, np.unique(beyond))


def _past_slivers(
    part: Part, beyond: NDArray[np.int32], own: NDArray[np.int64], least_mm2: float
) -> NDArray[np.int32]:
    """Step from slivers to their largest neighbour off the wall, twice at most."""
    for _ in range(2):
        thin = np.flatnonzero(part.areas[beyond] < least_mm2)
        if not len(thin):
            break
        around = part.neighbours[beyond[thin]]
        areas = np.where((around >= 0) & ~np.isin(around, own), part.areas[around], -1.0)
        best = areas.argmax(axis=1)
        rows = np.arange(len(thin))
        better = areas[rows, best] > part.areas[beyond[thin]]
        beyond = beyond.copy()
        beyond[thin[better]] = around[rows, best][better]
    return beyond

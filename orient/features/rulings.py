"""Cylinders of a clean tessellation, from the facets of their walls.

Two neighbouring strips of a faceted cylinder meet along a ruling, a line of the true surface, and their
far edges are rulings too. Seen along the axis that is a corner of an n-gon and its two neighbours: three
points, and so a circle. Circles that share a strip and agree are one cylinder, and the cylinder fitted to
the ends of its rulings is exact, however coarse the facets, because other corners (where a cross bore cuts
a strip) lie on chords and take no part.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.features.facets import STEP_DEG, Facets
from orient.features.growth import Axis, Floats, fit_axis

# Circles of one wall agree within this share of their radius.
AGREE = 0.02
# A strip is at most this many times as wide as the next: arc, flat, arc of a slot is no circle.
WIDTH_RATIO = 3.0
# Rulings of one wall are parallel within this sine (0.6°).
PARALLEL = 0.01
# Rulings further off the fitted circle than this share of the radius (a draft of 1° over five radii) are of a
# surface that is no cylinder.
STRAY = 0.05
# Facets that turn by less than this in all, degrees, are a bent plane to everything that asks for cylinders.
LEAST_TURN_DEG = 5.0
# A facet with more shallow lines than this is a plane beside many cones, not a strip.
MOST_LINES = 64


@dataclass(frozen=True, eq=False)
class Ruled:
    """A cylinder that facets agree on: axis, its facets, whether hollow, its widest step, radians."""

    axis: Axis
    facets: NDArray[np.int32]
    concave: bool
    step: float
    error: float


def ruled_cylinders(vertices: Floats, facets: Facets, precision: float) -> list[Ruled]:
    """Find the cylinders on which three or more neighbouring facets agree.

    Parameters
    ----------
    vertices : (V, 3)
        Corners of the part, mm.
    facets : Facets
        Its facets.
    precision : float
        How far a corner may be from where it was drawn, mm.

    Returns
    -------
    list of Ruled
        Those with the most facets first.
    """
    centre, radius, slack, usable = _circles(facets, precision)
    lines = np.flatnonzero(usable)
    if len(lines) < 2:
        return []
    by_facet, begin = _lines_of_facets(facets.pairs[lines], len(facets.areas))
    joined = _agreeing(
        by_facet,
        begin,
        facets.along[lines],
        np.sign(facets.step[lines]),
        centre[lines],
        radius[lines],
        slack[lines],
        PARALLEL + 2 * precision / np.maximum(_lengths(vertices, facets)[lines], 1e-12),
    )
    graph = coo_array(
        (np.ones(len(joined), np.int8), (joined[:, 0], joined[:, 1])), shape=(len(lines), len(lines))
    )
    label = connected_components(graph, directed=False)[1]
    order = np.argsort(label, kind="stable")
    bounds = np.append(np.flatnonzero(np.diff(label[order], prepend=-1)), len(order))
    turn = np.degrees(np.bincount(label, np.abs(facets.step[lines])))
    found = []
    for (low, high), turned in zip(pairwise(bounds), turn, strict=True):
        if high - low >= 2 and turned >= LEAST_TURN_DEG:
            ruled = _ruled(vertices, facets, lines[order[low:high]], centre, radius, precision)
            if ruled is not None:
                found.append(ruled)
    return sorted(found, key=lambda ruled: -len(ruled.facets))


def _circles(facets: Facets, precision: float) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Give each line the circle through it and the far edges of its two facets.

    The circle through the ends of two chords a and b that turn by θ has the diameter c / sin θ with
    c² = a² + b² + 2ab cos θ (law of cosines; circumcircle of a triangle). Its centre c obeys
    c·(a t) = a²/2 and c·(b s) = b²/2, t and s the directions of the chords.
    """
    a, b = facets.widths.T
    turn = np.abs(facets.step)
    t, s = facets.tangents[:, 0], facets.tangents[:, 1]
    sine = np.maximum(np.sin(turn), 1e-12)
    radius = np.sqrt(a * a + b * b + 2 * a * b * np.cos(turn)) / (2 * sine)
    across = np.einsum("ij,ij->i", t, s)
    square = np.maximum(1 - across**2, 1e-15)
    one, two = (a / 2 - across * b / 2) / square, (b / 2 - across * a / 2) / square
    centre = facets.start + one[:, None] * t + two[:, None] * s
    narrow, wide = np.minimum(a, b), np.maximum(a, b)
    sagitta = narrow * turn / 8
    slack = np.minimum(AGREE + 2 * precision / np.maximum(sagitta, 1e-12), 0.15)
    usable = (narrow > 4 * precision) & (wide <= WIDTH_RATIO * narrow) & (turn <= np.radians(STEP_DEG))
    usable &= (turn > 1e-4) & (facets.areas[facets.pairs].min(axis=1) > 0)
    return centre, radius, slack, usable


def _lines_of_facets(pairs: NDArray[np.int32], count: int) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """List the lines of each facet: lines, and where each facet's begin."""
    ends = np.concatenate([pairs[:, 0], pairs[:, 1]])
    order = np.argsort(ends, kind="stable")
    begin = np.searchsorted(ends[order], np.arange(count + 1)).astype(np.int64)
    return (order % len(pairs)).astype(np.int32), begin


@njit(cache=True, nogil=True, error_model="numpy")
def _agreeing(by_facet, begin, along, sign, centre, radius, slack, tilt):  # type: ignore[no-untyped-def]  # pragma: no cover
    """List the pairs of lines that share a facet and lie on one cylinder."""
    joined = []
    joined.append((0, 0))
    for facet in range(len(begin) - 1):
        if begin[facet + 1] - begin[facet] > MOST_LINES:
            continue
        for i in range(begin[facet], begin[facet + 1]):
            e = by_facet[i]
            for j in range(i + 1, begin[facet + 1]):
                f = by_facet[j]
                if sign[e] != sign[f]:
                    continue
                dot = np.dot(along[e], along[f])
                if 1.0 - dot * dot > (tilt[e] + tilt[f]) ** 2:
                    continue
                least = min(radius[e], radius[f])
                most = max(slack[e], slack[f]) * least
                if abs(radius[e] - radius[f]) > most:
                    continue
                gap = centre[f] - centre[e]
                gap = gap - np.dot(gap, along[e]) * along[e]
                if np.sqrt(np.dot(gap, gap)) > most + (tilt[e] + tilt[f]) * least:
                    continue
                joined.append((e, f))
    return np.array(joined, dtype=np.int32)


def _distance(points: Floats, axis: Axis) -> Floats:
    """Distance of points from an axis."""
    offset = points - axis.point
    return np.linalg.norm(offset - (offset @ axis.direction)[..., None] * axis.direction, axis=-1)


def _lengths(vertices: Floats, facets: Facets) -> Floats:
    return np.linalg.norm(vertices[facets.ends[:, 1]] - vertices[facets.ends[:, 0]], axis=1)


def _ruled(
    vertices: Floats,
    facets: Facets,
    lines: NDArray[np.int64],
    centre: Floats,
    radius: Floats,
    precision: float,
) -> Ruled | None:
    """Fit one cylinder to the rulings that agree; None when they do not lie on one."""
    ends = vertices[facets.ends[lines]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    along = facets.along[lines]
    lead = along[np.argmax(length)]
    direction = (np.sign(along @ lead) * length) @ along
    direction = direction / np.linalg.norm(direction)
    point = centre[lines[np.argmax(length)]]
    start = Axis(point, direction, float(np.median(radius[lines])))
    points = vertices[np.unique(facets.ends[lines])]
    if len(lines) < 3:
        # Two rulings do not fix a circle; their three points each, on which the guess rests, do.
        far = ends.mean(axis=1)[:, None] + facets.widths[lines][..., None] * facets.tangents[lines]
        half = 0.5 * length[:, None, None] * along[:, None]
        points = np.concatenate([points, (far + half).reshape(-1, 3), (far - half).reshape(-1, 3)])
    axis, residual = fit_axis(points, start)
    for _ in range(3):
        # A surface that runs on smoothly lends a few lines of its own: those that stray are dropped.
        if len(lines) < 6 or np.abs(residual).max() <= 4 * precision:
            break
        off = np.abs(_distance(vertices[facets.ends[lines]], axis) - axis.radius).max(axis=1)
        kept = off <= max(4 * float(np.median(off)), 4 * precision)
        if kept.all() or kept.sum() < 4:
            break
        lines = lines[kept]
        axis, residual = fit_axis(vertices[np.unique(facets.ends[lines])], axis)
    error = float(np.abs(residual).max())
    if not axis.radius > 0 or error > max(20 * precision, STRAY * axis.radius):
        return None
    beside = np.unique(facets.pairs[lines])
    sign = float(np.sign(facets.step[lines]).sum())
    step = float(np.abs(facets.step[lines]).max())
    return Ruled(axis, beside.astype(np.int32), sign < 0, step, error)

"""What every band of height holds, in every pose: section, outline, and solid skin under level faces.

The section at height z of a closed part follows from the divergence theorem on the piece above z: its level
cut is what the faces above leave open, A(z) = Σ (n·b)·area above z. The outline in a band of height Δz is
Σ area·√(1 − (n·b)²) / Δz of the face area inside the band. Both need only how much of each face lies below a
height, a quadratic of the height for a triangle, so no pose is cut and no outline is chained.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Bands of height: sections change little within a fiftieth of the part.
BANDS = 48
# Faces smaller than these shares of the diameter and the least width count as one patch, together with their
# neighbours of like normal; area and area vector are kept exactly.
LUMP_OF_DIAMETER = 1 / 20
LUMP_OF_WIDTH = 1 / 6
NORMAL_CELLS = 4.0


@dataclass(frozen=True, eq=False)
class Pieces:
    """The surface in few pieces.

    Attributes
    ----------
    corners : (N, 3, 3) float64
        Triangles in part coordinates, mm.
    middles : (M, 3) float64
        Centroids of lumps of small faces, mm.
    reaches : (M,) float64
        Half the width, in its own plane, of an even patch with the lump's second moment, mm.
    vectors : (N + M, 3) float64
        Area vectors, of the triangles and then of the lumps, mm².
    areas : (N + M,) float64
        Areas, mm².
    points : (3, H) float64
        The hull's points, mm.
    volume_mm3, closed :
        The part's volume, and whether the mesh is closed.
    """

    corners: Floats
    middles: Floats
    reaches: Floats
    vectors: Floats
    areas: Floats
    points: Floats
    volume_mm3: float
    closed: bool


@dataclass(frozen=True, eq=False)
class Bands:
    """Bands of P poses, K bands each, from the bed up.

    Attributes
    ----------
    height_mm : (P,) float64
        Build height.
    section_mm2 : (P, K) float64
        Mean area of the section; over all bands it gives the part's volume.
    outline_mm : (P, K) float64
        Mean length of the section's outline.
    skin_mm3 : (P, K) float64
        Solid skin above and below level faces that the contours do not cover.
    """

    height_mm: Floats
    section_mm2: Floats
    outline_mm: Floats
    skin_mm3: Floats


def surface_pieces(part: Part) -> Pieces:
    """Gather a part's surface into pieces once, for any number of poses.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    Pieces
    """
    corners = part.vertices[part.faces]
    areas, normals = part.areas, part.normals
    cell = min(LUMP_OF_DIAMETER * part.hull.diameter_mm, LUMP_OF_WIDTH * part.hull.width_mm)
    longest = np.ptp(corners, axis=1).max(axis=1)
    small = longest < cell
    middles, reaches = np.zeros((0, 3)), np.zeros(0)
    vectors = [areas[~small, None] * normals[~small]]
    sums = [areas[~small]]
    if small.any():
        centroids, a = part.centroids[small], areas[small]
        place = np.floor((centroids - part.bounds[0]) / cell).astype(np.int64)
        facing = np.floor((normals[small] + 1.0) * (NORMAL_CELLS / 2.0)).astype(np.int64)
        key = np.zeros(len(a), dtype=np.int64)
        for column, cells in zip((*facing.T, *place.T), (8, 8, 8, 4096, 4096, 4096), strict=True):
            key = key * cells + np.minimum(column, cells - 1)
        _, lump = np.unique(key, return_inverse=True)
        count = int(lump.max()) + 1
        total = np.bincount(lump, weights=a, minlength=count)
        middles = _by_lump(lump, a[:, None] * centroids, count) / np.maximum(total, 1e-300)[:, None]
        # Second moment about the lump's middle: of the centroids, and of each triangle about its own.
        edges = corners[small] - np.roll(corners[small], 1, axis=1)
        moment = a * (((centroids - middles[lump]) ** 2).sum(axis=1) + (edges**2).sum(axis=(1, 2)) / 36.0)
        moment = np.bincount(lump, weights=moment, minlength=count) / np.maximum(total, 1e-300)
        # Half of it lies along any one direction of the plane; an even strip of ±w has the moment w²/3.
        reaches = np.sqrt(3.0 * moment / 2.0)
        vectors.append(_by_lump(lump, a[:, None] * normals[small], count))
        sums.append(total)
    return Pieces(
        corners=np.ascontiguousarray(corners[~small]),
        middles=np.ascontiguousarray(middles),
        reaches=reaches,
        vectors=np.ascontiguousarray(np.concatenate(vectors)),
        areas=np.concatenate(sums),
        points=np.ascontiguousarray(part.hull.points.T),
        volume_mm3=part.volume_mm3,
        closed=part.closed,
    )


def bands_of(
    pieces: Pieces,
    directions: Floats,
    skin_mm: float,
    contours_mm: float,
    *,
    bands: int = BANDS,
    threads: int | None = None,
) -> Bands:
    """Sort the surface of every pose into bands of height.

    A face of slope n·b = s is covered by contours of width C and by a solid skin of height T: both are slabs
    along the face, C·√(1 − s²) and T·|s| thick, so the skin adds area·max(0, T·|s| − C·√(1 − s²)). It is
    spread over T below faces that look up and over T above faces that look down.

    Parameters
    ----------
    pieces : Pieces
        The part, from `surface_pieces`.
    directions : (P, 3) float64
        Build directions.
    skin_mm, contours_mm : float
        Height T of the solid skin and width C of all contours side by side, mm.
    bands : int
        How many bands.
    threads : int, optional
        Threads to count on; the answer does not depend on it.

    Returns
    -------
    Bands
    """
    b = np.ascontiguousarray(np.atleast_2d(directions), dtype=np.float64)
    low, high = np.empty(len(b)), np.empty(len(b))
    sums = np.zeros((len(b), 4, 2 * bands))
    workers = threads or 2
    chunks = [part for part in np.array_split(np.arange(len(b)), workers) if len(part)]

    def count(rows: NDArray[np.int64]) -> None:
        some = slice(rows[0], rows[-1] + 1)
        _extremes(*pieces.points, b[some], low[some], high[some])
        where = b[some], low[some], high[some], skin_mm, contours_mm, sums[some]
        n = len(pieces.corners)
        _sort_triangles(pieces.corners, pieces.vectors[:n], pieces.areas[:n], *where)
        _sort_lumps(pieces.middles, pieces.reaches, pieces.vectors[n:], pieces.areas[n:], *where)

    if len(chunks) == 1:
        count(chunks[0])
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(count, chunks))

    height = high - low
    step = np.maximum(height / bands, 1e-12)[:, None]
    above = np.cumsum(sums[:, 0, ::-1], axis=1)[:, ::-1]
    section = np.maximum(above[:, 1::2], 0.0)
    found = (section * step).sum(axis=1)
    if pieces.closed and pieces.volume_mm3 > 0:
        # The middle of a band stands for it; what that misses is given back in proportion.
        section *= (pieces.volume_mm3 / np.maximum(found, 1e-300))[:, None]
    paired = sums[:, 1:, 0::2] + sums[:, 1:, 1::2]
    reach = np.maximum(np.ceil(skin_mm / step[:, 0] - 1e-9).astype(np.int64), 1)
    down = _spread(paired[:, 1, ::-1], reach)[:, ::-1]
    up = _spread(paired[:, 2], reach)
    return Bands(height, section, paired[:, 0] / step, down + up)


def _by_lump(lump: NDArray[np.int64], weighted: Floats, count: int) -> Floats:
    return np.stack([np.bincount(lump, weights=column, minlength=count) for column in weighted.T], axis=1)


def _spread(amounts: Floats, reach: NDArray[np.int64]) -> Floats:
    """Spread each amount evenly over its own and the next bands, `reach` of them; the last takes the rest."""
    count = amounts.shape[1]
    total = np.concatenate([np.zeros((len(amounts), 1)), np.cumsum(amounts, axis=1)], axis=1)
    start = np.maximum(np.arange(count)[None, :] + 1 - reach[:, None], 0)
    spread = (total[:, 1:] - np.take_along_axis(total, start, axis=1)) / reach[:, None]
    spread[:, -1] += total[:, -1] - spread.sum(axis=1)
    return spread


@njit(cache=True, nogil=True, error_model="numpy")
def _below(z, a, b, c):  # type: ignore[no-untyped-def]
    """Share of a triangle's area below height z; its corners lie at a ≤ b ≤ c."""
    if z <= a:
        return 0.0
    if z >= c:
        return 1.0
    if z <= b:
        return (z - a) * (z - a) / ((b - a) * (c - a))
    return 1.0 - (c - z) * (c - z) / ((c - b) * (c - a))


@njit(cache=True, nogil=True, error_model="numpy")
def _sort_triangles(corners, vectors, areas, directions, low, high, skin, contours, sums):  # type: ignore[no-untyped-def]
    bins = sums.shape[2]
    for p in range(directions.shape[0]):
        bx, by, bz = directions[p]
        span = max(high[p] - low[p], 1e-12)
        scale = bins / span
        for f in range(areas.shape[0]):
            area = areas[f]
            if area <= 0.0:
                continue
            s = vectors[f, 0] * bx + vectors[f, 1] * by + vectors[f, 2] * bz
            wall = math.sqrt(max(area * area - s * s, 0.0))
            extra = max(skin * abs(s) - contours * wall, 0.0)
            a = (corners[f, 0, 0] * bx + corners[f, 0, 1] * by + corners[f, 0, 2] * bz - low[p]) * scale
            b = (corners[f, 1, 0] * bx + corners[f, 1, 1] * by + corners[f, 1, 2] * bz - low[p]) * scale
            c = (corners[f, 2, 0] * bx + corners[f, 2, 1] * by + corners[f, 2, 2] * bz - low[p]) * scale
            if a > b:
                a, b = b, a
            if b > c:
                b, c = c, b
            if a > b:
                a, b = b, a
            # Rounding must not carry a level face over the edge of a band.
            first = min(max(int(a + 1e-7), 0), bins - 1)
            last = min(max(int(c - 1e-7), first), bins - 1)
            before = 0.0
            for k in range(first, last + 1):
                until = 1.0 if k == last else _below(k + 1.0, a, b, c)
                share = until - before
                before = until
                sums[p, 0, k] += share * s
                sums[p, 1, k] += share * wall
                if extra > 0.0:
                    sums[p, 2 if s > 0.0 else 3, k] += share * extra


@njit(cache=True, nogil=True, error_model="numpy")
def _sort_lumps(middles, reaches, vectors, areas, directions, low, high, skin, contours, sums):  # type: ignore[no-untyped-def]
    bins = sums.shape[2]
    for p in range(directions.shape[0]):
        bx, by, bz = directions[p]
        scale = bins / max(high[p] - low[p], 1e-12)
        for f in range(areas.shape[0]):
            area = areas[f]
            s = vectors[f, 0] * bx + vectors[f, 1] * by + vectors[f, 2] * bz
            wall = math.sqrt(max(area * area - s * s, 0.0))
            extra = max(skin * abs(s) - contours * wall, 0.0)
            at = (middles[f, 0] * bx + middles[f, 1] * by + middles[f, 2] * bz - low[p]) * scale
            # The patch leans by its slope, so that much of its width stands up.
            reach = max(reaches[f] * wall / area * scale, 1e-7)
            first = min(max(int(at - reach + 1e-7), 0), bins - 1)
            last = min(max(int(at + reach - 1e-7), first), bins - 1)
            before = 0.0
            for k in range(first, last + 1):
                until = 1.0 if k == last else min(max((k + 1.0 - at + reach) / (2.0 * reach), 0.0), 1.0)
                share = until - before
                before = until
                sums[p, 0, k] += share * s
                sums[p, 1, k] += share * wall
                if extra > 0.0:
                    sums[p, 2 if s > 0.0 else 3, k] += share * extra


# Least and greatest do not depend on the order they are looked for in, so they may be looked for in any.
@njit(cache=True, nogil=True, error_model="numpy", fastmath={"nnan", "ninf", "nsz"})
def _extremes(x, y, z, directions, low, high):  # type: ignore[no-untyped-def]
    for p in range(directions.shape[0]):
        bx, by, bz = directions[p, 0], directions[p, 1], directions[p, 2]
        least, most = 1e300, -1e300
        for i in range(x.shape[0]):
            h = x[i] * bx + y[i] * by + z[i] * bz
            least = min(least, h)
            most = max(most, h)
        low[p], high[p] = least, most

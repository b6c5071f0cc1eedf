"""What every band of height holds, in every pose: section, outline, and solid skin under level faces.

The section at height z of a closed part follows from the divergence theorem on the piece above z: its level
cut is what the faces above leave open, A(z) = Σ (n·b)·area above z. The outline in a band of height Δz is
Σ area·√(1 − (n·b)²) / Δz of the face area inside the band. Both need only how much of each face lies below a
height, a quadratic of the height for a triangle, so no pose is cut and no outline is chained.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.measure.sharing import available_threads, share_out
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
    sums = np.empty((len(b), 4, 2 * bands))

    def count(start: int, stop: int) -> None:
        some = slice(start, stop)
        _extremes(*pieces.points, b[some], low[some], high[some])
        where = b[some], low[some], high[some], skin_mm, contours_mm, sums[some]
        _sort_in(pieces.corners, pieces.middles, pieces.reaches, pieces.vectors, pieces.areas, *where)

    share_out(count, len(b), threads or available_threads())
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


# The area of a triangle is spread over height as a tent: from its lowest corner up to the middle one and down
# to the highest. A tent is three changes of slope, a patch two steps; each is entered in the band where it
# happens, as what it adds to that band and to every band above it, and one running sum per pose turns the
# entries into contents. So a triangle costs the same whether it crosses one band or all of them.
#
# Entries of a band stand side by side: of the section, the outline, the skin of faces that look up and of
# those that look down, and of each what it adds to its own band, to the slope and to the offset above it.
_SECTION, _OUTLINE, _UP, _DOWN = 0, 3, 6, 9
_OWN, _SLOPE, _OFFSET = 0, 1, 2
# Spreads narrower than this, in bands, count as a point or a step: no figure depends on it, rounding would.
_THIN = 1e-5
# So many poses are looked at together: the arithmetic of a face is the same in all, and a processor does
# several in one step. Half the time of one pose after the other (measured; more of them gain nothing).
_ABREAST = 16


@njit(cache=True, nogil=True, error_model="numpy")
def _bend(entries, at, slope, s, wall, extra, side):  # type: ignore[no-untyped-def]
    """From height `at` on, the density grows by `slope` a band."""
    k = min(max(int(at), 0), entries.shape[0] - 1)
    own, offset = 0.5 * slope * (k + 1.0 - at) ** 2, -slope * at
    _enter(entries[k], own, slope, offset, s, wall, extra, side)


@njit(cache=True, nogil=True, error_model="numpy")
def _step(entries, at, height, s, wall, extra, side):  # type: ignore[no-untyped-def]
    """From height `at` on, the density is greater by `height`."""
    k = min(max(int(at), 0), entries.shape[0] - 1)
    _enter(entries[k], height * (k + 1.0 - at), 0.0, height, s, wall, extra, side)


@njit(cache=True, nogil=True, error_model="numpy")
def _enter(band, own, slope, offset, s, wall, extra, side):  # type: ignore[no-untyped-def]
    band[_SECTION + _OWN] += own * s
    band[_SECTION + _SLOPE] += slope * s
    band[_SECTION + _OFFSET] += offset * s
    band[_OUTLINE + _OWN] += own * wall
    band[_OUTLINE + _SLOPE] += slope * wall
    band[_OUTLINE + _OFFSET] += offset * wall
    if extra > 0.0:
        band[side + _OWN] += own * extra
        band[side + _SLOPE] += slope * extra
        band[side + _OFFSET] += offset * extra


@njit(cache=True, nogil=True, error_model="numpy")
def _point(entries, at, s, wall, extra, side):  # type: ignore[no-untyped-def]
    """All of it lies at one height. Rounding must not carry a level face over the edge of a band."""
    k = min(max(int(at + 1e-7), 0), entries.shape[0] - 1)
    _enter(entries[k], 1.0, 0.0, 0.0, s, wall, extra, side)


@njit(cache=True, nogil=True, error_model="numpy")
def _sort_in(corners, middles, reaches, vectors, areas, directions, low, high, skin, contours, sums):  # type: ignore[no-untyped-def]
    bins, triangles = sums.shape[2], corners.shape[0]
    entries = np.zeros((_ABREAST, bins, 12))
    bx, by, bz = np.empty(_ABREAST), np.empty(_ABREAST), np.empty(_ABREAST)
    foot, scale = np.empty(_ABREAST), np.empty(_ABREAST)
    for first in range(0, directions.shape[0], _ABREAST):
        count = min(_ABREAST, directions.shape[0] - first)
        for q in range(count):
            p = first + q
            bx[q], by[q], bz[q] = directions[p, 0], directions[p, 1], directions[p, 2]
            foot[q], scale[q] = low[p], bins / max(high[p] - low[p], 1e-12)
        entries[:] = 0.0
        _enter_triangles(corners, vectors, areas, bx, by, bz, foot, scale, skin, contours, count, entries)
        for q in range(count):
            _enter_patches(
                middles, reaches, vectors[triangles:], areas[triangles:],
                bx[q], by[q], bz[q], foot[q], scale[q], skin, contours, entries[q],
            )  # fmt: skip
            for kind in range(4):
                slope, offset = 0.0, 0.0
                for k in range(bins):
                    band = entries[q, k, 3 * kind : 3 * kind + 3]
                    sums[first + q, kind, k] = band[_OWN] + slope * (k + 0.5) + offset
                    slope += band[_SLOPE]
                    offset += band[_OFFSET]


@njit(cache=True, nogil=True, error_model="numpy")
def _enter_triangles(corners, vectors, areas, bx, by, bz, foot, scale, skin, contours, count, entries):  # type: ignore[no-untyped-def]
    ss, walls, extras = np.empty(_ABREAST), np.empty(_ABREAST), np.empty(_ABREAST)
    lowest, middle, highest = np.empty(_ABREAST), np.empty(_ABREAST), np.empty(_ABREAST)
    peaks, rises, falls = np.empty(_ABREAST), np.empty(_ABREAST), np.empty(_ABREAST)
    for f in range(corners.shape[0]):
        area = areas[f]
        if area <= 0.0:
            continue
        x, y, z = vectors[f, 0], vectors[f, 1], vectors[f, 2]
        x0, y0, z0 = corners[f, 0, 0], corners[f, 0, 1], corners[f, 0, 2]
        x1, y1, z1 = corners[f, 1, 0], corners[f, 1, 1], corners[f, 1, 2]
        x2, y2, z2 = corners[f, 2, 0], corners[f, 2, 1], corners[f, 2, 2]
        for q in range(count):
            s = x * bx[q] + y * by[q] + z * bz[q]
            wall = math.sqrt(max(area * area - s * s, 0.0))
            ss[q], walls[q], extras[q] = s, wall, max(skin * abs(s) - contours * wall, 0.0)
            h0 = (x0 * bx[q] + y0 * by[q] + z0 * bz[q] - foot[q]) * scale[q]
            h1 = (x1 * bx[q] + y1 * by[q] + z1 * bz[q] - foot[q]) * scale[q]
            h2 = (x2 * bx[q] + y2 * by[q] + z2 * bz[q] - foot[q]) * scale[q]
            lower, upper = min(h0, h1), max(h0, h1)
            lowest[q], highest[q] = min(lower, h2), max(upper, h2)
            middle[q] = max(lower, min(upper, h2))
        for q in range(count):
            # Where two heights are one this is infinite, and not asked for.
            peak = 2.0 / (highest[q] - lowest[q])
            peaks[q] = peak
            rises[q] = peak / (middle[q] - lowest[q])
            falls[q] = peak / (highest[q] - middle[q])
        for q in range(count):
            a, b, c, s, wall, extra = lowest[q], middle[q], highest[q], ss[q], walls[q], extras[q]
            side = _UP if s > 0.0 else _DOWN
            own = entries[q]
            if c - a < _THIN:
                _point(own, (a + c) / 2.0, s, wall, extra, side)
                continue
            rise = rises[q] if b - a >= _THIN else 0.0
            fall = falls[q] if c - b >= _THIN else 0.0
            if rise > 0.0:
                _bend(own, a, rise, s, wall, extra, side)
            else:
                _step(own, a, peaks[q], s, wall, extra, side)
            _bend(own, b, -(rise + fall), s, wall, extra, side)
            if fall > 0.0:
                _bend(own, c, fall, s, wall, extra, side)
            else:
                _step(own, c, -peaks[q], s, wall, extra, side)


@njit(cache=True, nogil=True, error_model="numpy")
def _enter_patches(middles, reaches, vectors, areas, bx, by, bz, foot, scale, skin, contours, entries):  # type: ignore[no-untyped-def]
    bins = float(entries.shape[0])
    for f in range(middles.shape[0]):
        area = areas[f]
        if area <= 0.0:
            continue
        s = vectors[f, 0] * bx + vectors[f, 1] * by + vectors[f, 2] * bz
        wall = math.sqrt(max(area * area - s * s, 0.0))
        extra = max(skin * abs(s) - contours * wall, 0.0)
        side = _UP if s > 0.0 else _DOWN
        at = (middles[f, 0] * bx + middles[f, 1] * by + middles[f, 2] * bz - foot) * scale
        # The patch leans by its slope, so that much of its width stands up. It stays within the part.
        reach = reaches[f] * wall / area * scale
        a, c = max(at - reach, 0.0), min(at + reach, bins)
        if c - a < _THIN:
            _point(entries, (a + c) / 2.0, s, wall, extra, side)
        else:
            _step(entries, a, 1.0 / (c - a), s, wall, extra, side)
            _step(entries, c, -1.0 / (c - a), s, wall, extra, side)


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

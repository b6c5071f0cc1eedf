"""Places where two surfaces face each other closely, through material or through air.

Samples are spread over the surface by area. From each, one short ray goes into the part and one out of
it. Where the ray meets a surface that faces back (normals within 30° of opposite), the two planes bound a
wall or a gap. Its thickness is the diameter of the ball that touches both planes, the first at the
sample: D = 2tc/(1 + c), t the ray's length and c = −n·n_hit. (The ball's centre lies D/2 below the sample,
and its distance to the second plane, (t − D/2)·c, is D/2 too.) On parallel planes D = t.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.features.rays import Rays
from orient.part.mesh import Part

Floats = NDArray[np.float64]

SPACING_MM = 1.0
# A small part gets at least about so many samples, a large one no more than about so many above one a face.
_FEWEST, _MOST = 15_000, 250_000
# Normals count as facing within this angle of opposite.
FACING_DEG = 30.0
# What is drawn at that angle does not face, whatever a file's last digits say.
_DIGITS_DEG = 0.1
_SIDES = {"wall": -1.0, "gap": 1.0}


@dataclass(frozen=True, eq=False)
class Samples:
    """Points spread over a part's surface, each standing for a patch of it.

    Attributes
    ----------
    face : (N,) int32
        Face of each point.
    point : (N, 3) float64
        Where it is, mm.
    area : (N,) float64
        Area it stands for, mm².
    gap_mm : (N,) float64
        Distance to expect to the next sample: the spacing, or the step along a long thin face.
    spacing_mm : float
        Spacing aimed at.
    """

    face: NDArray[np.int32]
    point: Floats
    area: Floats
    gap_mm: Floats
    spacing_mm: float


@dataclass(frozen=True, eq=False)
class Facing:
    """Samples that have a surface facing them: one row each.

    Attributes
    ----------
    side : str
        ``"wall"`` through material, ``"gap"`` through air.
    confused : float
        Share of the area whose ray meets a surface from its wrong side, as no sound solid lets it.
    face, hit : (M,) int32
        Face of the sample and face it looks at.
    thickness : (M,) float64
        Diameter of the ball touching both, mm.
    middle : (M, 3) float64
        Point halfway along the ray, shared by both sides, mm.
    normal : (M, 3) float64
        Unit normal of the sample's surface.
    length : (M,) float64
        Length of the ray, mm.
    area, gap_mm : (M,) float64
        As in `Samples`.
    """

    side: str
    confused: float
    face: NDArray[np.int32]
    hit: NDArray[np.int32]
    thickness: Floats
    middle: Floats
    normal: Floats
    length: Floats
    area: Floats
    gap_mm: Floats

    def of(self, rows: NDArray[np.int64]) -> Facing:
        """Take some of the rows."""
        return replace(self, **{name: getattr(self, name)[rows] for name in _COLUMNS})


_COLUMNS = ("face", "hit", "thickness", "middle", "normal", "length", "area", "gap_mm")


def samples_of(part: Part, spacing_mm: float = SPACING_MM) -> Samples:
    """Spread samples over a part by area, at least one a face.

    Parameters
    ----------
    part : Part
        The part.
    spacing_mm : float
        Spacing to aim at; finer on small parts, coarser on very large ones.

    Returns
    -------
    Samples
        The same for the same mesh.

    Notes
    -----
    Points in a triangle follow the R2 sequence of M. Roberts, a low-discrepancy lattice with the plastic
    number, folded into the triangle; a single point is the centroid. Each is joined by its two images under a
    cyclic change of corners, so that the mean of a face's samples is its centroid however it is split.
    """
    areas = part.areas
    total = float(areas.sum())
    spacing = min(spacing_mm, np.sqrt(total / _FEWEST))
    spacing = max(spacing, np.sqrt(total / _MOST))
    count = _counts(part.vertices, part.faces, areas, spacing)
    face, point, gap = _spread(part.vertices, part.faces, areas, count, spacing)
    return Samples(face, point, (areas / np.maximum(count, 1))[face], gap, spacing)


def facing(part: Part, samples: Samples, rays: Rays, side: str, reach_mm: float) -> Facing:
    """Find the samples that a surface faces within reach.

    Parameters
    ----------
    part : Part
        The part.
    samples : Samples
        Samples of it.
    rays : Rays
        Rays cast at it.
    side : {"wall", "gap"}
        Look through material or through air.
    reach_mm : float
        Largest thickness of interest.

    Returns
    -------
    Facing
        One row for each sample that is faced.
    """
    sign = _SIDES[side]
    normals = part.normals
    # Start just off the surface: far under any wall, far over single precision on the part's scale.
    off = max(1e-5, 1e-6 * part.size_mm)
    direction = sign * normals[samples.face]
    hit, length = rays.first_hits(samples.point + off * direction, direction, 1.2 * reach_mm)
    length += off
    found = np.flatnonzero(hit >= 0)
    cosine = -np.einsum("ij,ij->i", normals[samples.face[found]], normals[hit[found]])
    wrong = samples.area[found] @ (sign * np.einsum("ij,ij->i", direction[found], normals[hit[found]]) > 0.1)
    thickness = 2 * length[found] * cosine / (1 + np.maximum(cosine, 0))
    good = (
        (cosine >= np.cos(np.radians(FACING_DEG - _DIGITS_DEG)))
        & (thickness <= reach_mm)
        & (length[found] > 2 * off)
    )
    good &= samples.area[found] > 0
    found, thickness = found[good], thickness[good]
    way = direction[found]
    return Facing(
        side=side,
        confused=float(wrong / max(float(samples.area.sum()), 1e-300)),
        face=samples.face[found],
        hit=hit[found],
        thickness=thickness,
        middle=samples.point[found] + 0.5 * length[found, None] * way,
        normal=normals[samples.face[found]],
        length=length[found],
        area=samples.area[found],
        gap_mm=samples.gap_mm[found],
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _counts(vertices, faces, areas, spacing):  # type: ignore[no-untyped-def]
    """Samples of each face: by area, and a few more along a long thin one."""
    count = np.zeros(len(faces), dtype=np.int64)
    for f in range(len(faces)):
        if areas[f] <= 0.0:
            continue
        longest = 0.0
        for k in range(3):
            edge = vertices[faces[f, (k + 1) % 3]] - vertices[faces[f, k]]
            longest = max(longest, np.sqrt(edge[0] ** 2 + edge[1] ** 2 + edge[2] ** 2))
        by_area = int(np.ceil(areas[f] / spacing**2))
        along = min(int(longest / (3.0 * spacing)), 12)
        count[f] = max(1, by_area, along)
        if count[f] > 1:
            count[f] = 3 * ((count[f] + 2) // 3)
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def _spread(vertices, faces, areas, count, spacing):  # type: ignore[no-untyped-def]
    total = count.sum()
    face = np.empty(total, dtype=np.int32)
    point = np.empty((total, 3))
    gap = np.empty(total)
    i = 0
    for f in range(len(faces)):
        n = count[f]
        if n == 0:
            continue
        a, b, c = vertices[faces[f, 0]], vertices[faces[f, 1]], vertices[faces[f, 2]]
        longest = 0.0
        for k in range(3):
            edge = vertices[faces[f, (k + 1) % 3]] - vertices[faces[f, k]]
            longest = max(longest, np.sqrt(edge[0] ** 2 + edge[1] ** 2 + edge[2] ** 2))
        # A long thin face's samples lie in a row along it, somewhat unevenly.
        step = spacing
        if n == 1:
            step = max(spacing, longest)
        elif 2.0 * areas[f] / longest < 4.0 * spacing:
            step = max(spacing, 2.0 * longest / n)
        # Each face starts elsewhere in the sequence, or like faces in a row would line their samples up.
        shift = (0.6180339887498949 * f) % 1.0
        u, v = 1.0 / 3.0, 1.0 / 3.0
        for k in range(n):
            if n > 1 and k % 3 == 0:
                u = (0.5 + shift + 0.7548776662466927 * (k // 3 + 1)) % 1.0
                v = (0.5 + 3.0 * shift + 0.5698402909980532 * (k // 3 + 1)) % 1.0
                if u + v > 1.0:
                    u, v = 1.0 - u, 1.0 - v
            for d in range(3):
                point[i, d] = a[d] + u * (b[d] - a[d]) + v * (c[d] - a[d])
            u, v = v, 1.0 - u - v
            face[i] = f
            gap[i] = step
            i += 1
    return face, point, gap

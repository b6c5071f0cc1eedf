"""How rough a mesh is, and normals that are not: scanned and remeshed files shake, drawn ones do not.

On a drawn surface the edges round a corner bend one way, or not at all; on a shaken one they bend both
ways at once. What is left of the bends when those that cancel are taken away is curvature, what cancels is
noise.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.edges import edge_angles
from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Edges that bend more than this are corners of the part.
_SMOOTH_DEG = 25.0
# Fewer corners than this inside smooth surfaces tell nothing, and need no smoothing.
_ENOUGH = 30
# Below this, mm, noise turns no face of a size worth printing by more than a fraction of a degree.
_NOTHING_MM = 1e-3
# What cancels at a corner over how far corners shake: found by shaking planes of triangles of several
# sizes, to a sixth; the tests repeat it.
_CANCELLED_PER_OFFSET = 3.0
# The halves of a flat face bend by no more than this.
_NEARLY_FLAT_DEG = 3.0
# Rounds of smoothing: some, and more by so many for every degree that the noise tilts a face.
_ROUNDS, _MORE_ROUNDS, _MOST_ROUNDS = 4, 8, 30
# A face is a sliver when it is long and narrower than this many deviations of its corners; or when it is
# narrower than float32 tells, or a file with three digits after the point, and no face along it agrees.
_SLIVER_NOISE, _ELONGATED = 8.0, 0.2
_PRECISION, _SLIVER_MM, _AGREES_DEG = 1e-6, 0.01, 20.0


def noise_mm(part: Part) -> float:
    """Estimate by how much the corners of a mesh are off the surface they were taken from.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    float
        Standard deviation along the normal, mm; 0 for a drawn mesh.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> noise_mm(part_from_trimesh(trimesh.creation.icosphere(subdivisions=4, radius=20)))
    0.0
    """
    angles = edge_angles(part.vertices, part.faces, part.normals, part.neighbours)
    bend, turn = _bends(
        part.vertices, part.faces, part.neighbours, part.areas, angles, math.radians(_SMOOTH_DEG)
    )
    smooth = np.isfinite(bend)
    if np.count_nonzero(smooth) < _ENOUGH:
        return _coarse_noise(part, angles)
    cancelled = bend[smooth] - np.abs(turn[smooth])
    # Saddles bend both ways too, but a part is not made of saddles.
    shaken = cancelled > 0.3 * bend[smooth]
    if np.count_nonzero(shaken) < 0.5 * len(shaken):
        return 0.0
    noise = float(np.median(cancelled[shaken])) / _CANCELLED_PER_OFFSET
    return noise if noise > _NOTHING_MM else 0.0


def _coarse_noise(part: Part, angles: NDArray[np.float32]) -> float:
    """Noise of a mesh with hardly a corner inside its faces: how far the halves of flat faces bend."""
    face, side = np.nonzero(np.abs(angles) <= math.radians(_NEARLY_FLAT_DEG))
    other = part.neighbours[face, side]
    a, b = part.faces[face, side], part.faces[face, (side + 1) % 3]
    length = np.linalg.norm(part.vertices[a] - part.vertices[b], axis=1)
    one, two = part.areas[face], part.areas[other]
    sound = (length > 0) & (one + two > 0)
    if not sound.any():
        return 0.0
    off = 2.0 * (angles[face, side] * one * two)[sound] / ((one + two) * length)[sound]
    # On a drawn mesh most of them do not bend at all, and a curve bends one way.
    if np.mean(np.abs(off) > _NOTHING_MM) < 0.8 or min(np.mean(off > 0), np.mean(off < 0)) < 0.2:
        return 0.0
    return float(np.median(np.abs(off)))


def steady_normals(part: Part, noise: float) -> Floats:
    """Normals of a part, smoothed where its mesh is rough.

    Normals are averaged with those across their edges, weighed by area and by how well they agree with a
    width that follows from the noise (bilateral filtering: Y. Zheng, H. Fu, O. K.-C. Au, C.-L. Tai, Bilateral
    normal filtering for mesh denoising, IEEE Trans. Visualization and Computer Graphics 17, 2011, 1521–1530),
    so that edges of the part stay sharp.

    Parameters
    ----------
    part : Part
        The part.
    noise : float
        Its `noise_mm`.

    Returns
    -------
    (F, 3) float64
        Unit normals; the part's own where the noise is 0.
    """
    if not noise > 0:
        return part.normals
    normals = part.normals.copy()
    side = math.sqrt(4.0 / math.sqrt(3.0) * part.area_mm2 / max(len(part.faces), 1))
    rounds = _ROUNDS + _MORE_ROUNDS * math.degrees(noise / side)
    for _ in range(min(int(rounds), _MOST_ROUNDS)):
        normals = _averaged(normals, part.areas, part.neighbours, math.radians(_SMOOTH_DEG))
    return normals


def slivers_of(part: Part, noise: float) -> NDArray[np.bool_]:
    """Tell which faces are so narrow that their normals say nothing: no neighbour along them agrees.

    Parameters
    ----------
    part : Part
        The part.
    noise : float
        Its `noise_mm`.

    Returns
    -------
    (F,) bool
    """
    precision = _PRECISION * float(np.abs(part.vertices).max(initial=0.0))
    return _slivers(
        part.vertices,
        part.faces,
        part.neighbours,
        part.normals,
        part.areas,
        max(precision, _SLIVER_MM),
        _SLIVER_NOISE * noise,
        math.cos(math.radians(_AGREES_DEG)),
    )


@njit(cache=True, nogil=True, error_model="numpy")
def _slivers(  # type: ignore[no-untyped-def]
    vertices, faces, neighbours, normals, areas, narrow, rough, agrees
):
    out = np.zeros(faces.shape[0], dtype=np.bool_)
    for f in range(faces.shape[0]):
        square = np.zeros(3)
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            for i in range(3):
                square[k] += (vertices[a, i] - vertices[b, i]) ** 2
        longest = math.sqrt(square.max())
        width = 2.0 * areas[f] / longest if longest > 0.0 else 0.0
        # Of a pair that shares a shaken corner both look the same wrong way.
        if width <= min(rough, _ELONGATED * longest):
            out[f] = True
            continue
        if width > narrow:
            continue
        out[f] = True
        for k in range(3):
            g = neighbours[f, k]
            # The shortest edge is not the one along it.
            if g < 0 or square[k] < 0.1 * square.max() or areas[f] == 0.0:
                continue
            dot = 0.0
            for i in range(3):
                dot += normals[f, i] * normals[g, i]
            if dot > agrees:
                out[f] = False
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _bends(vertices, faces, neighbours, areas, angles, corner):  # type: ignore[no-untyped-def]
    """How far edges at each vertex bend, mm, with and without the sign; NaN beside sharp edges.

    An edge between triangles of heights h and g that bends by an angle θ is off their common plane by
    θ·h·g/(h + g), whatever their shape.
    """
    bend = np.zeros(vertices.shape[0])
    turn = np.zeros(vertices.shape[0])
    for f in range(faces.shape[0]):
        for k in range(3):
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            angle = angles[f, k]
            if not abs(angle) <= corner:
                bend[a] = np.nan
                bend[b] = np.nan
                continue
            length = math.sqrt(
                (vertices[a, 0] - vertices[b, 0]) ** 2
                + (vertices[a, 1] - vertices[b, 1]) ** 2
                + (vertices[a, 2] - vertices[b, 2]) ** 2
            )
            g = neighbours[f, k]
            both = areas[f] + areas[g]
            if not both > 0.0 or not length > 0.0:
                continue
            # Every edge is met from both its faces, and each gives half; h is twice the area over the length.
            off = angle * areas[f] * areas[g] / (both * length)
            bend[a] += abs(off)
            bend[b] += abs(off)
            turn[a] += off
            turn[b] += off
    return bend, turn


@njit(cache=True, nogil=True, error_model="numpy")
def _averaged(normals, areas, neighbours, width):  # type: ignore[no-untyped-def]
    out = np.empty_like(normals)
    narrow = 1.0 - math.cos(width)
    for f in range(normals.shape[0]):
        x, y, z = areas[f] * normals[f, 0], areas[f] * normals[f, 1], areas[f] * normals[f, 2]
        for k in range(3):
            g = neighbours[f, k]
            if g < 0:
                continue
            dot = (
                normals[f, 0] * normals[g, 0] + normals[f, 1] * normals[g, 1] + normals[f, 2] * normals[g, 2]
            )
            if dot < 1.0 - narrow:
                continue
            weight = areas[g] * (1.0 - (1.0 - dot) / narrow)
            x += weight * normals[g, 0]
            y += weight * normals[g, 1]
            z += weight * normals[g, 2]
        length = math.sqrt(x * x + y * y + z * z)
        if length > 0.0:
            out[f, 0], out[f, 1], out[f, 2] = x / length, y / length, z / length
        else:
            out[f] = normals[f]
    return out

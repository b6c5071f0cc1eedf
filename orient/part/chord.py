"""How far coarse facets lie from the smooth surface they stand for.

The estimate reads the curvature off the angle between two facets that meet at a smooth edge. Let
the facets turn by θ at the edge, and let the edge lie at distance d from the middle of a facet of
half-width ρ. The planes touch a common sphere or cylinder whose centre lies at

    p = d / tan(θ/2)

below the middle of the facet. Corners lie on the true surface, at radius √(p² + ρ²); the middle
of the facet lies at p. The chord error is

    e = √(p² + ρ²) − p.

For a strip of width w between two smooth edges d = ρ = w/2, which gives e = (w/2)·tan(θ/4): for
the sides of a regular n-gon of radius r exactly r(1 − cos(π/n)), the sagitta of circle geometry.
For a triangle that curves at all three edges the middle is the centroid, d a third of its height
and ρ two thirds, which gives exactly r − √(r² − R²) for an equilateral triangle of circumradius R
on a sphere of radius r. (Both derived here; the n-gon is elementary geometry.)

An edge counts as smooth below 40.5°, so a 45° chamfer or an octagon is taken at its word, and only
where the two facets are of like width (within a factor of two) and each curves on, the same way
and by a like angle, at another of its edges: a single bend between two plates is a bend. A facet is
a face and the flat faces around it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

COARSE_MM = 0.1
_FLAT = math.radians(0.1)
# A facet is gathered from at most so many flat faces: enough for a strip split twice over, and a wide
# plane is no facet of a curve.
_MOST_FLAT = 64
_SMOOTH = math.radians(40.5)


def chord_error_mm(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int32],
    normals: NDArray[np.float64],
    neighbours: NDArray[np.int32],
    angles: NDArray[np.float32],
) -> float:
    """Estimate the largest chord error of a mesh's facets.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int32
        Corners of each face.
    normals : (F, 3) float64
        Unit normals.
    neighbours : (F, 3) int32
        Face across each edge, −1 for none.
    angles : (F, 3) float32
        Signed angle at each edge, radians, from ``edges.edge_angles``.

    Returns
    -------
    float
        mm; 0 where nothing curves. The formula is in this module's docstring. On four-sided
        facets that curve both ways it is the larger of the two sagittas, up to half of the
        deviation at the middle of the facet.
    """
    return float(_largest(vertices, faces, normals, neighbours, angles))


@njit(cache=True, nogil=True, error_model="numpy")
def _across(vertices, a, b, n, p):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    # Distance of p from the line a→b, in the plane with normal n, positive on the face's side.
    ux = vertices[b, 0] - vertices[a, 0]
    uy = vertices[b, 1] - vertices[a, 1]
    uz = vertices[b, 2] - vertices[a, 2]
    length = math.sqrt(ux * ux + uy * uy + uz * uz)
    if length == 0.0:
        return 0.0
    mx = n[1] * uz - n[2] * uy
    my = n[2] * ux - n[0] * uz
    mz = n[0] * uy - n[1] * ux
    x = vertices[p, 0] - vertices[a, 0]
    y = vertices[p, 1] - vertices[a, 1]
    z = vertices[p, 2] - vertices[a, 2]
    return (mx * x + my * y + mz * z) / length


@njit(cache=True, nogil=True, error_model="numpy")
def _facet(vertices, faces, normals, neighbours, angles, f, k, flat):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    # The facet of f, seen from edge k: its width, whether it curves on at another edge, whether f is
    # a triangle that curves at all three, and f's own height. ``flat`` is room for the facet's faces.
    a, b = faces[f, k], faces[f, (k + 1) % 3]
    n = normals[f]
    theta = angles[f, k]
    height = _across(vertices, a, b, n, faces[f, (k + 2) % 3])
    curved = 0
    for c in range(3):
        angle = angles[f, c]
        if abs(angle) > _FLAT and abs(angle) < _SMOOTH and angle * theta > 0.0:
            curved += 1

    width = height
    flat[0] = f
    count = 1
    at = 0
    while at < count:
        for c in range(3):
            g = neighbours[flat[at], c]
            if count == len(flat) or not abs(angles[flat[at], c]) <= _FLAT:
                continue
            known = False
            for i in range(count):
                known = known or flat[i] == g
            if known:
                continue
            flat[count] = g
            count += 1
            for v in range(3):
                width = max(width, _across(vertices, a, b, n, faces[g, v]))
        at += 1

    goes_on = False
    for i in range(count):
        g = flat[i]
        for c in range(3):
            ratio = angles[g, c] / theta
            if not (ratio > 0.4 and ratio < 2.5):
                continue
            # Away from this edge: not the edge itself, nor its continuation along the same line.
            middle = 0.5 * (
                _across(vertices, a, b, n, faces[g, c]) + _across(vertices, a, b, n, faces[g, (c + 1) % 3])
            )
            goes_on = goes_on or middle > 0.25 * width
    return width, goes_on, curved == 3, height


@njit(cache=True, nogil=True, error_model="numpy")
def _largest(vertices, faces, normals, neighbours, angles):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    largest = 0.0
    flat = np.empty(_MOST_FLAT, dtype=np.int32)
    for f in range(faces.shape[0]):
        for k in range(3):
            # One type of integer throughout, so that the facet is compiled once.
            g = np.int64(neighbours[f, k])
            theta = abs(angles[f, k])
            if g < f or not (theta > _FLAT and theta < _SMOOTH):
                continue
            kg = np.int64(0)
            for c in range(3):
                if neighbours[g, c] == f and faces[g, c] == faces[f, (k + 1) % 3]:
                    kg = np.int64(c)
            w1, on1, round1, h1 = _facet(vertices, faces, normals, neighbours, angles, f, k, flat)
            w2, on2, round2, h2 = _facet(vertices, faces, normals, neighbours, angles, g, kg, flat)
            if not (on1 and on2) or w1 > 2.0 * w2 or w2 > 2.0 * w1:
                continue
            if round1 and round2:
                d = (h1 + h2) / 6.0
                p = d / math.tan(0.5 * theta)
                rho = 2.0 * d
                error = math.sqrt(p * p + rho * rho) - p
            else:
                error = 0.25 * (w1 + w2) * math.tan(0.25 * theta)
            largest = max(largest, error)
    return largest

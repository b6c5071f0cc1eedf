"""Plain numbers of triangles: normals, areas, signed volumes; compiled, without full-size temporaries."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.readonly import readonly


def face_geometry(
    vertices: NDArray[np.float64], faces: NDArray[np.int32]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give unit normals and areas, without full-size temporaries.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners in mm.
    faces : (F, 3) int32
        Corners of each face.

    Returns
    -------
    normals : (F, 3) float64
        Half the cross product of two edges, scaled to length 1; zero for a face without area.
    areas : (F,) float64
        Length of that half cross product, mm².
    """
    return _face_geometry(vertices, faces)


@njit(cache=True, nogil=True, error_model="numpy")
def _face_geometry(vertices, faces):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    n = faces.shape[0]
    normals = np.zeros((n, 3), dtype=np.float64)
    areas = np.zeros(n, dtype=np.float64)
    for f in range(n):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        x = uy * vz - uz * vy
        y = uz * vx - ux * vz
        z = ux * vy - uy * vx
        length = np.sqrt(x * x + y * y + z * z)
        areas[f] = 0.5 * length
        if length > 0.0:
            normals[f, 0] = x / length
            normals[f, 1] = y / length
            normals[f, 2] = z / length
    return normals, areas


def signed_volumes(
    vertices: NDArray[np.float64], faces: NDArray[np.int32], origin: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Give the signed volume of the tetrahedron from an origin to each face.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners in mm.
    faces : (F, 3) int32
        Corners of each face.
    origin : (3,) float64
        Any point; one near the faces keeps rounding small.

    Returns
    -------
    (F,) float64
        det(a, b, c)/6 with the corners taken from the origin, mm³. Over a closed surface that looks
        outward they sum to the volume inside (divergence theorem; B. Mirtich, Fast and accurate
        computation of polyhedral mass properties, J. Graphics Tools 1(2), 1996, from memory).
    """
    origin = np.array(origin, dtype=np.float64)
    return _signed_volumes(readonly(vertices), readonly(faces), origin)


@njit(cache=True, nogil=True, error_model="numpy")
def _signed_volumes(vertices, faces, origin):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    n = faces.shape[0]
    volumes = np.empty(n, dtype=np.float64)
    for f in range(n):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax = vertices[a, 0] - origin[0]
        ay = vertices[a, 1] - origin[1]
        az = vertices[a, 2] - origin[2]
        bx = vertices[b, 0] - origin[0]
        by = vertices[b, 1] - origin[1]
        bz = vertices[b, 2] - origin[2]
        cx = vertices[c, 0] - origin[0]
        cy = vertices[c, 1] - origin[1]
        cz = vertices[c, 2] - origin[2]
        det = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
        volumes[f] = det / 6.0
    return volumes

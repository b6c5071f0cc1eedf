"""Measures that follow in closed form from face areas and normals alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Faces whose normals agree to about 0.004° are one group; their mean normal stands for them.
NORMAL_STEP = 2.0**-14
# A face within this angle of level shows no stairs.
LEVEL_DEG = 1.0
# A face is called rough when its cusps are higher than those of a 45° face.
ROUGH_SHARE = math.sin(math.radians(45.0))


@dataclass(frozen=True, eq=False)
class NormalGroups:
    """Faces with equal normals added up: normals (G, 3) and areas (G,), mm²."""

    normals: Floats
    areas: Floats


@dataclass(frozen=True, eq=False)
class Surface:
    """What the surface looks like in every pose; each array is (P,).

    Attributes
    ----------
    stair_step_mm : float64
        Area-weighted mean cusp height, mm.
    rough_area_mm2 : float64
        Area whose cusps are higher than those of a 45° face, mm².
    contour_length_mm : float64
        Length of one outline on every layer, added up, mm.
    """

    stair_step_mm: Floats
    rough_area_mm2: Floats
    contour_length_mm: Floats


def group_normals(part: Part) -> NormalGroups:
    """Add up the areas of all faces that share a normal.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    NormalGroups
        Area-weighted mean normal and total area of each group.
    """
    key = np.round(part.normals / NORMAL_STEP).astype(np.int64)
    code = (key[:, 0] * 65536 + key[:, 1]) * 65536 + key[:, 2]
    _, group = np.unique(code, return_inverse=True)
    count = int(group.max()) + 1
    areas = np.asarray(np.bincount(group, weights=part.areas, minlength=count), dtype=np.float64)
    normals = np.empty((count, 3))
    for i in range(3):
        normals[:, i] = np.bincount(group, weights=part.areas * part.normals[:, i], minlength=count)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    return NormalGroups(normals=normals, areas=areas)


def surface_of(groups: NormalGroups, directions: Floats, layer_mm: float) -> Surface:
    """Stairs and contours of every pose.

    The cusp of a face is c = t·|n·b|, the largest distance from the surface to the edge of a stair
    along the normal (A. Dolenc, I. Mäkelä, Computer-Aided Design 26(2), 1994, 119–126). Level
    faces have no stairs.

    Each layer's outline crosses a face over the length A·√(1 − (n·b)²)/t in total, since the face
    covers A·√(1 − (n·b)²) of projected wall: contour = Σ A·√(1 − (n·b)²)/t.

    Parameters
    ----------
    groups : NormalGroups
        Areas by normal.
    directions : (P, 3) float64
        Build directions.
    layer_mm : float
        Layer height t, mm.

    Returns
    -------
    Surface

    Examples
    --------
    A 10 mm cube standing upright, layers of 0.2 mm: four walls, no stairs, 50 outlines of 40 mm.

    >>> import numpy as np
    >>> cube = NormalGroups(np.vstack([np.eye(3), -np.eye(3)]), np.full(6, 100.0))
    >>> upright = surface_of(cube, np.array([[0.0, 0.0, 1.0]]), layer_mm=0.2)
    >>> float(upright.stair_step_mm[0]), round(float(upright.contour_length_mm[0]), 6)
    (0.0, 2000.0)
    """
    directions = np.ascontiguousarray(directions, dtype=np.float64)
    out = np.empty((len(directions), 3))
    n = groups.normals
    _sum_surface(
        np.ascontiguousarray(n[:, 0]),
        np.ascontiguousarray(n[:, 1]),
        np.ascontiguousarray(n[:, 2]),
        groups.areas,
        directions,
        math.cos(math.radians(LEVEL_DEG)),
        ROUGH_SHARE,
        out,
    )
    total = max(float(groups.areas.sum()), 1e-300)
    return Surface(
        stair_step_mm=out[:, 0] * layer_mm / total,
        rough_area_mm2=out[:, 1],
        contour_length_mm=out[:, 2] / layer_mm,
    )


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _sum_surface(nx, ny, nz, areas, directions, level, rough, out):  # type: ignore[no-untyped-def]
    for p in range(directions.shape[0]):
        bx, by, bz = directions[p, 0], directions[p, 1], directions[p, 2]
        cusp = 0.0
        rough_area = 0.0
        wall = 0.0
        for g in range(areas.shape[0]):
            s = abs(nx[g] * bx + ny[g] * by + nz[g] * bz)
            a = areas[g]
            stairs = a if s < level else 0.0
            cusp += stairs * s
            # Slightly beyond 45°, so that an exact 45° face is not rough by rounding.
            rough_area += stairs if s > rough + 1e-6 else 0.0
            wall += a * math.sqrt(max(0.0, 1.0 - s * s))
        out[p, 0] = cusp
        out[p, 1] = rough_area
        out[p, 2] = wall

"""Faces cut into the cells they bound: where loads enter, where the part is held, where stress peaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.strength.cells import Cells, snapped
from orient.strength.clip import CORNERS, slab_clip, slabs_of
from orient.strength.hexahedron import CORNER

Floats = NDArray[np.float64]

# A piece of surface belongs to the cell that lies this far behind it, in cells; further if that is empty.
_BEHIND = (0.02, 0.1, 0.3, 0.6, 1.0)
# Six points inside a triangle and their weights, exact to degree four (G. Strang and G. Fix, An Analysis of
# the Finite Element Method, 1973).
_A, _B = 0.445948490915965, 0.091576213509771
_POINTS = np.array(
    [(1 - 2 * t, t, t) for t in (_A, _B)]
    + [(t, 1 - 2 * t, t) for t in (_A, _B)]
    + [(t, t, 1 - 2 * t) for t in (_A, _B)]
)
_WEIGHTS = np.tile([0.223381589678011, 0.109951743655322], 3)


@dataclass(frozen=True, eq=False)
class Patches:
    """Small triangles of surface, each within one cell.

    Attributes
    ----------
    corners : (T, 3, 3) float64
        Corners, in cells counted from the grid's origin.
    face : (T,) int64
        Face of the part that each is cut from.
    cell : (T,) int32
        The cell behind it.
    area_mm2 : (T,) float64
        Area.
    """

    corners: Floats
    face: NDArray[np.int64]
    cell: NDArray[np.int32]
    area_mm2: Floats


@dataclass(frozen=True, eq=False)
class Points:
    """Points on the surface that stand for a share of its area.

    Attributes
    ----------
    place : (Q, 3) float64
        In cells counted from the grid's origin.
    cell : (Q,) int32
        The cell behind each.
    face : (Q,) int64
        The face of the part.
    area_mm2 : (Q,) float64
        Area that each stands for.
    """

    place: Floats
    cell: NDArray[np.int32]
    face: NDArray[np.int64]
    area_mm2: Floats


def patches_of(part: Part, cells: Cells, faces: NDArray[np.int64] | None = None) -> Patches:
    """Cut faces along the walls of the cells.

    Parameters
    ----------
    part : Part
        The part.
    cells : Cells
        Its cells.
    faces : (k,) int64, optional
        Faces to cut; all by default.

    Returns
    -------
    Patches
        A patch whose cells are all empty is left out.
    """
    grid = cells.grid
    chosen = np.arange(len(part.faces)) if faces is None else np.asarray(faces)
    corners, source = _cut(snapped(part, grid, chosen), *grid.shape)
    face = chosen[source]
    normal = part.normals[face] @ grid.axes.T / grid.sides_mm
    normal /= np.maximum(np.abs(normal).max(axis=1, keepdims=True), 1e-300)
    table = cells.table()
    middle = corners.mean(axis=1)
    cell = np.full(len(corners), -1, dtype=np.int32)
    last = np.array(grid.shape) - 1
    for depth in _BEHIND:
        lost = np.flatnonzero(cell < 0)
        if not len(lost):
            break
        behind = np.clip(np.floor(middle[lost] - depth * normal[lost]).astype(np.int64), 0, last)
        cell[lost] = table[tuple(behind.T)]
    edges = (corners[:, 1:] - corners[:, :1]) * grid.sides_mm
    area = 0.5 * np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    kept = (cell >= 0) & (area > 0)
    return Patches(corners[kept], face[kept], cell[kept], area[kept])


def points_on(patches: Patches) -> Points:
    """Six points for each patch, for sums over the surface.

    Parameters
    ----------
    patches : Patches
        Pieces of surface.

    Returns
    -------
    Points
    """
    place = np.einsum("qc,tcx->tqx", _POINTS, patches.corners).reshape(-1, 3)
    area = (patches.area_mm2[:, None] * _WEIGHTS).ravel()
    return Points(place, np.repeat(patches.cell, 6), np.repeat(patches.face, 6), area)


def shape_functions(cells: Cells, points: Points) -> Floats:
    """Trilinear weights of a cell's eight corners at points, (Q, 8); a little beyond the cell they go on."""
    local = points.place - cells.index[points.cell]
    return np.where(CORNER[None] == 1, local[:, None, :], 1.0 - local[:, None, :]).prod(axis=-1)


@njit(cache=True, nogil=True, error_model="numpy")
def _cut(triangles, nx, ny, nz):  # type: ignore[no-untyped-def]
    room = 4 * triangles.shape[0] + 64
    corners = np.empty((room, 3, 3))
    source = np.empty(room, dtype=np.int64)
    n = 0
    cut1, cut2, cut3, spare = (
        np.empty((CORNERS, 3)), np.empty((CORNERS, 3)), np.empty((CORNERS, 3)), np.empty((CORNERS, 3)),
    )  # fmt: skip
    for f in range(triangles.shape[0]):
        i0, i1 = slabs_of(triangles[f], 3, 0, nx)
        for i in range(i0, i1 + 1):
            m1 = slab_clip(triangles[f], 3, 0, float(i), spare, cut1)
            if m1 == 0:
                continue
            j0, j1 = slabs_of(cut1, m1, 1, ny)
            for j in range(j0, j1 + 1):
                m2 = slab_clip(cut1, m1, 1, float(j), spare, cut2)
                if m2 == 0:
                    continue
                k0, k1 = slabs_of(cut2, m2, 2, nz)
                for k in range(k0, k1 + 1):
                    m3 = slab_clip(cut2, m2, 2, float(k), spare, cut3)
                    for c in range(1, m3 - 1):
                        if n == room:
                            room *= 2
                            more_corners = np.empty((room, 3, 3))
                            more_source = np.empty(room, dtype=np.int64)
                            more_corners[:n] = corners[:n]
                            more_source[:n] = source[:n]
                            corners = more_corners
                            source = more_source
                        for x in range(3):
                            corners[n, 0, x] = cut3[0, x]
                            corners[n, 1, x] = cut3[c, x]
                            corners[n, 2, x] = cut3[c + 1, x]
                        source[n] = f
                        n += 1
    return corners[:n].copy(), source[:n].copy()

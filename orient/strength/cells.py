"""The part as cells: which are full, and how the others are cut.

The moments ∫ ξⁱ ηʲ ζᵏ over the filled part of every cut cell (i, j, k from 0 to 2) are exact for the mesh. A
column of cells is filled by its surface from above: a piece of surface that looks up fills what lies below,
one that looks down empties it again, each by its area seen along the column. No ray is cast and nothing is
sorted, so touching walls and grazing edges need no care.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import roots_jacobi, roots_legendre

from orient.errors import OrientError
from orient.part.mesh import Part
from orient.strength.clip import CORNERS, slab_clip, slabs_of
from orient.strength.grid import Grid

Floats = NDArray[np.float64]

# A cell with less than this in it carries nothing worth an unknown.
LEAST_FILL = 0.01
# A corner this near a cell's wall, in cells, lies on it.
SNAP = 1e-6
# A fill that is off 0 to 1 by more than this comes from a mesh that is not closed.
_LEAK = 1e-3


@dataclass(frozen=True, eq=False)
class Cells:
    """The cells that hold material.

    Attributes
    ----------
    grid : Grid
        Where they lie.
    index : (N, 3) int32
        Place of each cell in the grid, column after column.
    fill : (N,) float64
        Filled share, 0 to 1.
    moments : (N, 27) float64
        ∫ ξⁱ ηʲ ζᵏ over the filled part, at 9 i + 3 j + k, in the cell's own coordinates from 0 to 1.
    stiffness : (N,) float64
        Stiffness against the solid's: 1, or less where the inside is only partly filled.
    hardship : (N,) float64
        Factor on the stress of a solid at the same strain before it is held against the solid's strength.
    density : (N,) float64
        Weight against the solid's.
    """

    grid: Grid
    index: NDArray[np.int32]
    fill: Floats
    moments: Floats
    stiffness: Floats
    hardship: Floats
    density: Floats

    @property
    def centres(self) -> Floats:
        """Centroid of what is filled, in cells counted from the grid's origin, (N, 3)."""
        return self.index + self.moments[:, [9, 3, 1]] / self.fill[:, None]

    @property
    def volumes_mm3(self) -> Floats:
        """Filled volume of each cell, mm³."""
        return self.fill * self.grid.cell_mm3

    def kept(self, keep: NDArray[np.bool_]) -> Cells:
        """Return some of the cells only."""
        if keep.all():
            return self
        return Cells(
            self.grid, self.index[keep], self.fill[keep], self.moments[keep], self.stiffness[keep],
            self.hardship[keep], self.density[keep],
        )  # fmt: skip

    def table(self) -> NDArray[np.int32]:
        """Number of the cell at every place of the grid, −1 where there is none."""
        table = np.full(self.grid.shape, -1, dtype=np.int32)
        table[tuple(self.index.T)] = np.arange(len(self.index), dtype=np.int32)
        return table


def cut_into_cells(part: Part, grid: Grid, least: float = LEAST_FILL) -> Cells:
    """Fill a grid with a part.

    Parameters
    ----------
    part : Part
        A closed part.
    grid : Grid
        The grid around it.
    least : float
        Share below which a cell is left out.

    Returns
    -------
    Cells
        Solid ones; their volumes add up to the part's, less the slivers that are left out.

    Raises
    ------
    OrientError
        When the mesh is not closed.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> from orient.strength.grid import grid_over
    >>> ball = part_from_trimesh(trimesh.creation.icosphere(subdivisions=3, radius=5))
    >>> cells = cut_into_cells(ball, grid_over(ball, 1.0))
    >>> round(float(cells.volumes_mm3.sum() / ball.volume_mm3), 3)
    1.0
    """
    check_closed(part)
    triangles = snapped(part, grid)
    nx, ny, nz = grid.shape
    first, face = _by_column(triangles, nx, ny)
    place, moments, worst = _fill(triangles, first, face, nx, ny, nz, *_rule(4), least)
    if worst > _LEAK:
        raise OrientError(
            f"The mesh of {part.name} overlaps itself or is inside out, so its inside cannot be filled: "
            "mend it before its strength is reckoned."
        )
    index = np.stack(np.unravel_index(place, grid.shape), axis=1).astype(np.int32)
    ones = np.ones(len(place))
    return Cells(grid, index, moments[:, 0].copy(), moments, ones, ones, ones)


def check_closed(part: Part) -> None:
    """Refuse a part that has no inside.

    Parameters
    ----------
    part : Part
        The part.

    Raises
    ------
    OrientError
        When its mesh is not closed.
    """
    if not part.closed:
        raise OrientError(
            f"The mesh of {part.name} is not closed, so its inside cannot be filled: mend it before its "
            "strength is reckoned."
        )


def snapped(part: Part, grid: Grid, faces: NDArray[np.int64] | None = None) -> Floats:
    """Corners of triangles in cells, (F, 3, 3); those within `SNAP` of a wall are put on it."""
    corners = grid.to_grid(part.vertices)
    whole = np.round(corners)
    corners = np.where(np.abs(corners - whole) < SNAP, whole, corners)
    np.clip(corners, 0.0, np.array(grid.shape, dtype=np.float64), out=corners)
    return np.ascontiguousarray(corners[part.faces if faces is None else part.faces[faces]])


def _rule(points: int) -> tuple[Floats, Floats, Floats]:
    """Gauss rule on a triangle, collapsed from a square: exact to degree 2 · points − 1 (Stroud, 1971)."""
    u, wu = roots_jacobi(points, 1, 0)
    v, wv = roots_legendre(points)
    a = (1 + u)[:, None] / 2 * np.ones(points)
    b = (1 - u)[:, None] / 2 * (1 + v)[None, :] / 2
    weight = wu[:, None] * wv[None, :]
    return a.ravel(), b.ravel(), (weight / weight.sum()).ravel()


@njit(cache=True, nogil=True, error_model="numpy")
def _by_column(triangles, nx, ny):  # type: ignore[no-untyped-def]
    """Faces whose box touches each column of cells, as lists one after the other."""
    first = np.zeros(nx * ny + 1, dtype=np.int64)
    for turn in range(2):
        if turn == 1:
            total = np.int64(0)
            for c in range(nx * ny + 1):
                total += first[c]
                first[c] = total
            face = np.empty(total, dtype=np.int32)
        for f in range(triangles.shape[0]):
            t = triangles[f]
            # Seen edge-on, a face fills nothing.
            if (t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) == (t[2, 0] - t[0, 0]) * (t[1, 1] - t[0, 1]):
                continue
            i0, i1 = slabs_of(t, 3, 0, nx)
            j0, j1 = slabs_of(t, 3, 1, ny)
            for i in range(i0, i1 + 1):
                for j in range(j0, j1 + 1):
                    if turn == 0:
                        first[i * ny + j] += 1
                    else:
                        first[i * ny + j] -= 1
                        face[first[i * ny + j]] = f
    return first, face


@njit(cache=True, nogil=True, error_model="numpy")
def _fill(triangles, first, face, nx, ny, nz, rule_a, rule_b, rule_w, least):  # type: ignore[no-untyped-def]
    """Walk the columns; returns place and moments of the cells that hold material, and the worst leak."""
    room = 1024
    place = np.empty(room, dtype=np.int64)
    moments = np.empty((room, 27))
    n = 0
    worst = 0.0
    own = np.zeros((nz, 27))
    below = np.zeros((nz + 1, 9))
    cut1, cut2, cut3, spare = (
        np.empty((CORNERS, 3)), np.empty((CORNERS, 3)), np.empty((CORNERS, 3)), np.empty((CORNERS, 3)),
    )  # fmt: skip
    x = np.empty(3)
    y = np.empty(3)
    z = np.empty(3)
    for column in range(nx * ny):
        if first[column] == first[column + 1]:
            continue
        i, j = column // ny, column % ny
        own[:] = 0.0
        below[:] = 0.0
        for at in range(first[column], first[column + 1]):
            m = slab_clip(triangles[face[at]], 3, 0, float(i), spare, cut1)
            if m == 0:
                continue
            m = slab_clip(cut1, m, 1, float(j), spare, cut2)
            if m == 0:
                continue
            k0, k1 = slabs_of(cut2, m, 2, nz)
            for k in range(k0, k1 + 1):
                p = slab_clip(cut2, m, 2, float(k), spare, cut3)
                for c in range(1, p - 1):
                    bx, by = cut3[c, 0] - cut3[0, 0], cut3[c, 1] - cut3[0, 1]
                    cx, cy = cut3[c + 1, 0] - cut3[0, 0], cut3[c + 1, 1] - cut3[0, 1]
                    area = 0.5 * (bx * cy - cx * by)
                    if area == 0.0:
                        continue
                    bz, cz = cut3[c, 2] - cut3[0, 2], cut3[c + 1, 2] - cut3[0, 2]
                    for q in range(rule_w.shape[0]):
                        px = cut3[0, 0] - i + rule_a[q] * bx + rule_b[q] * cx
                        py = cut3[0, 1] - j + rule_a[q] * by + rule_b[q] * cy
                        pz = cut3[0, 2] - k + rule_a[q] * bz + rule_b[q] * cz
                        w = area * rule_w[q]
                        x[0], x[1], x[2] = w, w * px, w * px * px
                        y[0], y[1], y[2] = 1.0, py, py * py
                        z[0], z[1], z[2] = pz, pz * pz / 2.0, pz * pz * pz / 3.0
                        for a in range(3):
                            for b in range(3):
                                xy = x[a] * y[b]
                                below[k, 3 * a + b] += xy
                                for d in range(3):
                                    own[k, 9 * a + 3 * b + d] += xy * z[d]
        # What looks up fills all below it: below[k] counts for the cells under k.
        for k in range(nz - 1, -1, -1):
            for ab in range(9):
                above = below[k + 1, ab]
                own[k, 3 * ab] += above
                own[k, 3 * ab + 1] += above / 2.0
                own[k, 3 * ab + 2] += above / 3.0
                below[k, ab] += above
        # As much surface looks up as down, or something is missing.
        worst = max(worst, abs(below[0, 0]))
        for k in range(nz):
            fill = own[k, 0]
            worst = max(worst, max(-fill, fill - 1.0))
            if fill < least:
                continue
            if n == room:
                room *= 2
                more_place = np.empty(room, dtype=np.int64)
                more_moments = np.empty((room, 27))
                more_place[:n] = place[:n]
                more_moments[:n] = moments[:n]
                place = more_place
                moments = more_moments
            place[n] = column * nz + k
            if fill > 1.0 - 1e-9:
                for a in range(3):
                    for b in range(3):
                        for d in range(3):
                            moments[n, 9 * a + 3 * b + d] = 1.0 / ((a + 1) * (b + 1) * (d + 1))
            else:
                for t in range(27):
                    moments[n, t] = own[k, t]
            n += 1
    return place[:n].copy(), moments[:n].copy(), worst

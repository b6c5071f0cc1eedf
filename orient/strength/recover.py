"""Stress from displacements: in the cells, and at the surface where it peaks.

The mean stress of a cell is the most exact figure a brick gives (J. Barlow, Int. J. Numerical Methods in
Engineering 10, 1976, 243–251), and it belongs to the centroid of what is filled: half a cell inside the part,
where a stress that peaks at the surface is lower. So the mean stresses around a point are fitted by a plane
in space, weighted with volume and nearness, and read at the point (the patch recovery of O. C. Zienkiewicz
and J. Z. Zhu, ibid. 33, 1992, 1331–1364, with a moving patch).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.strength.assemble import Nodes
from orient.strength.cells import Cells
from orient.strength.hexahedron import _tables
from orient.strength.surface import Patches

Floats = NDArray[np.float64]

# The slope of an averaged stress is taken from a ball this many times as large. Measured at a sharp inner
# corner: twice makes the average depend on the grid by 6 %, three times by 5 %.
SLOPE_BALL = 3.0
# Corners of patches nearer to each other than this, in cells, are one point.
_SAME = 1e-3
# Places that one thread reads at a time.
_SHARE = 4_096

# xx, yy, zz, yz, xz, xy: the order in which a stress is written.
ROW = np.array([0, 1, 2, 1, 0, 0])
COLUMN = np.array([0, 1, 2, 2, 2, 1])


@dataclass(frozen=True, eq=False)
class Skin:
    """The surface in small pieces, each within one cell, and the places at which its stress is read.

    Attributes
    ----------
    face : (T,) int32
        Face of the part that each piece is cut from; ascending.
    places : (T, 5) int32
        Numbers of its places: the centroid of the cell behind it, the middle of the cell's surface, and its
        own three corners.
    area_mm2 : (T,) float32
        Area of each.
    """

    face: NDArray[np.int32]
    places: NDArray[np.int32]
    area_mm2: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Places:
    """Points at which stress is read: the centroid of every cell, then points of the surface.

    Attributes
    ----------
    place : (Q, 3) float64
        In cells counted from the grid's origin.
    cell : (Q,) int32
        The cell of each.
    surface : int
        Number of the first point on the surface.
    skin : Skin
        Which of them each piece of the surface has.
    """

    place: Floats
    cell: NDArray[np.int32]
    surface: int
    skin: Skin


def mean_stress(cells: Cells, nodes: Nodes, displacement: Floats, constants: Floats) -> Floats:
    """Mean stress of each cell's filled part, as a solid would have at that strain.

    Parameters
    ----------
    cells, nodes : Cells, Nodes
        The cells and their corners.
    displacement : (C, M, 3) float64
        Along the grid's axes, mm.
    constants : (3, 3, 3, 3) float64
        Of the solid, MPa.

    Returns
    -------
    (C, N, 6) float64
        MPa, along the grid's axes, in the order xx, yy, zz, yz, xz, xy.
    """
    strain = np.empty((len(displacement), len(cells.fill), 6))
    _strain(nodes.of_cell, cells.moments, cells.fill, cells.grid.sides_mm, _tables()[1], displacement, strain)
    voigt = constants[ROW[:, None], COLUMN[:, None], ROW[None], COLUMN[None]]
    return strain @ voigt.T


def places_of(cells: Cells, patches: Patches, normals: Floats) -> Places:
    """Choose points to read stress at: each cell's centroid, and points of the surface.

    Parameters
    ----------
    cells : Cells
        The cells.
    patches : Patches
        All of the surface.
    normals : (F, 3) float64
        Normals of the part's faces, along the grid's axes.

    Returns
    -------
    Places
        On the surface, the middle of each cell's patches that face the same of the six ways of the axes: a
        cell at an edge has a point on both walls. And every corner of the patches, so that edges and sharp
        inner corners are met exactly, wherever the grid lies.
    """
    n = normals[patches.face]
    side = np.abs(n).argmax(axis=1)
    way = 2 * side + (n[np.arange(len(n)), side] > 0)
    key, group = np.unique(patches.cell.astype(np.int64) * 6 + way, return_inverse=True)
    area = np.bincount(group, patches.area_mm2)
    middle = patches.corners.mean(axis=1) * patches.area_mm2[:, None]
    place = np.column_stack([np.bincount(group, middle[:, k]) for k in range(3)]) / area[:, None]
    corners = patches.corners.reshape(-1, 3)
    _, first, which = np.unique(
        np.round(corners / _SAME).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    surface, edges = len(cells.fill), len(cells.fill) + len(key)
    numbers = np.column_stack([patches.cell, surface + group, edges + which.reshape(-1, 3)])
    return Places(
        np.vstack([cells.centres, place, corners[first]]),
        np.concatenate([np.arange(surface), key // 6, patches.cell[first // 3]]).astype(np.int32),
        surface,
        Skin(patches.face.astype(np.int32), numbers.astype(np.int32), patches.area_mm2.astype(np.float32)),
    )


def fitted(cells: Cells, stress: Floats, places: Floats, radius_mm: float, threads: int = 1) -> Floats:
    """Read a stress at points from a fit through the cells around them.

    Parameters
    ----------
    cells : Cells
        The cells.
    stress : (C, N, 6) float64
        Mean stress of each cell.
    places : (Q, 3) float64
        In cells counted from the grid's origin.
    radius_mm : float
        Cells whose centroid lies in a ball of this radius are fitted, weighted with volume times
        1 − (distance / radius)². In a ball that is filled evenly the fit is the weighted mean; at a surface
        it goes on to it.
    threads : int
        Places are shared among them; the answer does not depend on it.

    Returns
    -------
    (C, Q, 6) float64
        Where too few cells lie around a point, the mean of those that do.
    """
    return _read(_fit, cells, stress, places, radius_mm, threads)


def averaged(cells: Cells, stress: Floats, places: Floats, radius_mm: float, threads: int = 1) -> Floats:
    """Average a stress over a ball about each point.

    A plain average about a point of the surface would be that of the half ball behind it, and too low where
    a wall bends. So the average, which belongs to the centroid of what lies in the ball, is carried to the
    point with the slope of the stress in a ball three times as large. It is then exact for a stress that
    varies evenly, and it still settles at a sharp corner as cells get smaller.

    Parameters
    ----------
    cells, stress, places, threads
        As for `fitted`.
    radius_mm : float
        Radius of the ball; its edge is one cell wide, so that no cell is in or out by rounding.

    Returns
    -------
    (C, Q, 6) float64
    """
    return _read(_average, cells, stress, places, radius_mm, threads)


def _read(
    kernel: Callable[..., None], cells: Cells, stress: Floats, places: Floats, radius_mm: float, threads: int
) -> Floats:
    """Run a kernel over shares of the places."""
    table, centres, sides = cells.table(), cells.centres, cells.grid.sides_mm
    by_cell = np.ascontiguousarray(stress.transpose(1, 0, 2))
    out = np.empty((len(places), len(stress), 6))

    def run(start: int) -> None:
        some = slice(start, start + _SHARE)
        kernel(places[some], table, centres, cells.fill, sides, float(radius_mm), by_cell, out[some])

    starts = range(0, len(places), _SHARE)
    if threads > 1 and len(starts) > 1:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(run, starts))
    else:
        for start in starts:
            run(start)
    return out.transpose(1, 0, 2)


@njit(cache=True, nogil=True, error_model="numpy")
def _strain(of_cell, moments, fill, sides, gradients, u, strain):  # type: ignore[no-untyped-def]
    g = np.empty((8, 3))
    e = np.empty((3, 3))
    for n in range(of_cell.shape[0]):
        for a in range(8):
            for k in range(3):
                s = 0.0
                for t in range(27):
                    s += gradients[k, a, t] * moments[n, t]
                g[a, k] = s / (fill[n] * sides[k])
        for c in range(u.shape[0]):
            e[:] = 0.0
            for a in range(8):
                node = of_cell[n, a]
                for p in range(3):
                    for k in range(3):
                        e[p, k] += u[c, node, p] * g[a, k]
            strain[c, n, 0], strain[c, n, 1], strain[c, n, 2] = e[0, 0], e[1, 1], e[2, 2]
            # Engineering shear, so that the constants need no factor of two.
            strain[c, n, 3] = e[1, 2] + e[2, 1]
            strain[c, n, 4] = e[0, 2] + e[2, 0]
            strain[c, n, 5] = e[0, 1] + e[1, 0]


@njit(cache=True, nogil=True, error_model="numpy")
def _fit(places, table, centres, fill, sides, radius, stress, out):  # type: ignore[no-untyped-def]
    cases = stress.shape[1]
    nx, ny, nz = table.shape
    reach = np.empty(3, dtype=np.int64)
    most = 1
    for k in range(3):
        reach[k] = int(radius / sides[k]) + 1
        most *= 2 * reach[k] + 1
    near = np.empty(most, dtype=np.int64)
    weight = np.empty(most)
    away = np.empty((most, 4))
    normal = np.empty((4, 4))
    unit = np.empty(4)
    for q in range(places.shape[0]):
        n = 0
        i0, j0, k0 = int(places[q, 0]), int(places[q, 1]), int(places[q, 2])
        for i in range(max(i0 - reach[0], 0), min(i0 + reach[0] + 1, nx)):
            for j in range(max(j0 - reach[1], 0), min(j0 + reach[1] + 1, ny)):
                for k in range(max(k0 - reach[2], 0), min(k0 + reach[2] + 1, nz)):
                    cell = table[i, j, k]
                    if cell < 0:
                        continue
                    x = (centres[cell, 0] - places[q, 0]) * sides[0] / radius
                    y = (centres[cell, 1] - places[q, 1]) * sides[1] / radius
                    z = (centres[cell, 2] - places[q, 2]) * sides[2] / radius
                    far = x * x + y * y + z * z
                    if far >= 1.0:
                        continue
                    near[n] = cell
                    weight[n] = fill[cell] * (1.0 - far)
                    away[n, 0], away[n, 1], away[n, 2], away[n, 3] = 1.0, x, y, z
                    n += 1
        total = 0.0
        normal[:] = 0.0
        for m in range(n):
            total += weight[m]
            for a in range(4):
                for b in range(4):
                    normal[a, b] += weight[m] * away[m, a] * away[m, b]
        for c in range(cases):
            for s in range(6):
                out[q, c, s] = 0.0
        if n == 0:
            continue
        # A direction in which the cells have no spread gets no slope.
        for a in range(1, 4):
            normal[a, a] += 1e-3 * total * 0.1
        unit[:] = 0.0
        unit[0] = 1.0
        slope = np.linalg.solve(normal, unit)
        for m in range(n):
            w = 0.0
            for a in range(4):
                w += slope[a] * away[m, a]
            w *= weight[m]
            for c in range(cases):
                for s in range(6):
                    out[q, c, s] += w * stress[near[m], c, s]


@njit(cache=True, nogil=True, error_model="numpy")
def _average(places, table, centres, fill, sides, radius, stress, out):  # type: ignore[no-untyped-def]
    cases = stress.shape[1]
    nx, ny, nz = table.shape
    edge = max(sides[0], sides[1], sides[2])
    outer = SLOPE_BALL * radius
    reach = np.empty(3, dtype=np.int64)
    most = 1
    for k in range(3):
        reach[k] = int((outer + edge / 2.0) / sides[k]) + 1
        most *= 2 * reach[k] + 1
    near = np.empty(most, dtype=np.int64)
    inner_weight = np.empty(most)
    weight = np.empty(most)
    away = np.empty((most, 3))
    spread = np.empty((3, 3))
    middle = np.empty(3)
    inner = np.empty(3)
    for q in range(places.shape[0]):
        n = 0
        total = inner_total = 0.0
        middle[:] = 0.0
        inner[:] = 0.0
        i0, j0, k0 = int(places[q, 0]), int(places[q, 1]), int(places[q, 2])
        for i in range(max(i0 - reach[0], 0), min(i0 + reach[0] + 1, nx)):
            for j in range(max(j0 - reach[1], 0), min(j0 + reach[1] + 1, ny)):
                for k in range(max(k0 - reach[2], 0), min(k0 + reach[2] + 1, nz)):
                    cell = table[i, j, k]
                    if cell < 0:
                        continue
                    x = (centres[cell, 0] - places[q, 0]) * sides[0]
                    y = (centres[cell, 1] - places[q, 1]) * sides[1]
                    z = (centres[cell, 2] - places[q, 2]) * sides[2]
                    far = np.sqrt(x * x + y * y + z * z)
                    w = fill[cell] * min(max((outer - far) / edge + 0.5, 0.0), 1.0)
                    if w <= 0.0:
                        continue
                    v = fill[cell] * min(max((radius - far) / edge + 0.5, 0.0), 1.0)
                    near[n], weight[n], inner_weight[n] = cell, w, v
                    away[n, 0], away[n, 1], away[n, 2] = x, y, z
                    total += w
                    inner_total += v
                    for a in range(3):
                        middle[a] += w * away[n, a]
                        inner[a] += v * away[n, a]
                    n += 1
        for c in range(cases):
            for s in range(6):
                out[q, c, s] = 0.0
        if n == 0:
            continue
        # Next to nothing in the small ball: the large one's mean stands in.
        plain = inner_total < 1e-3
        middle /= total
        if not plain:
            inner /= inner_total
        spread[:] = 0.0
        for m in range(n):
            for a in range(3):
                for b in range(3):
                    spread[a, b] += weight[m] * (away[m, a] - middle[a]) * (away[m, b] - middle[b])
        for a in range(3):
            spread[a, a] += 1e-3 * total * radius * radius
        slope = np.linalg.solve(spread, inner)
        for m in range(n):
            if plain:
                w = weight[m] / total
            else:
                w = inner_weight[m] / inner_total
                for a in range(3):
                    w -= slope[a] * weight[m] * (away[m, a] - middle[a])
            for c in range(cases):
                for s in range(6):
                    out[q, c, s] += w * stress[near[m], c, s]

"""The stiffness of all cells together, as a sparse matrix of 3 × 3 blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import bsr_array

from orient.strength.cells import Cells
from orient.strength.hexahedron import CORNER, EVEN, FULL_MOMENTS, _stiffness, _tables

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Nodes:
    """Corners of cells, each counted once.

    Attributes
    ----------
    of_cell : (N, 8) int32
        Nodes of each cell, in the order of `hexahedron.CORNER`.
    index : (M, 3) int32
        Place of each node, in cells counted from the grid's origin.
    """

    of_cell: NDArray[np.int32]
    index: NDArray[np.int32]


def nodes_of(cells: Cells) -> Nodes:
    """Number the corners of cells, column after column.

    Parameters
    ----------
    cells : Cells
        The cells.

    Returns
    -------
    Nodes
    """
    shape = tuple(n + 1 for n in cells.grid.shape)
    corners = cells.index[:, None, :] + CORNER[None].astype(np.int32)
    flat = np.ravel_multi_index(tuple(np.moveaxis(corners, -1, 0)), shape)
    used = np.zeros(int(np.prod(shape)), dtype=bool)
    used[flat.ravel()] = True
    number = np.cumsum(used, dtype=np.int32) - np.int32(1)
    index = np.stack(np.unravel_index(np.flatnonzero(used), shape), axis=1)
    return Nodes(number[flat].astype(np.int32), index.astype(np.int32))


def assemble(cells: Cells, nodes: Nodes, constants: Floats, even: float = EVEN) -> bsr_array:
    """Add up the stiffness of all cells.

    Parameters
    ----------
    cells, nodes : Cells, Nodes
        The cells and their corners.
    constants : (3, 3, 3, 3) float64
        Elastic constants of the solid along the grid's axes, MPa.
    even : float
        As in `hexahedron.brick_stiffness`.

    Returns
    -------
    bsr_array
        (3 M, 3 M), N/mm, symmetric; nothing is held yet.
    """
    first, other, slot = _pattern(nodes.of_cell, len(nodes.index))
    data = np.zeros((len(other), 3, 3))
    products, gradients, shifted = _tables()
    _add_cells(
        nodes.of_cell, slot, first, cells.moments, cells.fill, cells.stiffness, cells.grid.sides_mm,
        np.ascontiguousarray(constants), products, gradients, shifted, even, FULL_MOMENTS, data,
    )  # fmt: skip
    size = 3 * len(nodes.index)
    return bsr_array((data, other, first), shape=(size, size))


@njit(cache=True, nogil=True, error_model="numpy")
def _pattern(of_cell, count):  # type: ignore[no-untyped-def]
    """Which nodes meet in a cell: rows and columns of the blocks, and where each of 27 neighbours stands."""
    slot = np.full((count, 27), -1, dtype=np.int32)
    # A neighbour's step along x, y, z tells its place among 27, and that order is the order of the nodes.
    for n in range(of_cell.shape[0]):
        for a in range(8):
            for b in range(8):
                step = (
                    9 * ((b >> 2) - (a >> 2) + 1) + 3 * (((b >> 1) & 1) - ((a >> 1) & 1) + 1)
                    + ((b & 1) - (a & 1) + 1)
                )  # fmt: skip
                slot[of_cell[n, a], step] = of_cell[n, b]
    first = np.zeros(count + 1, dtype=np.int32)
    total = 0
    for i in range(count):
        for t in range(27):
            if slot[i, t] >= 0:
                total += 1
        first[i + 1] = total
    other = np.empty(total, dtype=np.int32)
    for i in range(count):
        at = first[i]
        for t in range(27):
            if slot[i, t] >= 0:
                other[at] = slot[i, t]
                slot[i, t] = at - first[i]
                at += 1
    return first, other, slot


@njit(cache=True, nogil=True, error_model="numpy")
def _add_cells(  # type: ignore[no-untyped-def]
    of_cell, slot, first, moments, fill, factor, sides, c, products, gradients, shifted, even, full, data
):
    whole = np.zeros((24, 24))
    own = np.zeros((24, 24))
    d = np.empty((3, 3, 8, 8))
    g = np.empty((3, 3, 8))
    _stiffness(full, sides, c, products, gradients, shifted, 0.0, whole, d, g, whole)
    for n in range(of_cell.shape[0]):
        if fill[n] < 1.0:
            _stiffness(moments[n], sides, c, products, gradients, shifted, even, whole, d, g, own)
            k = own
        else:
            k = whole
        e = factor[n]
        for a in range(8):
            i = of_cell[n, a]
            for b in range(8):
                step = (
                    9 * ((b >> 2) - (a >> 2) + 1) + 3 * (((b >> 1) & 1) - ((a >> 1) & 1) + 1)
                    + ((b & 1) - (a & 1) + 1)
                )  # fmt: skip
                at = first[i] + slot[i, step]
                for p in range(3):
                    for q in range(3):
                        data[at, p, q] += e * k[3 * a + p, 3 * b + q]

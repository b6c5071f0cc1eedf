"""Where a part is held: stiff springs on faces, and which rigid motion they leave free."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import bsr_array, csr_array
from scipy.sparse.csgraph import connected_components

from orient.errors import OrientError
from orient.strength.assemble import Nodes
from orient.strength.cells import Cells
from orient.strength.surface import Points, shape_functions

Floats = NDArray[np.float64]

# A held face gives way as a layer of the part's own solid would that is this share of a cell thick.
GIVE = 0.01
# A rigid motion resisted less than this, against the best resisted, is free.
_FREE = 1e-8
# Cells that hang together with no others are left out when they are fewer than this share.
SPECK = 1e-3


@dataclass(frozen=True, eq=False)
class Held:
    """Faces that are held.

    Attributes
    ----------
    faces : (k,) int64
        Faces of the part.
    along : (d, 3) float64 or None
        Unit vectors, part coordinates, along which they cannot move; None for all directions.
    """

    faces: NDArray[np.int64]
    along: Floats | None = None


def spring_stiffness(held: Held, points: Points, cells: Cells, youngs_mpa: float) -> Floats:
    """Stiffness of the springs at points of held faces.

    Parameters
    ----------
    held : Held
        What is held.
    points : Points
        Points of its faces.
    cells : Cells
        The cells.
    youngs_mpa : float
        Young's modulus of the solid, MPa.

    Returns
    -------
    (Q, 3, 3) float64
        N/mm, along the grid's axes.
    """
    per_area = youngs_mpa / (GIVE * cells.grid.pitch_mm)
    if held.along is None:
        way = np.eye(3)
    else:
        rows = cells.grid.turned(np.atleast_2d(held.along))
        way = rows.T @ rows
    return per_area * points.area_mm2[:, None, None] * way


def with_springs(
    matrix: bsr_array,
    nodes: Nodes,
    cells: Cells,
    springs: Sequence[tuple[Points, Floats]],
    *,
    in_place: bool = False,
) -> bsr_array:
    """Add springs to a stiffness matrix.

    Parameters
    ----------
    matrix : bsr_array
        Stiffness of the cells.
    nodes, cells : Nodes, Cells
        What it was assembled from.
    springs : sequence of (Points, (Q, 3, 3) float64)
        Points, and the stiffness at each.
    in_place : bool
        Add to the matrix itself, which saves its size in memory.

    Returns
    -------
    bsr_array
    """
    data = matrix.data if in_place else matrix.data.copy()
    for points, stiffness in springs:
        weights = shape_functions(cells, points)
        _add(matrix.indptr, matrix.indices, nodes.of_cell[points.cell], weights, stiffness, data)
    return bsr_array((data, matrix.indices, matrix.indptr), shape=matrix.shape)


def without_specks(cells: Cells, nodes: Nodes) -> NDArray[np.bool_]:
    """Mark cells to keep: all but crumbs that hang together with nothing else.

    Where a wall thins out to nothing, a few cells can be cut off from the rest. They carry no load.

    Parameters
    ----------
    cells, nodes : Cells, Nodes
        The cells and their corners.

    Returns
    -------
    (N,) bool
    """
    label = pieces(nodes)[nodes.of_cell[:, 0]]
    volume = np.bincount(label, cells.fill)
    return (volume >= SPECK * volume.max())[label]


def pieces(nodes: Nodes) -> NDArray[np.int32]:
    """Number of the piece that each node belongs to; pieces share no corner, edge or wall."""
    count, cells = len(nodes.index), len(nodes.of_cell)
    rows = np.repeat(np.arange(cells), 8)
    graph = csr_array(
        (np.ones(len(rows), np.int8), (rows + count, nodes.of_cell.ravel())), shape=(count + cells,) * 2
    )
    return connected_components(graph, directed=False)[1][:count].astype(np.int32)


def check_held(nodes: Nodes, cells: Cells, springs: Sequence[tuple[Points, Floats]], case: str) -> None:
    """Refuse a part that can move as a whole.

    Parameters
    ----------
    nodes, cells : Nodes, Cells
        The cells and their corners.
    springs : sequence of (Points, (Q, 3, 3) float64)
        What holds it.
    case : str
        Name of the load case, for the sentence.

    Raises
    ------
    OrientError
        Naming the motion that is free.
    """
    grid = cells.grid
    label = pieces(nodes)
    for piece in range(int(label.max()) + 1):
        mine = label == piece
        places = nodes.index[mine] * grid.sides_mm
        middle, size = places.mean(axis=0), float(np.linalg.norm(np.ptp(places, axis=0)))
        resisted = np.zeros((6, 6))
        for points, stiffness in springs:
            here = label[nodes.of_cell[points.cell, 0]] == piece
            x = (points.place[here] * grid.sides_mm - middle) / size
            # Displacement of a point under each of three shifts and three turns about the middle.
            motion = np.concatenate(
                [np.broadcast_to(np.eye(3), (len(x), 3, 3)), np.cross(np.eye(3), x[:, None, :])], axis=1
            )
            resisted += np.einsum("qap,qpr,qbr->ab", motion, stiffness[here], motion)
        strength, motions = np.linalg.eigh(resisted)
        if strength[-1] <= 0.0 and int(label.max()) > 0:
            at = grid.to_part(nodes.index[mine].mean(axis=0))
            raise OrientError(
                f'In load case "{case}" one body of the part is loose, the one about {_point(at)}: hold it '
                "too, or judge one body alone."
            )
        if strength[0] <= _FREE * max(strength[-1], 1e-300):
            raise OrientError(
                f'In load case "{case}" the part can still {_named(motions[:, 0], grid.axes, middle, size)}: '
                "hold it on more faces."
            )


def _named(motion: Floats, axes: Floats, middle: Floats, size: float) -> str:
    """Put a rigid motion, along the grid's axes about the middle, into words in part coordinates."""
    shift, turn = motion[:3], motion[3:]
    if np.linalg.norm(turn) < 1e-3 * np.linalg.norm(shift):
        return f"slide along {_point(_signed(shift @ axes))}"
    axis = turn / np.linalg.norm(turn)
    # The point of the axis nearest the middle stands still but for a slide along it.
    point = middle + size * np.cross(axis, shift) / np.linalg.norm(turn)
    return f"turn about the axis through {_point((point + 0.0) @ axes)} along {_point(_signed(axis @ axes))}"


def _signed(vector: Floats) -> Floats:
    unit = vector / np.linalg.norm(vector)
    return unit * np.sign(unit[int(np.argmax(np.abs(np.round(unit, 6))))])


def _point(vector: Floats) -> str:
    return f"({', '.join(f'{round(float(x), 2) + 0.0:g}' for x in vector)})"


@njit(cache=True, nogil=True, error_model="numpy")
def _add(first, other, nodes, weights, stiffness, data):  # type: ignore[no-untyped-def]
    for q in range(nodes.shape[0]):
        for a in range(8):
            i = nodes[q, a]
            for b in range(8):
                low, high = first[i], first[i + 1] - 1
                while low < high:
                    half = (low + high) // 2
                    if other[half] < nodes[q, b]:
                        low = half + 1
                    else:
                        high = half
                w = weights[q, a] * weights[q, b]
                for p in range(3):
                    for r in range(3):
                        data[low, p, r] += w * stiffness[q, p, r]

"""The grid of cells laid over a part: its axes, its origin, its cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.part.mesh import Part
from orient.pose.frame import part_frame
from orient.pose.planes import main_directions

Floats = NDArray[np.float64]

# Main planes count as square to each other within this.
_SQUARE = float(np.sin(np.radians(1.0)))


@dataclass(frozen=True, eq=False)
class Grid:
    """A box of brick cells around a part.

    Attributes
    ----------
    axes : (3, 3) float64
        Rows: the directions along which cells are counted, right-handed, in part coordinates.
    origin : (3,) float64
        Corner of cell (0, 0, 0), along `axes`, mm.
    sides_mm : (3,) float64
        Sides of a cell.
    shape : tuple of 3 int
        Cells along each axis.
    """

    axes: Floats
    origin: Floats
    sides_mm: Floats
    shape: tuple[int, int, int]

    @property
    def pitch_mm(self) -> float:
        """The longest side of a cell, mm."""
        return float(self.sides_mm.max())

    @property
    def cell_mm3(self) -> float:
        """Volume of a cell, mm³."""
        return float(self.sides_mm.prod())

    def to_grid(self, points: ArrayLike) -> Floats:
        """Turn part coordinates, mm, into cells counted from the origin."""
        return (np.asarray(points, dtype=np.float64) @ self.axes.T - self.origin) / self.sides_mm

    def to_part(self, places: ArrayLike) -> Floats:
        """Turn cells counted from the origin into part coordinates, mm."""
        return (np.asarray(places, dtype=np.float64) * self.sides_mm + self.origin) @ self.axes

    def turned(self, vectors: ArrayLike) -> Floats:
        """Express vectors of part coordinates along the grid's axes."""
        return np.asarray(vectors, dtype=np.float64) @ self.axes.T


def grid_over(part: Part, pitch_mm: float, axes: Floats | None = None) -> Grid:
    """Lay a grid over a part.

    Parameters
    ----------
    part : Part
        The part.
    pitch_mm : float
        Longest side a cell may have. Along each axis the cells are made as short as it takes for a whole
        number of them to span the part, so that a box is filled by whole cells.
    axes : (3, 3) array, optional
        Directions of the grid; `grid_axes` by default.

    Returns
    -------
    Grid

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> grid = grid_over(part_from_trimesh(trimesh.creation.box((10, 10, 5.5))), 2.0, np.eye(3))
    >>> grid.shape, grid.sides_mm.round(3).tolist()
    ((5, 5, 3), [2.0, 2.0, 1.833])
    """
    rows = grid_axes(part) if axes is None else np.asarray(axes, dtype=np.float64)
    along = part.vertices @ rows.T
    low, high = along.min(axis=0), along.max(axis=0)
    span = high - low
    count = np.maximum(np.ceil(span / pitch_mm - 1e-6), 1).astype(int)
    return Grid(rows, low, span / count, (int(count[0]), int(count[1]), int(count[2])))


def grid_axes(part: Part) -> Floats:
    """Choose directions for a grid: along the part's main planes, so that flat walls lie along cells.

    The largest plane gives the third axis, the next that is square to it the first; where there is none, the
    part's own frame does. So the grid turns with the part.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    (3, 3) float64
        Rows, right-handed.
    """
    own = part_frame(part)
    named = main_directions(part, own)[::2]
    choices = np.vstack([named, own])
    up = choices[0]
    square = choices[np.abs(choices @ up) < _SQUARE]
    side = square[0] if len(square) else own[int(np.argmin(np.abs(own @ up)))]
    side = side - (side @ up) * up
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(up, side), up])

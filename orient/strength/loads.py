"""Loads turned into forces at the nodes: on faces, in the body, about an axis."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.strength.assemble import Nodes
from orient.strength.cells import Cells
from orient.strength.hexahedron import CORNER
from orient.strength.surface import Points, patches_of, points_on, shape_functions

Floats = NDArray[np.float64]

# A gram per cubic centimetre, accelerated by a metre per second squared, weighs this many N/mm³.
_N_MM3 = 1e-6


@dataclass(frozen=True, eq=False)
class Force:
    """A force in N, part coordinates, spread evenly over faces."""

    faces: NDArray[np.int64]
    newtons: Floats


@dataclass(frozen=True, eq=False)
class Pressure:
    """A pressure in MPa into faces; below zero it pulls."""

    faces: NDArray[np.int64]
    mpa: float


@dataclass(frozen=True, eq=False)
class Moment:
    """A couple in N·mm, part coordinates, spread over faces as if they were turned by it."""

    faces: NDArray[np.int64]
    newton_mm: Floats


@dataclass(frozen=True, eq=False)
class Loads:
    """What acts together.

    Attributes
    ----------
    forces, pressures, moments : tuple
        On faces.
    body_m_s2 : (3,) float64
        Acceleration by which every bit of the part is drawn, part coordinates: gravity, less the part's own
        acceleration.
    """

    forces: tuple[Force, ...] = ()
    pressures: tuple[Pressure, ...] = ()
    moments: tuple[Moment, ...] = ()
    body_m_s2: Floats = field(default_factory=lambda: np.zeros(3))

    @property
    def faces(self) -> NDArray[np.int64]:
        """Every face that is loaded, each once."""
        on = [one.faces for one in self.forces]
        on += [one.faces for one in self.pressures]
        on += [one.faces for one in self.moments]
        return np.unique(np.concatenate(on)) if on else np.zeros(0, dtype=np.int64)


def nodal_forces(part: Part, cells: Cells, nodes: Nodes, loads: Loads, density_g_cm3: float = 0.0) -> Floats:
    """Share loads out to the nodes so that they do the same work (any text on finite elements).

    Parameters
    ----------
    part : Part
        The part.
    cells, nodes : Cells, Nodes
        Its cells and their corners.
    loads : Loads
        What acts on it.
    density_g_cm3 : float
        Of the solid, for loads in the body.

    Returns
    -------
    (M, 3) float64
        N, along the grid's axes. They add up to the forces given.
    """
    total = np.zeros((len(nodes.index), 3))
    for force in loads.forces:
        points = points_on(patches_of(part, cells, force.faces))
        share = points.area_mm2 / points.area_mm2.sum()
        _spread(total, cells, nodes, points, share[:, None] * cells.grid.turned(force.newtons))
    for pressure in loads.pressures:
        points = points_on(patches_of(part, cells, pressure.faces))
        inward = -cells.grid.turned(part.normals[points.face])
        _spread(total, cells, nodes, points, pressure.mpa * points.area_mm2[:, None] * inward)
    for moment in loads.moments:
        points = points_on(patches_of(part, cells, moment.faces))
        _spread(total, cells, nodes, points, _couple(points, cells, cells.grid.turned(moment.newton_mm)))
    if np.any(loads.body_m_s2) and density_g_cm3 > 0.0:
        pull = density_g_cm3 * _N_MM3 * cells.grid.turned(loads.body_m_s2)
        weight = _corner_shares(cells) * (cells.grid.cell_mm3 * cells.density)[:, None]
        np.add.at(total, nodes.of_cell, weight[:, :, None] * pull)
    return total


def _couple(points: Points, cells: Cells, moment: Floats) -> Floats:
    """Forces of a pure couple: area × ω × (x − middle), with ω chosen so that they add up to the moment."""
    x = points.place * cells.grid.sides_mm
    x = x - points.area_mm2 @ x / points.area_mm2.sum()
    square = np.einsum("qi,qi->q", x, x)
    inertia = np.einsum("q,q,ij->ij", points.area_mm2, square, np.eye(3)) - np.einsum(
        "q,qi,qj->ij", points.area_mm2, x, x
    )
    omega = np.linalg.solve(inertia, moment)
    return points.area_mm2[:, None] * np.cross(omega, x)


def _corner_shares(cells: Cells) -> Floats:
    """∫ Na over the filled part of each cell, in cells, (N, 8)."""
    shares = np.empty((len(cells.fill), 8))
    for a, corner in enumerate(CORNER):
        factors = [((0, 0.0), (1, 1.0)) if bit else ((0, 1.0), (1, -1.0)) for bit in corner]
        shares[:, a] = sum(
            p * q * r * cells.moments[:, 9 * i + 3 * j + k]
            for i, p in factors[0]
            for j, q in factors[1]
            for k, r in factors[2]
        )
    return shares


def _spread(total: Floats, cells: Cells, nodes: Nodes, points: Points, forces: Floats) -> None:
    weights = shape_functions(cells, points)
    np.add.at(total, nodes.of_cell[points.cell], weights[:, :, None] * forces[:, None, :])

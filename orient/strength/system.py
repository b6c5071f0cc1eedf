"""From part and cases to displacements and stress on one grid."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.strength.assemble import Nodes, assemble, nodes_of
from orient.strength.cases import Case
from orient.strength.cells import Cells, cut_into_cells
from orient.strength.grid import Grid
from orient.strength.held import check_held, spring_stiffness, with_springs, without_specks
from orient.strength.infill import Inside, hollowed
from orient.strength.loads import nodal_forces
from orient.strength.recover import mean_stress
from orient.strength.solve import solve
from orient.strength.surface import Patches, Points, patches_of, points_on, shape_functions

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Solved:
    """One solve on one grid.

    Attributes
    ----------
    cells, nodes, patches : Cells, Nodes, Patches
        The cells, their corners, the surface cut by them.
    displacement : (C, M, 3) float64
        Of every node in every case, along the grid's axes, mm.
    stress : (C, N, 6) float64
        Mean stress of every cell, MPa, as in `recover.mean_stress`.
    iterations : int
        Of the case that took most.
    residual : float
        Largest of the cases.
    """

    cells: Cells
    nodes: Nodes
    patches: Patches
    displacement: Floats
    stress: Floats
    iterations: int
    residual: float

    def moved(self, points: Points) -> Floats:
        """Displacement at points in every case, (C, Q, 3), along the grid's axes, mm."""
        weights = shape_functions(self.cells, points)
        return np.einsum("qa,cqax->cqx", weights, self.displacement[:, self.nodes.of_cell[points.cell]])


def solve_on(
    part: Part,
    grid: Grid,
    cases: Sequence[Case],
    constants: Floats,
    youngs_mpa: float,
    *,
    inside: Inside | None = None,
    density_g_cm3: float = 0.0,
    threads: int = 2,
    progress: Callable[[float], None] | None = None,
) -> Solved:
    """Cut a part into cells, load it and solve; cases that are held alike share one set-up.

    Parameters
    ----------
    part : Part
        A closed part.
    grid : Grid
        The grid around it.
    cases : sequence of Case
        At least one.
    constants : (3, 3, 3, 3) float64
        Elastic constants of the solid along the grid's axes, MPa.
    youngs_mpa : float
        Stiffness that the springs of held faces are scaled by.
    inside : Inside, optional
        How the inside is filled; solid by default.
    density_g_cm3 : float
        Of the solid, for loads in the body.
    threads : int
        Threads to use.
    progress : callable, optional
        Called with the share of the work done.

    Returns
    -------
    Solved

    Raises
    ------
    OrientError
        For a mesh that cannot be filled, or a part that can move.
    """
    cells = cut_into_cells(part, grid)
    if part.bodies == 1:
        cells = cells.kept(without_specks(cells, nodes_of(cells)))
    patches = patches_of(part, cells)
    if inside is not None:
        cells = hollowed(cells, patches, grid.turned(part.normals), inside)
    nodes = nodes_of(cells)
    matrix = assemble(cells, nodes, constants)
    groups = _held_alike(cases)
    displacement = np.empty((len(cases), len(nodes.index), 3))
    iterations, residual = 0, 0.0
    for group in groups:
        springs = _springs(part, cells, cases[group[0]], youngs_mpa)
        check_held(nodes, cells, springs, cases[group[0]].name)
        loads = np.stack([nodal_forces(part, cells, nodes, cases[c].loads, density_g_cm3) for c in group])
        held = with_springs(matrix, nodes, cells, springs, in_place=group is groups[-1])
        found = solve(held, loads, nodes.index * grid.sides_mm, threads=threads, progress=progress)
        displacement[group] = found.displacement
        iterations, residual = max(iterations, found.iterations), max(residual, found.residual)
    stress = mean_stress(cells, nodes, displacement, constants)
    return Solved(cells, nodes, patches, displacement, stress, iterations, residual)


def _held_alike(cases: Sequence[Case]) -> list[list[int]]:
    """Numbers of the cases, those with the same fixings together."""
    alike: dict[bytes, list[int]] = {}
    for c, case in enumerate(cases):
        key = b"".join(
            one.faces.tobytes() + (b"" if one.along is None else np.asarray(one.along).tobytes())
            for one in case.held
        )
        alike.setdefault(key, []).append(c)
    return list(alike.values())


def _springs(part: Part, cells: Cells, case: Case, youngs_mpa: float) -> list[tuple[Points, Floats]]:
    springs = []
    for one in case.held:
        points = points_on(patches_of(part, cells, one.faces))
        springs.append((points, spring_stiffness(one, points, cells, youngs_mpa)))
    return springs

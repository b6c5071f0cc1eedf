"""The brick against scikit-fem, the patch test, and beams of a single cell."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from skfem import Basis, ElementHex1, ElementVector, MeshHex

from orient.strength.assemble import assemble, nodes_of
from orient.strength.cells import cut_into_cells
from orient.strength.grid import grid_over
from orient.strength.held import Held
from orient.strength.hexahedron import (
    CORNER,
    FULL_MOMENTS,
    brick_stiffness,
    isotropic,
    transversely_isotropic,
    turned_constants,
)
from orient.strength.loads import Loads, Pressure
from tests.strength.shapes import POISSONS, YOUNGS, bar, case, faces_at, plate_with_hole, solved

SIDES = np.array([1.0, 1.5, 0.8])


def _by_scikit_fem(constants):
    """The 33 × 33 stiffness by scikit-fem's element and quadrature, its nine modes eliminated."""
    mesh = MeshHex.init_tensor(*(np.array([0.0, side]) for side in SIDES))
    basis = Basis(mesh, ElementVector(ElementHex1()), intorder=4)
    weights = basis.dx[0]
    # Where each of scikit-fem's unknowns belongs: corner and component.
    order = {}
    for corner in range(8):
        bits = (mesh.p[:, corner] > 0.5 * SIDES).astype(int)
        row = int(np.flatnonzero((bits == CORNER).all(axis=1))[0])
        for component in range(3):
            order[basis.nodal_dofs[component, corner]] = 3 * row + component
    fields = [None] * 24
    for i in range(24):
        fields[order[basis.element_dofs[i, 0]]] = basis.basis[i][0].grad[:, :, 0, :]
    points = np.asarray(basis.global_coordinates())[:, 0, :]
    for axis in range(3):
        for component in range(3):
            mode = np.zeros((3, 3, len(weights)))
            # The parabola 1 − ξ² has the gradient −2 ξ.
            mode[component, axis] = points[axis] / SIDES[axis] - 0.5
            fields.append(mode)
    stack = np.stack(fields)
    full = np.einsum("aijq,ijkl,bklq,q->ab", stack, constants, stack, weights, optimize=True)
    return full[:24, :24] - full[:24, 24:] @ np.linalg.solve(full[24:, 24:], full[24:, :24])


@pytest.mark.parametrize("layered", [False, True])
def test_brick_agrees_with_scikit_fem(layered):
    constants = (
        transversely_isotropic(3000, 1500, 0.3, np.array([1.0, 2.0, 3.0]))
        if layered
        else isotropic(2000, 0.35)
    )
    ours = brick_stiffness(FULL_MOMENTS[None], SIDES, constants)[0]
    theirs = _by_scikit_fem(constants)
    assert ours == pytest.approx(theirs, abs=1e-5 * np.abs(theirs).max())


def test_brick_resists_every_motion_but_six():
    stiffness = brick_stiffness(FULL_MOMENTS[None], SIDES, isotropic(2000, 0.35))[0]
    values = np.linalg.eigvalsh(stiffness)
    assert np.abs(values[:6]).max() < 1e-9 * values[-1]
    assert values[6] > 1e-3 * values[-1]


def test_half_a_cell_is_as_stiff_as_half_the_solid():
    # Filled below ζ = 1/2: under a pull along x the energy is that of a bar of half the section.
    moments = np.array(
        [0.5 ** (c + 1) / ((a + 1) * (b + 1) * (c + 1)) for a in range(3) for b in range(3) for c in range(3)]
    )
    whole, half = (
        brick_stiffness(m[None], np.ones(3), isotropic(2000, 0.0), even=0.0)[0]
        for m in (FULL_MOMENTS, moments)
    )
    pull = np.zeros((8, 3))
    pull[:, 0] = CORNER[:, 0]
    assert pull.ravel() @ half @ pull.ravel() == pytest.approx(0.5 * (pull.ravel() @ whole @ pull.ravel()))


def test_layered_constants_become_isotropic_when_the_moduli_agree():
    layered = transversely_isotropic(2000, 2000, 0.35, np.array([0.3, -0.2, 1.0]))
    assert layered == pytest.approx(isotropic(2000, 0.35), abs=1e-6)
    turn = Rotation.random(random_state=1).as_matrix()
    assert turned_constants(isotropic(2000, 0.35), turn) == pytest.approx(isotropic(2000, 0.35), abs=1e-9)


def test_uniform_strain_does_no_work_inside_however_cells_are_cut():
    # The patch test (Irons; Taylor, Beresford and Wilson 1976): under a uniform stress the forces at nodes
    # inside the part add up to nothing, cut cells included, but for the share spread evenly.
    part = plate_with_hole(12, 5, 16, 4)
    cells = cut_into_cells(part, grid_over(part, 1.0, Rotation.random(random_state=2).as_matrix()))
    nodes = nodes_of(cells)
    strain = np.array([[1.0, 0.3, -0.2], [0.3, -0.5, 0.4], [-0.2, 0.4, 0.7]])
    moved = (nodes.index * cells.grid.sides_mm) @ strain
    matrix = assemble(cells, nodes, isotropic(YOUNGS, POISSONS), even=0.0)
    force = (matrix @ moved.ravel()).reshape(-1, 3)
    table = cells.table()
    padded = np.pad(table, 1, constant_values=-1)
    full = np.zeros(len(nodes.index), dtype=int)
    for corner in CORNER:
        at = nodes.index + 1 - corner
        found = padded[tuple(at.T)]
        full += (found >= 0) & (np.append(cells.fill, 0.0)[found] >= 1.0)
    inside = full == 8
    assert inside.sum() > 50
    off = np.abs(force[inside]).max() / np.abs(force).max()
    print(f"patch test, {inside.sum()} nodes among cut cells: forces off by {off:.1e} of the greatest")
    assert np.abs(force[inside]).max() < 1e-9 * np.abs(force).max()


def test_patch_of_whole_cells_holds_a_uniform_stress_exactly():
    block = bar(6, 4, 4)
    pressures = (Pressure(faces_at(block, 0, 6.0), -3.0), Pressure(faces_at(block, 1, 2.0), 2.0))
    rollers = [
        Held(faces_at(block, axis, value), np.eye(3)[[axis]])
        for axis, value in ((0, 0.0), (1, -2.0), (2, -2.0))
    ]
    found = solved(block, [case(rollers, Loads(pressures=pressures))], 1.0)
    expected = np.array([3.0, -2.0, 0.0, 0.0, 0.0, 0.0])
    off = np.abs(found.stress[0] - expected).max()
    print(f"patch test, whole cells: stress off by {off:.1e} of 3 MPa")
    assert found.stress[0] == pytest.approx(np.tile(expected, (len(found.cells.fill), 1)), abs=2e-5)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_patch_of_cut_cells_holds_a_uniform_stress_nearly(seed):
    block = bar(12, 8, 8)
    rollers = [
        Held(faces_at(block, axis, value), np.eye(3)[[axis]])
        for axis, value in ((0, 0.0), (1, -4.0), (2, -4.0))
    ]
    loads = Loads(pressures=(Pressure(faces_at(block, 0, 12.0), -3.0),))
    found = solved(block, [case(rollers, loads)], 1.0, Rotation.random(random_state=seed).as_matrix())
    axes = found.cells.grid.axes
    tensor = found.stress[0][:, [[0, 5, 4], [5, 1, 3], [4, 3, 2]]]
    along = np.einsum("i,qij,j->q", axes[:, 0], tensor, axes[:, 0])
    whole = found.cells.fill == 1.0
    off = np.abs(along[whole] / 3.0 - 1.0)
    print(f"uniform pull in a turned grid: whole cells off by {100 * off.max():.2f} % at most")
    assert off.max() < 0.02
    assert np.average(along, weights=found.cells.fill) == pytest.approx(3.0, rel=1e-3)

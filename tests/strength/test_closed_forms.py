"""The solve against closed forms of elasticity. Each check prints its error."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from scipy.spatial.transform import Rotation

from orient.process import Process
from orient.strength.field import solve_field
from orient.strength.held import Held
from orient.strength.loads import Force, Loads, Moment, Pressure
from tests.strength.shapes import (
    POISSONS,
    STRAIGHT,
    YOUNGS,
    bar,
    case,
    faces_at,
    faces_at_radius,
    mean_movement,
    plate_with_hole,
    solid,
    solved,
    surface_stress,
    tell,
)

PROCESS = Process(
    strength_in_layer_mpa=50.0,
    strength_across_mpa=30.0,
    strength_shear_mpa=20.0,
    youngs_in_layer_mpa=YOUNGS,
    poissons_ratio=POISSONS,
)


def _rollers(part, places):
    return [Held(faces_at(part, axis, value), np.eye(3)[[axis]]) for axis, value in places]


@pytest.mark.parametrize("turn", [0, 1])
def test_pulled_bar_is_exact(turn):
    axes = Rotation.random(random_state=5).as_matrix() if turn else STRAIGHT
    part = bar(30, 6, 6)
    pull = Loads(forces=(Force(faces_at(part, 0, 30.0), np.array([72.0, 0, 0])),))
    found = solved(part, [case(_rollers(part, ((0, 0.0), (1, -3.0), (2, -3.0))), pull)], 1.5, axes)
    moved = mean_movement(part, found, faces_at(part, 0, 30.0))
    places, stress = surface_stress(part, found)
    middle = np.abs(places[:, 0] - 15) < 8
    worst = np.abs(stress[middle] - np.diag([2.0, 0, 0])).max()
    print(f"pulled bar, grid {'turned' if turn else 'straight'}: stress off by {worst:.1e} of 2 MPa")
    error = tell("pulled bar, stretch in mm", moved[0], 2.0 / YOUNGS * 30)
    assert (worst, error) < ((0.08, 0.01) if turn else (1e-5, 1e-3))


def _cantilever(length=60.0):
    part = bar(length)
    down = Loads(forces=(Force(faces_at(part, 0, length), np.array([0, 0, -10.0])),))
    return part, case([faces_at(part, 0, 0.0)], down)


@pytest.mark.slow
def test_cantilever_sags_as_timoshenko_says_at_the_programs_own_pitch():
    # Timoshenko beam with Cowper's shear coefficient (J. Appl. Mech. 33, 1966): 0.4415 mm. The root is
    # clamped in all directions, which a beam's is not: Poisson's contraction is held back there.
    part, load = _cantilever()
    field = solve_field(part, PROCESS, [load])
    inertia, shear = 10.0**4 / 12, YOUNGS / (2 * (1 + POISSONS))
    coefficient = 10 * (1 + POISSONS) / (12 + 11 * POISSONS)
    expected = 10 * 60.0**3 / (3 * YOUNGS * inertia) + 10 * 60.0 / (coefficient * 100 * shear)
    assert expected == pytest.approx(0.4415, abs=3e-4)
    print(f"{field.cells} cells of {field.pitch_mm:.2f} mm")
    assert tell("cantilever, sag in mm", field.cases[0].max_deflection_mm, expected) < 0.02
    # Bending stress one depth from the clamp: M c / I with M = P (L − 10).
    at = (np.abs(field.places_mm[:, 0] - 10) < field.pitch_mm) & (field.places_mm[:, 2] > 5 - 1e-6)
    lever = 60 - field.places_mm[at, 0]
    sigma = np.einsum("qi,i->q", field.cases[0].raw[at][:, :3], np.abs(field.axes[:, 0]) > 0.5)
    slope = np.mean(sigma / lever)
    assert (
        tell("cantilever, stress one depth from the clamp in MPa", 50 * slope, 10 * 50 * 5 / inertia) < 0.05
    )


def test_three_cells_across_bend_as_a_beam():
    part, load = _cantilever()
    found = solved(part, [load], 3.34)
    fine = solved(part, [load], 1.0)
    sag, fine_sag = (mean_movement(part, one, faces_at(part, 0, 60.0))[2] for one in (found, fine))
    assert found.cells.grid.shape == (18, 3, 3)
    assert tell("three cells across against ten, sag in mm", sag, fine_sag) < 0.02


def _kt(radius_cells, ratio=0.5):
    """Stress concentration of a central hole, on the gross stress; strip three widths long."""
    diameter = 10.0
    width, pitch = diameter / ratio, diameter / 2 / radius_cells
    part = plate_with_hole(width, diameter, 3 * width, 3 * pitch)
    end = 1.5 * width
    pull = Loads(forces=(Force(faces_at(part, 0, end), np.array([width * 3 * pitch, 0, 0])),))
    found = solved(part, [case([faces_at(part, 0, -end)], pull)], pitch)
    places, stress = surface_stress(part, found)
    near = np.hypot(places[:, 0], places[:, 1]) < diameter
    return float(stress[near, 0, 0].max())


# Computed by complex-series collocation and by quadratic finite elements, agreeing within 0.05 %.
KT_HALF = 4.347


def test_plate_with_a_hole_at_ten_cells_a_radius():
    assert tell("plate with hole, d/W 0.5, ten cells a radius", _kt(10), KT_HALF) < 0.10


@pytest.mark.slow
def test_plate_with_a_hole_gets_better_with_smaller_cells():
    errors = [tell(f"plate with hole, {n} cells a radius", _kt(n), KT_HALF) for n in (5, 10, 20)]
    assert errors[2] < 0.05
    assert errors[0] > errors[1] > errors[2]


def test_shoulder_fillet():
    # Flat bar 20 to 10 wide, fillet 5: 1.577 (W. D. Pilkey, Peterson's Stress Concentration Factors, 1997).
    wide, narrow, radius, thick = 20.0, 10.0, 5.0, 1.5
    profile = CrossSection.square((35, wide), False).translate((-35, -wide / 2))
    profile += CrossSection.square((35, narrow), False).translate((0, -narrow / 2))
    for side in (1, -1):
        corner = CrossSection.square((radius, radius), False).translate((0, narrow / 2))
        corner -= CrossSection.circle(radius, 256).translate((radius, narrow / 2 + radius))
        profile += corner if side > 0 else corner.mirror((0, 1))
    part = solid(profile.extrude(thick))
    pull = Loads(forces=(Force(faces_at(part, 0, 35.0), np.array([narrow * thick, 0, 0])),))
    found = solved(part, [case([faces_at(part, 0, -35.0)], pull)], 0.5)
    places, stress = surface_stress(part, found)
    greatest = np.linalg.eigvalsh(stress[np.abs(places[:, 0] - 2.5) < 6]).max()
    assert tell("shoulder fillet, ten cells a radius", greatest, 1.577) < 0.10


def test_round_shaft_in_torsion():
    # φ = T L / (G J), τ = 16 T / (π d³): any text on the strength of materials.
    diameter, length, torque = 10.0, 50.0, 1000.0
    part = solid(Manifold.cylinder(length, diameter / 2, diameter / 2, 96))
    twist = Loads(moments=(Moment(faces_at(part, 2, length), np.array([0, 0, torque])),))
    found = solved(part, [case([faces_at(part, 2, 0.0)], twist)], 0.8)
    polar, shear = np.pi * diameter**4 / 32, YOUNGS / (2 * (1 + POISSONS))
    places, stress = surface_stress(part, found)
    middle = np.abs(places[:, 2] - 25) < 10
    around = (
        np.stack([-places[:, 1], places[:, 0]], axis=1)
        / np.maximum(np.hypot(places[:, 0], places[:, 1]), 1e-9)[:, None]
    )
    tau = np.einsum("qi,qi->q", stress[:, :2, 2], around)
    rim = middle & (np.hypot(places[:, 0], places[:, 1]) > 4.9)
    assert tell("shaft, shear at the rim in MPa", tau[rim].mean(), 16 * torque / (np.pi * diameter**3)) < 0.05
    cells = found.cells
    at = cells.grid.to_part(cells.centres)
    two = []
    for height in (15.0, 35.0):
        near = np.abs(at[:, 2] - height) < 0.5
        moved = found.displacement[0][found.nodes.of_cell[near]].mean(axis=1) @ cells.grid.axes
        r = at[near]
        angle = (r[:, 0] * moved[:, 1] - r[:, 1] * moved[:, 0]).sum() / (r[:, :2] ** 2).sum()
        two.append((r[:, 2].mean(), angle))
    rate = (two[1][1] - two[0][1]) / (two[1][0] - two[0][0])
    assert (
        tell("shaft, twist over its length in rad", rate * length, torque * length / (shear * polar)) < 0.03
    )


def test_thick_walled_tube_under_inner_pressure():
    # Lamé: any text on elasticity. A quarter of the ring, held by its planes of symmetry; free ends.
    inner, outer, pressure, thick = 5.0, 10.0, 10.0, 1.5
    ring = CrossSection.circle(outer, 256) - CrossSection.circle(inner, 256)
    quarter = ring ^ CrossSection.square((20, 20), False)
    part = solid(quarter.extrude(thick))
    loads = Loads(pressures=(Pressure(faces_at_radius(part, inner), pressure),))
    held = _rollers(part, ((0, 0.0), (1, 0.0), (2, 0.0)))
    found = solved(part, [case(held, loads)], 0.5)
    places, stress = surface_stress(part, found)
    r = np.hypot(places[:, 0], places[:, 1])
    tangent = np.stack([-places[:, 1] / r, places[:, 0] / r], axis=1)
    hoop = np.einsum("qi,qij,qj->q", tangent, stress[:, :2, :2], tangent)
    a, b = pressure * inner**2 / (outer**2 - inner**2), pressure * inner**2 * outer**2 / (outer**2 - inner**2)
    at = np.abs(r - inner) < 0.02
    assert tell("tube, hoop stress at the bore in MPa", hoop[at].mean(), a + b / inner**2) < 0.03
    middle = np.abs(r - 7.5) < 0.3
    assert (
        tell("tube, hoop stress at r 7.5 in MPa", np.mean(hoop[middle] - a) / np.mean(b / r[middle] ** 2), 1)
        < 0.02
    )
    for radius in (inner, outer):
        faces = faces_at_radius(part, radius)
        moved = mean_movement(part, found, faces)
        # The mean of a radial movement over a quarter circle is 2/π of it along x and along y.
        u = np.linalg.norm(moved[:2]) / np.sqrt(2) * np.pi / 2
        expected = ((1 - POISSONS) * a * radius + (1 + POISSONS) * b / radius) / YOUNGS
        assert tell(f"tube, movement at r {radius:g} in mm", u, expected) < 0.02


def test_weight_hangs_from_its_clamp():
    # A bar that hangs under its own weight: σ = ρ g L at the top; ρ g = 1.07e-6 · 9.80665 N/mm³.
    part = bar(60, 6, 6)
    loads = Loads(body_m_s2=np.array([9.80665, 0, 0]))
    found = solved(
        part, [case(_rollers(part, ((0, 0.0), (1, -3.0), (2, -3.0))), loads)], 1.5, density_g_cm3=1.07
    )
    places, stress = surface_stress(part, found)
    top = np.abs(places[:, 0] - 10) < 0.9
    expected = 1.07e-6 * 9.80665 * (60 - places[top, 0])
    assert (
        tell("hanging bar, stress 10 mm below its clamp", np.mean(stress[top, 0, 0] / expected), 1.0) < 0.01
    )


def test_answers_add_up_and_scale_exactly():
    part = bar(30, 6, 6)
    end = faces_at(part, 0, 30.0)
    one = Loads(forces=(Force(end, np.array([0, 0, -10.0])),))
    two = Loads(forces=(Force(end, np.array([40.0, 0, 0])),))
    both = Loads(forces=one.forces + two.forces)
    threefold = Loads(forces=(Force(end, np.array([0, 0, -30.0])),))
    clamp = [faces_at(part, 0, 0.0)]
    found = solved(part, [case(clamp, loads) for loads in (one, two, both, threefold)], 1.5)
    size = np.abs(found.stress[2]).max()
    sums = np.abs(found.stress[0] + found.stress[1] - found.stress[2]).max() / size
    scaled = np.abs(3 * found.stress[0] - found.stress[3]).max() / size
    print(f"two loads added: off by {100 * sums:.1e} %; a load threefold: off by {100 * scaled:.1e} %")
    # To the solver's own tolerance.
    assert found.stress[0] + found.stress[1] == pytest.approx(found.stress[2], abs=1e-5 * size)
    assert 3 * found.stress[0] == pytest.approx(found.stress[3], abs=1e-5 * size)

"""The one failure law against published criteria, worked examples and its own closed form."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.measure.load import (
    failure_index,
    load_angle_deg,
    strength_retained,
    tsai_hill_retained,
    von_mises,
)

X, Z, S = 50.0, 30.0, 20.0
UP = np.array([0.0, 0.0, 1.0])

# Angles between the pull and the layer normal.
FROM_NORMAL = [0, 15, 30, 45, 60, 75, 90]

# Quadratic traction criterion (Brewer & Lagace 1988; Camanho & Davila, NASA/TM-2002-211737), Zt = 30, S = 20:
# strength under uniaxial tension at each angle, 1/s² = cos⁴a/Zt² + sin²a cos²a/S², worked out independently.
TRACTION_STRENGTH = [30.000, 29.834, 30.237, 33.282, 43.105, 78.753, np.inf]

# Hill (Proc. R. Soc. A 193, 1948) for X = 50, Z = 30, S = 20, unique axis along the layer normal.
HILL_STRENGTH = [30.000, 30.775, 33.142, 37.139, 42.453, 47.673, 50.000]


def pull(angle_from_normal):
    a = math.radians(angle_from_normal)
    return np.array([math.sin(a), 0.0, math.cos(a)])


unit_vectors = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: math.hypot(*v) > 0.1)
strengths = st.floats(5.0, 100.0)


@pytest.mark.parametrize(("angle", "strength"), list(zip(FROM_NORMAL, TRACTION_STRENGTH, strict=True)))
def test_tension_matches_the_published_traction_criterion(angle, strength):
    axis = pull(angle)
    safety = 1 / failure_index(np.outer(axis, axis), UP, X, Z, S)
    assert safety == pytest.approx(min(strength, X), abs=5e-4)


@pytest.mark.parametrize(("angle", "strength"), list(zip(FROM_NORMAL, HILL_STRENGTH, strict=True)))
def test_tsai_hill_matches_hills_table(angle, strength):
    assert X * tsai_hill_retained(UP, pull(angle), X, Z, S)[0] == pytest.approx(strength, abs=5e-4)


def test_a_slightly_tilted_layer_is_weaker_than_a_square_one():
    # The minimum for Zt = 30, S = 20 is 29.814 at 18.43° from the normal, where cos²a = ½/(1 − S²/Zt²).
    angles = np.linspace(0, 90, 9001)
    retained = strength_retained(np.array([pull(a) for a in angles]), UP, "tension", X, Z, S)
    assert X * retained.min() == pytest.approx(29.814, abs=5e-4)
    assert angles[retained.argmin()] == pytest.approx(18.43, abs=0.02)


def test_compression_keeps_only_the_shear():
    # Same table, compression: 45° leaves shear alone, s = S/(sin a cos a) = 40.
    assert X * strength_retained(UP, pull(45), "compression", X, Z, S)[0] == pytest.approx(40.0)
    assert strength_retained(UP, UP, "compression", X, Z, S)[0] == 1.0


def test_kaws_lamina_under_shear_and_compression():
    # Kaw, Mechanics of Composite Materials, 2nd ed., ch. 2 (answers from memory, reproduced independently):
    # graphite/epoxy at 60°, stress (2, −3, 4)·P. Local stresses per P are 1.71410, −2.71410, −4.16506, and
    # maximum stress gives 16.326 MPa by shear over S = 68. Across the fibres it is pressed, so our law keeps
    # the shear alone and must give the same number.
    to_local = Rotation.from_euler("z", -60, degrees=True).as_matrix()
    local = to_local @ np.array([[2.0, 4.0, 0.0], [4.0, -3.0, 0.0], [0.0, 0.0, 0.0]]) @ to_local.T
    assert [local[0, 0], local[1, 1], local[0, 1]] == pytest.approx([1.71410, -2.71410, -4.16506], abs=5e-6)
    safety = 1 / failure_index(local, [0.0, 1.0, 0.0], X=1500.0, Z=40.0, S=68.0)
    assert safety == pytest.approx(16.326, abs=5e-4)


def test_von_mises_of_known_states():
    # Gere & Timoshenko: uniaxial σ gives σ, pure shear τ gives √3 τ, hydrostatic pressure gives nothing.
    assert von_mises(np.diag([7.0, 0, 0])) == pytest.approx(7.0)
    assert von_mises([0, 0, 0, 0, 5.0, 0]) == pytest.approx(5 * math.sqrt(3))
    assert von_mises(np.diag([-4.0, -4.0, -4.0])) == pytest.approx(0.0)


def test_six_numbers_are_read_in_voigts_order():
    tensor = np.array([[1.0, 6.0, 5.0], [6.0, 2.0, 4.0], [5.0, 4.0, 3.0]])
    six = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    normal = np.array([0.36, 0.48, 0.8])
    assert failure_index(six, normal, X, Z, S) == failure_index(tensor, normal, X, Z, S)


def test_law_agrees_with_a_plain_loop():
    rng = np.random.default_rng(20)
    stresses = rng.normal(scale=20.0, size=(50, 3, 3))
    stresses += stresses.transpose(0, 2, 1)
    normals = rng.normal(size=(7, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    together = failure_index(stresses[None], normals[:, None], X, Z, S)
    for i, n in enumerate(normals):
        for j, s in enumerate(stresses):
            opening = n @ s @ n
            shear = np.linalg.norm(s @ n - opening * n)
            principal = np.linalg.eigvalsh(s)
            mises = math.sqrt(sum((principal[k] - principal[k - 1]) ** 2 for k in range(3)) / 2)
            by_hand = max(math.sqrt((max(opening, 0) / Z) ** 2 + (shear / S) ** 2), mises / X)
            assert together[i, j] == pytest.approx(by_hand, rel=1e-12)


@given(unit_vectors, unit_vectors, strengths, strengths, strengths)
def test_retained_agrees_with_its_closed_form(direction, axis, x, z, s):
    angle = math.radians(load_angle_deg(direction, axis)[0, 0])
    across = x * math.sin(angle) ** 2 / z
    shear = x * math.sin(angle) * math.cos(angle) / s
    tension = min(1.0, 1 / max(math.hypot(across, shear), 1e-300))
    compression = min(1.0, 1 / max(shear, 1e-300))
    for kind, closed in (("tension", tension), ("bending", tension), ("compression", compression)):
        assert strength_retained(direction, axis, kind, x, z, s)[0] == pytest.approx(closed, rel=1e-9)


@given(unit_vectors, st.floats(0.01, 100.0))
def test_index_grows_with_the_load(axis, factor):
    stress = np.outer(axis, axis)
    once = failure_index(stress, UP, X, Z, S)
    assert failure_index(factor * stress, UP, X, Z, S) == pytest.approx(factor * once, rel=1e-12)


@given(unit_vectors, unit_vectors, st.integers(0, 2**32 - 1))
def test_turning_part_and_load_together_changes_nothing(direction, axis, seed):
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    before = strength_retained(direction, axis, "tension", X, Z, S)[0]
    after = strength_retained(turn @ direction, turn @ axis, "tension", X, Z, S)[0]
    assert after == pytest.approx(before, rel=1e-9)


def test_the_worst_axis_governs():
    directions = np.array([UP, [1.0, 0, 0], pull(30)])
    axes = np.array([UP, [1.0, 0.0, 0.0]])
    apart = [strength_retained(directions, axis, "tension", X, Z, S) for axis in axes]
    assert strength_retained(directions, axes, "tension", X, Z, S) == pytest.approx(np.minimum(*apart))
    assert apart[0][0] == pytest.approx(Z / X)


def test_no_axis_or_no_strength_gives_no_figure():
    assert np.isnan(strength_retained([UP, UP], np.empty((0, 3)), "tension", X, Z, S)).all()
    assert np.isnan(strength_retained([UP], UP, "tension", X, None, None)).all()
    assert np.isnan(tsai_hill_retained([UP], np.empty((0, 3)), X, Z, S)).all()
    assert load_angle_deg([UP, UP], np.empty((0, 3))).shape == (2, 0)


def test_load_angle_is_measured_from_the_layers():
    angles = load_angle_deg(UP, [pull(90), pull(60), pull(0), -pull(0), 3 * pull(30)])
    assert angles[0] == pytest.approx([0, 30, 90, 90, 60])


def test_load_angle_keeps_its_digits_near_a_right_angle():
    assert 90 - load_angle_deg(UP, pull(1e-6))[0, 0] == pytest.approx(1e-6, rel=1e-6)


def test_hill_without_a_bound_is_capped():
    # With S above Z and Z below X/2 Hill's ellipsoid is open along some axes (X = 50, Z = 20, S = 200).
    retained = tsai_hill_retained(UP, [pull(a) for a in FROM_NORMAL], 50.0, 20.0, 200.0)
    assert 0 < retained[0] <= 1
    assert tsai_hill_retained(UP, pull(60), 50.0, 20.0, 200.0)[0] == 1.0

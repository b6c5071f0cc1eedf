"""Corner lift against the published check values, and what it may be used for."""

import numpy as np
import pytest

from orient.cost.curl import brim_mm, corner_lift_mm, curl_index_mm, shrinkage_scale
from orient.materials.properties import properties_of


@pytest.mark.parametrize(
    ("layers", "lift"), [(2, 9.987), (5, 2.5897), (10, 0.72895), (20, 0.19237), (40, 0.04936)]
)
def test_wang_xi_jin_check_values(layers, lift):
    # 9e-5/K, 30 K, layers of 0.25 mm, 100 mm (worked numerically from the formula).
    assert corner_lift_mm(100, layers, 0.25, 9e-5, 100, 70) == pytest.approx(lift, rel=2e-4)


def test_small_lift_goes_with_the_square_of_the_length():
    # δ ≈ 3·α·ΔT·L²·(n − 1) / (4·n³·Δh): the small-lift form of Timoshenko's strip.
    found = corner_lift_mm([20, 40], 40, 0.25, 9e-5, 100, 70)
    assert found[1] / found[0] == pytest.approx(4.0, rel=1e-3)
    assert found[0] == pytest.approx(3 * 9e-5 * 30 * 20**2 * 39 / (4 * 40**3 * 0.25), rel=1e-3)


def test_it_is_a_bimetal_strip_of_timoshenko():
    # Curvature of two layers of equal modulus, thickness h and (n − 1)h: 6·ε·(1 + m)² / (t·(3(1 + m)² +
    # (1 + m)(m² + 1/m))), t the whole thickness, m the ratio (J. Opt. Soc. Am. 11, 1925).
    n, h, strain = 10, 0.25, 9e-5 * 30
    m, t = 1.0 / (n - 1), n * h
    curvature = 6 * strain * (1 + m) ** 2 / (t * (3 * (1 + m) ** 2 + (1 + m) * (m**2 + 1 / m)))
    lift = (1 - np.cos(50 * curvature)) / curvature
    assert corner_lift_mm(100, n, h, 9e-5, 100, 70) == pytest.approx(lift, rel=1e-9)


def test_surroundings_as_warm_as_the_glass_transition_lift_nothing():
    assert corner_lift_mm(100, 10, 0.25, 9e-5, 100, 100) == 0.0
    assert corner_lift_mm(100, 10, 0.25, 9e-5, 100, 130) == 0.0


def test_long_footprints_and_abs_curl_more_than_short_ones_and_pla():
    abs_, pla = properties_of("ABS"), properties_of("PLA")
    short, long = curl_index_mm([40, 160], abs_, 0.2, 0.0)
    assert long > 10 * short
    assert curl_index_mm(100, abs_, 0.2, 0.0) > 2 * curl_index_mm(100, pla, 0.2, 0.0)


def test_a_warm_chamber_helps():
    abs_ = properties_of("ABS")
    assert curl_index_mm(100, abs_, 0.2, 80.0, enclosed=True) < 0.5 * curl_index_mm(100, abs_, 0.2, 0.0)


def test_no_data_no_index():
    assert np.isnan(curl_index_mm(100, properties_of("PC-FR"), 0.2, 0.0))
    assert brim_mm(float("nan"), 10.0, 50.0) == (0.0, "")


def test_a_brim_is_advised_for_long_footprints_and_slender_parts():
    assert brim_mm(2.0, 10, 50)[0] == 10.0
    assert brim_mm(0.5, 10, 50)[0] == 5.0
    assert brim_mm(0.0, 100, 10)[0] == 5.0
    assert brim_mm(0.0, 10, 10) == (0.0, "")


def test_shrinkage_is_made_up_for_by_its_inverse():
    # A part scaled by 1 / (1 − 0.006) shrinks back to its size.
    scale = shrinkage_scale(properties_of("ABS"))
    assert np.array(scale) * (1 - 0.006) == pytest.approx(1.0)

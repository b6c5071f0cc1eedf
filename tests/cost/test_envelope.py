"""Fit on the bed over all turns, against turning in small steps."""

import math

import numpy as np
import pytest
import trimesh

from orient.cost.envelope import fit_in, side_by_side

UP = [[0.0, 0.0, 1.0]]


def box(x, y, z):
    return np.array([[i, j, k] for i in (0, x) for j in (0, y) for k in (0, z)], dtype=float)


def turned_in_steps(points, direction, x, y, steps=7200):
    """Least overstep over a half turn in small steps: the brute-force answer."""
    to_up = trimesh.geometry.align_vectors(direction, [0, 0, 1])[:3, :3]
    flat = (points @ to_up.T)[:, :2]
    best = math.inf
    for angle in np.linspace(0, math.pi, steps, endpoint=False):
        c, s = math.cos(angle), math.sin(angle)
        best = min(best, max(np.ptp(flat @ (c, s)) - x, np.ptp(flat @ (-s, c)) - y))
    return best


@pytest.mark.parametrize(
    ("length", "width", "fits"),
    [
        (100, 100, True),
        (101, 20, True),  # no longer along the bed, but askew
        (101, 50, False),  # 101·cos φ + 50·sin φ and its mirror never pass 100 together
        (120, 10, True),  # corner to corner
        (131, 10, True),  # its rectangle's diagonal extent is (131 + 10)/√2 = 99.7
        (132, 10, False),  # (132 + 10)/√2 = 100.4
        (142, 0.1, False),  # longer than the diagonal of 141.42
    ],
)
def test_a_long_bar_fits_a_square_bed_corner_to_corner(length, width, fits):
    # At 45° a bar of a × b spans (a + b)/√2 both ways.
    found = fit_in(UP, box(length, width, 5), (100, 100, 50), margin_mm=0)
    assert bool(found.fits[0]) == fits


def test_a_tall_pose_does_not_fit_and_says_by_how_much():
    found = fit_in([[0, 0, 1.0], [1.0, 0, 0]], box(30, 30, 80), (100, 100, 70), margin_mm=0)
    assert found.fits.tolist() == [False, True]
    assert found.missing_mm[0] == pytest.approx(10.0)


def test_the_margin_is_taken_off_every_side():
    assert fit_in(UP, box(90, 90, 5), (100, 100, 50), margin_mm=5).fits[0]
    assert not fit_in(UP, box(90.1, 90.1, 5), (100, 100, 50), margin_mm=5).fits[0]


@pytest.mark.parametrize("seed", range(12))
def test_fit_is_what_turning_in_small_steps_finds(seed):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(30, 3)) * (60, 25, 10)
    direction = rng.normal(size=3)
    direction /= np.linalg.norm(direction)
    x, y = 150.0 * rng.uniform(0.5, 1.5), 110.0 * rng.uniform(0.5, 1.5)
    over = turned_in_steps(points, direction, x, y)
    found = fit_in([direction], points, (x, y, 1e4), margin_mm=0)
    assert bool(found.fits[0]) == (over <= 0)
    if over > 0:
        assert found.missing_mm[0] == pytest.approx(over, abs=0.15)


def test_a_disc_fits_where_its_diameter_does():
    angles = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    disc = np.column_stack([50 * np.cos(angles), 50 * np.sin(angles), np.zeros(90)])
    assert fit_in(UP, disc, (100.0, 100.0, 10), margin_mm=0).fits[0]
    assert not fit_in(UP, disc, (99.0, 120.0, 10), margin_mm=0).fits[0]


def test_rows_and_columns_are_counted_with_gap_and_brim():
    # 100 × 50 of free bed, cubes of 20 with 5 between: 4 × 2.
    assert side_by_side(UP[0], box(20, 20, 20), (110, 60, 50), margin_mm=5, gap_mm=5) == 8
    # 5 mm of brim makes them 30: 3 × 1.
    assert side_by_side(UP[0], box(20, 20, 20), (110, 60, 50), margin_mm=5, gap_mm=5, brim_mm=5) == 3


def test_one_that_fits_askew_only_still_counts_as_one():
    assert side_by_side(UP[0], box(120, 10, 5), (100, 100, 50), margin_mm=0) == 1
    assert side_by_side(UP[0], box(150, 10, 5), (100, 100, 50), margin_mm=0) == 0
    assert side_by_side(UP[0], box(20, 10, 60), (100, 100, 50), margin_mm=0) == 0


def test_a_turned_part_is_counted_as_a_straight_one():
    turn = trimesh.transformations.rotation_matrix(0.4, [0, 0, 1])[:3, :3]
    assert side_by_side(UP[0], box(30, 12, 5) @ turn.T, (100, 100, 50)) == side_by_side(
        UP[0], box(30, 12, 5), (100, 100, 50)
    )

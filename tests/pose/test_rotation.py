import tracemalloc

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.part.outline import extents
from orient.pose.rotation import footprint_sides, rotation_to_bed, rotations_to_bed
from tests.pose.shapes import bracket


def laid(direction, points):
    transform = rotation_to_bed(direction, points)
    return np.asarray(points) @ transform[:3, :3].T + transform[:3, 3]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000))
def test_laid_part_stands_on_zero_along_x_and_centred(seed):
    direction = Rotation.random(random_state=seed).apply([0, 0, 1.0])
    points = bracket().hull.points
    transform = rotation_to_bed(direction, points)
    turn = transform[:3, :3]
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1)
    assert turn @ direction == pytest.approx([0, 0, 1])
    low, high = laid(direction, points).min(axis=0), laid(direction, points).max(axis=0)
    assert low[2] == pytest.approx(0, abs=1e-9)
    assert (low + high)[:2] == pytest.approx([0, 0], abs=1e-9)
    assert high[0] - low[0] >= (high[1] - low[1]) * (1 - 1e-6)


@pytest.mark.parametrize("count", [60, 5000])
@pytest.mark.parametrize("seed", range(5))
def test_footprint_rectangle_is_as_small_as_trimeshs(seed, count):
    points = np.random.default_rng(seed).normal(size=(count, 3)) * [3, 6, 9]
    direction = Rotation.random(random_state=seed).apply([0, 0, 1.0])
    found = np.ptp(laid(direction, points)[:, :2], axis=0)
    _, theirs = trimesh.bounds.oriented_bounds_2D(laid(direction, points)[:, :2])
    assert np.sort(found) == pytest.approx(np.sort(theirs), rel=1e-9)


def test_a_part_along_the_axes_stays_as_it_is():
    points = trimesh.creation.box((30, 20, 10)).vertices
    assert rotation_to_bed([0, 0, 1], points)[:3, :3] == pytest.approx(np.eye(3), abs=0)


def test_a_part_is_not_turned_askew_for_a_hundredth_of_its_footprint():
    # A plate with one side cut at 1.4°: along that side the rectangle is smaller by less than a hundredth.
    plate = np.array([[0, 0], [60, 0], [60, 39.0], [0, 40.4]])
    points = np.vstack([np.column_stack([plate, np.full(4, z)]) for z in (0.0, 8.0)])
    assert rotation_to_bed([0, 0, 1], points)[:3, :3] == pytest.approx(np.eye(3), abs=0)
    # In a file turned about z it lies askew, and the least rectangle is taken.
    turned = Rotation.from_euler("z", 30, degrees=True).apply(points)
    sides = np.ptp(laid([0, 0, 1], turned), axis=0)[:2]
    longer, shorter = footprint_sides([0, 0, 1], turned)
    assert sides == pytest.approx([longer[0], shorter[0]])


def test_a_part_that_lies_askew_in_its_file_is_turned_along_the_bed():
    turned = Rotation.from_euler("z", 5, degrees=True).apply(trimesh.creation.box((60, 20, 8)).vertices)
    assert np.ptp(laid([0, 0, 1], turned), axis=0) == pytest.approx([60, 20, 8])


def test_a_square_part_stays_as_it_is():
    points = trimesh.creation.box((20, 20, 10)).vertices
    assert rotation_to_bed([0, 0, 1], points)[:3, :3] == pytest.approx(np.eye(3), abs=0)


def test_a_part_on_its_side_has_its_length_along_x():
    points = trimesh.creation.box((30, 20, 10)).vertices
    for direction in ([1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, -1]):
        extents = np.ptp(laid(direction, points), axis=0)
        assert extents[0] >= extents[1]
        assert sorted(extents) == pytest.approx([10, 20, 30])


def test_a_sheet_on_its_edge_lies_along_x():
    sheet = np.array([[0, 0, 0], [40, 0, 0], [40, 0, 25], [0, 0, 25.0]])
    assert np.ptp(laid([0, 0, 1], sheet), axis=0) == pytest.approx([40, 0, 25])
    turned = Rotation.from_euler("z", 37, degrees=True).apply(sheet)
    assert np.ptp(laid([0, 0, 1], turned), axis=0) == pytest.approx([40, 0, 25], abs=1e-9)


@pytest.mark.parametrize("direction", [[0, 0, 0], [np.nan, 0, 1]])
def test_no_direction_is_refused(direction):
    with pytest.raises(OrientError, match="build direction"):
        rotation_to_bed(direction, np.eye(3))


def test_many_directions_at_once_are_laid_alike():
    points = bracket().hull.points
    directions = Rotation.random(12, random_state=4).apply([0, 0, 1.0])
    transforms = rotations_to_bed(directions, points)
    longer, shorter = footprint_sides(directions, points)
    for k, direction in enumerate(directions):
        assert np.array_equal(transforms[k], rotation_to_bed(direction, points))
        assert np.ptp(laid(direction, points), axis=0)[:2] == pytest.approx([longer[k], shorter[k]])


@pytest.mark.parametrize("stretch", [(1, 1, 1), (40, 1, 0.1)])
def test_a_fine_ball_loses_no_corner_of_its_footprint(stretch):
    points = trimesh.creation.icosphere(subdivisions=5).vertices * stretch
    direction = Rotation.random(random_state=2).apply([0, 0, 1.0])
    plane = laid(direction, points)[:, :2]
    _, theirs = trimesh.bounds.oriented_bounds_2D(plane)
    assert np.sort(np.ptp(plane, axis=0)) == pytest.approx(np.sort(theirs), rel=1e-6)


def test_extents_of_a_finely_turned_outline_are_those_of_all_corners_without_their_square_in_memory():
    turn = np.linspace(0.0, 2.0 * np.pi, 12_000, endpoint=False)
    rim = np.column_stack([20.0 * np.cos(turn), 7.0 * np.sin(turn)])
    ways = np.column_stack([np.cos(turn[::97] + 0.1), np.sin(turn[::97] + 0.1)])
    for outline in (rim, rim[::-1]):
        np.testing.assert_allclose(extents(outline, ways), np.ptp(ways @ rim.T, axis=1), rtol=1e-12)
    tracemalloc.start()
    longer, shorter = footprint_sides([0.0, 0.0, 1.0], np.column_stack([rim, np.zeros(len(rim))]))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # The least rectangle round an ellipse lies along its axes.
    assert (longer[0], shorter[0]) == pytest.approx((40.0, 14.0), rel=1e-6)
    # Every corner against every edge would be 2.3 GB.
    assert most < 100e6

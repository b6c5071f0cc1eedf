import numpy as np
import pytest
from scipy.spatial import SphericalVoronoi, cKDTree
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.pose.grid import spherical_grid


@pytest.mark.parametrize("count", [0, 1, 2, 17, 1000])
def test_as_many_directions_as_asked_all_unit(count):
    grid = spherical_grid(count)
    assert grid.shape == (count, 3)
    assert np.linalg.norm(grid, axis=1) == pytest.approx(np.ones(count))


def test_each_direction_stands_for_nearly_the_same_area():
    # González 2010: "the area represented by each point is almost identical". Measured by scipy.
    cells = SphericalVoronoi(spherical_grid(1000)).calculate_areas()
    assert cells.std() / cells.mean() < 0.02
    assert cells == pytest.approx(np.full(1000, 4 * np.pi / 1000), rel=0.2)


def test_no_direction_on_the_sphere_is_farther_than_five_degrees_from_the_grid():
    # The corners of the cells are the farthest from it; discs of the same area would have a radius of 3.6°.
    grid = spherical_grid(1000)
    away = cKDTree(grid).query(SphericalVoronoi(grid).vertices)[0]
    assert np.degrees(2 * np.arcsin(away.max() / 2)) < 5.0


@pytest.mark.parametrize("count", [100, 1000, 10_000])
def test_nearest_neighbours_are_as_far_apart_as_known(count):
    # Distance × √n of the canonical lattice is 3.09: M. Roberts, How to evenly distribute points on a sphere
    # more effectively than the canonical Fibonacci lattice, 2018 (value from memory).
    away = cKDTree(spherical_grid(count)).query(spherical_grid(count), k=2)[0][:, 1]
    assert away.min() * np.sqrt(count) == pytest.approx(3.09, abs=0.005)


def test_the_grid_turns_with_its_frame():
    turn = Rotation.from_rotvec([1, 2, 3]).as_matrix()
    assert spherical_grid(50, turn.T) == pytest.approx(spherical_grid(50) @ turn.T)


def test_a_negative_grid_is_refused():
    with pytest.raises(OrientError, match="0 or more"):
        spherical_grid(-1)

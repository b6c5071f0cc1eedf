import manifold3d
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from orient.pose.planes import main_directions
from tests.pose.shapes import bracket, part_from_trimesh, solid

TURN = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def nearest_deg(directions, wanted):
    return np.degrees(np.arccos(np.clip((directions @ wanted).max(), -1, 1)))


def test_a_brackets_planes_are_the_axes():
    found = main_directions(bracket())
    assert len(found) == 6
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        assert nearest_deg(found, axis) < 1e-4


def test_largest_plane_first_and_both_senses():
    found = main_directions(part_from_trimesh(trimesh.creation.box((10, 20, 30))))
    assert np.abs(found[::2]) == pytest.approx(np.eye(3))
    assert found[1::2] == pytest.approx(-found[::2])


@pytest.mark.parametrize("facets", [12, 24, 96])
def test_a_slanted_hole_gives_its_axis_however_fine(facets):
    axis = np.array([np.sin(0.5), 0.0, np.cos(0.5)])
    drill = manifold3d.Manifold.cylinder(60, 4, circular_segments=facets, center=True)
    drill = drill.rotate((0, np.degrees(0.5), 0))
    part = solid(manifold3d.Manifold.cube((60, 40, 20), center=True) - drill)
    assert nearest_deg(main_directions(part), axis) < 0.05
    assert nearest_deg(main_directions(part), -axis) < 0.05


def test_a_bevel_is_no_axis():
    # A box with its long edge cut at 30°: the edges of the cut bend, but nothing turns about them.
    wedge = manifold3d.CrossSection([[(0, 0), (40, 0), (40, 20), (10, 20), (0, 14.2265)]])
    part = solid(manifold3d.Manifold.extrude(wedge, 30).rotate((0, 25, 0)))
    found = main_directions(part)
    normals = [[0, 1, 0], [np.cos(np.radians(25)), 0, -np.sin(np.radians(25))]]
    for normal in normals:
        assert nearest_deg(found, np.array(normal)) < 0.01
    assert len(found) == 8


def test_a_ball_has_no_main_plane():
    found = main_directions(part_from_trimesh(trimesh.creation.icosphere(subdivisions=5)))
    assert len(found) == 0


def test_never_more_than_a_dozen_lines():
    rough = trimesh.convex.convex_hull(np.random.default_rng(3).normal(size=(40, 3)))
    assert len(main_directions(part_from_trimesh(rough))) <= 24


def test_main_directions_turn_with_the_part():
    part = bracket()
    one, other = main_directions(part), main_directions(part.turned(TURN, [3, 5, 7]))
    assert other == pytest.approx(one @ TURN.T, abs=1e-9)

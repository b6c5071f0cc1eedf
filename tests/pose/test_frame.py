import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.pose.frame import part_frame
from tests.pose.shapes import bracket, part_from_trimesh, solid

TURN = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def square_plate_with_a_blind_hole():
    """Moments along the sides are equal; the hole, in a corner and on one face, tells them apart."""
    plate = manifold3d.Manifold.cube((40, 40, 5))
    return solid(plate - manifold3d.Manifold.cylinder(20, 3, circular_segments=32).translate((8, 8, 3)))


@pytest.mark.parametrize("part", [bracket(), square_plate_with_a_blind_hole()], ids=["bracket", "plate"])
@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_frame_turns_with_the_part(part, seed):
    turn = Rotation.random(random_state=seed).as_matrix()
    assert part_frame(part.turned(turn, [9, -4, 2])) == pytest.approx(part_frame(part) @ turn.T, abs=1e-6)


@pytest.mark.parametrize(
    "mesh",
    [
        trimesh.creation.box((1, 1, 1)),
        trimesh.creation.box((10, 10, 3)),
        trimesh.creation.cylinder(radius=3, height=20, sections=48),
        trimesh.creation.icosphere(subdivisions=3),
        trimesh.creation.torus(10, 3),
    ],
    ids=["cube", "square plate", "shaft", "ball", "torus"],
)
def test_symmetric_parts_have_a_frame_too(mesh):
    frame = part_frame(part_from_trimesh(mesh))
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(frame) == pytest.approx(1)


def test_a_square_plate_turned_is_seen_alike():
    # The frame of a symmetric part may be any of those its symmetry makes alike: along its sides.
    part = part_from_trimesh(trimesh.creation.box((10, 10, 3)))
    sides = np.abs(part_frame(part.turned(TURN)) @ TURN)
    diagonals = np.sort(sides, axis=1)[:, 1:] == pytest.approx(np.sqrt(0.5), abs=1e-6)
    assert np.allclose(np.sort(sides, axis=1)[:, 2], 1, atol=1e-6) or diagonals


def test_longest_axis_first():
    frame = part_frame(part_from_trimesh(trimesh.creation.box((10, 20, 30))))
    assert np.abs(frame) == pytest.approx(np.eye(3)[::-1])


def test_axes_are_the_principal_axes_of_the_surface():
    # Sampled independently of the closed form: the midpoints of a finely split mesh.
    part = bracket()
    fine = trimesh.Trimesh(part.vertices, part.faces, process=False)
    points, _ = trimesh.sample.sample_surface(fine, 200_000, seed=1)
    local = (points - points.mean(axis=0)) @ part_frame(part).T
    spread = local.T @ local / len(local)
    assert np.all(np.diff(np.diag(spread)) < 0)
    assert np.abs(spread - np.diag(np.diag(spread))).max() < 0.01 * spread[0, 0]


def test_splitting_faces_leaves_the_frame():
    part = bracket()
    split = trimesh.Trimesh(part.vertices, part.faces, process=False).subdivide()
    assert part_frame(part_from_trimesh(split)) == pytest.approx(part_frame(part), abs=1e-9)

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from orient.part.mesh import part_from_arrays
from orient.pose.candidates import candidates
from orient.pose.resting import resting_poses
from tests.pose.shapes import bracket, part_from_trimesh

TURN = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def test_sources_stand_in_order_and_the_grid_is_whole():
    found = candidates(bracket(), [[1, 0, 0]], directions=300)
    order = ["resting", "plane", "load", "grid"]
    assert list(found.sources) == sorted(found.sources, key=order.index)
    assert found.sources.count("grid") == 300
    assert np.linalg.norm(found.directions, axis=1) == pytest.approx(np.ones(len(found.directions)))


def test_resting_poses_survive_exactly():
    part = bracket()
    resting = resting_poses(part)
    found = candidates(part, [[1, 0, 0]])
    count = found.sources.count("resting")
    assert np.array_equal(found.directions[:count], resting.directions)
    assert found.rests_on_flat.sum() == count
    assert found.rests_on_flat[:count].all()
    assert np.array_equal(found.contact_area_mm2[:count], resting.contact_area_mm2)
    assert not found.contact_area_mm2[count:].any()


def test_resting_poses_near_each_other_are_all_kept():
    # Facets of a fine cylinder lie 0.5° apart.
    part = part_from_trimesh(trimesh.creation.cylinder(radius=20, height=10, sections=360))
    assert candidates(part, directions=0).sources.count("resting") == 362


def test_main_and_load_directions_are_a_degree_from_all_before():
    found = candidates(bracket(), [[1, 0.3, 0]])
    keep = np.array([source in ("plane", "load") for source in found.sources])
    before = found.directions[: np.flatnonzero(keep)[-1] + 1]
    for k in np.flatnonzero(keep):
        assert (before[:k] @ found.directions[k]).max() <= np.cos(np.radians(1)) + 1e-12


def test_without_a_load_there_are_no_load_directions():
    assert "load" not in candidates(bracket()).sources


def test_order_of_the_triangles_changes_nothing():
    part = bracket()
    shuffle = np.random.default_rng(0).permutation(len(part.faces))
    rolled = np.roll(part.faces[shuffle], 1, axis=1)
    names = np.random.default_rng(1).permutation(len(part.vertices))
    vertices = np.empty_like(part.vertices)
    vertices[names] = part.vertices
    other = part_from_arrays(vertices, names[rolled])
    one, two = candidates(part, [[1, 0, 0]]), candidates(other, [[1, 0, 0]])
    assert one.sources == two.sources
    assert two.directions == pytest.approx(one.directions, abs=1e-9)
    assert two.contact_area_mm2 == pytest.approx(one.contact_area_mm2)


def test_candidates_turn_with_the_part():
    part = bracket()
    one = candidates(part, [[1, 0, 0]])
    two = candidates(part.turned(TURN, [1, 2, 3]), [TURN[:, 0]])
    assert one.sources == two.sources
    assert two.directions == pytest.approx(one.directions @ TURN.T, abs=1e-6)


def test_splitting_faces_changes_nothing():
    part = bracket()
    split = trimesh.Trimesh(part.vertices, part.faces, process=False).subdivide()
    one, two = candidates(part, [[1, 0, 0]]), candidates(part_from_trimesh(split), [[1, 0, 0]])
    assert one.sources == two.sources
    assert two.directions == pytest.approx(one.directions, abs=1e-6)
    assert two.contact_area_mm2 == pytest.approx(one.contact_area_mm2, rel=1e-9)

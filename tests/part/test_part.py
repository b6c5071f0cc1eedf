import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.part.shapes import box, prism


@pytest.fixture(scope="module")
def torus():
    return trimesh.creation.torus(20, 5, major_sections=48, minor_sections=24)


def test_numbers_agree_with_trimesh(torus):
    part = part_from_trimesh(torus)
    assert part.volume_mm3 == pytest.approx(torus.volume)
    assert part.area_mm2 == pytest.approx(torus.area)
    np.testing.assert_allclose(part.center_of_mass, torus.center_mass, atol=1e-9)
    np.testing.assert_allclose(part.bounds, torus.bounds)
    np.testing.assert_allclose(np.sort(part.areas), np.sort(torus.area_faces), rtol=1e-12)
    assert part.size_mm == pytest.approx(torus.scale)


def test_centre_of_mass_of_a_cone_lies_a_quarter_up():
    # Handbook: the centroid of a cone lies at a quarter of its height; of a pyramid on any base too.
    angle = 2 * np.pi * np.arange(12) / 12
    base = np.stack([100 + 5 * np.cos(angle), 50 + 5 * np.sin(angle), np.full(12, 7)], axis=1)
    vertices = np.vstack([base, [[100, 50, 19], [100, 50, 7]]])
    i, j = np.arange(12), (np.arange(12) + 1) % 12
    faces = np.vstack([np.stack([i, j, np.full(12, 12)], 1), np.stack([j, i, np.full(12, 13)], 1)])
    assert part_from_arrays(vertices, faces).center_of_mass == pytest.approx([100, 50, 10])


def test_an_open_mesh_has_the_centre_of_its_surface(torus):
    part = part_from_arrays(torus.vertices, torus.faces[:-40])
    open_torus = trimesh.Trimesh(torus.vertices, torus.faces[:-40], process=False)
    np.testing.assert_allclose(part.center_of_mass, open_torus.centroid, atol=1e-9)


def test_arrays_cannot_be_written_to():
    part = part_from_arrays(*box())
    for array in (part.vertices, part.faces, part.normals, part.areas, part.centroids, part.neighbours):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_the_callers_arrays_are_left_alone():
    vertices, faces = box()
    vertices[0] *= -0.0
    before = vertices.copy(), faces.copy()
    part_from_arrays(vertices, faces[:, ::-1])
    np.testing.assert_array_equal(np.signbit(vertices), np.signbit(before[0]))
    np.testing.assert_array_equal(faces, before[1])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_a_turned_part_has_the_same_inside(seed):
    part = part_from_arrays(*prism(17, 10, 30))
    rotation = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    turned = part.turned(rotation, (3, -4, 5))
    assert turned.volume_mm3 == pytest.approx(part.volume_mm3)
    assert turned.area_mm2 == pytest.approx(part.area_mm2)
    np.testing.assert_allclose(turned.center_of_mass, rotation @ part.center_of_mass + (3, -4, 5), atol=1e-9)
    np.testing.assert_allclose(turned.normals, part.normals @ rotation.T, atol=1e-12)
    np.testing.assert_array_equal(turned.neighbours, part.neighbours)
    assert turned.content_hash != part.content_hash


@settings(max_examples=20, deadline=None)
@given(st.floats(0.01, 100), st.randoms(use_true_random=False))
def test_scaling_and_shuffling_change_nothing_but_the_scale(scale, random):
    vertices, faces = prism(17, 10, 30)
    rows = list(range(len(faces)))
    random.shuffle(rows)
    part, other = part_from_arrays(vertices, faces), part_from_arrays(vertices * scale, faces[rows])
    assert other.volume_mm3 == pytest.approx(part.volume_mm3 * scale**3)
    assert other.area_mm2 == pytest.approx(part.area_mm2 * scale**2)
    assert other.health.chord_error_mm == pytest.approx(part.health.chord_error_mm * scale, rel=1e-5)
    assert other.closed


def test_units_scale_to_millimetres():
    part = part_from_arrays(*box((1, 2, 3)), units="inch")
    assert part.units == "in"
    assert part.extents_mm == pytest.approx([25.4, 50.8, 76.2])

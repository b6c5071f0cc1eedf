import numpy as np
import pytest
import trimesh

from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.part.shapes import box, prism, stacked


@pytest.mark.parametrize("n", [9, 12, 16, 24, 32, 64, 128])
def test_cylinder_has_the_sagitta_of_its_polygon(n):
    # Elementary circle geometry: a chord of a regular n-gon lies r(1 − cos(π/n)) off its circle.
    part = part_from_arrays(*prism(n, 10, 30))
    assert part.health.chord_error_mm == pytest.approx(10 * (1 - np.cos(np.pi / n)), rel=1e-6)


def test_cylinder_cut_into_short_pieces_has_the_same_error():
    rings = trimesh.creation.revolve([[0, 0], [10, 0], [10, 10], [10, 20], [10, 30], [0, 30]], sections=24)
    part = part_from_trimesh(rings)
    assert part.health.chord_error_mm == pytest.approx(10 * (1 - np.cos(np.pi / 24)), rel=1e-6)


@pytest.mark.parametrize("times", [1, 2])
def test_splitting_the_triangles_of_a_cylinder_changes_nothing(times):
    vertices, faces = prism(24, 10, 30)
    for _ in range(times):
        vertices, faces = trimesh.remesh.subdivide(vertices, faces)
    error = part_from_arrays(vertices, faces).health.chord_error_mm
    assert error == pytest.approx(10 * (1 - np.cos(np.pi / 24)), rel=1e-6)


@pytest.mark.parametrize("subdivisions", [3, 4, 5])
def test_sphere_has_the_depth_of_its_facets(subdivisions):
    # A triangle inscribed in a sphere lies r − √(r² − R²) under it, R its circumradius. An icosphere's
    # triangles are nearly, not quite, equilateral.
    sphere = trimesh.creation.icosphere(subdivisions=subdivisions, radius=20)
    depth = 20 - np.abs(np.einsum("ij,ij->i", sphere.face_normals, sphere.triangles_center))
    part = part_from_trimesh(sphere)
    assert part.health.chord_error_mm == pytest.approx(depth.max(), rel=0.15)


def test_sphere_of_meridians_has_the_sagitta_of_its_longer_steps():
    # 31 steps from pole to pole and 96 round: the steps along a meridian are the longer ones.
    part = part_from_trimesh(trimesh.creation.uv_sphere(radius=10, count=[32, 48]))
    assert part.health.chord_error_mm == pytest.approx(10 * (1 - np.cos(np.pi / 62)), rel=0.01)


def test_hole_counts_like_a_boss():
    tube = trimesh.creation.annulus(r_min=8, r_max=40, height=5, sections=32)
    part = part_from_trimesh(tube)
    assert part.health.chord_error_mm == pytest.approx(40 * (1 - np.cos(np.pi / 32)), rel=1e-6)


def test_octagon_and_box_are_taken_at_their_word():
    # A 45° chamfer is a chamfer.
    assert part_from_arrays(*prism(8, 10, 10)).health.chord_error_mm == 0
    assert part_from_arrays(*box()).health.chord_error_mm == 0


def test_one_shallow_bend_is_a_bend():
    # A plate of 2 mm bent by 10° in its middle, as a profile pulled along y.
    up = 100 * np.tan(np.radians(10))
    profile = np.array([[-100, 0], [0, 0], [100, up], [100, up + 2], [0, 2], [-100, 2]])
    n = len(profile)
    vertices = np.vstack([np.insert(profile, 1, 0, axis=1), np.insert(profile, 1, 50, axis=1)])
    i = np.arange(n)
    j = (i + 1) % n
    caps = np.array([[0, 1, 4], [0, 4, 5], [1, 2, 3], [1, 3, 4]])
    faces = np.vstack([np.stack([i, j + n, j], 1), np.stack([i, i + n, j + n], 1), caps, caps[:, ::-1] + n])
    part = part_from_arrays(vertices, faces)
    assert part.closed
    assert part.health.flipped_faces == 0
    assert part.health.chord_error_mm == 0


def test_over_a_tenth_of_a_millimetre_a_finer_export_is_asked_for():
    # r(1 − cos(π/n)) at r = 20: 0.109 mm at n = 30, 0.096 mm at n = 32.
    coarse, fine = part_from_arrays(*prism(30, 20, 10)), part_from_arrays(*prism(32, 20, 10))
    assert any("0.11 mm off" in sentence and "export" in sentence for sentence in coarse.health.warnings)
    assert fine.health.warnings == ()


def test_error_does_not_hang_on_other_shapes_beside_it():
    part = part_from_arrays(*stacked(prism(24, 10, 10), box((50, 50, 50), at=(30, 0, 0))))
    assert part.health.chord_error_mm == pytest.approx(10 * (1 - np.cos(np.pi / 24)), rel=1e-6)

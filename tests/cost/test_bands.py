"""Sections and outlines by height, against solids whose sections are known and against trimesh."""

import numpy as np
import pytest
import trimesh

from orient.cost.bands import BANDS, bands_of, surface_pieces
from orient.part.mesh import part_from_trimesh

UP = np.array([[0.0, 0.0, 1.0]])


def bands(mesh, directions=UP, skin=0.8, contours=0.8, **more):
    pieces = surface_pieces(part_from_trimesh(mesh))
    return bands_of(pieces, np.asarray(directions, dtype=float), skin, contours, **more)


def middles(height):
    return (np.arange(BANDS) + 0.5) / BANDS * height


def test_a_box_has_one_section_and_one_outline_all_the_way_up():
    found = bands(trimesh.creation.box((20, 30, 40)))
    assert found.section_mm2 == pytest.approx(600.0)
    assert found.outline_mm == pytest.approx(100.0)
    assert found.height_mm == pytest.approx(40.0)


def test_a_sphere_has_the_sections_of_a_sphere():
    # Section at height z from the centre: π(r² − z²), outline 2π√(r² − z²).
    found = bands(trimesh.creation.icosphere(subdivisions=5, radius=20))
    z = middles(40.0) - 20.0
    assert found.section_mm2[0] == pytest.approx(np.pi * (400 - z**2), abs=0.02 * np.pi * 400)
    assert found.outline_mm[0] == pytest.approx(2 * np.pi * np.sqrt(400 - z**2), rel=0.12)


def test_a_torus_is_cut_as_trimesh_cuts_it():
    mesh = trimesh.creation.torus(major_radius=20, minor_radius=6, major_sections=96, minor_sections=48)
    b = np.array([0.3, 0.4, np.sqrt(0.75)])
    found = bands(mesh, [b])
    low = (mesh.vertices @ b).min()
    heights = middles(found.height_mm[0])
    for k in range(4, BANDS - 4, 5):
        path = mesh.section(plane_normal=b, plane_origin=b * (low + heights[k]))
        flat, _ = path.to_2D()
        assert found.section_mm2[0, k] == pytest.approx(flat.area, abs=0.03 * found.section_mm2.max())
        assert found.outline_mm[0, k] == pytest.approx(flat.length, rel=0.06)


@pytest.mark.parametrize("b", [(0, 0, 1), (1, 0, 0), (0.6, 0, 0.8), (0.48, 0.6, 0.64)])
def test_the_sections_add_up_to_the_volume_and_the_outlines_to_the_walls(b):
    mesh = trimesh.creation.annulus(r_min=8, r_max=15, height=25, sections=64)
    found = bands(mesh, [b])
    step = found.height_mm[:, None] / BANDS
    assert (found.section_mm2 * step).sum() == pytest.approx(mesh.volume, rel=1e-9)
    slope = mesh.face_normals @ np.asarray(b)
    walls = (mesh.area_faces * np.sqrt(1 - np.minimum(slope**2, 1))).sum()
    assert (found.outline_mm * step).sum() == pytest.approx(walls, rel=1e-6)


def test_skin_lies_under_the_top_and_over_the_bottom():
    # 20 × 30 mm twice, 0.8 mm high: in the lowest and the highest 0.8 mm, and nowhere else.
    found = bands(trimesh.creation.box((20, 30, 48)))
    assert found.skin_mm3.sum() == pytest.approx(2 * 600 * 0.8)
    assert found.skin_mm3[0, 0] == found.skin_mm3[0, -1] == pytest.approx(480.0)
    assert found.skin_mm3[0, 1:-1] == pytest.approx(0.0)


def test_a_slope_that_the_contours_cover_needs_no_skin():
    # 45°: skin 0.8·sin 45° is no thicker than contours 0.8·cos 45°.
    cone = trimesh.creation.cone(radius=20, height=20, sections=256)
    found = bands(cone, [[0, 0, 1.0]])
    assert found.skin_mm3.sum() == pytest.approx(np.pi * 400 * 0.8, rel=0.01)


def test_many_small_faces_count_as_their_neighbourhood():
    coarse = trimesh.creation.box((20, 30, 40))
    fine = coarse
    for _ in range(7):
        fine = fine.subdivide()
    directions = [[0, 0, 1.0], [0.36, 0.48, 0.8]]
    pieces = surface_pieces(part_from_trimesh(fine))
    assert len(pieces.areas) < len(fine.faces) / 4
    a, b = bands(coarse, directions), bands(fine, directions)
    assert b.section_mm2 == pytest.approx(a.section_mm2, abs=0.03 * a.section_mm2.max())
    assert (b.outline_mm.mean(axis=1)) == pytest.approx(a.outline_mm.mean(axis=1), rel=1e-6)


def test_turning_part_and_pose_together_changes_nothing():
    mesh = trimesh.creation.annulus(r_min=8, r_max=15, height=25, sections=64)
    turn = trimesh.transformations.random_rotation_matrix(np.array([0.2, 0.5, 0.7]))
    turned = mesh.copy()
    turned.apply_transform(turn)
    b = np.array([0.48, 0.6, 0.64])
    one, other = bands(mesh, [b]), bands(turned, [turn[:3, :3] @ b])
    assert other.section_mm2 == pytest.approx(one.section_mm2, rel=1e-6, abs=1e-6)
    assert other.outline_mm == pytest.approx(one.outline_mm, rel=1e-6, abs=1e-6)


def test_threads_do_not_change_a_bit():
    mesh = trimesh.creation.icosphere(subdivisions=4)
    directions = np.random.default_rng(3).normal(size=(37, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    one, four = bands(mesh, directions, threads=1), bands(mesh, directions, threads=4)
    for name in ("height_mm", "section_mm2", "outline_mm", "skin_mm3"):
        assert np.array_equal(getattr(one, name), getattr(four, name))


def test_poses_looked_at_together_are_what_each_is_alone():
    # Long triangles and patches of small ones; poses that stand on a face among those that do not.
    hub = trimesh.creation.annulus(r_min=8, r_max=15, height=25, sections=64)
    mesh = trimesh.util.concatenate(
        [hub, trimesh.creation.icosphere(3, radius=4).apply_translation([40, 0, 0])]
    )
    spread = np.random.default_rng(5).normal(size=(36, 3))
    directions = np.vstack([np.eye(3), spread / np.linalg.norm(spread, axis=1)[:, None]])
    together = bands(mesh, directions)
    for k, one in enumerate(directions):
        alone = bands(mesh, [one])
        for name in ("section_mm2", "outline_mm", "skin_mm3"):
            assert np.array_equal(getattr(together, name)[k], getattr(alone, name)[0])

"""Stairs and contours from areas and normals: against plain numpy and against slices cut by trimesh."""

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from orient.measure.faces import group_normals, surface_of
from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.measure.measured import box, perforated, table, turn_up

SPREAD = np.array([[0.3, -0.5, 0.81], [0.05, 0.02, 1.0], [-0.8, 0.6, 0.1], [0.0, 0.0, 1.0], [0.5, 0.1, -0.9]])
SPREAD /= np.linalg.norm(SPREAD, axis=1, keepdims=True)


def surface(mesh, directions=SPREAD, layer_mm=0.2):
    return surface_of(group_normals(part_from_trimesh(mesh)), np.asarray(directions), layer_mm)


def test_groups_keep_all_area():
    mesh = perforated()
    groups = group_normals(part_from_trimesh(mesh))
    assert groups.areas.sum() == pytest.approx(mesh.area, rel=1e-12)
    # The closed surface's area vectors add up to nothing.
    assert np.abs(groups.areas @ groups.normals).max() < 1e-3 * mesh.area
    assert len(group_normals(part_from_trimesh(trimesh.creation.box((1, 2, 3)))).areas) == 6


@pytest.mark.parametrize(
    "mesh", [table(), perforated(), trimesh.creation.torus(20, 5)], ids=["table", "wall", "torus"]
)
def test_stairs_agree_with_every_face_by_itself(mesh):
    # Cusp c = t·|n·b|, none on faces within 1° of level (Dolenc & Mäkelä 1994).
    got = surface(mesh)
    for i, b in enumerate(SPREAD):
        slope = np.abs(mesh.face_normals @ b)
        cusp = np.where(slope < math.cos(math.radians(1)), slope, 0.0)
        assert got.stair_step_mm[i] == pytest.approx(
            0.2 * cusp @ mesh.area_faces / mesh.area, rel=1e-4, abs=1e-9
        )
        rough = mesh.area_faces[cusp > math.sin(math.radians(45)) + 1e-6].sum()
        assert got.rough_area_mm2[i] == pytest.approx(rough, rel=1e-3, abs=1e-9)


@pytest.mark.parametrize(
    ("angle_deg", "cusp_mm"), [(10, 0.03473), (30, 0.1), (45, 0.14142), (60, 0.17321), (80, 0.19696)]
)
def test_cusp_of_a_leaning_face(angle_deg, cusp_mm):
    # c = t·sin θ at t = 0.2, θ from the vertical: a handbook's table, worked out independently.
    leaning = np.array([[math.cos(math.radians(angle_deg)), 0.0, math.sin(math.radians(angle_deg))]])
    groups = group_normals(part_from_trimesh(trimesh.creation.box((10, 10, 10))))
    one_face = type(groups)(normals=leaning, areas=np.array([1.0]))
    assert surface_of(one_face, np.array([[0.0, 0.0, 1.0]]), 0.2).stair_step_mm[0] == pytest.approx(
        cusp_mm, abs=6e-6
    )


def test_a_face_at_exactly_45_degrees_is_not_rough():
    edge = np.array([[1.0, 1.0, 0.0]]) / math.sqrt(2)
    assert surface(trimesh.creation.box((10, 10, 10)), edge).rough_area_mm2[0] == 0.0


@pytest.mark.parametrize("direction", SPREAD, ids=str)
def test_contour_is_the_sum_of_the_slices_that_trimesh_cuts(direction):
    mesh = perforated()
    layer = 0.25
    upright = turn_up(mesh, direction)
    low, high = upright.bounds[:, 2]
    heights = np.arange(low + layer / 2, high, layer)
    segments, *_ = zip(
        *(
            trimesh.intersections.mesh_plane(upright, [0, 0, 1], [0, 0, z], return_faces=True)
            for z in heights
        ),
        strict=True,
    )
    sliced = sum(np.linalg.norm(s[:, 1] - s[:, 0], axis=1).sum() for s in segments)
    assert surface(mesh, direction[None], layer).contour_length_mm[0] == pytest.approx(sliced, rel=0.01)


def test_contour_of_a_sphere():
    # Slices of a sphere: Σ 2π√(r² − z²) ≈ π²r²/t.
    got = surface(trimesh.creation.icosphere(subdivisions=5, radius=10), layer_mm=0.1)
    assert np.allclose(got.contour_length_mm, math.pi**2 * 100 / 0.1, rtol=2e-3)


@settings(max_examples=20, deadline=None)
@given(scale=st.floats(0.01, 100.0), seed=st.integers(0, 999))
def test_scaling_layer_and_part_together(scale, seed):
    b = np.random.default_rng(seed).normal(size=(4, 3))
    b /= np.linalg.norm(b, axis=1, keepdims=True)
    one = surface(table(), b, 0.2)
    other = surface(table().apply_scale(scale), b, 0.2 * scale)
    assert np.allclose(other.stair_step_mm, one.stair_step_mm * scale, rtol=1e-9)
    assert np.allclose(other.rough_area_mm2, one.rough_area_mm2 * scale**2, rtol=1e-9)
    assert np.allclose(other.contour_length_mm, one.contour_length_mm * scale, rtol=1e-9)


def test_splitting_and_shuffling_change_nothing():
    mesh = perforated()
    vertices, faces = trimesh.remesh.subdivide(mesh.vertices, mesh.faces)
    faces = np.random.default_rng(4).permutation(faces)
    one = surface(mesh)
    other = surface_of(group_normals(part_from_arrays(vertices, faces)), SPREAD, 0.2)
    assert np.allclose(one.stair_step_mm, other.stair_step_mm, rtol=1e-6)
    assert np.allclose(one.contour_length_mm, other.contour_length_mm, rtol=1e-6)


def test_same_bits_over_runs():
    groups = group_normals(part_from_trimesh(perforated()))
    b = np.random.default_rng(0).normal(size=(40, 3))
    b /= np.linalg.norm(b, axis=1, keepdims=True)
    runs = [surface_of(groups, b, 0.2) for _ in range(5)]
    for run in runs[1:]:
        assert np.array_equal(run.stair_step_mm, runs[0].stair_step_mm)
        assert np.array_equal(run.contour_length_mm, runs[0].contour_length_mm)


def test_a_mesh_with_slivers_stays_finite():
    flat = trimesh.creation.box((10, 10, 1e-5))
    got = surface(trimesh.util.concatenate([flat, box((3, 3, 3), (20, 0, 0))]))
    assert all(np.all(np.isfinite(v)) for v in (got.stair_step_mm, got.rough_area_mm2, got.contour_length_mm))

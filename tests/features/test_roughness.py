"""Noise of a mesh, and normals that are free of it."""

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from orient.features.roughness import noise_mm, slivers_of, steady_normals
from orient.part.mesh import part_from_arrays, part_from_trimesh


def shaken_cube(sigma, pitch=1.0, seed=0):
    mesh = Manifold.cube((20, 20, 20)).refine_to_length(pitch).to_mesh64()
    corners = np.array(mesh.vert_properties[:, :3])
    corners += np.random.default_rng(seed).normal(scale=sigma, size=corners.shape)
    return part_from_arrays(corners, np.array(mesh.tri_verts))


@pytest.mark.parametrize("sigma", [0.003, 0.01, 0.03])
@pytest.mark.parametrize("pitch", [0.8, 2.0])
def test_noise_is_measured_to_a_sixth(sigma, pitch):
    assert noise_mm(shaken_cube(sigma, pitch)) == pytest.approx(sigma, rel=1 / 6)


@pytest.mark.parametrize(
    "mesh",
    [
        trimesh.creation.icosphere(subdivisions=5, radius=15),
        trimesh.creation.cylinder(radius=8, height=30, sections=64),
        trimesh.creation.torus(20, 5),
        trimesh.creation.box((10, 20, 30)).subdivide_to_size(1.0),
    ],
    ids=["sphere", "cylinder", "torus", "split box"],
)
@pytest.mark.parametrize("kind", [np.float64, np.float32])
def test_a_drawn_mesh_has_no_noise(mesh, kind):
    rough = trimesh.Trimesh(mesh.vertices.astype(kind).astype(float), mesh.faces, process=False)
    part = part_from_trimesh(rough)
    assert noise_mm(part) == 0.0
    assert steady_normals(part, 0.0) is part.normals


def test_smoothed_normals_lose_nine_tenths_of_the_noise_and_keep_the_edges():
    part = shaken_cube(0.01, 0.6)
    before, after = (
        np.degrees(np.arccos(np.abs(n).max(axis=1).clip(0, 1)))
        for n in (part.normals, steady_normals(part, noise_mm(part)))
    )
    assert np.percentile(before, 95) > 4.0
    assert np.percentile(after, 95) < 0.1 * np.percentile(before, 95)
    assert after.max() < 2.0


def test_faces_narrower_than_the_noise_are_slivers():
    part = part_from_arrays(
        [[0, 0, 0], [10, 0, 0], [5, 0.01, 0], [5, 8, 0], [5, 0, 9]],
        [[0, 1, 2], [1, 3, 2], [3, 0, 2], [0, 4, 1], [1, 4, 3], [3, 4, 0]],
    )
    narrow = slivers_of(part, 0.005)
    assert narrow.sum() == 1
    assert not slivers_of(part, 0.0).any()

"""Nearest points, held against trimesh."""

import numpy as np
import pytest
import trimesh

from orient.variants.nearest import surface_of
from tests.variants.shapes import part_of, plate


@pytest.fixture(scope="module")
def mesh():
    part = part_of(plate())
    return trimesh.Trimesh(part.vertices, part.faces, process=False)


def test_distance_and_side_are_those_of_trimesh(mesh):
    points = np.random.default_rng(3).uniform(mesh.bounds[0] - 5.0, mesh.bounds[1] + 5.0, size=(400, 3))
    face, place, away = surface_of(mesh.vertices, mesh.faces).nearest(points)
    closest, distance, _ = trimesh.proximity.closest_point(mesh, points)
    assert np.abs(away) == pytest.approx(distance, abs=1e-9)
    assert np.linalg.norm(place - closest, axis=1).max() < 1e-6
    assert (away < 0).tolist() == mesh.contains(points).tolist()
    assert trimesh.triangles.closest_point(mesh.triangles[face], points) == pytest.approx(place, abs=1e-9)


def test_point_beside_an_edge_is_outside(mesh):
    surface = surface_of(mesh.vertices, mesh.faces)
    away = surface.nearest(np.array([[31.0, 21.0, -1.0], [30.0, 21.0, 2.0]]))[2]
    assert away == pytest.approx([np.sqrt(3.0), 1.0])


def test_nothing_is_found_beyond_reach(mesh):
    face, _, away = surface_of(mesh.vertices, mesh.faces).nearest(np.array([[0.0, 0.0, -9.0]]), reach_mm=8.0)
    assert face.tolist() == [-1]
    assert np.isinf(away[0])


def test_answer_does_not_depend_on_threads(mesh):
    points = np.random.default_rng(4).normal(size=(5000, 3)) * 20
    surface = surface_of(mesh.vertices, mesh.faces)
    for one, two in zip(surface.nearest(points, threads=1), surface.nearest(points, threads=2), strict=True):
        assert np.array_equal(one, two)

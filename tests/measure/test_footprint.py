"""The first layer against sections cut by trimesh and measured by shapely."""

import math

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.measure.blocks import sort_into_blocks
from orient.measure.footprint import footprint_of, neighbours_in_blocks
from orient.part.mesh import Part, part_from_arrays, part_from_trimesh
from tests.measure.measured import UP, box, join, perforated, table, turn_up

SPREAD = np.vstack([np.random.default_rng(7).normal(size=(12, 3)), np.eye(3), -np.eye(3)])
SPREAD /= np.linalg.norm(SPREAD, axis=1, keepdims=True)


def footprint(shape, directions=UP, layer_mm=0.2):
    part = shape if isinstance(shape, Part) else part_from_trimesh(shape)
    blocks = sort_into_blocks(part)
    lowest = (part.vertices @ np.asarray(directions).T).min(axis=0)
    return footprint_of(part, blocks, neighbours_in_blocks(part, blocks), directions, lowest, layer_mm)


def section(mesh, direction, layer_mm):
    """Area, islands and tip margin of the section at half a layer, by trimesh and shapely."""
    upright = turn_up(mesh, direction)
    bed = upright.bounds[0, 2]
    outline = upright.section(plane_normal=[0, 0, 1], plane_origin=[0, 0, bed + layer_mm / 2])
    flat, _ = outline.to_2D(to_2D=trimesh.transformations.translation_matrix([0, 0, -bed - layer_mm / 2]))
    polygons = list(flat.polygons_full)
    hull = shapely.MultiPolygon(polygons).convex_hull
    foot = shapely.Point(upright.center_mass[:2])
    away = hull.exterior.distance(foot) * (1 if hull.contains(foot) else -1)
    margin = math.degrees(math.atan2(away, upright.center_mass[2] - bed))
    return sum(p.area for p in polygons), len(polygons), margin


MESHES = {
    "perforated wall": perforated,
    "table": table,
    "torus": lambda: trimesh.creation.torus(20, 5, major_sections=64, minor_sections=48),
    "capsule": lambda: trimesh.creation.capsule(height=30, radius=8),
    "annulus": lambda: trimesh.creation.annulus(5, 12, 25),
}


@pytest.mark.parametrize("layer_mm", [0.2, 3.0])
@pytest.mark.parametrize("name", MESHES)
def test_section_agrees_with_trimesh_and_shapely(name, layer_mm):
    mesh = MESHES[name]()
    got = footprint(mesh, SPREAD, layer_mm)
    for i, b in enumerate(SPREAD):
        area, islands, margin = section(mesh, b, layer_mm)
        assert got.first_layer_mm2[i] == pytest.approx(area, rel=2e-3, abs=1e-4)
        assert got.islands[i] == islands
        assert got.tip_margin_deg[i] == pytest.approx(margin, abs=0.05)


def test_table_stands_on_its_base():
    got = footprint(table())
    mass = np.array([40 * 40 * 2, 4 * 4 * 17, 60 * 60 * 2])
    height = mass @ np.array([1.0, 10.5, 20.0]) / mass.sum()
    assert got.first_layer_mm2[0] == pytest.approx(1600.0, rel=1e-5)
    assert got.islands[0] == 1
    assert got.tip_margin_deg[0] == pytest.approx(math.degrees(math.atan(20 / height)), abs=1e-3)


def test_a_leaning_part_has_a_negative_margin():
    # A heavy block out over the edge of a small foot: the centre of mass hangs outside.
    hanging = join(box((4, 10, 10), (0, 0, 0)), box((60, 10, 5), (0, 0, 9)))
    got = footprint(hanging)
    volume = np.array([4 * 10 * 9.0, 60 * 10 * 5.0])
    x = volume @ np.array([2.0, 30.0]) / volume.sum()
    z = volume @ np.array([4.5, 11.5]) / volume.sum()
    assert got.tip_margin_deg[0] == pytest.approx(-math.degrees(math.atan((x - 4) / z)), abs=0.01)


def test_legs_are_islands_and_so_is_a_peg_inside_a_ring():
    top = box((40, 40, 3), (0, 0, 10))
    legs = [box((3, 3, 11), (x, y, 0)) for x in (0, 37) for y in (0, 37)]
    assert footprint(join(top, *legs)).islands[0] == 4
    # Nested outlines, each holding material: ring, ring within it, peg within that.
    rings = [trimesh.creation.annulus(a, b, 12, sections=64) for a, b in ((14, 18), (7, 11))]
    peg = trimesh.creation.cylinder(radius=3, height=12, sections=64)
    lid = box((40, 40, 3), (-20, -20, 5))
    nested = footprint(join(lid, *rings, peg))
    assert nested.islands[0] == 3
    polygon = 32 * math.sin(2 * math.pi / 64)
    assert nested.first_layer_mm2[0] == pytest.approx(
        polygon * (18**2 - 14**2 + 11**2 - 7**2 + 3**2), rel=1e-4
    )


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 999), name=st.sampled_from(sorted(MESHES)))
def test_turning_part_and_direction_together_changes_nothing(seed, name):
    part = part_from_trimesh(MESHES[name]())
    turn = Rotation.random(random_state=seed).as_matrix()
    b = np.random.default_rng(seed).normal(size=(5, 3))
    b /= np.linalg.norm(b, axis=1, keepdims=True)
    one = footprint(part, b, 1.0)
    other = footprint(part.turned(turn, [40.0, -30.0, 500.0]), b @ turn.T, 1.0)
    assert np.allclose(one.first_layer_mm2, other.first_layer_mm2, rtol=1e-4, atol=1e-4)
    assert np.array_equal(one.islands, other.islands)
    assert np.allclose(one.tip_margin_deg, other.tip_margin_deg, atol=1e-2)


@settings(max_examples=10, deadline=None)
@given(scale=st.floats(0.05, 50.0), seed=st.integers(0, 999))
def test_scaling_with_the_layer(scale, seed):
    b = np.random.default_rng(seed).normal(size=(5, 3))
    b /= np.linalg.norm(b, axis=1, keepdims=True)
    one = footprint(perforated(), b, 1.0)
    other = footprint(perforated().apply_scale(scale), b, scale)
    assert np.allclose(one.first_layer_mm2 * scale**2, other.first_layer_mm2, rtol=1e-3, atol=1e-4 * scale**2)
    assert np.array_equal(one.islands, other.islands)
    assert np.allclose(one.tip_margin_deg, other.tip_margin_deg, atol=1e-2)


def test_splitting_and_shuffling_change_nothing():
    mesh = perforated()
    vertices, faces = trimesh.remesh.subdivide(mesh.vertices, mesh.faces)
    one = footprint(mesh, SPREAD)
    other = footprint(part_from_arrays(vertices, np.random.default_rng(4).permutation(faces)), SPREAD)
    assert np.allclose(one.first_layer_mm2, other.first_layer_mm2, rtol=1e-4, atol=1e-4)
    assert np.array_equal(one.islands, other.islands)
    assert np.allclose(one.tip_margin_deg, other.tip_margin_deg, atol=1e-2)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 999), keep=st.floats(0.2, 0.98))
def test_an_open_mesh_stays_finite(seed, keep):
    mesh = perforated()
    chosen = np.random.default_rng(seed).random(len(mesh.faces)) < keep
    got = footprint(part_from_arrays(mesh.vertices, mesh.faces[chosen]), SPREAD)
    assert np.all(np.isfinite(got.first_layer_mm2) & (got.first_layer_mm2 >= 0))
    assert np.all(got.islands >= 0)
    assert np.all(np.abs(got.tip_margin_deg) <= 90.0)


def test_far_from_the_origin_and_at_a_needle():
    far = footprint(table().apply_translation([1e5, -1e5, 1e5]))
    assert far.first_layer_mm2[0] == pytest.approx(1600.0, rel=1e-5)
    needle = trimesh.creation.cylinder(radius=0.1, height=200, sections=32)
    got = footprint(needle)
    assert got.first_layer_mm2[0] == pytest.approx(16 * math.sin(math.pi / 16) * 0.01, rel=1e-3)
    inradius = 0.1 * math.cos(math.pi / 32)
    assert got.tip_margin_deg[0] == pytest.approx(math.degrees(math.atan(inradius / 100)), rel=1e-2)


def test_many_bodies_are_as_many_islands():
    grid = np.stack(np.meshgrid(np.arange(70), np.arange(72)), axis=-1).reshape(-1, 2) * 3.0
    corner = trimesh.creation.box((1, 1, 1))
    vertices = (corner.vertices[None] + np.c_[grid, np.zeros(len(grid))][:, None]).reshape(-1, 3)
    faces = (corner.faces[None] + 8 * np.arange(len(grid))[:, None, None]).reshape(-1, 3)
    got = footprint(part_from_arrays(vertices, faces))
    assert got.islands[0] == 70 * 72
    assert got.first_layer_mm2[0] == pytest.approx(70 * 72, rel=1e-5)

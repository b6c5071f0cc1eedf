"""What stands on the bed and what begins in the air, against shapes drawn so that both are known."""

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from orient.features.grounded import links_of, standing
from orient.features.rays import Rays
from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.features.gauges_ceilings import box

UP = np.array([0.0, 0.0, 1.0])


def part_of(solid):
    mesh = solid.to_mesh64()
    return part_from_arrays(np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts))


def stands(part, direction=UP):
    heights = part.vertices @ direction
    heights = heights - heights.min()
    return heights, standing(part, links_of(part), Rays(part), direction, heights, 0.1)


def test_a_block_on_the_bed_stands_everywhere():
    heights, found = stands(part_of(box((0, 10), (0, 10), (0, 10)).refine(4)))
    assert len(found.start_vertex) == 0
    assert (found.grounded_from == heights).all()


def test_a_hanging_post_stands_only_from_the_ceiling_on():
    gate = box((0, 30), (0, 20), (0, 20)) - box((5, 25), (-1, 21), (-1, 14))
    heights, found = stands(part_of((gate + box((13, 17), (8, 12), (6, 15))).refine(3)))
    assert heights[found.start_vertex] == pytest.approx([6.0])
    assert found.start_persistence == pytest.approx([8.0])
    hanging = (found.grounded_from > heights) & (heights < 13.9)
    assert hanging.any()
    assert found.grounded_from[hanging] == pytest.approx(14.0)


def test_two_posts_joined_in_the_air_begin_twice_and_the_younger_meets_the_older():
    gate = box((-30, 30), (0, 20), (0, 40)) - box((-25, 25), (-1, 21), (-1, 34))
    bar = box((-10, 10), (8, 12), (20, 23))
    legs = box((-10, -7), (8, 12), (9, 21)) + box((7, 10), (8, 12), (12, 21))
    heights, found = stands(part_of(gate + bar + legs + box((-1, 1), (8, 12), (22, 35))))
    order = np.argsort(heights[found.start_vertex])
    assert heights[found.start_vertex][order] == pytest.approx([9.0, 12.0])
    # The leg from 12 joins the bar at 20; the one from 9 meets the gate's ceiling at 34.
    assert found.start_persistence[order] == pytest.approx([25.0, 8.0])


def test_the_floor_of_a_cup_and_the_bottom_of_a_void_stand():
    cup = box((0, 20), (0, 20), (0, 20)) - box((3, 17), (3, 17), (4, 21))
    void = box((30, 50), (0, 20), (0, 20)) - Manifold.sphere(6, 32).translate((40, 10, 10))
    for solid in (cup, void, cup + box((19, 31), (5, 8), (0, 3)) + void):
        heights, found = stands(part_of(solid))
        assert len(found.start_vertex) == 0
        assert (found.grounded_from == heights).all()


def test_the_floor_of_a_hanging_cup_hangs():
    gate = box((-20, 20), (0, 30), (0, 40)) - box((-15, 15), (-1, 31), (-1, 34))
    cup = box((-4, 4), (10, 20), (20, 29)) - box((-3, 3), (11, 19), (22, 30))
    heights, found = stands(part_of(gate + cup + box((3, 4), (10, 20), (28, 35))))
    assert heights[found.start_vertex] == pytest.approx([20.0])
    floor = np.abs(heights - 22.0) < 1e-9
    assert found.grounded_from[floor] == pytest.approx(34.0)


def test_a_floating_body_never_stands():
    apart = box((0, 10), (0, 10), (0, 10)) + box((20, 30), (0, 10), (5, 10))
    heights, found = stands(part_of(apart))
    assert heights[found.start_vertex] == pytest.approx([5.0])
    assert np.isinf(found.grounded_from[(heights >= 5) & np.isinf(found.grounded_from)]).any()


def test_minima_are_those_of_a_plain_search_over_neighbours():
    # Independent: networkx-free, straight from the definition, on a bumpy sphere.
    mesh = trimesh.creation.icosphere(subdivisions=3, radius=10)
    bumps = 1 + 0.08 * np.sin(7 * mesh.vertices[:, :1]) * np.cos(5 * mesh.vertices[:, 1:2])
    part = part_from_trimesh(trimesh.Trimesh(mesh.vertices * bumps, mesh.faces, process=False))
    heights, found = stands(part)
    near = trimesh.Trimesh(part.vertices, part.faces, process=False)
    down = near.vertex_normals[:, 2] < 0
    lowest = [
        v
        for v in range(len(heights))
        if heights[v] > 0.1 and all(heights[w] > heights[v] for w in near.vertex_neighbors[v])
    ]
    assert set(found.start_vertex.tolist()) == {v for v in lowest if down[v]}


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_what_stands_turns_with_the_part(seed):
    gate = box((0, 30), (0, 20), (0, 20)) - box((5, 25), (-1, 21), (-1, 14))
    part = part_of((gate + box((13, 17), (8, 12), (6, 15))).refine(2))
    turn = trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))[:3, :3]
    _, before = stands(part)
    _, after = stands(part.turned(turn), turn @ UP)
    assert after.grounded_from == pytest.approx(before.grounded_from, abs=1e-9)
    # Rounding makes a level ceiling bumpy; such starts do not last.
    lasting = [sorted(found.start_persistence[found.start_persistence > 1e-6]) for found in (before, after)]
    assert lasting[1] == pytest.approx(lasting[0], abs=1e-9)

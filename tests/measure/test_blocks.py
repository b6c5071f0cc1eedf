"""Faces sorted into blocks: none lost, none doubled, and every block bounds what it holds."""

import numpy as np
import pytest
import trimesh

from orient.measure.blocks import BLOCK_FACES, sort_into_blocks
from orient.part.mesh import part_from_trimesh
from tests.measure.measured import perforated, table

MESHES = {
    "perforated wall": perforated,
    "table": table,
    "sphere": lambda: trimesh.creation.icosphere(subdivisions=4, radius=30.0),
    "needle": lambda: trimesh.creation.cylinder(radius=0.1, height=200, sections=9),
    "far away": lambda: table().apply_translation([1e5, -1e5, 1e5]),
}


@pytest.fixture(params=MESHES)
def sorted_part(request):
    part = part_from_trimesh(MESHES[request.param]())
    return part, sort_into_blocks(part)


def test_every_face_is_in_one_block(sorted_part):
    part, blocks = sorted_part
    assert np.array_equal(np.sort(blocks.original), np.arange(len(part.faces)))
    sizes = np.diff(blocks.first)
    assert blocks.first[0] == 0
    assert blocks.first[-1] == len(part.faces)
    assert sizes.min() >= 1
    assert sizes.max() <= BLOCK_FACES


def test_faces_keep_their_corners_normals_and_areas(sorted_part):
    part, blocks = sorted_part
    corners = np.stack([blocks.x, blocks.y, blocks.z], axis=1)[blocks.faces] + blocks.centre
    wanted = part.vertices[part.faces[blocks.original]]
    assert np.abs(corners - wanted).max() <= 1e-6 * blocks.radius + 1e-9
    assert np.allclose(blocks.normals, part.normals[blocks.original], atol=1e-6)
    assert np.array_equal(blocks.areas, part.areas[blocks.original])


def test_centre_is_the_surface_centroid_that_trimesh_finds(sorted_part):
    part, blocks = sorted_part
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    assert np.allclose(blocks.centre, mesh.centroid, atol=1e-6 * mesh.scale)
    reach = np.linalg.norm(part.vertices - blocks.centre, axis=1).max()
    assert blocks.radius == pytest.approx(reach, rel=1e-9)


def test_boxes_and_cones_hold_their_faces(sorted_part):
    _, blocks = sorted_part
    corners = np.stack([blocks.x, blocks.y, blocks.z], axis=1)[blocks.faces]
    for b in range(len(blocks.first) - 1):
        some = slice(blocks.first[b], blocks.first[b + 1])
        assert np.all(np.abs(corners[some] - blocks.box_middle[b]) <= blocks.box_half[b])
        assert np.all(blocks.normals[some] @ blocks.cone_axis[b] >= blocks.cone_cos[b])
        assert blocks.cone_cos[b] ** 2 + blocks.cone_sin[b] ** 2 == pytest.approx(1.0, abs=1e-5)


def test_a_skipped_block_never_holds_a_face_that_looks_that_way():
    # The test that the kernel makes, on its cones: least n·b over the cone is cos(angle + half angle).
    blocks = sort_into_blocks(part_from_trimesh(trimesh.creation.icosphere(subdivisions=4)))
    directions = np.random.default_rng(0).normal(size=(50, 3)).astype(np.float32)
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    least = np.minimum.reduceat(blocks.normals @ directions.T, blocks.first[:-1], axis=0)
    cosine = blocks.cone_axis @ directions.T
    sine = np.sqrt(np.maximum(0.0, 1.0 - cosine**2))
    cone_cos, cone_sin = blocks.cone_cos[:, None], blocks.cone_sin[:, None]
    bound = np.where(cosine > -cone_cos, cosine * cone_cos - sine * cone_sin, -1.0)
    assert np.all(bound <= least + 1e-6)
    # And the cones are tight enough to be of use.
    assert np.mean(bound > -0.7) > 0.5

import numpy as np
import pytest
import trimesh

from orient.errors import OrientError
from orient.part.edges import edges_of
from orient.part.merge import merge_equal
from orient.part.mesh import part_from_arrays
from tests.part.shapes import box, prism, stacked, voxels


def soup(vertices, faces):
    return vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)


def test_equal_corners_merge_as_numpy_finds_them():
    points = np.random.default_rng(1).integers(-3, 4, (500, 3)).astype(np.float32)
    first, inverse = merge_equal(points.copy())
    assert len(first) == len(np.unique(points, axis=0))
    np.testing.assert_array_equal(points[first][inverse], points)


def test_zero_and_minus_zero_are_one_corner():
    first, _ = merge_equal(np.array([[0.0, 1, 2], [-0.0, 1, 2]]))
    assert len(first) == 1


@pytest.mark.parametrize("n", [12, 300])  # at the hub of a fan of 300 many edges end
def test_neighbours_are_those_trimesh_finds(n):
    vertices, faces = prism(n, 10, 5)
    edges = edges_of(faces.astype(np.int32), len(vertices))
    ours = {tuple(sorted((f, g))) for f, row in enumerate(edges.neighbours.tolist()) for g in row}
    theirs = trimesh.Trimesh(vertices, faces, process=False).face_adjacency
    assert ours == {tuple(sorted(pair)) for pair in theirs.tolist()}
    assert edges.closed


def test_a_triangle_soup_is_merged_and_reported():
    part = part_from_arrays(*soup(*box()))
    assert len(part.vertices) == 8
    assert part.closed
    assert "36 corners were merged into 8 vertices." in part.health.repairs


def test_a_clean_mesh_reports_nothing():
    part = part_from_arrays(*box())
    assert part.notes == ()
    assert part.health.chord_error_mm == 0


def test_corners_a_rounding_error_apart_are_welded_and_reported():
    vertices, faces = soup(*box((10, 20, 30)))
    vertices += np.random.default_rng(2).uniform(-1e-6, 1e-6, vertices.shape)
    part = part_from_arrays(vertices, faces)
    assert part.closed
    assert any("rounding error apart" in sentence for sentence in part.health.repairs)


def test_a_gap_wider_than_rounding_stays_open():
    vertices, faces = box()
    vertices = np.vstack([vertices, vertices[faces[0, 0]] + 0.01])
    faces[0, 0] = 8
    part = part_from_arrays(vertices, faces)
    assert not part.closed
    assert part.health.open_edges > 0


def test_degenerate_and_duplicate_faces_are_dropped_and_reported():
    vertices, faces = box()
    faces = np.vstack([faces, faces[3], faces[5][[1, 2, 0]], [2, 2, 5]])
    part = part_from_arrays(vertices, faces)
    assert (part.health.degenerate_faces, part.health.duplicate_faces) == (1, 2)
    assert len(part.faces) == 12
    assert part.closed
    assert "1 face with two equal corners was dropped." in part.health.repairs
    assert "2 faces given twice were dropped." in part.health.repairs


def test_faces_wound_the_wrong_way_are_turned_and_counted():
    vertices, faces = prism(24, 10, 10)
    right = part_from_arrays(vertices, faces)
    wrong = faces.copy()
    wrong[[0, 7, 30, 31]] = wrong[[0, 7, 30, 31]][:, ::-1]
    part = part_from_arrays(vertices, wrong)
    assert part.health.flipped_faces == 4
    assert part.closed
    assert part.volume_mm3 == pytest.approx(right.volume_mm3)
    np.testing.assert_allclose(part.normals, right.normals, atol=1e-12)
    assert "4 faces wound against the faces around were turned." in part.health.repairs


def test_a_body_inside_out_is_turned_and_reported():
    vertices, faces = box()
    part = part_from_arrays(vertices, faces[:, ::-1])
    assert part.health.inside_out_bodies == 1
    assert any("looked inward" in sentence for sentence in part.health.repairs)
    outward = np.einsum("ij,ij->i", part.normals, part.centroids - part.center_of_mass)
    assert outward.min() > 0


def test_a_one_sided_surface_is_left_alone_and_called_not_closed():
    # A Möbius band of 12 quads: half a turn over the round.
    t = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    edge = [
        [(10 + s * np.cos(a / 2)) * np.cos(a), (10 + s * np.cos(a / 2)) * np.sin(a), s * np.sin(a / 2)]
        for a in t
        for s in (-2, 2)
    ]
    faces = []
    for i in range(12):
        a, b = 2 * i, 2 * i + 1
        c, d = (2 * i + 2, 2 * i + 3) if i < 11 else (1, 0)
        faces += [(a, c, b), (b, c, d)]
    part = part_from_arrays(edge, faces)
    assert not part.closed
    assert any("disagree" in sentence for sentence in part.health.warnings)


def test_a_t_junction_is_not_repaired_but_counted():
    # One face of a box split in two at an edge's middle, its neighbour across that edge not.
    vertices, faces = box()
    a, b, c = faces[0]
    vertices = np.vstack([vertices, (vertices[a] + vertices[b]) / 2])
    faces = np.vstack([faces[1:], [a, 8, c], [8, b, c]])
    part = part_from_arrays(vertices, faces)
    assert not part.closed
    assert part.health.open_edges == 3
    assert len(part.faces) == 13
    assert "3 open edges" in part.health.warnings[0]
    # The surface is whole though its topology is not: the volume still comes out.
    assert part.volume_mm3 == pytest.approx(1000)


def test_a_surface_that_meets_itself_along_an_edge_is_told_apart():
    # A bow of five cubes whose ends share one edge; four faces meet there.
    part = part_from_arrays(*voxels([(0, 0, 0), (1, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1)]))
    assert part.health.nonmanifold_edges == 1
    assert part.closed
    assert part.volume_mm3 == pytest.approx(5)
    assert any("meets itself along one edge" in sentence for sentence in part.health.repairs)


def test_unused_corners_that_are_not_finite_are_dropped_and_counted():
    vertices, faces = box()
    part = part_from_arrays(np.vstack([[np.nan, 0, 0], vertices]), faces + 1)
    assert part.health.nonfinite_vertices == 1
    assert part.closed
    assert len(part.vertices) == 8


@pytest.mark.parametrize(
    ("vertices", "faces", "says"),
    [
        (np.zeros((3, 3)), np.empty((0, 3), int), "no faces"),
        (np.eye(3), [[0, 1, 2]], "single face"),
        (np.eye(3), [[0, 1, 2], [0, 1, 3]], "not there"),
        (np.eye(3), [[0, 1, 2], [0, 1, -1]], "not there"),
        (np.eye(3), [[0, 0, 1], [1, 1, 2]], "three different corners"),
        ([[0, 0, 0], [1, 0, 0], [0, np.inf, 0]], [[0, 1, 2], [0, 2, 1]], "no finite number"),
        ([[0, 0, 1], [1, 0, 2], [0, 1, 3], [1, 1, 4]], [[0, 1, 2], [1, 3, 2]], "one plane"),
        (np.eye(4)[:, :3] * 1e200, [[0, 1, 2], [0, 1, 3]], "too large"),
        (np.zeros((3, 2)), [[0, 1, 2], [0, 1, 2]], "shape"),
    ],
)
def test_what_is_no_mesh_is_refused_with_the_reason(vertices, faces, says):
    with pytest.raises(OrientError, match=says):
        part_from_arrays(vertices, faces)


def test_two_stacked_meshes_keep_their_groups_through_repair():
    vertices, faces = stacked(box(), box(at=(20, 0, 0)))
    faces = np.vstack([[0, 0, 1], faces])
    part = part_from_arrays(vertices, faces, groups={"first": np.arange(1, 13), "lost": [0]})
    assert set(part.groups) == {"first"}
    assert part.centroids[part.groups["first"]][:, 0].max() <= 10

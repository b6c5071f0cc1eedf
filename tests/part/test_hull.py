import itertools

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.part.hull import hull_of

TURN = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def box(x, y, z):
    return np.array(list(itertools.product([0.0, x], [0.0, y], [0.0, z])))


def cloud(count, seed):
    return np.random.default_rng(seed).normal(size=(count, 3)) * [10, 20, 35]


@pytest.mark.parametrize("seed", range(3))
def test_volume_and_area_are_qhulls(seed):
    points = cloud(400, seed)
    ours, theirs = hull_of(points), ConvexHull(points)
    assert ours.volume_mm3 == pytest.approx(theirs.volume, rel=1e-12)
    assert ours.area_mm2 == pytest.approx(theirs.area, rel=1e-12)
    assert len(ours.points) == len(theirs.vertices)


def test_flat_faces_of_a_box_are_six():
    hull = hull_of(box(10, 20, 30) @ TURN.T)
    assert hull.areas == pytest.approx([600, 600, 300, 300, 200, 200])
    axes = np.abs(hull.normals @ TURN)
    assert np.sort(axes, axis=1) == pytest.approx(np.tile([0, 0, 1], (6, 1)), abs=1e-12)


def test_noise_of_a_single_precision_file_does_not_break_a_flat_face():
    mesh = trimesh.creation.box((100, 60, 40))
    for _ in range(4):
        mesh = mesh.subdivide()
    points = (mesh.vertices @ TURN.T + [500, 300, 200]).astype(np.float32)
    hull = hull_of(points)
    assert hull.areas == pytest.approx([6000, 6000, 4000, 4000, 2400, 2400], rel=1e-5)
    assert np.abs(hull.normals @ TURN).max(axis=1) == pytest.approx(np.ones(6), abs=1e-9)
    assert hull.width_mm == pytest.approx(40, rel=1e-5)


def test_a_cylinder_rests_on_its_ends_and_each_facet():
    mesh = trimesh.creation.cylinder(radius=10, height=50, sections=360)
    hull = hull_of(mesh.vertices @ TURN.T)
    assert len(hull.normals) == 362
    assert hull.areas.sum() == pytest.approx(mesh.area, rel=1e-9)


def test_faces_touch_the_hull_from_outside():
    points = cloud(300, 7)
    hull = hull_of(points)
    heights = points @ hull.normals.T
    assert heights.max(axis=0) == pytest.approx(hull.offsets, abs=1e-9)


# Distance of opposite faces or edges of the regular solids of edge 1: tetrahedron a/√2 between opposite
# edges, octahedron a√(2/3) between faces, icosahedron twice the inradius a·φ²/(2√3) (Coxeter, Regular
# Polytopes, table I).
@pytest.mark.parametrize(
    ("points", "width"),
    [
        (np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / np.sqrt(8), 1 / np.sqrt(2)),
        (np.vstack([np.eye(3), -np.eye(3)]) / np.sqrt(2), np.sqrt(2 / 3)),
        (
            trimesh.creation.icosahedron().vertices
            / trimesh.creation.icosahedron().edges_unique_length.mean(),
            (1 + np.sqrt(5)) ** 2 / 4 / np.sqrt(3),
        ),
        (box(1, 2, 3), 1.0),
    ],
    ids=["tetrahedron", "octahedron", "icosahedron", "box"],
)
def test_width_of_regular_solids(points, width):
    assert hull_of(points @ TURN.T).width_mm == pytest.approx(width, rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_no_direction_is_narrower_than_the_width(seed):
    points = cloud(40, seed)
    hull = hull_of(points)
    directions = np.random.default_rng(seed).normal(size=(200_000, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    widths = np.ptp(directions @ hull.points.T, axis=1)
    # Dense sampling comes near the least width from above, never below it.
    assert hull.width_mm <= widths.min() + 1e-9
    assert hull.width_mm >= widths.min() * 0.98


@pytest.mark.parametrize("seed", range(4))
def test_width_between_edges_is_found(seed):
    # All crossings of edge directions, tried one by one, are slow and certain.
    points = cloud(24, seed)
    found = ConvexHull(points)
    edges = {tuple(sorted(pair)) for face in found.simplices for pair in itertools.combinations(face, 2)}
    along = np.array([points[b] - points[a] for a, b in sorted(edges)])
    normals = np.cross(along[:, None], along[None]).reshape(-1, 3)
    length = np.linalg.norm(normals, axis=1)
    normals = normals[length > 1e-9] / length[length > 1e-9, None]
    widths = np.ptp(np.concatenate([normals, found.equations[:, :3]]) @ points.T, axis=1)
    assert hull_of(points).width_mm == pytest.approx(widths.min(), rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_diameter_is_the_largest_distance(seed):
    points = cloud(300, seed)
    assert hull_of(points).diameter_mm == pytest.approx(pdist(points).max(), rel=1e-12)


def test_a_ball_is_as_wide_as_it_is_long():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=50)
    hull = hull_of(ball.vertices)
    assert hull.diameter_mm == pytest.approx(100, rel=1e-9)
    assert hull.width_mm == pytest.approx(100, rel=1e-3)
    assert hull.width_mm < 100


def test_polygons_go_round_their_faces():
    hull = hull_of(box(10, 20, 30) @ TURN.T)
    for k, polygon in enumerate(hull.polygons):
        vector = np.cross(polygon, np.roll(polygon, -1, axis=0)).sum(axis=0) / 2
        assert vector @ hull.normals[k] == pytest.approx(hull.areas[k])
        assert len(polygon) == 4


def test_margin_is_measured_to_the_nearest_rim():
    hull = hull_of(box(10, 20, 30))
    margins = hull.margins_mm([4.0, 7.0, 40.0])
    by_normal = {tuple(np.round(n).astype(int)): m for n, m in zip(hull.normals, margins, strict=True)}
    assert by_normal[0, 0, -1] == pytest.approx(4)
    assert by_normal[1, 0, 0] == pytest.approx(-10)
    assert by_normal[0, -1, 0] == pytest.approx(-10)


def test_a_sheet_has_two_faces_and_no_volume():
    sheet = np.column_stack([np.random.default_rng(0).random((200, 2)) * 10, np.zeros(200)])
    hull = hull_of(sheet @ TURN.T)
    area = ConvexHull(sheet[:, :2]).volume
    assert hull.areas == pytest.approx([area, area])
    assert hull.normals[0] == pytest.approx(-hull.normals[1])
    assert (hull.volume_mm3, hull.width_mm) == (0.0, 0.0)
    assert hull.diameter_mm == pytest.approx(pdist(sheet).max())


def test_points_on_a_line_are_refused():
    with pytest.raises(OrientError, match="on one line"):
        hull_of(np.outer(np.arange(5.0), [1, 2, 3]))


def test_a_rim_of_many_points_takes_no_square_time():
    turns = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    rims = [50 * np.column_stack([np.cos(turns), np.sin(turns), np.full(len(turns), z)]) for z in (0, 1)]
    hull = hull_of(np.concatenate(rims))
    assert hull.volume_mm3 == pytest.approx(np.pi * 50**3, rel=1e-5)
    assert hull.areas[0] == pytest.approx(np.pi * 50**2, rel=1e-5)
    assert hull.diameter_mm == pytest.approx(50 * np.sqrt(5), rel=1e-5)
    assert hull.width_mm == pytest.approx(50, rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(30)), st.integers(0, 100))
def test_order_of_points_changes_nothing(order, seed):
    points = cloud(30, seed)
    one, other = hull_of(points), hull_of(points[list(order)])
    assert np.array_equal(one.points, other.points)
    assert np.array_equal(one.normals, other.normals)
    assert (one.width_mm, one.diameter_mm) == (other.width_mm, other.diameter_mm)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 1000), st.floats(0.01, 100))
def test_turned_and_scaled_it_keeps_its_figures(seed, scale):
    points = cloud(40, seed)
    turn = Rotation.random(random_state=seed).as_matrix()
    one, other = hull_of(points), hull_of(scale * points @ turn.T + [5, -3, 8])
    assert other.volume_mm3 == pytest.approx(one.volume_mm3 * scale**3, rel=1e-9)
    assert other.width_mm == pytest.approx(one.width_mm * scale, rel=1e-9)
    assert other.diameter_mm == pytest.approx(one.diameter_mm * scale, rel=1e-9)
    assert other.areas == pytest.approx(one.areas * scale**2, rel=1e-6)

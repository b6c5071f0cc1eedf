import manifold3d
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from orient.pose.resting import MOST_RESTS, resting_poses
from tests.pose.shapes import bracket, part_from_trimesh, solid

TURN = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def rotated(mesh):
    mesh.apply_transform(np.vstack([np.column_stack([TURN, np.zeros(3)]), [0, 0, 0, 1]]))
    return mesh


def leaning_prism():
    """A prism of triangular section so slanted that it can't stand on its ends."""
    mesh = trimesh.creation.extrude_triangulation(
        np.array([[0.0, 0], [20, 0], [0, 12]]), np.array([[0, 1, 2]]), 60.0
    )
    mesh.vertices[:, 0] += 0.8 * mesh.vertices[:, 2]
    return mesh


@pytest.mark.parametrize(
    "mesh",
    [
        trimesh.creation.box((10, 20, 30)),
        trimesh.creation.icosahedron(),
        trimesh.creation.cylinder(radius=5, height=20, sections=12),
        trimesh.creation.cone(radius=10, height=15, sections=16),
        leaning_prism(),
        trimesh.creation.annulus(r_min=4, r_max=9, height=6, sections=20),
        trimesh.convex.convex_hull(np.random.default_rng(5).normal(size=(30, 3)) * [5, 8, 20]),
    ],
    ids=["box", "icosahedron", "cylinder", "cone", "leaning prism", "ring", "random hull"],
)
def test_stable_poses_are_those_of_trimesh(mesh):
    mesh = rotated(mesh.copy())
    transforms, _ = trimesh.poses.compute_stable_poses(mesh, threshold=0.0)
    theirs = transforms[:, 2, :3]
    found = resting_poses(part_from_trimesh(mesh))
    alike = found.directions[found.stable] @ theirs.T
    # Every pose that trimesh lets a part come to rest in is one that stands here, and the other way round.
    assert alike.max(axis=0).min() > 1 - 1e-8
    assert alike.max(axis=1).min() > 1 - 1e-8


def test_contact_area_is_the_parts_not_the_hulls():
    # A table: the hull's foot is 40 × 30, the part stands on four legs of 5 × 5.
    cube = manifold3d.Manifold.cube
    table = cube((40, 30, 4)).translate((0, 0, 20))
    for x in (0, 35):
        for y in (0, 25):
            table += cube((5, 5, 20)).translate((x, y, 0))
    part = solid(table)
    found = resting_poses(part)
    down = found.directions @ [0, 0, 1.0] > 0.999
    assert found.contact_area_mm2[down] == pytest.approx([100])
    assert part.hull.areas.max() == pytest.approx(1200)
    top = found.directions @ [0, 0, -1.0] > 0.999
    assert found.contact_area_mm2[top] == pytest.approx([1200])


def test_contact_area_of_a_ring_leaves_out_its_hole():
    mesh = rotated(trimesh.creation.annulus(r_min=4, r_max=9, height=6, sections=64))
    found = resting_poses(part_from_trimesh(mesh))
    sector = 64 / 2 * np.sin(2 * np.pi / 64)
    flat = np.abs(found.directions @ TURN[:, 2]) > 0.999
    assert found.contact_area_mm2[flat] == pytest.approx([sector * (81 - 16)] * 2)


def test_margin_of_a_box_is_half_its_shorter_side():
    found = resting_poses(part_from_trimesh(rotated(trimesh.creation.box((10, 20, 30)))))
    assert np.sort(found.margin_mm) == pytest.approx([5, 5, 5, 5, 10, 10])
    assert found.stable.all()


def test_standing_poses_come_first():
    found = resting_poses(part_from_trimesh(leaning_prism()))
    assert found.stable.any()
    assert not found.stable.all()
    assert np.all(np.diff(found.stable.astype(int)) <= 0)
    assert np.array_equal(
        found.stable, found.margin_mm > part_from_trimesh(leaning_prism()).hull.tolerance_mm
    )


def test_a_balls_facets_are_capped_and_the_standing_kept():
    ball = trimesh.creation.icosphere(subdivisions=4, radius=20)
    part = part_from_trimesh(ball)
    assert len(part.hull.normals) > MOST_RESTS
    found = resting_poses(part)
    assert len(found.directions) == MOST_RESTS
    margins = part.hull.margins_mm(part.center_of_mass)
    assert found.stable.sum() == min(MOST_RESTS, np.count_nonzero(margins > part.hull.tolerance_mm))


def test_directions_point_away_from_the_bed():
    part = bracket()
    for direction in resting_poses(part).directions:
        heights = part.hull.points @ direction
        assert np.count_nonzero(heights < heights.min() + 1e-3) >= 3

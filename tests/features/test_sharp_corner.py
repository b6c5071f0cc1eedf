"""Inner corners without a fillet and corners of the outline on the bed."""

import manifold3d
import numpy as np
import pytest
import trimesh

from orient.features import sharp_corner
from orient.features.bed import bed_of
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.pose.frame import part_frame
from orient.process import Process
from tests.features.gauges_walls import arrays_of, box, corner, disc, foot, joined, part_of, turned

SPOILS = ("clean", "turned", "float32", "ascii3", "split", "noisy")
UP = np.array([0.0, 0.0, 1.0])


@pytest.mark.parametrize("spoil", SPOILS)
def test_a_sharp_inner_corner_is_as_long_as_it_is(spoil):
    (found,) = sharp_corner.find(part_of(corner("sharp").solid, spoil))
    assert found.length_mm == pytest.approx(30.0, abs=0.3 if spoil == "noisy" else 0.02)
    assert found.turn_deg == pytest.approx(90.0, abs=3.0)


@pytest.mark.parametrize("spoil", SPOILS)
@pytest.mark.parametrize("n", [8, 16, 64])
@pytest.mark.parametrize("radius", [1.0, 2.0, 3.0])
def test_a_fillet_is_no_sharp_corner_however_few_chords_it_has(radius, n, spoil):
    assert sharp_corner.find(part_of(corner("fillet", radius, n).solid, spoil)) == []


@pytest.mark.parametrize("n", [8, 16, 64])
@pytest.mark.parametrize("radius", [0.1, 0.2, 0.3])
def test_a_fillet_too_tight_to_help_is_one_corner(radius, n):
    (found,) = sharp_corner.find(part_of(corner("fillet", radius, n).solid, "turned"))
    assert found.length_mm == pytest.approx(30.0, abs=0.05)


@pytest.mark.parametrize("size", [1.0, 3.0])
def test_a_chamfer_takes_the_corner_away(size):
    assert sharp_corner.find(part_of(corner("chamfer", size).solid, "turned")) == []


@pytest.mark.parametrize("spoil", SPOILS)
def test_a_closed_foot_is_one_corner_as_long_as_its_loop(spoil):
    gauge = foot(48)
    (found,) = sharp_corner.find(part_of(gauge.solid, spoil))
    assert found.length_mm == pytest.approx(gauge.truth["sharp_corner"][0], rel=0.01)
    assert found.direction is None


def test_convex_corners_are_none():
    assert sharp_corner.find(part_of(box((0, 20), (0, 20), (0, 20)), "turned")) == []


def test_two_ribs_have_feet_of_their_own():
    solid = joined(box((0, 40), (0, 20), (0, 5)), *[box((x, x + 4), (4, 16), (4, 15)) for x in (6, 26)])
    assert [one.length_mm for one in sharp_corner.find(part_of(solid))] == pytest.approx([32.0, 32.0])


def test_a_shallow_step_is_a_detail_and_a_high_one_is_to_tune():
    low = box((0, 20), (0, 20), (0, 6)) + box((0, 10), (0, 20), (5, 6.6))
    high = box((0, 20), (0, 20), (0, 6)) + box((0, 10), (0, 20), (5, 12))
    assert sharp_corner.find(part_of(low)) == []
    (found,) = sharp_corner.find(part_of(high))
    assert sharp_corner.judge(found, Process()).verdict == "tune"


def test_the_end_of_a_narrow_slot_is_not_told_to_take_a_fillet_it_has_no_room_for():
    block = manifold3d.Manifold.cube((20, 20, 10)) - manifold3d.Manifold.cube((0.3, 12, 10)).translate(
        (10, 0, 0)
    )
    mesh = block.to_mesh()
    part = part_from_arrays(mesh.vert_properties[:, :3], mesh.tri_verts)
    tries = [sharp_corner.judge(one, Process()).try_first for one in sharp_corner.find(part)]
    assert tries
    assert all("Fillet" not in said[0] and "half its width" in said[0] for said in tries)


def test_the_outline_of_a_cube_has_four_corners_and_is_fine():
    part = part_of(box((0, 20), (0, 20), (0, 20)))
    (outline,) = sharp_corner.find_outline(part, UP)
    assert outline.corners == 4
    assert outline.length_mm == pytest.approx(20.0 * np.sqrt(2))
    assert sharp_corner.judge(outline, Process()).verdict == "fine"


def test_a_long_plate_lifts_at_its_corners():
    # From corner to corner √(150² + 30²) = 153 mm, which shrink by 0.46 mm; 0.3 mm is the limit.
    part = part_of(box((0, 150), (0, 30), (0, 5)))
    (outline,) = sharp_corner.find_outline(part, UP)
    judged = sharp_corner.judge(outline, Process())
    assert judged.verdict == "tune"
    assert judged.more["shrinkage_mm"] == pytest.approx(
        Process().shrinkage_strain * np.hypot(150, 30), abs=1e-3
    )
    assert judged.size_mm == pytest.approx(np.hypot(150, 30), abs=1e-3)


def angle(long):
    """Two legs, of a length and five sixths of it, 6 mm thick."""
    return box((0, long), (0, 6), (0, 30)) + box((0, 6), (0, long / 1.2), (0, 30))


def test_a_run_is_measured_straight_across_and_not_along_the_legs():
    # Its legs are 54 and 44 mm long inside the angle; the two ends are no farther apart than √(60² + 50²).
    part = part_of(angle(60.0))
    (outline,) = sharp_corner.find_outline(part, UP)
    assert outline.corners == 5
    assert outline.length_mm == pytest.approx(np.hypot(60, 50))
    assert sharp_corner.judge(outline, Process()).verdict == "fine"
    bed = bed_of(part, UP, part.vertices @ UP, 0.2)
    assert outline.length_mm == pytest.approx(bed.islands[0].run_mm)


@pytest.mark.parametrize("spoil", ["clean", "split"])
def test_an_outline_is_named_at_an_end_of_its_run_on_the_part(spoil):
    part = part_of(angle(90.0), spoil)
    (outline,) = sharp_corner.find_outline(part, UP)
    judged = sharp_corner.judge(outline, Process())
    assert judged.verdict == "tune"
    assert not judged.more["ring"]
    apart = np.linalg.norm(part.vertices - np.array(judged.at_mm), axis=1)
    assert apart.min() == 0.0
    assert int(np.argmin(apart)) in part.faces[judged.faces]
    assert apart[part.vertices[:, 2] < 0.01].max() == pytest.approx(judged.size_mm, abs=0.01)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_corners_that_lift_alike_the_same_one_is_named_in_any_position(seed):
    # A plate whose four corners are alike, under a block that tells them apart.
    vertices, faces = arrays_of(box((0, 120), (0, 40), (0, 5)) + box((5, 25), (4, 14), (4, 30)))
    here, there = part_from_arrays(vertices, faces), part_from_arrays(turned(vertices, seed), faces)
    up = turned(np.array([[0.0, 0, 1], [0, 0, 0]]), seed)
    (one,) = sharp_corner.find_outline(here, UP, part_frame(here))
    (other,) = sharp_corner.find_outline(there, up[0] - up[1], part_frame(there))
    named = [
        int(np.argmin(np.linalg.norm(part.vertices - corner.centre, axis=1)))
        for part, corner in ((here, one), (there, other))
    ]
    assert named[0] == named[1]


@pytest.mark.parametrize("seed", [1, 2])
def test_the_outline_turns_with_the_part(seed):
    vertices, faces = arrays_of(box((0, 30), (0, 20), (0, 20)))
    there = turned(vertices, seed)
    up = turned(np.array([[0.0, 0, 1], [0, 0, 0]]), seed)
    (outline,) = sharp_corner.find_outline(part_from_arrays(there, faces), up[0] - up[1])
    assert outline.corners == 4
    assert outline.length_mm == pytest.approx(np.hypot(30, 20))


def test_round_outlines_and_rounded_corners_are_none():
    assert sharp_corner.find_outline(part_of(disc(10, (0, 5), 64)), UP) == []
    rounded = trimesh.creation.extrude_polygon(trimesh.path.polygons.Polygon(_rounded_square()), 5.0)
    assert sharp_corner.find_outline(part_from_trimesh(rounded), UP) == []


def _rounded_square():
    turn = np.linspace(0, np.pi / 2, 9)
    centres = [(13, 13), (-13, 13), (-13, -13), (13, -13)]
    return [
        (x + 2 * np.cos(a + k * np.pi / 2), y + 2 * np.sin(a + k * np.pi / 2))
        for k, (x, y) in enumerate(centres)
        for a in turn
    ]


def test_a_hole_in_the_bed_has_no_corners_that_point_outward():
    solid = box((0, 30), (0, 30), (0, 5)) - box((10, 20), (10, 20), (-1, 6))
    (outline,) = sharp_corner.find_outline(part_of(solid), UP)
    assert outline.corners == 4
    assert outline.length_mm == pytest.approx(30.0 * np.sqrt(2))


def test_a_part_on_a_tip_has_no_outline():
    cone = trimesh.creation.cone(radius=5, height=10)
    cone.apply_transform(trimesh.transformations.rotation_matrix(np.pi, [1, 0, 0]))
    assert sharp_corner.find_outline(part_from_trimesh(cone), UP) == []

"""Closed voids, and support that no tool gets to."""

import numpy as np
import pytest
import trimesh

from orient.features import closed_void, trapped_support
from orient.features.facing import samples_of
from orient.features.rays import Rays
from orient.features.register import inspect_part
from orient.features.voxels import reached_by
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.process import Process
from tests.features.gauges_walls import box, disc, hollow, part_of, turned

UP = np.array([0.0, 0.0, 1.0])
PROCESS = Process()


def trapped_in(part, direction=UP, tool=3.0, voids=()):
    return trapped_support.find(
        part, samples_of(part), Rays(part), reached_by(part, tool), PROCESS, direction, voids
    )


def cave(mouth):
    """A cube with a cave of 12 × 12 × 10 mm, open to one side through a square mouth."""
    solid = box((-10, 10), (-10, 10), (0, 20)) - box((-6, 6), (-6, 6), (5, 15))
    return solid - box((0, 12), (-mouth / 2, mouth / 2), (8, 8 + mouth))


@pytest.mark.parametrize("spoil", ["clean", "turned", "float32", "ascii3", "split", "noisy"])
def test_voids_are_found_with_their_largest_extent_however_they_lie(spoil):
    found = closed_void.find(part_of(hollow().solid, spoil))
    slack = 0.24 if spoil == "noisy" else 0.02
    assert sorted(void.extent_mm for void in found) == pytest.approx([7.0, 12.0], abs=slack)
    # 12 · 8 · 6, and the prism of 32 chords on Ø 5, 7 mm high.
    prism = 7 * 0.5 * 32 * 2.5**2 * np.sin(2 * np.pi / 32)
    assert sorted(void.volume_mm3 for void in found) == pytest.approx([prism, 576.0], rel=0.005)


def test_a_body_drawn_inside_out_is_no_void():
    mesh = trimesh.creation.box((10, 10, 10))
    assert closed_void.find(part_from_arrays(mesh.vertices, mesh.faces[:, ::-1])) == []


def test_a_body_in_a_void_is_no_void():
    shells = [trimesh.creation.box((s, s, s)) for s in (20, 12, 6)]
    faces = [shells[0].faces, shells[1].faces[:, ::-1] + 8, shells[2].faces + 16]
    part = part_from_arrays(np.vstack([s.vertices for s in shells]), np.vstack(faces))
    (void,) = closed_void.find(part)
    assert void.volume_mm3 == pytest.approx(12**3)


def test_an_open_shell_closes_nothing():
    outer, inner = trimesh.creation.box((20, 20, 20)), trimesh.creation.box((10, 10, 10))
    faces = np.vstack([outer.faces, inner.faces[1:, ::-1] + 8])
    assert closed_void.find(part_from_arrays(np.vstack([outer.vertices, inner.vertices]), faces)) == []


def test_a_void_whose_ceiling_needs_support_is_to_be_redesigned_and_a_roofed_one_is_not():
    flat = part_of(hollow().solid)
    assert {closed_void.judge(void, PROCESS, UP).verdict for void in closed_void.find(flat)} == {"redesign"}
    roofed = trimesh.convex.convex_hull(
        np.array([(x, y, 0) for x in (-3, 3) for y in (-3, 3)] + [(0, 0, 6.0)])
    )
    outer = trimesh.creation.box((20, 20, 20))
    part = part_from_arrays(
        np.vstack([outer.vertices, roofed.vertices]), np.vstack([outer.faces, roofed.faces[:, ::-1] + 8])
    )
    (void,) = closed_void.find(part)
    assert closed_void.judge(void, PROCESS, UP).verdict == "tune"
    assert closed_void.judge(void, PROCESS, -UP).verdict == "redesign"


@pytest.mark.parametrize("chords", [16, 32, 64])
def test_a_ball_shaped_void_is_as_wide_as_its_diameter_however_coarse(chords):
    import manifold3d

    ball = manifold3d.Manifold.sphere(5.0, chords).translate((0, 0, 12))
    for spoil in ("turned", "split"):
        (void,) = closed_void.find(part_of(box((-10, 10), (-10, 10), (0, 24)) - ball, spoil))
        assert void.extent_mm == pytest.approx(10.0, abs=0.001)


def test_the_ceiling_of_a_closed_void_belongs_to_the_void():
    # A ceiling of 8 mm bridges, one of 20 mm sags, one of 30 mm needs support that no one gets out.
    for span, verdict in ((8.0, "tune"), (20.0, "tune"), (30.0, "redesign")):
        block = box((-25, 25), (-25, 25), (0, 30)) - box((-span / 2, span / 2), (-20, 20), (5, 15))
        found = inspect_part(part_of(block), PROCESS, UP)
        (void,) = [one for one in found.features if one.kind != "sharp_corner"]
        assert (void.kind, void.verdict) == ("closed_void", verdict)
        assert void.more["ceiling"] == "bridge"
        assert void.more["ceiling_mm"] == pytest.approx(span, abs=0.02)
        # Short ones are taken out of the support that is needed, as outside.
        assert (len(found.needs_nothing) > 0) == (span <= PROCESS.bridge_limit_mm)


@pytest.mark.parametrize(("mouth", "gets_in"), [(2.0, False), (2.4, False), (3.6, True), (5.0, True)])
def test_support_in_a_cave_is_trapped_when_the_mouth_is_narrower_than_the_tool(mouth, gets_in):
    # Accuracy: one voxel, a sixth of the tool.
    found = trapped_in(part_of(cave(mouth)))
    assert (found == []) == gets_in
    if not gets_in:
        assert found[0].area_mm2 == pytest.approx(144.0, rel=0.02)
        judged = trapped_support.judge(found[0], PROCESS)
        assert judged.verdict == "redesign"
        assert judged.more["tool_mm"] == 3.0


def test_a_thinner_tool_gets_in():
    part = part_of(cave(2.4))
    assert trapped_in(part) != []
    assert trapped_in(part, tool=1.5) == []


def test_trapped_support_turns_with_the_part():
    part = part_of(cave(2.0), "turned", seed=3)
    ends = turned(np.array([[0.0, 0, 1], [0, 0, 0]]), 3)
    (found,) = trapped_in(part, ends[0] - ends[1])
    assert found.area_mm2 == pytest.approx(144.0, rel=0.05)


def test_a_cave_on_its_back_with_a_gable_needs_no_support():
    # The same cave upside down is as bad; a tunnel with a 45° roof is not.
    assert trapped_in(part_of(cave(2.0)), -UP) != []
    roof = trimesh.convex.convex_hull(
        np.array([(x, y, z) for x in (-20, 20) for y, z in ((-2, 4), (2, 4), (2, 6), (0, 8), (-2, 6))])
    )
    solid = box((-10, 10), (-10, 10), (0, 20)) - _manifold(roof)
    assert trapped_in(part_of(solid)) == []


def _manifold(mesh):
    from manifold3d import Manifold, Mesh64

    return Manifold(Mesh64(np.asarray(mesh.vertices, dtype=float), np.asarray(mesh.faces, dtype=np.uint64)))


def test_short_slots_are_cleaned_from_their_mouths_and_long_ones_are_not():
    # Ø 2 through 3 mm of wall: support sticks out within the reach of any tool. Through 40 mm it does not.
    for length, trapped in ((3.0, False), (40.0, True)):
        block = box((-length / 2, length / 2), (-6, 6), (0, 12))
        bore = disc(1.0, (-30, 30), 24).rotate((0, 90, 0)).translate((0, 0, 6))
        assert (trapped_in(part_of(block - bore)) != []) == trapped


def test_support_in_a_closed_void_is_left_to_the_void():
    part = part_of(hollow().solid)
    assert len(trapped_in(part)) == 2
    assert trapped_in(part, voids=closed_void.find(part)) == []


def test_a_cube_and_a_soup_have_none():
    assert trapped_in(part_from_trimesh(trimesh.creation.box((20, 20, 20)))) == []
    corners = np.random.default_rng(4).uniform(0, 30, (300, 3))
    assert isinstance(trapped_in(part_from_arrays(corners, np.arange(300).reshape(-1, 3))), list)


def test_the_space_that_a_ball_reaches_between_two_plates_is_as_wide_as_the_gap():
    # A ball of 3 mm enters a gap of 3.6 mm and not one of 2.4 mm (one voxel of 0.5 mm of doubt).
    for gap, gets_in in ((2.4, False), (3.6, True)):
        part = part_of(box((0, 20), (0, 20), (0, 5)) + box((0, 20), (0, 20), (5 + gap, 10 + gap)))
        reached = reached_by(part, 3.0)
        cell = ((np.array([10, 10, 5 + gap / 2]) - reached.origin) / reached.voxel_mm).astype(int)
        assert bool(reached.cells[tuple(cell)]) == gets_in


def test_a_part_of_sixty_metres_takes_no_more_memory_than_there_is_and_says_so():
    # A GLB whose numbers are millimetres is read a thousand times too large.
    mesh = trimesh.creation.annulus(r_min=10_000, r_max=30_000, height=12_000)
    reached = reached_by(part_from_arrays(mesh.vertices, mesh.faces), 3.0)
    assert reached.coarse
    assert reached.cells.size < 1.5e8
    small = trimesh.creation.annulus(r_min=10, r_max=30, height=12)
    assert not reached_by(part_from_arrays(small.vertices, small.faces), 3.0).coarse

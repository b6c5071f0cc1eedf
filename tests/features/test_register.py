"""All kinds together: one entry a feature, nothing on plain shapes, the same list however a part is drawn."""

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold

from orient.errors import OrientError
from orient.features.model import VERDICTS
from orient.features.register import BY_NAME, KINDS, hole_faces, inspect_part
from orient.features.shape import shape_of
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.process import Process
from tests.features import gauges_ceilings as gauges
from tests.features.gauges_ceilings import Gauge, box, disc, spoiled
from tests.features.gauges_round import thread_solid

PROCESS = Process()


def inspected(solid, how="clean", seed=5):
    part, up = spoiled(Gauge("", solid), how, seed)
    return inspect_part(part, PROCESS, up)


def kinds_of(inspection, *without):
    return sorted(one.kind for one in inspection.features if one.kind not in without)


def lying_hole(diameter, n=32):
    solid = box((0, 40), (0, 20), (0, 30))
    return solid - Manifold.cylinder(30, diameter / 2, -1, n).rotate((90, 0, 0)).translate((20, 25, 15))


@pytest.mark.parametrize("gauge", gauges.plain()[:3], ids=lambda gauge: gauge.name)
def test_nothing_is_hard_on_a_cube_a_standing_cylinder_or_a_chamfered_block(gauge):
    for how in (*gauges.SPOILS, gauges.NOISY):
        part, up = spoiled(gauge, how, seed=2)
        found = inspect_part(part, PROCESS, up)
        assert {one.verdict for one in found.features} <= {"fine"}
        assert {one.kind for one in found.features} <= {"sharp_corner"}
        assert not found.holes


@pytest.mark.parametrize("gauge", gauges.all_gauges(32), ids=lambda gauge: gauge.name)
def test_turned_split_and_rounded_parts_give_the_same_names_kinds_verdicts_and_sizes(gauge):
    def listed(how):
        part, up = spoiled(gauge, how, seed=11)
        found = inspect_part(part, PROCESS, up)
        return {(one.id, one.kind, one.verdict): one.size_mm for one in found.features}

    clean = listed("clean")
    for how in gauges.SPOILS[1:]:
        other = listed(how)
        assert other.keys() == clean.keys()
        # Plane-faced sizes are the same; float32 and three digits leave a thousandth.
        for key, size in clean.items():
            assert other[key] == pytest.approx(size, abs=0.005, rel=2e-3)


@pytest.mark.parametrize("diameter", [4.0, 12.0])
def test_the_ceiling_of_a_lying_hole_belongs_to_the_hole(diameter):
    for how in ("clean", "float32", "split"):
        found = inspected(lying_hole(diameter), how)
        assert kinds_of(found, "sharp_corner") == ["hole"]


def test_a_hexagon_pocket_and_its_corners_are_one_entry():
    pocket = box((0, 30), (0, 30), (0, 12)) - Manifold.cylinder(9, 4.0, -1, 6).translate((15, 15, 5))
    for how in ("clean", "float32", "split"):
        found = inspected(pocket, how)
        assert kinds_of(found).count("polygon_pocket") == 1
        lengths = [one.size_mm for one in found.features if one.kind == "sharp_corner"]
        assert all(length > 20 for length in lengths)


def test_a_lying_slot_is_one_entry():
    cutter = Manifold.hull(
        disc(3, (-1, 21), 48, x=-6) + disc(3, (-1, 21), 48, x=6),
    )
    solid = box((-20, 20), (0, 20), (0, 30)) - cutter.rotate((90, 0, 0)).translate((0, 20, 15))
    found = inspected(solid)
    assert kinds_of(found, "sharp_corner", "thin_wall") == ["slot"]


def test_features_are_sorted_by_verdict_and_counted():
    part, up = spoiled(gauges.hanging_post(), "clean")
    found = inspect_part(part, PROCESS, up)
    order = [VERDICTS.index(one.verdict) for one in found.features]
    assert order == sorted(order)
    assert sum(found.counts.values()) == len(found.features)
    for verdict in VERDICTS:
        assert found.counts[verdict] == sum(one.verdict == verdict for one in found.features)


def test_every_entry_is_complete():
    plate = gauges.hanging_post().solid + box((-40, -5), (0, 24), (0, 3)) - disc(2.1, (-1, 9), 32, -20, 12)
    part, up = spoiled(Gauge("", plate), "turned")
    found = inspect_part(part, PROCESS, up)
    names = [one.id for one in found.features]
    assert len(set(names)) == len(names)
    for one in found.features:
        kind = BY_NAME[one.kind]
        assert one.id.rstrip("0123456789") == kind.letter
        assert one.verdict in VERDICTS
        assert one.size_mm >= 0
        assert one.why.endswith(".")
        assert one.try_first or one.verdict == "fine"
        assert np.isfinite(one.at_mm).all()
        assert one.direction is None or np.linalg.norm(one.direction) == pytest.approx(1.0)
        assert len(one.faces) == 0 or (one.faces.min() >= 0 and one.faces.max() < len(part.faces))
    assert {hole.id for hole in found.holes} == {one.id for one in found.features if one.kind == "hole"}


def test_letters_are_those_of_one_kind():
    letters = [kind.letter for kind in KINDS]
    assert len(set(letters)) == len(letters) == 20


def test_names_do_not_change_with_the_pose():
    plate = box((0, 60), (0, 40), (0, 6))
    for x, y, r in ((10, 10, 1.6), (50, 10, 2.2), (30, 30, 3.0)):
        plate -= disc(r, (-1, 7), 32, x, y)
    part, _ = spoiled(Gauge("", plate), "clean")
    shape = shape_of(part, PROCESS)
    flat, upright = (inspect_part(part, PROCESS, way, shape) for way in ((0, 0, 1), (1, 0, 0)))
    assert [(one.id, one.centre_mm, one.diameter_mm) for one in flat.holes] == [
        (one.id, one.centre_mm, one.diameter_mm) for one in upright.holes
    ]
    assert [round(one.tilt_deg) for one in flat.holes] == [0, 0, 0]
    assert [round(one.tilt_deg) for one in upright.holes] == [90, 90, 90]


def test_inner_corners_keep_their_names_when_the_outline_on_the_bed_changes():
    solid = box((0, 60), (0, 40), (0, 6)) + box((10, 14), (5, 35), (5, 20)) + box((30, 34), (5, 35), (5, 20))
    part, _ = spoiled(Gauge("", solid), "clean")
    shape = shape_of(part, PROCESS)
    named = []
    for way in ((0, 0, 1), (1, 0, 0), (0, -1, 0)):
        corners = [
            one for one in inspect_part(part, PROCESS, way, shape).features if one.kind == "sharp_corner"
        ]
        named.append(sorted((one.id, one.at_mm) for one in corners if one.more["where"] == "inside"))
        assert len({one.id for one in corners}) == len(corners)
    assert [name for name, _ in named[0]] == ["C1", "C2"]
    assert named[0] == named[1] == named[2]


def test_a_corner_that_runs_round_says_so_and_a_straight_one_lies_on_its_place():
    solid = box((0, 60), (0, 40), (0, 6)) + disc(7, (5, 20), 48, 20, 20) + box((40, 60), (0, 40), (5, 20))
    corners = [one for one in inspected(solid).features if one.more.get("where") == "inside"]
    ring = {one.more["ring"]: one for one in corners}
    assert ring[True].at_mm == pytest.approx((20, 20, 6), abs=1e-6)
    assert "all round" in ring[True].why
    assert ring[False].at_mm == pytest.approx((40, 20, 6), abs=1e-6)


def test_a_slim_slot_and_a_thread_are_one_entry_each():
    ends = [disc(0.75, (-1, 7), 32, x) for x in (-6, 6)]
    solid = box((-20, 20), (-10, 10), (0, 6)) - Manifold.batch_hull(ends)
    for how in ("clean", "float32", gauges.NOISY):
        assert kinds_of(inspected(solid, how), "sharp_corner") == ["slot"]
    stud = box((-15, 15), (-15, 15), (0, 5)) + thread_solid(10, 1.5, 20, 24).translate((0, 0, 4.5))
    assert kinds_of(inspected(stud, "float32"), "sharp_corner") == ["thread"]


def test_small_lying_holes_and_short_bridges_need_no_support():
    solid = lying_hole(6.0) - box((-1, 8), (-1, 21), (-1, 4))
    part, up = spoiled(Gauge("", solid), "clean")
    shape = shape_of(part, PROCESS)
    found = inspect_part(part, PROCESS, up, shape)
    (hole,) = found.holes
    assert set(hole.faces) == set(hole_faces(shape.holes, PROCESS))
    assert set(hole.faces) <= set(found.needs_nothing)
    # The notch is a ledge, not a bridge, and stays.
    ledge = next(one for one in found.features if one.kind == "cantilever")
    assert not set(ledge.faces) & set(found.needs_nothing)
    assert portal_faces(10)
    assert not portal_faces(20)


def portal_faces(span):
    part, up = spoiled(gauges.portal(span), "clean")
    return inspect_part(part, PROCESS, up).needs_nothing.tolist()


def test_an_open_mesh_says_which_kinds_it_leaves_in_doubt():
    part, up = spoiled(gauges.portal(20), "clean")
    found = inspect_part(part_from_arrays(part.vertices, part.faces[1:]), PROCESS, up)
    assert {"bridge", "air_start", "closed_void", "thin_wall"} <= set(found.unreliable)
    assert found.cautions
    assert not inspect_part(part, PROCESS, up).unreliable


def test_a_rough_mesh_is_called_rough():
    part, up = spoiled(gauges.portal(20), gauges.NOISY)
    assert any("rough" in caution for caution in inspect_part(part, PROCESS, up).cautions)


def test_broken_meshes_never_raise():
    rng = np.random.default_rng(4)
    soup = part_from_arrays(rng.normal(size=(300, 3)) * 20, rng.integers(0, 300, size=(200, 3)))
    inspect_part(soup, PROCESS, (0.2, 0.3, 0.9))
    crossing = trimesh.util.concatenate(
        [trimesh.creation.box((20, 20, 20)), trimesh.creation.icosphere(radius=12, subdivisions=2)]
    )
    inspect_part(part_from_arrays(crossing.vertices, crossing.faces), PROCESS, (0, 0, 1))
    flipped = trimesh.creation.box((20, 20, 20))
    inspect_part(part_from_arrays(flipped.vertices, flipped.faces[:, ::-1]), PROCESS, (0, 0, 1))


@pytest.mark.parametrize("direction", [(0, 0, 0), (np.nan, 0, 1)])
def test_a_direction_without_length_is_refused(direction):
    part, _ = spoiled(gauges.portal(20), "clean")
    with pytest.raises(OrientError, match="build direction"):
        inspect_part(part, PROCESS, direction)


def test_a_closed_surface_that_runs_through_itself_is_told_and_sound_ones_are_not():
    # A square tube along a figure of eight: one closed body that crosses itself in the middle.
    turn = np.linspace(0.0, 2.0 * np.pi, 121)[:-1]
    path = np.column_stack([30 * np.sin(turn), 30 * np.sin(turn) * np.cos(turn), 0 * turn])
    along = np.roll(path, -1, axis=0) - np.roll(path, 1, axis=0)
    across = np.column_stack([-along[:, 1], along[:, 0], 0 * turn])
    across /= np.linalg.norm(across, axis=1)[:, None]
    up = np.array([0.0, 0.0, 1.0])
    rings = [path + 4 * (a * across + b * up) for a, b in ((1, -1), (1, 1), (-1, 1), (-1, -1))]
    here = np.arange(len(path))
    after = (here + 1) % len(path)
    faces = []
    for k in range(4):
        a, b = k * len(path), (k + 1) % 4 * len(path)
        faces += [
            np.column_stack([a + here, a + after, b + after]),
            np.column_stack([a + here, b + after, b + here]),
        ]
    eight = part_from_arrays(np.concatenate(rings), np.concatenate(faces))
    assert eight.closed
    found = inspect_part(eight, Process(), (0.0, 0.0, 1.0))
    assert {"thin_wall", "hole", "closed_void"} <= set(found.unreliable)
    assert any("runs through itself" in said for said in found.cautions)
    for sound in (
        trimesh.creation.icosphere(),
        trimesh.creation.torus(10, 3),
        trimesh.creation.box((9, 8, 7)),
    ):
        assert not inspect_part(part_from_trimesh(sound), Process(), (0.0, 0.0, 1.0)).unreliable

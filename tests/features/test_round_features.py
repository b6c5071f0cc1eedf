"""Holes, slots, pins, threads, pockets and insert bosses on gauges, however the file spoils them."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold

from orient.features import hole, insert_boss, pin, polygon_pocket, slot, thread
from orient.features.cylinders import cylinders_of
from orient.part.mesh import part_from_arrays
from orient.process import Process
from tests.features import gauges_round as gauge

UP = np.array([0.0, 0.0, 1.0])
FAMILIES = {
    **{
        f"through {axis}": (lambda n, axis=axis: gauge.through_holes(n, axis))
        for axis in ("x", "y", "z", "30")
    },
    "blind": gauge.blind_holes,
    "sunk": gauge.sunk_holes,
    "crossing": gauge.crossing_holes,
    "slots": gauge.slots,
    "pins": gauge.pins,
    "tubes": gauge.tubes,
    "polygons": gauge.polygons,
    "insert bosses": gauge.insert_bosses,
    "none": gauge.plain_solids,
}


def part_of(solid):
    return part_from_arrays(*gauge.arrays(solid))


def score_of(family, n, variant, seed=1):
    case = gauge.case_of(FAMILIES[family](n), variant, seed)
    return gauge.compare(case, gauge.report(case.part))


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("n", gauge.DENSITIES)
def test_on_clean_tessellation_everything_is_found_to_size_and_nothing_invented(family, n):
    # Sizes within 0.02 mm or 0.2 %, whichever is larger: the gauge's own.
    for variant in ("float32", "inches"):
        score = score_of(family, n, variant)
        assert score.misses == ()
        assert score.worst <= 0.1


@pytest.mark.parametrize("family", ["through 30", "blind", "slots", "polygons"])
def test_splitting_triangles_changes_nothing(family):
    assert score_of(family, 16, "split").misses == ()


@pytest.mark.parametrize("variant", ["3 digits", "noise"])
def test_rounded_and_noisy_files_lose_and_invent_no_more_than_a_twentieth(variant):
    scores = [score_of(family, n, variant) for family in FAMILIES for n in (8, 32)]
    truths, found = sum(s.truths for s in scores), sum(s.found for s in scores)
    assert found / truths >= 0.95
    assert found / sum(s.reported for s in scores) >= 0.95


@pytest.mark.parametrize("n", [16, *[pytest.param(n, marks=pytest.mark.slow) for n in (8, 32, 96)]])
def test_remeshed_and_noisy_parts_lose_and_invent_no_more_than_a_twentieth(n):
    cases = [gauge.remeshed_case_of(build(n)) for build in FAMILIES.values()]
    scores = [gauge.compare(case, gauge.report(case.part)) for case in cases]
    truths, found = sum(s.truths for s in scores), sum(s.found for s in scores)
    assert found / truths >= 0.95
    assert found / sum(s.reported for s in scores) >= 0.95


@pytest.mark.slow
@pytest.mark.parametrize("variant", ["float32", "3 digits", "noise"])
def test_modelled_threads_are_threads_and_not_dozens_of_pins(variant):
    for n in (24, 96):
        case = gauge.case_of(gauge.threads(n), variant)
        score = gauge.compare(case, gauge.report(case.part))
        assert score.found == score.truths
        assert score.reported <= score.truths + 1
    found = {round(t.diameter_mm): t for t in thread.find(case.part)}
    # ISO 261 coarse pitches. Noise blurs the turns: there the pitch only tells a thread's size apart from
    # its neighbours' (M6 1.0, M8 1.25, M10 1.5 lie 17 to 25 % apart).
    near = 0.03 if variant != "noise" else 0.12
    assert found[8].pitch_mm == pytest.approx(1.25, rel=near)
    assert found[12].pitch_mm == pytest.approx(1.75, rel=near)
    assert found[12].internal
    assert not found[8].internal


@pytest.mark.parametrize("family", ["through z", "through 30", "blind", "sunk", "crossing"])
@pytest.mark.parametrize("n", [16, 96])
def test_depth_ends_and_mouths_of_holes_are_those_drawn(family, n):
    case = gauge.case_of(FAMILIES[family](n), "float32", seed=3)
    for truth in case.gauge.truths:
        at, axis = case.turn @ np.array(truth.at), case.turn @ np.array(truth.axis)
        near = [
            h
            for h in hole.find(case.part)
            if abs(h.diameter_mm - truth.size_mm) < 0.02
            and np.linalg.norm(np.cross(np.array(h.centre_mm) - at, axis)) < 0.05
            and abs(np.dot(h.axis, axis)) > 0.99
        ]
        assert len(near) == 1
        assert truth.through is None or near[0].through == truth.through
        assert truth.countersunk is None or near[0].countersunk == truth.countersunk
        assert truth.stepped is None or near[0].stepped == truth.stepped
        if truth.depth_mm is not None:
            assert near[0].depth_mm == pytest.approx(truth.depth_mm, rel=2e-3)


def test_a_tilted_mouth_counts_the_mean_depth():
    # 20 mm of plate at 30°: 20 / cos 30° = 23.094 along the axis (plane geometry).
    holes = hole.find(part_of(gauge.through_holes(24, "30").solid))
    assert {round(h.depth_mm, 3) for h in holes} == {23.094}


def test_slots_have_their_overall_length():
    case = gauge.case_of(gauge.slots(32), "float32")
    lengths = {round(s.width_mm, 1): s.length_mm for s in slot.find(case.part)}
    for truth in case.gauge.truths:
        assert lengths[truth.size_mm] == pytest.approx(truth.more["length_mm"], abs=0.02)


def test_names_do_not_depend_on_triangles_density_or_units():
    def named(n, variant, split=False):
        v, f = gauge.arrays(gauge.blind_holes(n).solid)
        if variant == "inches":
            part = part_from_arrays((v / 25.4).astype(np.float32), f[::-1], units="in")
        elif variant == "noise":
            part = part_from_arrays(v + np.random.default_rng(5).normal(0, 0.01, v.shape), f)
        else:
            part = part_from_arrays(v, f)
        return [(h.id, round(h.diameter_mm, 1)) for h in hole.find(part)]

    first = named(96, "plain")
    assert named(16, "plain") == first
    assert named(32, "inches") == first
    assert named(96, "noise") == first


@pytest.mark.parametrize(
    ("diameter", "name"),
    [
        # ISO 273:1979: fine, medium and coarse clearance; ISO 261 coarse threads: tap drill d − P.
        (2.2, "M2 clearance, fine"),
        (3.4, "M3 clearance, medium"),
        (4.5, "M4 clearance, medium"),
        (5.8, "M5 clearance, coarse"),
        (6.6, "M6 clearance, medium"),
        (9.0, "M8 clearance, medium"),
        (13.5, "M12 clearance, medium"),
        (2.5, "M3 tap drill"),
        (5.0, "M6 tap drill"),
        (17.5, "M20 tap drill"),
    ],
)
def test_iso_273_holes_modelled_at_size_are_named(diameter, name):
    plate = Manifold.cube((60, 60, 6)) - Manifold.cylinder(20, diameter / 2, -1, 48).translate((30, 30, -5))
    (found,) = hole.find(part_of(plate))
    assert name in found.fits
    (drawn_in_inches,) = hole.find(
        part_from_arrays(*(lambda v, f: (v / 25.4, f))(*gauge.arrays(plate)), units="in")
    )
    assert drawn_in_inches.fits == found.fits


def test_the_counterbore_of_a_clearance_hole_is_named_by_the_head_that_it_takes():
    # Ø 10 over Ø 5.5: head and counterbore of M5 (ISO 4762, DIN 974-1, from memory); Ø 7 over Ø 6.8 is none.
    for through, wide, name in (
        (5.5, 10.0, "M5 head, counterbore"),
        (3.4, 6.5, "M3 head, counterbore"),
        (6.0, 7.0, "M6 clearance, coarse"),
    ):
        block = Manifold.cube((30, 30, 14)) - Manifold.cylinder(20, through / 2, -1, 48).translate(
            (15, 15, -2)
        )
        block -= Manifold.cylinder(20, wide / 2, -1, 48).translate((15, 15, 8))
        fits = {round(h.diameter_mm, 1): h.fits for h in hole.find(part_of(block))}
        assert fits[wide][0] == name


def test_a_bore_with_a_flat_is_a_hole_and_a_shaft_with_one_is_a_pin():
    flat = CrossSection.circle(3, 48) - CrossSection.square((10, 10)).translate((-5, 2.4))
    plate = Manifold.cube((40, 20, 8)) - flat.extrude(20).translate((10, 10, -5))
    plate += flat.extrude(10).translate((30, 10, 7))
    (found,) = hole.find(part_of(plate))
    (stud,) = pin.find(part_of(plate))
    assert found.diameter_mm == pytest.approx(6.0, abs=1e-3)
    assert stud.diameter_mm == pytest.approx(6.0, abs=1e-3)


def test_slots_that_cross_are_both_slots():
    def cutter(turn):
        arc = CrossSection.circle(2, 32)
        return (
            CrossSection.batch_hull([arc.translate((-10, 0)), arc.translate((10, 0))]).extrude(9).rotate(turn)
        )

    plate = Manifold.cube((40, 40, 6)) - (cutter((0, 0, 0)) + cutter((0, 0, 90))).translate((20, 20, -1))
    assert [round(s.length_mm, 2) for s in slot.find(part_of(plate))] == [24.0, 24.0]


def test_a_boss_cut_off_beside_its_bore_says_what_is_left():
    # The edge passes 3 mm from the axis of a bore of Ø 4: 1 mm of wall is left.
    solid = Manifold.cube((30, 26, 4)).translate((-15, -6, 0))
    solid += Manifold.cylinder(11, 4, -1, 48).translate((0, -1, 3))
    solid -= Manifold.cylinder(11, 2, -1, 48).translate((0, -1, 5))
    solid -= Manifold.cube((60, 20, 60)).translate((-30, -24, -5))
    (boss,) = insert_boss.find(part_of(solid))
    assert boss.wall_mm == pytest.approx(1.0, abs=1e-3)
    assert insert_boss.judge(boss, Process(), UP).verdict == "tune"
    # The eye of a lug looks the same, but is open at both ends.
    eye = solid - Manifold.cylinder(40, 2, -1, 48).translate((0, -1, -9))
    assert insert_boss.find(part_of(eye)) == []


# --- verdicts -----------------------------------------------------------------------------------------------


def lying(diameter):
    block = Manifold.cube((2 * diameter + 10, 20, 2 * diameter + 10))
    bore = Manifold.cylinder(60, diameter / 2, -1, 64).rotate((90, 0, 0))
    return part_of(block - bore.translate((diameter + 5, 40, diameter + 5)))


@pytest.mark.parametrize(
    ("diameter", "verdict"),
    [(0.8, "redesign"), (1.5, "tune"), (5.0, "fine"), (12.0, "tune"), (20.0, "support")],
)
def test_a_lying_hole_is_judged_by_size_and_by_its_ceiling(diameter, verdict):
    (found,) = hole.find(lying(diameter))
    feature = hole.judge(found, Process(), UP)
    assert feature.verdict == verdict
    # Flat span of a horizontal round hole, 2 r cos t (plane geometry).
    assert feature.more["ceiling_span_mm"] == pytest.approx(diameter * np.cos(np.radians(45)), abs=1e-3)


def test_a_teardrop_does_not_sag_but_upside_down_it_does():
    # A 45° roof over a lying hole leaves no ceiling beyond 45°.
    ring = CrossSection.circle(6, 64).to_polygons()[0]
    drop = CrossSection.hull_points(np.vstack([ring, [[0.0, 6 * np.sqrt(2)]]]))
    bore = drop.extrude(40).rotate((90, 0, 0)).translate((15, 30, 15))
    (found,) = hole.find(part_of(Manifold.cube((30, 20, 30)) - bore))
    assert found.diameter_mm == pytest.approx(12.0, abs=1e-6)
    assert hole.judge(found, Process(), UP).verdict == "fine"
    assert hole.judge(found, Process(), -UP).verdict == "tune"


def test_a_louvre_that_lies_is_a_long_bridge_and_standing_on_end_it_is_none():
    arc = CrossSection.circle(1, 32)
    section = CrossSection.batch_hull([arc.translate((-11, 0)), arc.translate((11, 0))])
    wall = Manifold.cube((40, 2, 20)) - section.extrude(9).rotate((90, 0, 0)).translate((20, 5, 10))
    (found,) = slot.find(part_of(wall))
    lying = slot.judge(found, Process(), UP)
    assert lying.verdict == "tune"
    # The flat between the ends, and the crowns beyond 45° on both: 22 + 2 cos 45°.
    assert lying.more["ceiling_span_mm"] == pytest.approx(22 + 2 * np.cos(np.radians(45)), abs=1e-3)
    assert slot.judge(found, Process(), np.array([1.0, 0.0, 0.0])).verdict == "fine"


def test_a_low_dot_is_tuned_where_a_pin_as_thin_is_redesigned():
    plate = Manifold.cube((20, 10, 3))
    low = Manifold.cylinder(1.5, 0.6, -1, 32).translate((5, 5, 2))
    tall = Manifold.cylinder(5, 0.6, -1, 32).translate((14, 5, 2))
    dot, stalk = pin.find(part_of(plate + low + tall))
    assert pin.judge(dot, Process(), UP).verdict == "tune"
    assert pin.judge(stalk, Process(), UP).verdict == "redesign"


def test_the_same_hole_standing_is_fine_and_tilted_is_tuned():
    (found,) = hole.find(lying(12.0))
    assert hole.judge(found, Process(), np.array([0.0, 1.0, 0.0])).verdict == "fine"
    tilted = hole.judge(found, Process(), np.array([0.0, np.cos(0.5), np.sin(0.5)]))
    assert tilted.verdict == "tune"
    assert tilted.more["tilt_deg"] == pytest.approx(np.degrees(0.5))


def test_thin_pins_are_hard_and_stout_ones_are_fine():
    verdicts = {
        round(p.diameter_mm, 1): pin.judge(p, Process(), UP).verdict
        for p in pin.find(part_of(gauge.pins(32).solid))
    }
    assert verdicts == {
        1.0: "redesign",
        1.5: "tune",
        2.0: "tune",
        3.0: "fine",
        5.0: "fine",
        8.0: "fine",
        12.0: "fine",
    }


def test_an_insert_boss_says_how_much_wall_is_left():
    case = gauge.case_of(gauge.insert_bosses(32), "float32")
    walls = {round(b.hole_mm, 1): b for b in insert_boss.find(case.part)}
    for truth in case.gauge.truths:
        if truth.kind == "insert_boss":
            assert walls[truth.size_mm].wall_mm == pytest.approx(truth.more["wall_mm"], abs=1e-3)
    verdicts = {size: insert_boss.judge(boss, Process(), UP).verdict for size, boss in walls.items()}
    assert verdicts == {3.2: "fine", 4.0: "fine", 5.6: "tune", 6.4: "tune"}


def test_a_lying_thread_is_redesigned_and_a_standing_one_is_not():
    solid = Manifold.cube((30, 30, 6)) + gauge.thread_solid(12, 1.75, 14, 32).translate((15, 15, 5.5))
    (found,) = thread.find(part_of(solid))
    assert thread.judge(found, Process(), UP).verdict == "tune"
    assert thread.judge(found, Process(), np.array([1.0, 0.0, 0.0])).verdict == "redesign"


def test_hex_pockets_know_their_nut():
    plate = Manifold.cube((30, 30, 8)) - Manifold.cylinder(9, 5.7 / np.sqrt(3), -1, 6).translate((15, 15, 4))
    (found,) = polygon_pocket.find(part_of(plate))
    assert found.nut == "M3"
    assert found.sides == 6
    assert polygon_pocket.judge(found, Process(), UP).verdict == "fine"


def test_every_why_is_one_sentence_and_every_hard_entry_says_what_to_try():
    for build in (gauge.blind_holes, gauge.pins, gauge.slots, gauge.polygons, gauge.insert_bosses):
        part = part_of(build(16).solid)
        for module in (hole, slot, pin, thread, insert_boss, polygon_pocket):
            for item in module.find(part):
                feature = module.judge(item, Process(), np.array([0.6, 0.0, 0.8]))
                assert feature.why.endswith(".")
                assert ". " not in feature.why
                assert feature.verdict == "fine" or 1 <= len(feature.try_first) <= 3


# --- what is no feature, and bad input ------------------------------------------------------------------


@pytest.mark.parametrize(
    "solid",
    [
        Manifold.cube((10, 10, 10)),
        Manifold.cylinder(20, 5, 5, 64),
        Manifold.cylinder(20, 5, 5, 6),
        Manifold.sphere(10, 48),
        Manifold.cylinder(10, 8, 2, 48),
    ],
    ids=["cube", "standing cylinder", "hexagonal bar", "ball", "cone"],
)
def test_plain_solids_have_no_round_features(solid):
    assert gauge.report(part_of(solid)) == []


def test_a_ring_groove_is_no_hole():
    groove = Manifold.cylinder(5, 8, -1, 48) - Manifold.cylinder(5, 5, -1, 48)
    assert hole.find(part_of(Manifold.cube((30, 30, 10)) - groove.translate((15, 15, 6)))) == []


def test_broken_meshes_still_give_a_list():
    v, f = gauge.arrays(gauge.blind_holes(16).solid)
    whole = len(hole.find(part_from_arrays(v, f)))
    rng = np.random.default_rng(2)
    torn = part_from_arrays(v, f[rng.random(len(f)) > 0.02])
    assert not torn.closed
    assert 0 < len(hole.find(torn)) <= whole + 2
    flat = f.copy()
    flat[:40, 1] = flat[:40, 0]
    gauge.report(part_from_arrays(v, flat))
    inside_out = part_from_arrays(v, f[:, ::-1])
    assert len(hole.find(inside_out)) == whole


def test_a_soup_of_random_triangles_raises_nothing():
    rng = np.random.default_rng(4)
    gauge.report(part_from_arrays(rng.normal(size=(900, 3)), np.arange(900).reshape(-1, 3)))


def test_cylinders_turn_with_the_part():
    part = part_of(gauge.crossing_holes(16).solid)
    turn = gauge.turn_of(7)
    turned = part.turned(turn, (1.0, 2.0, 3.0))
    here, there = cylinders_of(part), cylinders_of(turned)
    assert sorted(round(c.radius_mm, 6) for c in here) == sorted(round(c.radius_mm, 6) for c in there)


def test_a_plate_of_many_holes_has_each_of_them_once():
    cutters = [
        Manifold.cylinder(9, 1.25, -1, 16).translate((4 + 4 * i, 4 + 4 * j, -2))
        for i in range(15)
        for j in range(10)
    ]
    plate = Manifold.cube((64, 44, 3)) - sum(cutters[1:], cutters[0])
    found = hole.find(part_of(plate))
    assert len(found) == 150
    assert {round(one.diameter_mm, 3) for one in found} == {2.5}
    assert all(one.through and not one.stepped for one in found)
    assert len({tuple(np.round(one.centre_mm, 2)) for one in found}) == 150

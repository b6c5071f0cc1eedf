"""Ceilings of gauges whose kinds and sizes are known by hand: all found, none invented, however drawn."""

import numpy as np
import pytest

from orient.features import air_start, bridge, cantilever, mixed_ceiling, overhang
from orient.features.ceilings import Surface
from orient.features.cylinders import cylinders_of
from orient.features.grounded import links_of
from orient.features.laid import lay
from orient.features.rays import Rays
from orient.features.shape import surface_of
from orient.part.mesh import part_from_arrays
from orient.process import Process
from tests.features import gauges_ceilings as gauges
from tests.features.matching import clean_bound, matched, noisy_bound

PROCESS = Process()
KINDS = (overhang, bridge, cantilever, mixed_ceiling, air_start)
FLAT = gauges.flat_gauges() + gauges.plain()


def laid(part, direction):
    masked = np.zeros(len(part.faces), dtype=bool)
    surface = surface_of(part, cylinders_of(part), masked)
    assert isinstance(surface, Surface)
    return lay(part, surface, links_of(part), Rays(part), PROCESS, direction)


def features_of(part, direction):
    pose = laid(part, direction)
    return [feature for kind in KINDS for feature in kind.find(pose)]


def sizes_of(features):
    found = {}
    for feature in features:
        found.setdefault(feature.kind, []).append(feature.size_mm)
    return found


@pytest.mark.parametrize("how", gauges.SPOILS)
@pytest.mark.parametrize("gauge", FLAT, ids=lambda gauge: gauge.name)
def test_every_ceiling_is_found_and_none_is_invented(gauge, how):
    found = sizes_of(features_of(*gauges.spoiled(gauge, how, seed=3)))
    _, missed, invented = matched(gauge.truth, found, clean_bound)
    assert (missed, invented) == ([], [])


@pytest.mark.parametrize("how", gauges.SPOILS)
@pytest.mark.parametrize("chords", [16, 32, 64, 128])
def test_round_ceilings_are_found_at_any_density(chords, how):
    for gauge in gauges.round_gauges(chords):
        found = sizes_of(features_of(*gauges.spoiled(gauge, how, seed=chords)))
        _, missed, invented = matched(gauge.truth, found, clean_bound)
        assert (gauge.name, missed, invented) == (gauge.name, [], [])


@pytest.mark.parametrize("chords", [24, 48])
def test_on_noisy_meshes_recall_and_precision_stay_above_95_percent(chords):
    hits = misses = inventions = 0
    for seed, gauge in enumerate(gauges.all_gauges(chords)):
        found = sizes_of(features_of(*gauges.spoiled(gauge, gauges.NOISY, seed)))
        hit, missed, invented = matched(gauge.truth, found, noisy_bound)
        hits, misses, inventions = hits + len(hit), misses + len(missed), inventions + len(invented)
    assert hits / (hits + misses) >= 0.95
    assert hits / (hits + inventions) >= 0.95


@pytest.mark.parametrize("roll", np.linspace(0.0, 22.5, 6))
def test_a_lying_rod_of_16_chords_is_one_overhang_however_it_is_rolled(roll):
    # L · r · (π − 2 · 45°) = 471.2 mm², derived for a whole cylinder; its flagged facets jump with the roll.
    rod = gauges.lying_rod(n=16).solid.rotate((0, roll, 0))
    rod = rod.translate((0, 0, -rod.bounding_box()[2]))
    (found,) = features_of(*gauges.spoiled(gauges.Gauge("rod", rod), "clean"))
    assert found.kind == "overhang"
    assert found.area_mm2 == pytest.approx(30 * 10 * np.pi / 2, rel=0.004)


def test_the_lines_of_a_bridge_run_across_it():
    (found,) = features_of(*gauges.spoiled(gauges.portal(20), "clean"))
    assert np.abs(found.direction) == pytest.approx([1, 0, 0], abs=1e-6)
    assert found.more["width_mm"] == pytest.approx(24.0)
    assert found.more["local_span_mm"] == pytest.approx(20.0, abs=0.1)
    assert found.at_mm == pytest.approx((10, 12, 10), abs=1e-6)


def test_the_place_of_a_ring_is_on_the_ring():
    (found,) = features_of(*gauges.spoiled(gauges.ring_pocket(), "clean"))
    x, y, z = found.at_mm
    assert 12 < np.hypot(x, y) < 20
    assert z == pytest.approx(8.0)


def test_an_overhang_tells_its_angle_and_the_room_below():
    (found,) = features_of(*gauges.spoiled(gauges.leaning(60.0), "clean"))
    assert found.more["angle_deg"] == 60.0
    # The slab's underside rises from 4 to 24 mm over the bed.
    assert found.more["above_mm"] == pytest.approx(14.0, abs=3.5)
    assert found.more["above_mm"] == pytest.approx(found.at_mm[2], abs=1e-3)


@pytest.mark.parametrize(
    ("gauge", "verdict"),
    [
        # Limits are the process's: bridges 10 and 25 mm, ledges 1.0 and 1.5 mm, overhangs 45 and 60°.
        (gauges.portal(10), "fine"),
        (gauges.portal(20), "tune"),
        (gauges.portal(40), "support"),
        (gauges.ledge(1), "fine"),
        (gauges.ledge(2), "support"),
        (gauges.niche(), "tune"),
        (gauges.leaning(50.0), "tune"),
        (gauges.leaning(70.0), "support"),
        (gauges.table(), "support"),
    ],
    ids=lambda value: getattr(value, "name", value),
)
def test_verdicts_follow_the_limits(gauge, verdict):
    assert {feature.verdict for feature in features_of(*gauges.spoiled(gauge, "clean"))} == {verdict}


def test_every_number_of_a_sentence_is_a_field():
    for gauge in gauges.all_gauges(32):
        for feature in features_of(*gauges.spoiled(gauge, "clean")):
            numbers = [word.strip(".,:;°%") for word in feature.why.replace("°", " ").split()]
            known = [feature.size_mm, feature.limit_mm, feature.area_mm2, *feature.more.values()]
            known = [float(value) for value in known if isinstance(value, int | float)]
            for word in numbers:
                if word.replace(".", "", 1).isdigit():
                    assert any(abs(float(word) - value) <= 0.006 * max(value, 1.0) for value in known), (
                        feature.why
                    )


def test_a_wall_that_grazes_the_limit_is_no_overhang():
    # Files in single precision are true to a tenth of a degree here, so a quarter is left open.
    for angle, count in ((44.9, 0), (45.0, 0), (45.2, 0), (45.5, 1), (46.0, 1)):
        part, up = gauges.spoiled(gauges.leaning(angle), "float32", seed=1)
        assert len(features_of(part, up)) == count


def test_a_lip_narrower_than_half_a_line_is_nothing():
    assert not features_of(*gauges.spoiled(gauges.ledge(0.2), "clean"))
    assert features_of(*gauges.spoiled(gauges.ledge(0.3), "clean"))[0].verdict == "fine"


def test_the_ceiling_of_a_closed_void_is_held_by_its_walls():
    hollow = gauges.box((0, 30), (0, 30), (0, 20)) - gauges.box((5, 25), (5, 21), (5, 12))
    (found,) = features_of(*gauges.spoiled(gauges.Gauge("void", hollow), "clean"))
    assert (found.kind, found.size_mm) == ("bridge", 16.0)


def test_a_cup_that_hangs_holds_nothing_for_all_its_floor():
    # A cup hangs from an arm over a gateway: its floor has material below, but that material hangs.
    gate = gauges.box((-20, 20), (0, 30), (0, 40)) - gauges.box((-15, 15), (-1, 31), (-1, 34))
    cup = gauges.box((-4, 4), (10, 20), (20, 29)) - gauges.box((-3, 3), (11, 19), (22, 30))
    neck = gauges.box((3, 4), (10, 20), (28, 35))
    found = sizes_of(features_of(*gauges.spoiled(gauges.Gauge("cup", gate + cup + neck), "clean")))
    assert found["air_start"] == [20.0]
    assert found["bridge"] == [30.0]


def test_open_and_broken_meshes_still_give_a_list():
    part, up = gauges.spoiled(gauges.portal(20), "clean")
    rng = np.random.default_rng(0)
    for _ in range(5):
        kept = rng.random(len(part.faces)) > 0.2
        broken = part_from_arrays(part.vertices, part.faces[kept])
        features_of(broken, up)
    slivers = np.vstack([part.faces, [[0, 1, 1], [0, 0, 0], [2, 3, 2]]])
    assert len(features_of(part_from_arrays(part.vertices, slivers), up)) == 1

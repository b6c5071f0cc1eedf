"""Every class of machine against every polymer, written out by hand from the temperatures.

Classes (common practice, no source): entry reaches 250 °C at the nozzle, 120 °C at the bed, has no chamber
and stands open; engineering 320, 160 and 60 °C; high-temperature somewhere between 330 and 550, 160 and 250,
90 and 300 °C. The ranges of the polymers are those of properties.toml.
"""

from dataclasses import replace

import pytest

from orient.cost.fitness import fit_machines, fitness
from orient.materials.machines import machine
from orient.materials.polymers import polymers
from orient.materials.properties import properties_of
from orient.materials.supports import support_material

# polymer: (entry, engineering, high-temperature), of a small part.
BY_HAND = {
    "PLA": ("runs", "runs", "runs"),
    "PETG": ("runs", "runs", "runs"),
    "PETG-CF": ("care", "runs", "runs"),  # usual 255 °C and fibre on brass
    "ABS": ("care", "runs", "runs"),  # open machine
    "ASA": ("care", "runs", "runs"),  # open machine
    "TPU": ("runs", "runs", "runs"),
    "PA6": ("care", "runs", "runs"),  # 240 to 285 °C, open, no dry feed
    "PA6-CF": ("care", "runs", "runs"),  # from 250 °C, fibre on brass
    "PA12": ("care", "runs", "runs"),
    "PA12-CF": ("care", "runs", "runs"),
    "PA-HT-CF": ("no", "runs", "runs"),  # from 260 °C
    "PET-CF": ("no", "runs", "runs"),  # from 280 °C
    "PC": ("care", "runs", "runs"),  # from 250 °C
    "PC-FR": ("no", "runs", "runs"),  # from 260 °C
    "PC-PBT": ("no", "runs", "runs"),  # from 260 °C
    "PPSU": ("no", "no", "care"),  # from 360 °C, 140 °C, 80 °C
    "PEI": ("no", "no", "care"),  # from 340 °C, 120 °C, 80 °C
    "PEI-PC": ("no", "no", "care"),  # from 350 °C
    "PEEK": ("no", "no", "care"),  # from 335 °C, usually 400 °C
    "PEEK-CF": ("no", "no", "care"),
    "PEKK": ("no", "no", "care"),  # from 345 °C
    "PVA": ("care", "runs", "runs"),  # no dry feed
}


def test_the_table_names_every_polymer():
    assert set(BY_HAND) == set(polymers())


@pytest.mark.parametrize(("key", "expected"), BY_HAND.items())
def test_every_class_against_every_polymer(key, expected):
    found = tuple(one.verdict for one in fit_machines(properties_of(key)))
    assert found == expected


@pytest.mark.parametrize("key", BY_HAND)
def test_every_verdict_has_its_reason(key):
    for one in fit_machines(properties_of(key)):
        assert any(part.verdict == one.verdict for part in one.requirements)
        assert all(reason.endswith(".") for reason in one.reasons)
        for part in one.requirements:
            if part.margin_c is not None:
                assert part.margin_c == pytest.approx(part.has_c - part.needs_c)


def about(found, name):
    return next(one for one in found.requirements if one.about == name)


def test_what_is_missing_is_said_in_degrees():
    # PEEK wants 335 °C at least; an entry machine stops at 250 °C.
    nozzle = about(fitness(properties_of("PEEK"), machine("entry")), "nozzle")
    assert nozzle.verdict == "no"
    assert "85 °C are missing" in nozzle.reason
    assert (nozzle.needs_c, nozzle.has_c, nozzle.margin_c) == (335, 250, -85)


def test_the_lower_end_of_a_range_is_tested_by_what_it_puts_at_risk():
    # PEEK's bed is usually 150 °C, 100 °C at least; an entry machine reaches 120 °C.
    bed = about(fitness(properties_of("PEEK"), machine("entry")), "bed")
    assert (bed.verdict, bed.margin_c) == ("care", -30)
    assert "test the hold" in bed.reason


def test_a_small_abs_part_runs_where_a_large_one_warps():
    abs_ = properties_of("ABS")
    assert fitness(abs_, machine("entry"), part_size_mm=60).verdict == "care"
    assert fitness(abs_, machine("entry"), part_size_mm=180).verdict == "no"
    assert fitness(abs_, machine("engineering"), part_size_mm=60).verdict == "runs"
    # 60 °C of chamber against the 70 °C a large part wants.
    assert fitness(abs_, machine("engineering"), part_size_mm=180).verdict == "care"
    assert fitness(abs_, machine("high-temperature"), part_size_mm=180).verdict == "runs"


def test_a_definite_machine_settles_what_a_class_leaves_open():
    capable = replace(
        machine("high-temperature"),
        own=True,
        nozzle_max_c=(450, 450),
        bed_max_c=(200, 200),
        chamber_max_c=(150, 150),
    )
    assert fitness(properties_of("PEEK"), capable).verdict == "runs"
    weak = replace(capable, chamber_max_c=(60, 60))
    assert fitness(properties_of("PEEK"), weak).verdict == "no"


def test_fibre_on_a_brass_nozzle_asks_for_a_hardened_one():
    brass = replace(machine("engineering"), nozzle_material="brass")
    found = about(fitness(properties_of("PA6-CF"), brass), "nozzle material")
    assert found.verdict == "care"
    assert "hardened" in found.reason


def test_fibre_that_clogs_asks_for_a_wider_nozzle():
    # The one sheet on high-temperature PA with fibre asks for 0.6 mm.
    known = properties_of("PA-HT-CF")
    assert fitness(known, machine("engineering"), nozzle_mm=0.4).verdict == "care"
    assert fitness(known, machine("engineering"), nozzle_mm=0.6).verdict == "runs"


def test_soft_filament_wants_its_motor_at_the_nozzle():
    remote = replace(machine("entry"), feed="remote")
    assert fitness(properties_of("TPU"), remote).verdict == "care"
    assert fitness(properties_of("PLA"), remote).verdict == "runs"


def test_a_polymer_that_drinks_is_fed_dry():
    dry = replace(machine("entry"), dry_feed=True, enclosed=True, nozzle_max_c=(300, 300))
    assert fitness(properties_of("PA6"), dry).verdict == "runs"
    assert fitness(properties_of("PA6"), replace(dry, dry_feed=False)).verdict == "care"


@pytest.mark.parametrize(
    ("polymer", "support", "kind", "expected"),
    [
        ("PLA", "PVA", "engineering", "runs"),
        ("PLA", "PVA", "entry", "no"),  # one extruder
        ("PEEK", "PVA", "high-temperature", "no"),  # not a pair
        ("ABS", "HIPS", "engineering", "runs"),
        ("PA12", "PVA", "engineering", "runs"),
    ],
)
def test_support_pairs(polymer, support, kind, expected):
    assert (
        fitness(properties_of(polymer), machine(kind), support=support_material(support)).verdict == expected
    )


def test_a_support_that_softens_in_the_chamber_is_said():
    # Water-soluble support bears 60 °C; ABS, were it a pair, wants 70 °C.
    with_pva = replace(support_material("PVA"), polymers=None)
    found = fitness(properties_of("ABS"), machine("engineering"), support=with_pva)
    assert found.verdict == "care"
    assert "bears a chamber of 60" in found.reasons[0]

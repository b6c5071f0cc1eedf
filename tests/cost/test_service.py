"""A polymer must survive where the part lives, or the user is told."""

import pytest

from orient.brief import Brief
from orient.cost.service import service_checks
from orient.materials.properties import all_properties, properties_of


def checks(key, **sections):
    found = service_checks(properties_of(key), Brief.model_validate(sections))
    return {one.about: one for one in found}


def test_nothing_asked_nothing_said():
    assert checks("PLA") == {}


def test_an_outdoor_pla_bracket_does_not_pass_silently():
    # PLA softens at 55 to 65 °C (doi:10.1007/s11668-014-9803-9); a dark part in the sun gets as hot.
    found = checks("PLA", job={"outdoor": True})
    assert found["heat"].verdict == "no"
    assert "60 °C" in found["heat"].reason
    assert found["sun"].verdict == "care"


def test_asa_is_fine_outdoors_and_abs_is_not():
    assert {one.verdict for one in checks("ASA", job={"outdoor": True}).values()} == {"fine"}
    assert checks("ABS", job={"outdoor": True})["sun"].verdict == "care"


@pytest.mark.parametrize(
    ("key", "hot", "expected"),
    [
        ("PLA", 30, "fine"),
        ("PLA", 45, "care"),  # 10 °C below the least cited glass transition
        ("PLA", 60, "no"),
        ("PETG", 60, "care"),
        ("ABS", 80, "fine"),
        ("ABS", 95, "care"),
        ("PC", 120, "no"),  # filament grades soften at 113 to 115 °C
        ("PEI", 150, "fine"),
        ("PEEK", 120, "fine"),
        ("PEEK", 200, "care"),  # above its glass transition, far below melting at 343 °C
        ("PEEK", 310, "no"),
        ("PA6", 80, "care"),
        ("PA6", 180, "no"),
        ("PC-FR", 60, "care"),  # no data
        ("TPU", 60, "fine"),
    ],
)
def test_heat_is_held_against_glass_transition_or_melting(key, hot, expected):
    assert checks(key, load={"service_temp_c": hot})["heat"].verdict == expected


def test_the_margin_is_that_to_the_glass_transition():
    assert checks("ABS", load={"service_temp_c": 80})["heat"].margin_c == pytest.approx(105 - 80)
    own = checks("ABS", load={"service_temp_c": 80}, polymer={"glass_transition_c": 95})
    assert own["heat"].margin_c == pytest.approx(15)
    assert own["heat"].verdict == "care"


def test_no_data_is_said_and_not_guessed():
    assert "no data" in checks("PC-FR", load={"service_temp_c": 60})["heat"].reason


@pytest.mark.parametrize(
    ("key", "expected"), [("PLA", "care"), ("PETG", "care"), ("PEEK", "fine"), ("PEI", "fine")]
)
def test_a_lasting_load_is_said(key, expected):
    assert checks(key, load={"sustained": True})["creep"].verdict == expected


def test_a_lasting_load_on_a_softened_polymer_is_refused():
    assert checks("PLA", load={"sustained": True, "service_temp_c": 70})["creep"].verdict == "no"


def test_water_dissolves_the_support_and_weakens_polyamide():
    assert checks("PVA", job={"wet": True})["water"].verdict == "no"
    assert checks("PA6", job={"wet": True})["water"].verdict == "care"
    assert checks("PETG", job={"wet": True})["water"].verdict == "fine"


def test_chemicals_are_named_back():
    found = checks("PC", job={"chemicals": ["acetone", "diesel"]})
    assert found["chemicals"].verdict == "care"
    assert "acetone, diesel" in found["chemicals"].reason


def test_every_polymer_can_be_judged():
    everything = {"job": {"outdoor": True, "wet": True, "chemicals": ["oil"]}, "load": {"sustained": True}}
    for key in all_properties():
        assert len(checks(key, **everything)) == 5

"""The polymers' other figures: each has a source, and what nobody gave stays empty."""

import tomllib
from importlib.resources import files

import pytest

from orient.materials.polymers import Spread, polymers
from orient.materials.properties import Remark, all_properties, properties_of

DATA = tomllib.loads(files("orient.materials").joinpath("properties.toml").read_text(encoding="utf-8"))
ASKED_FOR = ["PLA", "PETG", "ABS", "ASA", "TPU", "PA6", "PA12", "PA6-CF", "PC", "PPSU", "PEI", "PEEK", "PVA"]


def test_every_polymer_with_strengths_has_properties_and_the_other_way_round():
    assert set(all_properties()) == set(polymers())
    assert set(ASKED_FOR) <= set(all_properties())


@pytest.mark.parametrize("key", DATA)
def test_every_figure_carries_its_source(key):
    for name, value in DATA[key].items():
        if not isinstance(value, bool):
            assert value["source"].strip(), (key, name)


@pytest.mark.parametrize("known", all_properties().values(), ids=lambda p: p.key)
def test_low_nominal_and_high_are_in_order(known):
    for name, figure in known.figures().items():
        assert figure is None or figure.low <= figure.nominal <= figure.high, name


@pytest.mark.parametrize("known", all_properties().values(), ids=lambda p: p.key)
def test_what_crystallises_melts_well_above_its_glass_transition(known):
    # Tg/Tm of a crystallising polymer lies between about 0.5 and 0.8 in kelvin: rule of Boyer and Beaman.
    if known.crystalline and known.glass_c and known.melt_c:
        assert 0.5 < (known.glass_c.nominal + 273) / (known.melt_c.nominal + 273) < 0.85
    if not known.crystalline and known.key not in ("PLA", "TPU"):
        assert known.melt_c is None


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [("PLA", 55, 65), ("PETG", 69, 81), ("PEEK", 143, 153), ("ABS", 101, 115)],
)
def test_glass_transitions_are_those_of_the_cited_sheets(key, low, high):
    glass = properties_of(key).glass_c
    assert (glass.low, glass.high) == (low, high)


def test_stiffness_across_layers_never_exceeds_that_in_them_beyond_scatter():
    # One sheet prints 2743 across against 2634 in the layers, inside its scatter of ±182.
    for known in all_properties().values():
        if known.modulus_across_mpa and known.modulus_in_layer_mpa:
            assert known.modulus_across_mpa.nominal < 1.05 * known.modulus_in_layer_mpa.high


def test_what_no_source_gives_is_no_data():
    assert properties_of("PC-PBT").density_g_cm3 is None
    assert properties_of("PEKK").modulus_across_mpa is None
    assert properties_of("PC-FR").glass_c is None


def test_words_are_from_short_lists():
    allowed = {
        "grade": {"hobby", "engineering", "high-performance", "support"},
        "surroundings": {"cool", "any", "enclosed", "warm", "hot"},
        "moisture": {"low", "medium", "high"},
        "sunlight": {"poor", "fair", "good"},
        "creep": {"creeps", "moderate", "low"},
        "water": {"poor", "fair", "good", "dissolves"},
        "fumes": {"low", "styrene", "vapour"},
    }
    for known in all_properties().values():
        for name, words in allowed.items():
            remark = getattr(known, name)
            assert isinstance(remark, Remark)
            assert remark.word in words


def test_a_chamber_figure_stands_where_a_chamber_is_needed():
    for known in all_properties().values():
        if known.surroundings.word in ("warm", "hot"):
            assert isinstance(known.chamber_c, Spread)
        if known.surroundings.word in ("warm", "enclosed"):
            assert known.warm_from_mm is not None

"""The polymers' strengths: every number has a source, and what is not known is not guessed."""

import re
from importlib.resources import files

import pytest

from orient.errors import OrientError
from orient.materials.polymers import Polymer, StrengthTest, polymer, polymers

WITH_FIGURES = [p for p in polymers().values() if p.across_mpa is not None]


def test_every_row_names_its_source():
    cited = re.compile(
        r"^(doi:10\.\d{4,}/\S+|Revista Materiale Plastice, article \d+|maker's data sheet, name withheld)"
    )
    rows = [test for p in polymers().values() for test in p.tests]
    assert len(rows) > 30
    for row in rows:
        assert cited.match(row.source), row
        assert row.specimen


@pytest.mark.parametrize("known", WITH_FIGURES, ids=lambda p: p.key)
def test_nominal_lies_between_low_and_high(known):
    for spread in (known.in_layer_mpa, known.across_mpa):
        if spread is not None:
            assert 0 < spread.low <= spread.nominal <= spread.high
            assert spread.source


@pytest.mark.parametrize("known", WITH_FIGURES, ids=lambda p: p.key)
def test_layers_part_before_they_tear(known):
    # Every pair of one source in the collected literature has across/in-layer below 1 (0.12 to 0.90).
    for test in known.tests:
        assert test.ratio is None or 0.1 < test.ratio < 0.91


def test_ten_polymers_have_a_cited_figure_across_layers():
    assert len(WITH_FIGURES) >= 10


@pytest.mark.parametrize("key", ["PA6", "PA12", "PPSU", "PEKK", "PVA"])
def test_where_nothing_is_cited_there_is_no_figure(key):
    assert polymer(key).in_layer_mpa is None
    assert polymer(key).across_mpa is None


def test_pei_is_known_in_the_layers_only():
    # doi:10.1177/0954008317752822: 104 MPa, nothing across the layers.
    assert polymer("PEI").in_layer_mpa.nominal == 104.0
    assert polymer("PEI").across_mpa is None


def test_abs_nominal_worked_by_hand():
    # Two data sheets, 33.4/29.7 and 33/28 MPa: median ratio (0.88922 + 0.84848)/2 times median 33.2.
    assert polymer("ABS").in_layer_mpa.nominal == pytest.approx(33.2)
    assert polymer("ABS").across_mpa.nominal == pytest.approx(28.846, abs=1e-3)


def test_pla_nominal_worked_by_hand():
    # Ratios of four sources: 22.8/43.7, 16/((47 + 33)/2), 31/35, 36.5/49.8. Their median is the mean of the
    # middle two, 0.52174 and 0.73293; solid in-layer strengths 35 and 49.8 have the median 42.4.
    assert polymer("PLA").across_mpa.nominal == pytest.approx((0.52174 + 0.73293) / 2 * 42.4, rel=1e-4)


def test_low_is_two_deviations_below_the_least_mean():
    # PETG, sheet with 18 ± 4 MPa across the layers.
    assert polymer("PETG").across_mpa.low == pytest.approx(10.0)


def test_sparse_coupons_count_for_the_ratio_only():
    sparse = StrengthTest((20.0,), 10.0, 0.0, 0.0, frozenset({"ratio"}), "half filled", "s")
    solid = StrengthTest((50.0,), 40.0, 0.0, 0.0, frozenset({"in_layer", "across", "ratio"}), "solid", "s")
    mixed = Polymer("X", "x", "", (sparse, solid))
    assert mixed.in_layer_mpa.low == 50.0
    assert mixed.across_mpa.low == 40.0
    assert mixed.across_mpa.nominal == pytest.approx((0.5 + 0.8) / 2 * 50.0)


@pytest.mark.parametrize(
    ("said", "meant"), [("pla", "PLA"), ("petg_cf", "PETG-CF"), ("Nylon 12", "PA12"), (" pc ", "PC")]
)
def test_a_name_is_read_as_people_write_it(said, meant):
    assert polymer(said).key == meant


def test_an_unknown_polymer_is_answered_with_the_nearest():
    with pytest.raises(OrientError, match=r"PETH.*nearest is PETG"):
        polymer("PETH")


def test_no_name_means_two_polymers():
    names = [alias.casefold() for p in polymers().values() for alias in (p.key, *p.aliases)]
    assert len(names) == len(set(names))


def test_the_data_travels_with_the_package():
    assert files("orient.materials").joinpath("polymers.toml").is_file()

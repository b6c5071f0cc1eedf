import numpy as np
import pytest

from orient.errors import OrientError
from orient.part.units import MM_PER, canonical_unit, likely_unit


@pytest.mark.parametrize(
    ("spelling", "unit"),
    [
        ("mm", "mm"),
        ("Inches", "in"),
        ("inch", "in"),
        ("FT", "ft"),
        ("foot", "ft"),
        ("micron", "um"),
        ("metre", "m"),
    ],
)
def test_common_spellings_are_known(spelling, unit):
    assert canonical_unit(spelling) == unit


def test_factors_are_those_of_the_3mf_specification():
    # 3MF Core Specification v1.4.0, attribute ``unit`` of ``model``.
    stated = {"micron": 0.001, "millimeter": 1, "centimeter": 10, "inch": 25.4, "foot": 304.8, "meter": 1000}
    assert {name: MM_PER[canonical_unit(name)] for name in stated} == stated


def test_an_unknown_unit_names_those_that_are_known():
    with pytest.raises(OrientError, match=r"'furlong'.*mm, cm, m, in, ft or um"):
        canonical_unit("furlong")


@pytest.mark.parametrize(
    ("extents", "unit", "likely"),
    [
        ([3.0, 1.0, 1.0], "mm", "in"),
        ([0.155, 0.15, 0.12], "mm", "m"),  # a scan in metres
        ([1.5, 1.2, 0.7], "in", None),
        ([254.0, 100.0, 50.0], "in", "mm"),
        ([50000.0, 2000.0, 1000.0], "mm", "um"),
        ([60.0, 40.0, 20.0], "mm", None),
        ([2000.0, 40.0, 20.0], "mm", None),
    ],
)
def test_a_size_that_is_unlikely_names_the_unit_that_is(extents, unit, likely):
    answer = likely_unit(np.array(extents), unit)
    assert (answer and answer[0]) == likely


def test_holes_that_fit_iso_273_at_25_4_speak_for_inches():
    # ISO 273:1979 medium clearance holes for M5, M6 and M8: 5.5, 6.6 and 9 mm.
    holes = np.array([5.5, 6.6, 9.0]) / 25.4
    assert likely_unit(np.array([6.3, 4.1, 1.0]), "mm", holes)[0] == "in"


def test_holes_that_fit_iso_273_as_read_speak_for_millimetres():
    assert likely_unit(np.array([30.3, 20.1, 6.2]), "mm", np.array([3.4, 4.5, 5.5])) is None


def test_holes_too_fine_for_a_screw_on_a_small_part_speak_for_centimetres():
    # ISO 273:1979 medium clearance holes for M6 and M8 drawn in centimetres: 0.66 and 0.9.
    assert likely_unit(np.array([6.0, 4.0, 5.0]), "mm", np.array([0.66, 0.9]))[0] == "cm"
    # One vent of half a millimetre says nothing, nor do two on a part of ordinary size.
    assert likely_unit(np.array([6.0, 4.0, 5.0]), "mm", np.array([0.5])) is None
    assert likely_unit(np.array([60.0, 40.0, 5.0]), "mm", np.array([0.66, 0.9])) is None


def test_a_size_is_written_as_people_write_it():
    assert "60,000 mm" in likely_unit(np.array([60000.0, 4000.0, 5000.0]), "mm")[1]
    assert "0.06 mm" in likely_unit(np.array([0.06, 0.04, 0.05]), "mm")[1]


def test_whole_fractions_of_an_inch_speak_for_inches():
    # A block of 5 × 2 1/2 × 1 3/8 inches.
    assert likely_unit(np.array([5.0, 2.5, 1.375]), "mm")[0] == "in"


@pytest.mark.parametrize(
    "extents", [[20.0, 10.0, 5.0], [12.5, 7.5, 2.5], [30.0, 12.25, 8.0], [25.4, 12.7, 6.35]]
)
def test_round_millimetres_are_not_taken_for_inches(extents):
    assert likely_unit(np.array(extents), "mm") is None

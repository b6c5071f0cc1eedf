"""The tuning sheet: what the part's features call for, in words of the trade."""

import pytest

from orient.cost.tuning import ALWAYS, tuning_sheet
from orient.materials.properties import all_properties, properties_of


@pytest.mark.parametrize("key", all_properties())
def test_every_step_says_which_way_how_much_and_how_to_judge(key):
    sheet = tuning_sheet(
        properties_of(key), [("bridge", "B1"), ("hole", "H1"), ("thin_wall", "W1"), ("overhang", "O1")]
    )
    assert sheet.source == "common practice, no source"
    assert {topic.name for topic in sheet.topics} == {
        "first_layer", "surface", "bridges", "overhangs", "stringing", "holes", "thin_walls"
    }  # fmt: skip
    for topic in sheet.topics:
        assert len(topic.steps) >= 3
        for step in topic.steps:
            assert all((step.knob, step.turn, step.step, step.judge))


def test_the_machine_is_checked_first_cold_and_unplugged():
    checks = " ".join(tuning_sheet(properties_of("PLA")).checks)
    for word in ("nozzle", "gears", "axes", "cold and unplugged"):
        assert word in checks


def test_what_the_part_calls_for_comes_first_and_the_rest_is_left_out():
    plain = tuning_sheet(properties_of("PLA"))
    assert tuple(topic.name for topic in plain.topics) == ALWAYS
    flagged = tuning_sheet(properties_of("PLA"), [("thin_wall", "W1")])
    assert flagged.topics[0].name == "thin_walls"
    assert flagged.topics[0].features == ("W1",)


def test_a_polymer_laid_hot_is_not_told_to_cool_fully():
    def bridges(key):
        sheet = tuning_sheet(properties_of(key), [("bridge", "B1")])
        return [step for step in sheet.topics[0].steps if step.knob == "cooling"]

    (pla,), (abs_,) = bridges("PLA"), bridges("ABS")
    assert "full" in pla.turn
    assert "a little" in abs_.turn


def test_it_starts_from_the_polymers_own_figures():
    start = {name: figure for name, figure, _ in tuning_sheet(properties_of("PEEK")).start}
    assert start["nozzle"] == "400 °C (335–440)"
    assert "chamber" in start

"""Machines: three classes from the trade, and a shop's own file read with care."""

import pytest

from orient.errors import OrientError
from orient.materials.machines import machine, machine_classes, read_machines

GOOD = """
[[machine]]
name = "left bench"
envelope_mm = [250, 210, 200]
nozzle_max_c = 300
bed_max_c = 120
nozzle_material = "hardened"
hourly_rate = 4.0
time_factor = 1.1
count = 2
"""


def written(tmp_path, text):
    path = tmp_path / "machines.toml"
    path.write_text(text, encoding="utf-8")
    return path


def said(tmp_path, old, new):
    with pytest.raises(OrientError) as caught:
        read_machines(written(tmp_path, GOOD.replace(old, new)))
    sentence = str(caught.value)
    assert "machines.toml" in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence


def test_the_three_classes_reach_what_the_trade_says():
    # Nozzle, bed and chamber as the classes are commonly described: common practice, no source.
    classes = machine_classes()
    assert list(classes) == ["entry", "engineering", "high-temperature"]
    reach = {name: (m.nozzle_max_c, m.bed_max_c, m.chamber_max_c) for name, m in classes.items()}
    assert reach["entry"] == ((250, 250), (120, 120), (0, 0))
    assert reach["engineering"] == ((320, 320), (160, 160), (60, 60))
    assert reach["high-temperature"] == ((330, 550), (160, 250), (90, 300))
    for one in classes.values():
        assert all(one.sources.values())


def test_a_shops_machine_keeps_what_is_said_and_takes_the_rest_from_its_class(tmp_path):
    (one,) = read_machines(written(tmp_path, GOOD))
    assert one.own
    assert one.kind == "entry"
    assert one.nozzle_max_c == (300, 300)
    assert one.chamber_max_c == (0, 0)
    assert one.nozzles_mm == machine_classes()["entry"].nozzles_mm
    assert (one.hourly_rate, one.time_factor, one.count) == (4.0, 1.1, 2)
    assert not one.enclosed
    assert not one.dry_feed


def test_only_what_the_shop_did_not_say_is_traced_to_the_class(tmp_path):
    (one,) = read_machines(written(tmp_path, GOOD + "acceleration_mm_s2 = 5000.0\n"))
    assert "acceleration_mm_s2" not in one.sources
    assert one.sources["travel_mm_s"] == "as the entry class: common practice, no source"
    assert "less is taken" in one.sources["enclosed"]


@pytest.mark.parametrize(
    ("nozzle", "bed", "chamber", "kind"),
    [(260, 110, 0, "entry"), (350, 160, 60, "engineering"), (450, 200, 120, "high-temperature")],
)
def test_the_class_follows_from_the_temperatures(tmp_path, nozzle, bed, chamber, kind):
    text = GOOD.replace("nozzle_max_c = 300", f"nozzle_max_c = {nozzle}")
    text = text.replace("bed_max_c = 120", f"bed_max_c = {bed}\nchamber_max_c = {chamber}")
    (one,) = read_machines(written(tmp_path, text))
    assert one.kind == kind
    assert one.enclosed == (chamber > 0)


def test_a_bed_of_negative_size_is_refused(tmp_path):
    assert "envelope_mm is -210; give the room to build in" in said(tmp_path, "210", "-210")


def test_a_nozzle_at_600_degrees_is_refused_with_the_likely_slip(tmp_path):
    assert "600 (600 °F would be 316 °C)" in said(tmp_path, "= 300", "= 600")


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("bed_max_c", "bed_maks_c", 'no key "bed_maks_c"; the nearest is "bed_max_c"'),
        ("bed_max_c = 120\n", "", 'the key "bed_max_c" is missing'),
        ("bed_max_c = 120", 'bed_max_c = "hot"', "bed_max_c is hot"),
        ("count = 2", "count = 0", "count is 0; give a whole number from 1"),
        ('"hardened"', '"gold"', "nozzle_material is gold"),
        ("left bench", "entry", '"entry" twice, or as a class'),
        ("[[machine]]", "[machine]", "write one [[machine]] table"),
        ("count = 2", "count = ", "is not valid TOML"),
    ],
)
def test_a_slip_in_the_file_is_named_and_mended(tmp_path, old, new, expected):
    assert expected in said(tmp_path, old, new)


def test_a_missing_file_and_a_folder_are_said(tmp_path):
    with pytest.raises(OrientError, match="does not exist"):
        read_machines(tmp_path / "none.toml")
    with pytest.raises(OrientError, match="is a folder"):
        read_machines(tmp_path)


def test_a_name_is_read_as_people_write_it(tmp_path):
    own = read_machines(written(tmp_path, GOOD))
    assert machine("Left_Bench", own) is own[0]
    assert machine("high temperature").kind == "high-temperature"


def test_an_unknown_machine_is_answered_with_the_nearest():
    with pytest.raises(OrientError, match=r"enginering.*nearest is engineering"):
        machine("enginering")

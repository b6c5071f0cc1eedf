"""The shop in words and JSON: every figure traced, nothing guessed, everything said once."""

import json
from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np
import pytest
import trimesh
from rich.console import Console

import orient
from orient.brief import Brief
from orient.materials.machines import CLASSES
from orient.show.document import ranking_csv, ranking_document
from orient.show.shop import (
    machines_document,
    machines_view,
    order_words,
    polymers_document,
    polymers_view,
    shop_document,
    shop_view,
)
from orient.show.table import ranking_view
from tests.evaluated import SAMPLES

JOB = {
    "job": {"quantity": 20, "due": "2030-05-03", "outdoor": True},
    "process": {"polymer": "PLA", "machine": "entry"},
    "load": {"stress_axis": [1, 0, 0]},
    "rates": {"currency": "EUR", "machine_per_hour": 3, "labour_per_hour": 30, "material_per_kg": 25},
}


@cache
def plain():
    """The bracket under the job above."""
    part = orient.load(SAMPLES / "mast_bracket.stl")
    return orient.evaluate(part, Brief.model_validate(JOB), directions=80, start=datetime(2030, 5, 1, 8))


def words(view, width=100):
    console = Console(width=width, highlight=False)
    with console.capture() as written:
        console.print(view)
    return written.get()


def test_the_document_follows_its_schema():
    found = shop_document(plain())
    assert {"schema", "polymer", "machines", "service", "cautions"} <= set(found)
    assert found["schema"] == "orient/shop/1"
    assert found["polymer"] == "PLA"
    for one in found["machines"]:
        assert {"name", "class", "verdict", "reasons"} <= set(one)
        assert one["class"] in CLASSES
        assert one["verdict"] in ("runs", "care", "no")
        assert all(isinstance(reason, str) for reason in one["reasons"])
    json.dumps(found, allow_nan=False)


def test_a_candidate_carries_its_shop():
    found = ranking_document(plain())
    for row, one in enumerate(found["candidates"]):
        assert set(one["shop"]) == {"hours", "part_g", "support_g", "finishing_min", "cost", "fits"}
        assert one["shop"]["cost"] == pytest.approx(plain().shop.poses.unit_cost[row])
    head, first, *_ = ranking_csv(plain()).splitlines()
    assert head.endswith("hours,part_g,support_g,finishing_min,cost,fits")
    assert first.endswith("True")


def test_without_rates_or_machine_cost_and_fit_are_null():
    bare = orient.evaluate(plain().part, directions=40)
    shop = ranking_document(bare)["candidates"][0]["shop"]
    assert shop["cost"] is None
    assert shop["fits"] is None
    assert shop["hours"] > 0
    assert "hours" not in words(ranking_view(bare)).split("Take pose")[0]


def test_the_table_shows_hours_grams_and_cost_once_polymer_and_machine_are_named():
    for width in (80, 100):
        table = words(ranking_view(plain(), width), width).split("Take pose")[0]
        assert "hours" in table
        assert "EUR" in table
        assert "…" not in table
        taken = plain().ranking.recommended - 1
        assert f"{plain().shop.poses.unit_cost[taken]:,.2f}" in table


def test_an_outdoor_pla_bracket_is_warned_of_in_ranking_and_shop():
    for text in (words(ranking_view(plain())), words(shop_view(plain()))):
        assert "dark surface in the sun" in " ".join(text.split())
    assert any(one["verdict"] == "no" for one in shop_document(plain())["service"])


def test_nothing_is_cautioned_twice():
    cautions = shop_document(plain())["cautions"]
    assert len(cautions) == len(set(cautions))
    text = " ".join(words(shop_view(plain())).split())
    for said in cautions:
        assert text.count(said) <= 1


def test_every_number_of_the_order_is_in_the_document():
    said = order_words(plain())
    order = shop_document(plain())["pose"]["order"]
    assert f"{order['unit_price']:.2f} EUR each" in said
    assert f"{order['hours']:.1f} h from start to end" in said
    assert said.startswith(f"{order['quantity']} wanted")
    assert order["late"] in (True, False)
    assert ("late" if order["late"] else "in time") in said
    assert ranking_document(plain())["shop"]["order"] == order


def test_the_tuning_sheet_is_there_when_asked_for():
    assert "Tuning sheet" not in words(shop_view(plain()))
    sheet = words(shop_view(plain(), tuning=True))
    assert "unplugged" in sheet
    assert "common practice, no source" in sheet


def test_thin_walls_and_hard_features_reach_the_shop():
    # The bracket has one wall of 1.0 mm, a single line of a 0.8 mm nozzle (line 0.9 mm): see its sample.
    found = plain()
    wide = [one for one in found.shop.order.layers if 2 * 1.125 * one.nozzle_mm > 1.0]
    assert {one.walls_below_two_lines for one in found.shop.order.layers} <= {0, 1, 2}
    assert all(one.walls_below_two_lines >= 1 for one in wide)
    assert "walls below" in words(shop_view(found))
    topics = shop_document(found)["tuning"]["topics"]
    flagged = {one.id for one in found.features.recommended.features if one.verdict != "fine"}
    assert flagged
    assert set().union(*(topic["features"] for topic in topics)) <= flagged
    assert topics[0]["features"]


def test_a_brim_is_counted_in_every_pose():
    poses = plain().shop.poses
    taken = plain().ranking.recommended - 1
    assert poses.brim_mm[taken] == plain().shop.order.brim_mm
    assert poses.curl_index_mm[taken] == pytest.approx(plain().shop.order.curl_index_mm)
    candidate = ranking_document(plain())["candidates"][taken]
    assert candidate["brim"]["brim_mm"] == poses.brim_mm[taken]


def test_walls_that_were_not_counted_get_no_column():
    job = Brief.model_validate(JOB)
    found = orient.evaluate(plain().part, job, directions=30, features=False, start=datetime(2030, 5, 1, 8))
    assert "walls below" not in words(shop_view(found))
    counted = tuple(replace(one, walls_below_two_lines=3) for one in found.shop.order.layers)
    order = replace(found.shop.order, layers=counted)
    assert "walls below" in words(shop_view(replace(found, shop=replace(found.shop, order=order))))


def test_a_machine_without_room_says_so_in_its_row():
    long = trimesh.creation.box((260.0, 230.0, 270.0))
    found = shop_document(orient.evaluate(orient.part_from_trimesh(long), directions=30))
    entry, engineering, _ = found["machines"]
    assert not entry["fits"]
    assert any(reason.startswith("room:") for reason in entry["reasons"])
    assert entry["verdict"] == "no"
    assert engineering["fits"]
    # The class that has the room stands in, not the first one that heats enough.
    assert found["machine"] == "engineering"


def test_what_no_machine_can_run_is_said_first_and_gets_no_bed_date_or_price():
    huge = trimesh.creation.box((700.0, 500.0, 60.0))
    job = {**JOB, "process": {"polymer": "PLA"}}
    found = orient.evaluate(orient.part_from_trimesh(huge), Brief.model_validate(job), directions=30)
    said = words(shop_view(found))
    assert "Not as it stands: no class of machine can run it" in said.split("machine  ")[0]
    assert "No bed, price or date" in said
    assert "◀" not in said
    assert "EUR" not in said
    order = shop_document(found)["pose"]["order"]
    assert [order[name] for name in ("beds", "done", "late", "unit_price", "batch_price")] == [None] * 5


def test_a_service_that_the_polymer_cannot_bear_is_said_first():
    job = {**JOB, "load": {"service_temp_c": 90}}
    found = orient.evaluate(plain().part, Brief.model_validate(job), directions=30)
    assert words(shop_view(found)).splitlines()[1].startswith("Not as it stands: heat: service at 90 °C")


def test_a_brim_that_does_not_fit_beside_the_part_is_care():
    # ABS on 300 × 300 mm less two margins of 5: 285 mm fit alone, and do not with 10 mm more at either end.
    long = trimesh.creation.box((285.0, 220.0, 20.0))
    job = Brief.model_validate({"process": {"polymer": "ABS"}})
    engineering = shop_document(orient.evaluate(orient.part_from_trimesh(long), job, directions=30))[
        "machines"
    ][1]
    assert engineering["fits"]
    assert engineering["verdict"] == "care"
    assert any("with its brim of 10 mm" in reason for reason in engineering["reasons"])


def test_hours_and_grams_are_the_same_whether_or_not_the_machine_is_named():
    long = orient.part_from_trimesh(trimesh.creation.box((220.0, 30.0, 12.0)))
    named, unnamed = (
        shop_document(orient.evaluate(long, Brief.model_validate({"process": process}), directions=30))
        for process in ({"polymer": "ABS", "machine": "engineering"}, {"polymer": "ABS"})
    )
    assert unnamed["machine"] == "engineering"
    assert named["pose"]["brim_mm"] > 0
    for name in ("hours", "part_g", "support_g", "layers"):
        assert named["pose"][name] == unnamed["pose"][name]
    usual = next(one for one in named["pose"]["layers"] if (one["nozzle_mm"], one["layer_mm"]) == (0.4, 0.2))
    assert usual["hours"] == pytest.approx(named["pose"]["hours"], rel=1e-6)


def test_the_pose_is_named_by_its_direction_and_height():
    said, pose = words(shop_view(plain())), shop_document(plain())["pose"]
    assert f"build along −y, {pose['height_mm']:.1f} mm high" in said
    assert pose["build_direction"] == [0.0, -1.0, 0.0]


def test_lists_of_polymers_and_machines_say_no_data_where_there_is_none():
    polymers = {one["key"]: one for one in polymers_document()["polymers"]}
    assert polymers["PPSU"]["figures"]["strength_across_mpa"] == "no data"
    across = polymers["PETG"]["figures"]["strength_across_mpa"]
    assert across["low"] < across["nominal"] < across["high"]
    assert "PPSU" in words(polymers_view(), 80)
    assert "no data" in words(polymers_view(), 80)
    assert [one["name"] for one in machines_document()["machines"]] == list(CLASSES)
    assert "high-temperature" in words(machines_view(), 80)
    json.dumps([polymers_document(), machines_document()], allow_nan=False)


def test_limits_of_the_process_stand_with_what_the_geometry_says():
    limits = shop_document(plain())["limits"]
    # atan(0.45 / 0.4).
    assert limits["geometric_overhang_deg"] == pytest.approx(np.degrees(np.arctan(0.45 / 0.4)))
    assert limits["overhang_limit_deg"] == 45.0
    assert set(limits) - {"geometric_overhang_deg"} <= set(shop_document(plain())["limit_sources"])


def test_what_may_be_wrong_is_said_before_the_machines():
    box = trimesh.creation.box((20.0, 12.0, 8.0))
    box.update_faces(np.arange(12) != 3)
    found = orient.evaluate(orient.part_from_trimesh(box), directions=20)
    said = words(shop_view(found))
    assert "not closed" in said
    assert said.index("not closed") < said.index("machine ")
    assert shop_document(found)["warnings"] == list(found.warnings)


def test_what_has_no_data_says_so_in_its_column():
    # PC-PBT has no density and PEI no strength across the layers, in any source that was found.
    part = orient.part_from_trimesh(trimesh.creation.box((20.0, 12.0, 8.0)))

    def first_row(polymer, **more):
        process = {"polymer": polymer, "machine": "high-temperature"}
        said = Brief.model_validate({"process": process, **more})
        return next(
            line
            for line in words(ranking_view(orient.evaluate(part, said, directions=20))).splitlines()
            if "◀" in line
        )

    weighed = first_row("PC-PBT", rates={"machine_per_hour": 3.0, "material_per_kg": 25.0})
    assert weighed.count("no data") == 2  # grams, and the cost that needs them
    assert "nan" not in weighed
    assert first_row("PEI", load={"stress_axis": [1, 0, 0]}).count("no data") == 1

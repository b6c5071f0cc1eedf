"""The strength document and its view."""

import json

import numpy as np
import pytest
from rich.console import Console

import orient
from orient.evaluation import LOAD_CAUTION, strength_of
from orient.show.document import ranking_document
from orient.show.strength import strength_document, strength_json, strength_view
from orient.strength.field import solve_field
from orient.strength.judge import judge, make_ready
from orient.strength.loads import Force, Loads
from orient.strength.section import Strength
from tests.evaluated import SAMPLES, sample, without_load
from tests.strength.shapes import bar, case, faces_at
from tests.strength.test_failure import PROCESS

POSE = {
    "build_direction",
    "safety_factor",
    "breaks_limits",
    "safety_factor_low",
    "safety_factor_high",
    "raw_safety_factor",
    "weakest_at_mm",
    "governing_case",
    "fails_by",
    "cases",
}


def printed(part, strength, ranked=None):
    console = Console(width=100, force_terminal=False, highlight=False)
    with console.capture() as text:
        console.print(strength_view(part, strength, ranked))
    return text.get()


def test_document_holds_the_contract_and_every_case_of_a_pose():
    found = sample("mast_bracket")
    document = json.loads(strength_json(found.strength), parse_constant=pytest.fail)
    solved = {"cells", "unknowns", "pitch_mm", "iterations", "residual"}
    assert set(document) == {"schema", "cases", "poses", "cautions", "timing_s"} | solved
    assert document["schema"] == "orient/strength/1"
    assert all(set(pose) == POSE for pose in document["poses"])
    assert all(pose["fails_by"] in ("between layers", "within layers") for pose in document["poses"])
    (gust,) = document["cases"]
    assert set(gust) == {"name", "max_deflection_mm", "selected"}
    assert [one["selector"] for one in gust["selected"]] == [
        "hole-near:-27,0,3",
        "hole-near:27,0,3",
        "face-near:12.5,0,40",
    ]
    assert all(set(one) == {"selector", "faces", "area_mm2"} for one in gust["selected"])
    # The wall of a 6.6 mm hole through 6 mm.
    assert gust["selected"][0]["area_mm2"] == pytest.approx(np.pi * 6.6 * 6, rel=2e-3)
    assert document["cautions"][0] == LOAD_CAUTION
    assert document["residual"] <= 1e-6


def test_poses_come_as_the_ranking_orders_them():
    found = sample("mast_bracket")
    document, ranking = strength_document(found.strength), ranking_document(found)
    assert len(document["poses"]) == len(ranking["candidates"])
    for pose, candidate in zip(document["poses"], ranking["candidates"], strict=True):
        assert pose["build_direction"] == candidate["build_direction"]
        assert pose["safety_factor"] == candidate["measures"]["safety_factor"]
        assert pose == candidate["strength"]
        assert pose["safety_factor_low"] <= pose["safety_factor"] <= pose["safety_factor_high"]
        assert pose["raw_safety_factor"] <= pose["safety_factor"]


def test_the_ranking_says_how_the_stress_was_found():
    document = ranking_document(sample("mast_bracket"))
    assert document["strength"]["cells"] == sample("mast_bracket").strength.field.cells
    assert ranking_document(without_load())["strength"] is None
    assert "safety_factor" not in ranking_document(without_load())["candidates"][0]["measures"]


def test_view_shows_the_case_the_poses_and_the_caution():
    found = sample("mast_bracket_rev_b")
    text = printed(found.part, found.strength, found)
    assert "gust, both ways" in text
    assert "wall of hole" in text
    row = found.ranking.recommended - 1
    assert f"{found.strength.safety.factor[row]:.2f}" in text
    assert " ".join(LOAD_CAUTION.split()) in " ".join(text.replace("•", "").split())
    assert "which the axis does not see" in " ".join(text.split()) or "same pose" in text


def test_given_poses_are_judged_without_a_ranking():
    brief = orient.read_brief(SAMPLES / "mast_bracket.toml")
    part = orient.load(brief.part.file)
    found = strength_of(part, brief, [[0, 0, 2], [1, 0, 0]], voxels=6000)
    assert found.safety.directions.tolist() == [[0, 0, 1], [1, 0, 0]]
    ranked = sample("mast_bracket")
    row = int(np.argmax(ranked.ranking.directions @ [0, 0, 1]))
    assert found.safety.factor[0] == ranked.strength.safety.factor[row]
    assert not found.breaks


def test_a_pose_that_was_asked_for_is_told_to_break_the_limits():
    brief = orient.read_brief(SAMPLES / "mast_bracket.toml")
    strict = brief.model_copy(
        update={
            "limits": brief.limits.model_copy(update={"min_safety_factor": 50.0, "max_deflection_mm": 1e-4})
        }
    )
    part = orient.load(brief.part.file)
    found = strength_of(part, strict, [[0, 0, 1]], voxels=6000)
    low = found.safety.low[0]
    (pose,) = strength_document(found)["poses"]
    assert f"safety factor of {low:.2f} where 50.00 is asked for" in pose["breaks_limits"]
    assert "mm where" in pose["breaks_limits"]
    assert "Pose 1 breaks them." in printed(part, found)


PART = bar(24, 6, 6)


@pytest.fixture(scope="module")
def two_cases():
    end = faces_at(PART, 0, 24.0)
    cases = [
        case([faces_at(PART, 0, 0.0)], Loads(forces=(Force(end, np.array(newtons)),)), name)
        for name, newtons in (("pulled", [36.0, 0, 0]), ("bent", [0, 0, -12.0]))
    ]
    field = solve_field(PART, PROCESS, cases, voxels=900)
    return Strength(field, judge(make_ready(field, PROCESS), np.eye(3)[[0, 2]]))


def test_document_holds_every_case_of_every_pose(two_cases):
    document = json.loads(strength_json(two_cases))
    assert [one["name"] for one in document["cases"]] == ["pulled", "bent"]
    for pose in document["poses"]:
        worst = min(pose["cases"], key=lambda one: one["safety_factor"])
        assert (worst["name"], worst["safety_factor"]) == (pose["governing_case"], pose["safety_factor"])
        assert (worst["weakest_at_mm"], worst["fails_by"]) == (pose["weakest_at_mm"], pose["fails_by"])
        assert pose["safety_factor_low"] < pose["safety_factor"] < pose["safety_factor_high"]
    standing, lying = document["poses"]
    assert standing["fails_by"] == "between layers"
    assert standing["safety_factor"] < lying["safety_factor"]
    assert document["cautions"][0] == LOAD_CAUTION


def test_view_tells_every_case_and_the_caution(two_cases):
    said = printed(PART, two_cases)
    assert all(name in said for name in ("pulled", "bent", "safety in", "deflection", "between layers"))
    assert "load-test" in said

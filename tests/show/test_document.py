"""The ranking as JSON and CSV: the contract key by key, and that every figure agrees with every other."""

import csv
import io
import json
import re
from math import isclose

import numpy as np
import pytest
from shapely import MultiPoint, oriented_envelope

from orient.show.document import ranking_csv, ranking_json
from tests.evaluated import open_box, sample, under_limits, without_load

# A type, a list of one kind, a tuple of alternatives, or a table with at least these keys.
NUMBER = (int, float)
VECTOR = [NUMBER]
MEASURES = {
    "overhang_area_mm2": NUMBER,
    "support_volume_mm3": NUMBER,
    "support_needed_mm3": NUMBER,
    "support_on_part_mm3": NUMBER,
    "scar_area_mm2": NUMBER,
    "height_mm": NUMBER,
    "layers": int,
    "first_layer_mm2": NUMBER,
    "islands": int,
    "tip_margin_deg": NUMBER,
    "stair_step_mm": NUMBER,
    "load_angle_deg": (int, float, None),
    "strength_retained": (int, float, None),
    "contour_length_mm": NUMBER,
}
PENALTY = {
    "support": NUMBER,
    "height": NUMBER,
    "load": (int, float, None),
    "first_layer": NUMBER,
    "finish": NUMBER,
    "total": NUMBER,
}
CONTRACT = {
    "schema": str,
    "part": {
        "name": str,
        "faces": int,
        "bodies": int,
        "units": str,
        "extents_mm": VECTOR,
        "volume_mm3": NUMBER,
        "area_mm2": NUMBER,
        "closed": bool,
        "notes": [str],
    },
    "brief": dict,
    "recommended": int,
    "cautions": [str],
    "candidates": [
        {
            "rank": int,
            "build_direction": VECTOR,
            "transform": [VECTOR],
            "source": str,
            "measures": MEASURES,
            "penalty": PENALTY,
            "rests_on_flat": bool,
            "undominated": bool,
            "why": [str],
        }
    ],
    "excluded": [{"build_direction": VECTOR, "reason": str}],
    "timing_s": dict,
}
SOURCES = {"resting", "plane", "grid", "load", "refined"}
# A number as a sentence writes it, with commas between thousands.
SAID = re.compile(r"(?<![\w.,])−?\d[\d,]*(?:\.\d+)?")


def faults(value, kind, where="$"):
    """Where a value departs from a kind."""
    if isinstance(kind, dict):
        if not isinstance(value, dict):
            return [f"{where} is no table"]
        missing = [f"{where}.{key} is missing" for key in kind if key not in value]
        return missing + [
            f for key in kind if key in value for f in faults(value[key], kind[key], f"{where}.{key}")
        ]
    if isinstance(kind, list):
        if not isinstance(value, list):
            return [f"{where} is no list"]
        return [f for i, item in enumerate(value) for f in faults(item, kind[0], f"{where}[{i}]")]
    allowed = kind if isinstance(kind, tuple) else (kind,)
    fits = (value is None and None in allowed) or type(value) in allowed
    return [] if fits else [f"{where} is {value!r}"]


def read(evaluation):
    return json.loads(ranking_json(evaluation), parse_constant=pytest.fail)


@pytest.fixture(scope="module")
def bracket():
    return read(sample("mast_bracket"))


@pytest.mark.parametrize(
    "evaluation",
    [lambda: sample("mast_bracket"), without_load, under_limits, open_box],
    ids=lambda f: f.__name__,
)
def test_json_has_every_key_of_its_contract_in_its_type(evaluation):
    document = read(evaluation())
    assert faults(document, CONTRACT) == []
    assert document["schema"] == "orient/ranking/1"
    for candidate in document["candidates"]:
        assert candidate["source"] in SOURCES
        assert np.shape(candidate["build_direction"]) == (3,)
        assert np.shape(candidate["transform"]) == (4, 4)
    assert all(isinstance(seconds, float) for seconds in document["timing_s"].values())


def test_the_check_of_the_contract_sees_faults():
    good = read(without_load())
    for key in CONTRACT:
        assert faults({k: v for k, v in good.items() if k != key}, CONTRACT) == [f"$.{key} is missing"]
    assert faults(good | {"recommended": "1"}, CONTRACT) == ["$.recommended is '1'"]
    assert faults(good | {"recommended": True}, CONTRACT) == ["$.recommended is True"]


def test_all_candidates_are_listed_best_first(bracket):
    ranks = [candidate["rank"] for candidate in bracket["candidates"]]
    totals = [candidate["penalty"]["total"] for candidate in bracket["candidates"]]
    assert ranks == list(range(1, len(ranks) + 1))
    assert totals == sorted(totals)
    assert sum(candidate["source"] == "grid" for candidate in bracket["candidates"]) == 200
    assert not bracket["excluded"]


def test_listed_and_excluded_are_all_poses():
    document = read(under_limits())
    listed, left_out = document["candidates"], document["excluded"]
    assert left_out
    grid = sum(candidate["source"] == "grid" for candidate in listed)
    assert grid < 200 < len(listed) + len(left_out)
    assert all(candidate["measures"]["height_mm"] <= 46.0 + 1e-6 for candidate in listed)
    assert all(candidate["measures"]["strength_retained"] >= 0.85 - 1e-6 for candidate in listed)


def test_transform_takes_the_part_to_the_bed(bracket):
    part = sample("mast_bracket").part
    assert bracket["part"]["extents_mm"] == pytest.approx(np.ptp(part.vertices, axis=0))
    for candidate in bracket["candidates"][:40]:
        transform = np.array(candidate["transform"])
        turn = transform[:3, :3]
        assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-8)
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert turn @ candidate["build_direction"] == pytest.approx([0, 0, 1], abs=1e-8)
        laid = part.vertices @ turn.T + transform[:3, 3]
        assert laid[:, 2].min() == pytest.approx(0.0, abs=1e-6)
        assert np.ptp(laid[:, 2]) == pytest.approx(candidate["measures"]["height_mm"], abs=1e-6)
        low, high = laid[:, :2].min(axis=0), laid[:, :2].max(axis=0)
        assert low == pytest.approx(-high, abs=1e-6)
        length, width = high - low
        assert length >= width - 1e-6
        # No rectangle about the shadow is smaller (shapely's least-area rectangle).
        least = oriented_envelope(MultiPoint(laid[:, :2])).area
        assert length * width == pytest.approx(least, rel=1e-6)


def test_weights_and_penalties_give_the_total(bracket):
    weights = bracket["weights"]
    for candidate in bracket["candidates"]:
        penalty = candidate["penalty"]
        mean = sum(weights[name] * penalty[name] for name in weights) / sum(weights.values())
        assert penalty["total"] == pytest.approx(mean, abs=1e-8)


def test_without_a_load_there_is_no_load_penalty():
    document = read(without_load())
    for candidate in document["candidates"]:
        assert candidate["measures"]["load_angle_deg"] is None
        assert candidate["measures"]["strength_retained"] is None
        assert candidate["penalty"]["load"] is None
    assert "load" not in document["weights"]


@pytest.mark.parametrize("evaluation", [lambda: sample("mast_bracket"), under_limits])
def test_strength_figures_come_with_their_caution(evaluation):
    cautions = " ".join(read(evaluation())["cautions"])
    assert "load-test" in cautions
    assert "qualified people" in cautions


def test_without_strength_figures_there_is_no_caution_about_them():
    assert "trength" not in " ".join(read(without_load())["cautions"])


def test_an_open_mesh_says_which_figures_are_approximate():
    document = read(open_box())
    assert document["part"]["closed"] is False
    assert {"support_volume_mm3", "first_layer_mm2"} <= set(document["approximate"]) <= set(MEASURES)
    assert any("not closed" in note and "approximate" in note for note in document["warnings"])
    assert read(without_load())["approximate"] == []


def test_the_brief_is_written_out_with_its_defaults(bracket):
    brief = bracket["brief"]
    assert brief["process"]["layer_height_mm"] == 0.2
    assert brief["process"]["overhang_limit_deg"] == 45
    assert brief["load"]["stress_axis"] == [[1, 0, 0]]
    assert brief["polymer"]["strength_in_layer_mpa"] > brief["polymer"]["strength_across_mpa"]
    assert read(without_load())["brief"]["process"]["polymer"] == "PLA"


# --- words and figures ------------------------------------------------------------------------------------


def leaves(value):
    """Every number in a value."""
    if isinstance(value, dict):
        return [leaf for item in value.values() for leaf in leaves(item)]
    if isinstance(value, list):
        return [leaf for item in value for leaf in leaves(item)]
    return [value] if isinstance(value, int | float) and not isinstance(value, bool) else []


def untraced(sentence, figures):
    """Numbers of a sentence that no figure rounds to."""
    found = []
    for word in SAID.findall(sentence):
        number = float(word.replace(",", "").replace("−", "-"))
        places = len(word.partition(".")[2])
        if not any(
            isclose(number, round(figure, places), abs_tol=1.01 * 10.0**-places / 2) for figure in figures
        ):
            found.append(word)
    return found


# The figures that a shared field of `figures` must have in the list of candidates itself.
SAME_FIELDS = ("support_needed_mm3", "height_mm", "first_layer_mm2", "stair_step_mm")


def pose_faults(said, document):
    """Where the figures of an explanation depart from the pose they are about."""
    pose = document["candidates"][said["rank"] - 1]
    same = [said["total"] == pytest.approx(pose["penalty"]["total"], abs=1e-8)]
    same += [
        said["measures"][name] == pytest.approx(pose["measures"][name], abs=1e-8) for name in SAME_FIELDS
    ]
    whole = sum(document["weights"].values())
    for name, cost in said["cost"].items():
        same.append(
            cost == pytest.approx(document["weights"][name] * pose["penalty"][name] / whole, abs=1e-8)
        )
    return same.count(False)


@pytest.mark.parametrize("name", ["mast_bracket", "cable_guide", "knob", "test_wedge"])
def test_every_number_in_the_words_is_a_figure_of_the_json(name):
    document = read(sample(name))
    explained = [candidate for candidate in document["candidates"] if candidate["why"]]
    assert len(explained) >= 5
    for candidate in explained:
        figures = candidate["figures"]
        assert [said for said in candidate["why"] if untraced(said, leaves(figures))] == []
        assert figures["rank"] == candidate["rank"]
        assert figures["poses"] == len(document["candidates"])
        assert pose_faults(figures, document) == 0
        assert pose_faults(figures["next"], document) == 0
        assert figures["weights"] == document["weights"]


def test_how_far_weights_can_move_is_said_as_it_is_listed(bracket):
    taken = bracket["candidates"][bracket["recommended"] - 1]
    spans = {span["weight"]: span for span in bracket["robustness"]}
    assert set(spans) == set(bracket["weights"])
    for hold in taken["figures"]["holds"]:
        span = spans[hold["weight"]]
        assert (hold["now"], hold["low"], hold["high"]) == (span["value"], span["low"], span["high"])
        assert (hold["rival_low"], hold["rival_high"]) == (span["rival_low"], span["rival_high"])


def test_the_pose_named_as_better_in_a_measure_is_better(bracket):
    best = bracket["candidates"][0]["figures"]["best"]
    assert best
    for field, better in best.items():
        pose = bracket["candidates"][better["rank"] - 1]
        values = [candidate["measures"].get(field) for candidate in bracket["candidates"]]
        if field in MEASURES:
            assert better["value"] == pytest.approx(pose["measures"][field], abs=1e-8)
            assert better["value"] == pytest.approx(
                max(values) if field == "first_layer_mm2" else min(values)
            )


def test_every_number_in_a_reason_is_a_figure_of_the_json():
    for pose in read(under_limits())["excluded"]:
        assert SAID.findall(pose["reason"])
        assert untraced(pose["reason"], leaves(pose["figures"])) == []


def test_the_check_of_numbers_sees_a_wrong_one():
    assert untraced("It needs 1,240 mm³ against 3 mm³.", [1240.3, 3.4]) == []
    assert untraced("It needs 1,241 mm³, 0.05 of all, −3°.", [1240.3, 0.056, 3.0]) == ["1,241", "0.05", "−3"]


# --- CSV --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("evaluation", [lambda: sample("mast_bracket"), without_load, open_box])
def test_csv_says_what_the_json_says(evaluation):
    document = read(evaluation())
    rows = list(csv.DictReader(io.StringIO(ranking_csv(evaluation()), newline="")))
    assert len(rows) == len(document["candidates"])
    for row, candidate in zip(rows, document["candidates"], strict=True):
        assert int(row["rank"]) == candidate["rank"]
        assert [float(row[f"direction_{axis}"]) for axis in "xyz"] == candidate["build_direction"]
        assert row["source"] == candidate["source"]
        assert row["rests_on_flat"] == str(int(candidate["rests_on_flat"]))
        assert row["undominated"] == str(int(candidate["undominated"]))
        for name, value in candidate["measures"].items():
            assert (float(row[name]) if row[name] else None) == value
        for name, value in candidate["penalty"].items():
            assert value is None if f"penalty_{name}" not in row else float(row[f"penalty_{name}"]) == value


def test_csv_ends_its_lines_as_the_standard_says():
    # RFC 4180, 2.1: each record on a line of its own, ended by CRLF.
    text = ranking_csv(open_box())
    assert text.count("\r\n") == text.count("\n") == len(open_box().ranking.directions) + 1

"""The list of hard features for people and for programs, and the counts beside a ranking."""

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from manifold3d import Manifold
from rich.console import Console

import orient
from orient.brief import Brief
from orient.features.model import VERDICTS
from orient.part.mesh import part_from_arrays
from orient.ranking.second import SHARES, feature_penalty
from orient.show.document import ranking_document
from orient.show.features import features_document, features_json, features_view, poses_view

SAMPLES = Path(__file__).resolve().parents[2] / "sample_parts"
NUMBER = (int, float)
# The contract of the JSON: names and types of what every document and every entry holds.
DOCUMENT = {
    "schema": str,
    "part": dict,
    "build_direction": list,
    "counts": dict,
    "features": list,
    "holes": list,
    "unreliable": list,
    "cautions": list,
    "timing_s": dict,
}
ENTRY = {
    "id": str,
    "kind": str,
    "verdict": str,
    "size_mm": NUMBER,
    "limit_mm": (*NUMBER, type(None)),
    "at_mm": list,
    "direction": (list, type(None)),
    "area_mm2": NUMBER,
    "why": str,
    "try_first": list,
}
HOLE = {
    "id": str,
    "diameter_mm": NUMBER,
    "depth_mm": NUMBER,
    "axis": list,
    "centre_mm": list,
    "tilt_deg": NUMBER,
    "through": bool,
    "countersunk": bool,
    "residual_mm": NUMBER,
    "fits": list,
}


@cache
def housing():
    return orient.inspect(orient.load(SAMPLES / "sensor_housing.stl"), build_direction=(0, 0, 1))


@cache
def portal_ranked(weight=0.0):
    """A portal whose opening spans 8 mm: short enough to bridge."""
    solid = Manifold.cube((30, 20, 20)) - Manifold.cube((8, 20, 15)).translate((11, 0, 0))
    mesh = solid.to_mesh()
    part = part_from_arrays(mesh.vert_properties[:, :3], mesh.tri_verts)
    return orient.evaluate(part, Brief.model_validate({"weights": {"features": weight}}), directions=60)


def words(view, width=80):
    console = Console(width=width, highlight=False)
    with console.capture() as written:
        console.print(view)
    return written.get()


def holds(contract, found):
    assert set(contract) <= set(found)
    for name, kind in contract.items():
        assert isinstance(found[name], kind), name


def test_the_json_keeps_its_contract():
    found = json.loads(features_json(housing()))
    holds(DOCUMENT, found)
    assert set(found) == set(DOCUMENT)
    assert found["schema"] == "orient/features/1"
    assert list(found["counts"]) == list(VERDICTS)
    for entry in found["features"]:
        holds(ENTRY, entry)
        assert "faces" not in entry
    for one in found["holes"]:
        holds(HOLE, one)
    counted = [entry["verdict"] for entry in found["features"]]
    assert found["counts"] == {verdict: counted.count(verdict) for verdict in VERDICTS}
    assert counted == sorted(counted, key=VERDICTS.index)


def test_faces_are_listed_when_asked_for():
    part = housing().part
    for entry in features_document(housing(), faces=True)["features"]:
        assert set(entry["faces"]) <= set(range(len(part.faces)))


@pytest.mark.parametrize("every", [False, True])
def test_the_list_fits_eighty_columns_and_names_every_entry(every):
    said = words(features_view(housing(), every=every))
    assert max(len(line) for line in said.splitlines()) <= 80
    assert "…" not in said
    told = set(said.replace(";", " ").split())
    hard = {one.id for one in housing().features if one.verdict != "fine"}
    assert hard <= told
    assert {hole.id for hole in housing().holes} <= told
    if every:
        assert {one.id for one in housing().features} <= told


def test_what_is_fine_is_said_in_a_line():
    said = words(features_view(housing()))
    fine = [one for one in housing().features if one.verdict == "fine"]
    assert "Leave it as it is" not in said
    assert f"{sum(one.kind == 'thin_wall' for one in fine)} thin walls" in " ".join(said.split())


def test_the_recommended_pose_is_inspected_unless_another_is_named():
    part = orient.load(SAMPLES / "gusset.stl")
    found = orient.inspect(part)
    ranking = orient.rank(part)
    assert np.allclose(found.direction, ranking.directions[ranking.recommended - 1])


def test_a_short_bridge_needs_no_support_in_the_poses_shown():
    # Opening 8 × 20 × 15 mm under a roof: 2400 mm³ of air, bridged by lines of 8 mm (limit 10 mm).
    found = portal_ranked()
    upright = int(np.argmax(found.ranking.directions @ np.array([0.0, 0.0, 1.0])))
    assert upright in found.features.poses
    columns = found.ranking.columns
    assert columns["support_volume_mm3"][upright] == pytest.approx(2400.0, rel=0.01)
    assert columns["support_needed_mm3"][upright] == pytest.approx(0.0, abs=1.0)
    assert (columns["support_needed_mm3"] <= columns["support_volume_mm3"] + 1e-9).all()
    candidate = ranking_document(found)["candidates"][upright]
    assert candidate["features"]["counts"] == dict(found.features.poses[upright].counts)
    assert candidate["measures"]["support_needed_mm3"] == pytest.approx(0.0, abs=1.0)


def test_counts_stand_beside_the_poses_shown():
    found = portal_ranked()
    said = words(poses_view(found)[1])
    for row in found.ranking.shown:
        assert f"pose {row + 1}" in said


def test_there_is_no_second_pass_unless_asked_for():
    assert portal_ranked().features.second is None
    assert ranking_document(portal_ranked())["second_pass"] is None


def test_the_second_pass_orders_the_poses_shown_by_score_and_features():
    found = portal_ranked(weight=2.0)
    second, ranking = found.features.second, found.ranking
    whole = sum(ranking.weights.values())
    assert set(second.order) == set(ranking.shown)
    for row in second.order:
        expected = (whole * ranking.penalty["total"][row] + 2.0 * second.penalty[row]) / (whole + 2.0)
        assert second.total[row] == pytest.approx(expected)
    assert [second.total[row] for row in second.order] == sorted(second.total.values())
    assert any("hard features counted" in said for said in ranking.why[ranking.recommended - 1])


def test_each_feature_takes_its_share_of_what_is_left():
    counts = {"redesign": 1, "support": 2, "tune": 1, "fine": 40}
    left = (1 - SHARES["redesign"]) * (1 - SHARES["support"]) ** 2 * (1 - SHARES["tune"])
    assert feature_penalty(counts) == pytest.approx(1 - left)
    assert feature_penalty(dict.fromkeys(VERDICTS, 0)) == 0.0

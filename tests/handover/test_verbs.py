"""The verbs that hand over: what they write, print and refuse."""

import hashlib
import json

import pytest
import trimesh

from orient.package import MANIFEST, write_package


@pytest.fixture
def bracket(tmp_path):
    upright = trimesh.creation.box(bounds=[[0, 0, 0], [4, 30, 30]])
    foot = trimesh.creation.box(bounds=[[0, 0, 0], [40, 30, 4]])
    path = tmp_path / "bracket.stl"
    trimesh.boolean.union([upright, foot]).export(path)
    return path


QUICK = ("--directions", "30", "--polymer", "PETG")


def test_save_prints_one_object(shell, bracket, tmp_path):
    out = tmp_path / "out.3mf"
    code, said, _ = shell("save", bracket, "-o", out, "--json", "-", *QUICK)
    assert code == 0
    told = json.loads(said)
    assert told["schema"] == "orient/handover/1"
    assert told["path"] == str(out)
    assert trimesh.load(out, force="mesh").volume == pytest.approx(told["volume_mm3"], rel=1e-6)


def test_coupon_by_id_and_what_it_says(shell, bracket, tmp_path):
    out = tmp_path / "c1.stl"
    code, said, _ = shell("coupon", bracket, "C1", "-o", out, "--json", "-", *QUICK)
    assert code == 0
    told = json.loads(said)
    assert told["id"] == "C1"
    assert told["same"] is True
    assert trimesh.load(out).is_watertight


def test_coupon_of_an_unknown_id_names_the_known(shell, bracket, tmp_path):
    code, _, err = shell("coupon", bracket, "Q9", "-o", tmp_path / "q.stl", *QUICK)
    assert code == 2
    assert "C1" in err
    assert not (tmp_path / "q.stl").exists()


def test_coupon_wants_to_know_of_what(shell, bracket, tmp_path):
    code, _, err = shell("coupon", bracket, "-o", tmp_path / "q.stl", *QUICK)
    assert code == 2
    assert "--all" in err


def test_coupon_of_the_material(shell, bracket, tmp_path):
    out = tmp_path / "bar.stl"
    code, said, _ = shell("coupon", bracket, "--material", "tensile", "-o", out, "--json", "-", *QUICK)
    assert code == 0
    assert json.loads(said)["size_mm"] == pytest.approx([170.0, 20.0, 4.0])


def test_batch_writes_a_file_a_layout(shell, bracket, tmp_path):
    code, said, _ = shell(
        "batch", bracket, "--copies", "70", "-o", tmp_path / "beds.3mf", "--json", "-", *QUICK
    )
    assert code == 0
    told = json.loads(said)
    assert told["part_count"] == 70
    assert sorted(bed["path"] for bed in told["beds"]) == sorted(map(str, tmp_path.glob("beds*.3mf")))


def test_package_lists_what_it_holds(shell, bracket, tmp_path):
    folder = tmp_path / "handed"
    code, _, _ = shell("package", bracket, "-o", folder, *QUICK)
    assert code == 0
    told = json.loads((folder / MANIFEST).read_text())
    names = {one["path"] for one in told["files"]}
    assert {"bracket.3mf", "page.html", "tuning.txt", "brief.toml"} <= names
    assert names | {MANIFEST} == {one.name for one in folder.iterdir()}
    for one in told["files"]:
        assert hashlib.sha256((folder / one["path"]).read_bytes()).hexdigest() == one["sha256"]
    code, _, err = shell("package", bracket, "-o", folder, *QUICK)
    assert code == 2
    assert "not empty" in err


def test_package_can_be_run_again_where_it_was_sent(shell, bracket, tmp_path, monkeypatch):
    folder = tmp_path / "handed"
    code, _, _ = shell("package", bracket, "-o", folder, *QUICK)
    assert code == 0
    told = json.loads((folder / MANIFEST).read_text())
    resolved = (folder / "brief_resolved.json").read_bytes()
    assert hashlib.sha256(resolved).hexdigest() == told["brief_sha256"]
    monkeypatch.chdir(folder)
    code, said, err = shell(
        "save", "--brief", "brief.toml", "-o", tmp_path / "again.3mf", "--json", "-", *QUICK
    )
    assert code == 0, err
    again = json.loads(said)
    assert again["build_direction"] == told["build_direction"]
    assert again["part_sha256"] == told["part_sha256"]


def test_coupon_of_the_material_needs_no_part_and_is_whole(shell, tmp_path):
    code, _, err = shell("coupon", "--material", "walls", "-o", tmp_path / "walls.3mf")
    assert code == 0, err
    code, _, err = shell("coupon", "--material", "walls", "--minutes", "5", "-o", tmp_path / "again.3mf")
    assert code == 2
    assert "is whole" in err
    code, _, err = shell("coupon", "--all", "-o", tmp_path / "none.3mf")
    assert code == 2
    assert "No part was named" in err


@pytest.mark.parametrize("verb", ["save", "picture", "batch", "package", "report", "coupon"])
def test_a_doubtful_unit_is_told_by_every_verb(shell, tmp_path, verb):
    # A block of 3 × 2 × 1, in inches by all appearance.
    path = tmp_path / "small.stl"
    trimesh.creation.box((3.0, 2.0, 1.0)).export(path)
    ending = {"picture": ".png", "package": "", "report": ".html"}.get(verb, ".3mf")
    words = ["--all", "--minutes", "60"] if verb == "coupon" else []
    _, _, err = shell(verb, path, *words, "-o", tmp_path / f"out{ending}", "--directions", "30")
    assert "probably drawn in" in err


def test_package_that_fails_leaves_nothing(tmp_path):
    with pytest.raises(TypeError):
        write_package(tmp_path / "handed", {"a.txt": b"fine", "b.txt": None})  # type: ignore[dict-item]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("verb", ["save", "batch"])
def test_unwritable_place_is_refused_before_any_work(shell, bracket, tmp_path, verb):
    code, _, err = shell(verb, bracket, "-o", tmp_path / "no" / "out.3mf", *QUICK)
    assert code == 2
    assert "does not exist" in err

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


def test_package_of_another_pose_is_of_that_pose_all_through(shell, bracket, tmp_path):
    folder = tmp_path / "second"
    code, _, _ = shell("package", bracket, "--pose", "2", "-o", folder, *QUICK)
    assert code == 0
    told = json.loads((folder / MANIFEST).read_text())
    assert told["pose"] == 2
    page = (folder / "page.html").read_text()
    assert "Pose 2 <span" in page
    assert "take this</span" in page.split("Pose 2 <span")[1][:60]
    assert "it was chosen by hand, where pose 1 is recommended" in page
    assert "Hard features of pose 2" in page
    assert "Pose 2, the one to take" in (folder / "tuning.txt").read_text()


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


def test_package_takes_the_shops_own_machines_along(shell, bracket, tmp_path, monkeypatch):
    hot = "nozzle_max_c = 300\nbed_max_c = 120\n"
    machine = '[[machine]]\nname = "left bench"\nenvelope_mm = [250, 210, 210]\n'
    (tmp_path / "machines.toml").write_text(machine + hot)
    brief = tmp_path / "job.toml"
    brief.write_text('[process]\npolymer = "PETG"\nmachine = "left bench"\nmachines = "machines.toml"\n')
    folder = tmp_path / "handed"
    code, _, err = shell("package", bracket, "--brief", brief, "-o", folder, "--directions", "30")
    assert code == 0, err
    monkeypatch.chdir(folder)
    code, _, err = shell("shop", "--brief", "brief.toml", "--directions", "30")
    assert code == 0, err


def test_package_never_writes_one_file_over_another(shell, bracket, tmp_path):
    hot = "nozzle_max_c = 300\nbed_max_c = 120\n"
    machine = '[[machine]]\nname = "left bench"\nenvelope_mm = [250, 210, 210]\n' + hot
    (tmp_path / "tuning.txt").write_text(machine)
    brief = tmp_path / "job.toml"
    brief.write_text('[process]\npolymer = "PETG"\nmachine = "left bench"\nmachines = "tuning.txt"\n')
    code, _, err = shell(
        "package", bracket, "--brief", brief, "-o", tmp_path / "handed", "--directions", "30"
    )
    assert code == 2
    assert "tuning.txt is the name of a file that the package holds itself" in err
    assert not (tmp_path / "handed").exists()


def test_a_brief_that_speaks_of_one_parts_faces_lays_others_without(shell, bracket, tmp_path):
    other = tmp_path / "plate.stl"
    trimesh.creation.box((30, 20, 5)).export(other)
    brief = tmp_path / "job.toml"
    brief.write_text('[[faces]]\non = "face-near:0,15,20"\nmatters = "visible"\n')
    code, said, err = shell("batch", bracket, other, "--brief", brief, "--copies", "3", "--json", "-", *QUICK)
    assert code == 0, err
    assert "alone" in err
    assert json.loads(said)["part_count"] == 6


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


def test_a_part_without_room_is_told_by_its_sizes_and_the_beds(shell, tmp_path):
    path = tmp_path / "long.stl"
    trimesh.creation.box((400, 300, 5)).export(path)
    code, _, err = shell("batch", path, "-o", tmp_path / "beds.3mf", *QUICK)
    assert code == 2
    assert "400.0 × 300.0 × 5.0 mm" in err
    assert "as none was named" in err
    code, _, err = shell("save", path, "--pose", "1", "-o", tmp_path / "long.3mf", *QUICK)
    assert code == 0
    assert "mm too" in err
    assert " class, as none was named" in err


def test_what_was_saved_says_for_which_bed(shell, bracket, tmp_path):
    _, said, err = shell("save", bracket, "-o", tmp_path / "out.3mf", *QUICK)
    assert "no machine was named" in said
    assert "mm too" not in err
    _, said, _ = shell("save", bracket, "-o", tmp_path / "out.3mf", "--machine", "engineering", *QUICK)
    assert "for engineering, a bed of" in " ".join(said.split())


def test_an_order_is_laid_with_the_spares_that_a_ranking_counts(shell, bracket, tmp_path):
    brief = tmp_path / "job.toml"
    brief.write_text(
        "[job]\nquantity = 20\n[process]\nmachine = 'entry'\n"
        "[rates]\ncurrency = 'EUR'\nmachine_per_hour = 3\nscrap_rate = 0.05\n"
    )
    _, said, _ = shell("rank", bracket, "--brief", brief, *QUICK)
    assert "20 wanted and 3 spare" in " ".join(said.split())
    _, said, _ = shell("batch", bracket, "--brief", brief, *QUICK)
    assert "20 wanted and 3 spare" in " ".join(said.split())
    assert "EUR" in said
    _, told, _ = shell("batch", bracket, "--brief", brief, "--json", "-", *QUICK)
    order = json.loads(told)
    assert order["part_count"] == 23
    assert (order["parts"][0]["wanted"], order["parts"][0]["spares"]) == (20, 3)
    assert order["cost_each"] == pytest.approx(order["cost"] / 20, abs=0.01)
    # Copies that are asked for are laid as asked for, and it is said what they leave out.
    _, said, _ = shell("batch", bracket, "--brief", brief, "--copies", "20", *QUICK)
    assert "none are laid" in " ".join(said.split())


def test_one_bed_is_called_one(shell, bracket):
    _, said, _ = shell("batch", bracket, *QUICK)
    assert ": one bed" in said

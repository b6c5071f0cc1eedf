"""The shell: what each command reads, writes, refuses and answers."""

import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

import orient
from orient.ranking.weights import PRESETS

HERE = Path(__file__).resolve().parents[1]
BRACKET = HERE / "sample_parts" / "mast_bracket.stl"
SHELL = "from orient.cli import main; main()"
HEAVY = ("numpy", "scipy", "trimesh", "numba", "shapely", "pydantic")


def process(*words, script=SHELL, **options):
    """Run the shell in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", script, *map(str, words)],
        capture_output=True,
        text=True,
        cwd=HERE,
        timeout=120,
        **options,
    )


@pytest.fixture
def box(tmp_path):
    path = tmp_path / "box.stl"
    trimesh.creation.box((10.0, 20.0, 30.0)).export(path)
    return path


def quick(*words):
    return ("rank", *words, "--directions", "30")


# --- the main job -----------------------------------------------------------------------------------------


def test_rank_from_a_cold_process_prints_the_pose_to_take():
    done = process(*quick(BRACKET, "--stress-axis", "1,0,0"))
    assert done.returncode == 0, done.stderr
    assert "Take pose 1: build along" in done.stdout
    assert "load-test" in done.stdout
    assert done.stderr.startswith("Reading ")


def test_json_on_standard_output_stands_alone(shell, box):
    code, out, err = shell(*quick(box, "--json", "-"))
    assert code == 0
    assert json.loads(out)["schema"] == "orient/ranking/1"
    assert "Reading" in err


def test_csv_on_standard_output_stands_alone(shell, box):
    code, out, _ = shell(*quick(box, "--csv", "-"))
    assert code == 0
    assert out.startswith("rank,direction_x,")
    assert "Take pose" not in out


def test_files_are_written_beside_the_table(shell, box, tmp_path):
    named = [tmp_path / name for name in ("a.json", "a.csv", "laid.3mf")]
    code, out, err = shell(*quick(box, "--json", named[0], "--csv", named[1], "--save", named[2]))
    assert code == 0
    assert "Take pose" in out
    for path in named:
        assert path.stat().st_size > 0
        assert f"Wrote {path}." in err
    assert sorted(tmp_path.iterdir()) == sorted([box, *named])


def test_flags_win_over_the_brief(shell, box, tmp_path):
    (tmp_path / "job.toml").write_text(
        '[part]\nfile = "box.stl"\n[process]\npolymer = "ABS"\nlayer_height_mm = 0.1\n'
        "[weights]\nsupport = 4\n"
    )
    words = ("--brief", tmp_path / "job.toml", "--layer", "0.3", "--weights", "height=2", "--json", "-")
    code, out, _ = shell(*quick(*words))
    assert code == 0
    found = json.loads(out)
    assert found["part"]["name"] == "box"
    assert found["brief"]["process"]["polymer"] == "ABS"
    assert found["brief"]["process"]["layer_height_mm"] == 0.3
    assert (found["weights"]["support"], found["weights"]["height"]) == (4, 2)


def test_every_flag_reaches_its_place_in_the_brief(shell, box):
    words = ("--stress-axis", "-1,0,0", "--stress-axis", "0,1,0", "--kind", "compression")
    words += ("--polymer", "PETG")
    words += ("--layer", "0.15", "--overhang-limit", "50", "--max-height", "35", "--min-strength", "0.5")
    words += ("--units", "mm", "--body", "1", "--threads", "1", "--top", "2", "--json", "-")
    code, out, err = shell(*quick(box, *words))
    assert code == 0, err
    brief = json.loads(out)["brief"]
    assert brief["load"]["stress_axis"] == [[-1, 0, 0], [0, 1, 0]]
    assert brief["load"]["kind"] == "compression"
    assert brief["process"]["polymer"] == "PETG"
    assert (brief["process"]["layer_height_mm"], brief["process"]["overhang_limit_deg"]) == (0.15, 50)
    assert brief["limits"] == {"max_height_mm": 35, "min_strength_retained": 0.5}
    assert brief["part"] == {"file": str(box), "units": "mm", "body": 1}


def test_a_preset_can_be_changed_on_the_command_line(shell, box):
    code, out, _ = shell(*quick(box, "--weights", "strong,first-layer=1", "--json", "-"))
    assert code == 0
    weights = json.loads(out)["weights"]
    assert weights["first_layer"] == 1
    assert weights["support"] == PRESETS["strong"].weights["support"]


def test_top_says_how_many_poses_are_shown(shell):
    rows = []
    for top in (3, 8):
        code, out, _ = shell("rank", BRACKET, "--directions", "150", "--top", top)
        assert code == 0
        table = out.split("Take pose")[0].splitlines()
        rows.append([line for line in table if line[:1].isdigit()])
    assert len(rows[0]) < len(rows[1])
    assert len(rows[1]) >= 8


def test_together_lays_bodies_as_they_are(shell, tmp_path):
    pair = trimesh.util.concatenate(
        [trimesh.creation.box((10, 10, 10)), trimesh.creation.box((5, 5, 5)).apply_translation([20, 0, 0])]
    )
    pair.export(tmp_path / "pair.stl")
    code, out, err = shell(*quick(tmp_path / "pair.stl", "--json", "-"))
    assert (code, out) == (2, "")
    assert "--body" in err
    assert "--together" in err
    code, out, _ = shell(*quick(tmp_path / "pair.stl", "--together", "--json", "-"))
    assert code == 0
    assert json.loads(out)["part"]["bodies"] == 2
    code, out, _ = shell(*quick(tmp_path / "pair.stl", "--body", "2", "--json", "-"))
    assert code == 0
    assert json.loads(out)["part"]["bodies"] == 1


def test_python_and_shell_agree(shell, box):
    _, out, _ = shell(*quick(box, "--stress-axis", "0,0,1", "--json", "-"))
    found = json.loads(out)
    brief = orient.Brief.model_validate({"load": {"stress_axis": [0, 0, 1]}})
    ranking = orient.rank(orient.load(box), brief, directions=30)
    assert found["recommended"] == ranking.recommended
    directions = [candidate["build_direction"] for candidate in found["candidates"]]
    assert np.allclose(directions, ranking.directions, atol=1e-9)


# --- bad input --------------------------------------------------------------------------------------------


def stl(triangles):
    """A binary STL: 80 bytes, a count, then normal, corners and two bytes a triangle."""
    body = b"".join(
        struct.pack("<3f", 0, 0, 1) + np.asarray(t, dtype="<f4").tobytes() + b"\0\0" for t in triangles
    )
    return bytes(80) + struct.pack("<I", len(triangles)) + body


def cube(spoilt=None):
    triangles = np.array(trimesh.creation.box((10, 10, 10)).triangles)
    if spoilt is not None:
        triangles[3, 1, 2] = spoilt
    return triangles


BAD_FILES = {
    "empty.stl": b"",
    "text.stl": b"a letter to the print shop\n",
    "text.obj": b"a letter to the print shop\n",
    "cut_short.stl": stl(cube())[:300],
    "not_a_number.stl": stl(cube(np.nan)),
    "infinite.stl": stl(cube(np.inf)),
    "no_faces.stl": stl([]),
    "one_face.stl": stl(cube()[:1]),
    "flat.stl": stl([[[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[9, 0, 0], [9, 9, 0], [0, 9, 0]]]),
    "part.doc": b"what is this",
}
BAD_FLAGS = {
    "axis without length": ("--stress-axis", "0,0,0"),
    "axis of two": ("--stress-axis", "1,0"),
    "negative weight": ("--weights", "support=-1"),
    "unknown weight": ("--weights", "suport=1"),
    "unknown preset": ("--weights", "strng"),
    "no weights": ("--weights", ""),
    "all weights zero": ("--weights", "support=0,height=0,load=0,first-layer=0,finish=0,faces=0"),
    "unknown unit": ("--units", "furlong"),
    "unknown kind": ("--kind", "sideways"),
    "unknown polymer": ("--polymer", "nylonn"),
    "layer below zero": ("--layer", "-1"),
    "layer above the nozzle": ("--layer", "0.9"),
    "overhang limit": ("--overhang-limit", "95"),
    "height no pose keeps": ("--max-height", "5"),
    "strength without a load": ("--min-strength", "0.5"),
    "strength above one": ("--stress-axis", "1,0,0", "--min-strength", "2"),
    "no such body": ("--body", "3"),
    "body and together": ("--body", "1", "--together"),
    "save to no format": ("--save", "laid.step"),
    "save to no folder": ("--save", "no/such/folder/laid.stl"),
    "save over the part": ("--save", "box.stl"),
    "no name to save to": ("--save", ""),
    "two on standard output": ("--csv", "-"),
}


def refused(code, err):
    """Exit code 2 and one sentence after the first line, no traceback; returns the sentence."""
    assert code == 2
    assert "Traceback" not in err
    said = [line for line in err.splitlines() if not line.startswith("Reading ")]
    assert len(said) == 1, err
    assert said[0].startswith("orient: ")
    assert said[0].endswith((".", "?"))
    return said[0]


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_bad_file_gets_one_sentence_with_its_name(name, shell, tmp_path):
    (tmp_path / name).write_bytes(BAD_FILES[name])
    code, out, err = shell(
        *quick(tmp_path / name, "--json", tmp_path / "out.json", "--save", tmp_path / "out.stl")
    )
    said = refused(code, err)
    # A flat part is only known to be none once its hull is built; the line before has its name.
    assert name in said or (name == "flat.stl" and name in err)
    assert out == ""
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_file_that_is_not_there_and_a_folder_get_one_sentence_with_their_name(shell, tmp_path):
    for path in (tmp_path / "missing.stl", tmp_path):
        code, _, err = shell(*quick(path))
        assert path.name in refused(code, err)


@pytest.mark.parametrize("words", BAD_FLAGS.values(), ids=BAD_FLAGS)
def test_a_bad_flag_gets_one_sentence(words, shell, box, monkeypatch):
    monkeypatch.chdir(box.parent)
    code, out, err = shell(*quick("box.stl", *words, "--json", "-"))
    refused(code, err)
    assert out == ""
    assert [path.name for path in box.parent.iterdir()] == ["box.stl"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--layer", "-1"), "orient: --layer: "),
        (("--stress-axis", "0,0,0"), "orient: --stress-axis: "),
        (("--kind", "sideways"), "orient: --kind: "),
    ],
)
def test_a_slip_in_a_flag_is_called_by_its_name(words, said, shell, box):
    _, _, err = shell(*quick(box, *words))
    assert err.startswith(said)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[load]\nstres_axis = [1, 0, 0]\n",
            'line 2: [load] has no key "stres_axis"; the nearest is "stress_axis"',
        ),
        ("[load\n", "job.toml is not valid TOML"),
        ("[weights]\nsupport = -1\n", "line 2: [weights] support is -1"),
        ("[load]\nstress_axis = [0, 0, 0]\n", "line 2: [load] stress_axis has no length"),
    ],
)
def test_a_slip_in_a_brief_gets_its_file_and_line(text, said, shell, box, tmp_path):
    (tmp_path / "job.toml").write_text(text)
    code, _, err = shell(*quick(box, "--brief", tmp_path / "job.toml"))
    sentence = refused(code, err)
    assert "job.toml" in sentence
    assert said in sentence


def test_a_selector_that_selects_nothing_is_named(shell, box, tmp_path):
    (tmp_path / "job.toml").write_text('[[faces]]\non = "plane:1,0,0,99"\nmatters = "fit"\n')
    code, _, err = shell(*quick(box, "--brief", tmp_path / "job.toml"))
    assert "plane:1,0,0,99" in refused(code, err)


@pytest.mark.parametrize("words", [("rank",), ("rank", "--brief", "{}")])
def test_without_a_part_the_shell_says_how_to_name_one(words, shell, tmp_path):
    (tmp_path / "job.toml").write_text("[process]\npolymer = 'PLA'\n")
    code, _, err = shell(*(word.format(tmp_path / "job.toml") for word in words))
    assert "orient rank part.stl" in refused(code, err)


def test_a_write_that_fails_is_told_and_leaves_nothing(shell, box, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    code, _, err = shell(*quick(box, "--json", box.parent / "out.json"))
    assert "No space left" in refused(code, err)
    assert list(box.parent.iterdir()) == [box]


def test_a_bad_file_ends_a_process_of_its_own_the_same_way(tmp_path):
    (tmp_path / "text.stl").write_text("a letter")
    done = process("rank", tmp_path / "text.stl", "--json", tmp_path / "out.json")
    assert "text.stl" in refused(done.returncode, done.stderr)
    assert done.stdout == ""
    assert not (tmp_path / "out.json").exists()


# --- usage ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("rank", "part.stl", "--nope"), "--nope"),
        (("rank", "part.stl", "--polymer"), "--polymer"),
        (("rank", "part.stl", "--top", "0"), "--top"),
        (("rank", "part.stl", "--top", "many"), "--top"),
        (("rank", "part.stl", "--threads", "0"), "--threads"),
        (("rank", "part.stl", "--directions", "0"), "--directions"),
        (("rank", "one.stl", "two.stl"), "two.stl"),
        (("rnk", "part.stl"), "rank"),
    ],
)
def test_a_usage_mistake_is_told_with_exit_code_2(words, said, shell):
    code, out, err = shell(*words)
    assert code == 2
    assert out == ""
    assert said in err
    assert "Traceback" not in err
    assert [line for line in err.splitlines() if line.startswith("orient: ")] == err.splitlines()


def test_alone_the_shell_shows_its_help(shell):
    code, out, err = shell()
    assert code == 2
    assert "Usage: orient" in out + err
    assert "rank" in out + err


def test_help_of_rank_names_every_preset_and_reads_as_a_person_types(shell):
    code, out, _ = shell("rank", "--help")
    assert code == 0
    words = "".join(out.split())
    assert all(preset in words for preset in PRESETS)
    assert "Usage: orient rank" in out
    # No types of the programming language.
    assert "<str>" not in out
    assert "list[" not in out


# --- stopping, and speed ----------------------------------------------------------------------------------


def test_ctrl_c_ends_with_130_and_no_traceback(box):
    script = """
import signal, orient.evaluation
orient.evaluation.evaluate = lambda *_, **__: signal.raise_signal(signal.SIGINT)
from orient.cli import main
main()
"""
    done = process(*quick(box, "--json", box.parent / "out.json"), script=script)
    assert done.returncode == 130
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert list(box.parent.iterdir()) == [box]


def test_a_reader_that_goes_away_is_no_fault(box):
    script = f"""
import os, subprocess, sys
end = subprocess.Popen([sys.executable, "-c", {SHELL!r}, *sys.argv[1:]], stdout=subprocess.PIPE)
end.stdout.close()
sys.exit(end.wait())
"""
    done = process(*quick(box, "--json", "-"), script=script)
    assert "Traceback" not in done.stderr
    assert "BrokenPipe" not in done.stderr


def test_help_loads_nothing_heavy():
    script = f"""
import sys
from orient.cli import main
try:
    main()
except SystemExit:
    print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr)
"""
    done = process("--help", script=script)
    assert "Usage: orient" in done.stdout
    assert done.stderr.strip() == "[]"


def test_the_first_line_comes_before_anything_heavy():
    script = """
import sys

class Ear:
    def write(self, text):
        heavy = [name for name in ("numpy", "scipy", "trimesh", "numba", "shapely") if name in sys.modules]
        sys.stdout.write(f"{heavy} {text}" if text.strip() else text)

    def flush(self):
        pass

sys.stderr = Ear()
from orient.cli import main
main()
"""
    done = process("rank", "missing.stl", script=script)
    assert done.stdout.splitlines()[0] == "[] Reading missing.stl …"
    assert done.returncode == 2


def test_shop_lists_every_machine_with_its_verdict(shell, box):
    code, out, _ = shell("shop", box, "--polymer", "PEEK", "--directions", "20", "--json", "-")
    assert code == 0
    found = json.loads(out)
    assert found["schema"] == "orient/shop/1"
    assert {one["name"]: one["verdict"] for one in found["machines"]} == {
        "entry": "no",
        "engineering": "no",
        "high-temperature": "care",
    }
    code, out, _ = shell("shop", box, "--polymer", "PEEK", "--directions", "20", "--tuning")
    assert code == 0
    assert "high-temperature" in out
    assert "Tuning sheet for PEEK" in out


def test_polymers_and_machines_are_listed_as_table_and_as_json(shell, tmp_path):
    for verb, schema in (("polymers", "orient/polymers/1"), ("machines", "orient/machines/1")):
        code, out, _ = shell(verb, "--json", "-")
        assert code == 0
        assert json.loads(out)["schema"] == schema
        code, out, _ = shell(verb)
        assert code == 0
        assert out.splitlines()
        assert all(len(line) <= 100 for line in out.splitlines())
    assert shell("polymers", "--json", tmp_path / "p.json")[0] == 0
    assert (tmp_path / "p.json").is_file()


def test_rank_by_cost_orders_by_cost_and_needs_prices(shell, box, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text("[rates]\nmachine_per_hour = 3\nlabour_per_hour = 30\n", encoding="utf-8")
    code, out, _ = shell(*quick(box, "--brief", job, "--by", "cost", "--json", "-"))
    assert code == 0
    costs = [one["shop"]["cost"] for one in json.loads(out)["candidates"]]
    assert costs == sorted(costs)
    code, _, err = shell(*quick(box, "--by", "cost"))
    assert code == 2
    assert "no prices to rank by" in err


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--machine", "enginering"), "nearest is engineering"),
        (("--polymer", "PEKKK"), "nearest is PEKK"),
        (("--support", "PVVA"), "nearest is PVA"),
        (("--by", "money"), "by score or by cost"),
        (("--machines", "nowhere.toml"), "nowhere.toml does not exist"),
    ],
)
def test_a_slip_in_the_shops_flags_is_one_sentence(shell, box, words, expected):
    code, out, err = shell(*quick(box, *words))
    assert code == 2
    assert out == ""
    assert expected in err
    assert err.strip().splitlines()[-1].startswith("orient: ")


def test_a_machines_file_with_a_slip_is_refused(shell, box, tmp_path):
    path = tmp_path / "machines.toml"
    entry = '[[machine]]\nname = "a"\nenvelope_mm = [200, -200, 200]\nnozzle_max_c = 300\nbed_max_c = 100\n'
    path.write_text(entry, encoding="utf-8")
    assert "envelope_mm is -200" in shell("machines", "--machines", path)[2]
    path.write_text(entry.replace("-200", "200").replace("300", "600"), encoding="utf-8")
    code, _, err = shell(*quick(box, "--machines", path, "--machine", "a"))
    assert code == 2
    assert "nozzle_max_c is 600" in err


def test_the_machine_leaves_out_what_it_has_no_room_for(shell, tmp_path):
    path = tmp_path / "bar.stl"
    trimesh.creation.box((20.0, 20.0, 260.0)).export(path)
    code, out, _ = shell(*quick(path, "--polymer", "PLA", "--machine", "entry", "--json", "-"))
    assert code == 0
    found = json.loads(out)
    assert any("too large for entry" in one["reason"] for one in found["excluded"])
    assert all(one["measures"]["height_mm"] <= 250 for one in found["candidates"])


def test_the_table_in_the_readme_is_what_the_command_prints():
    text = (HERE / "README.md").read_text(encoding="utf-8")
    shown = text.split("those of the sample bracket:")[1].split("```")[1].strip("\n").splitlines()
    done = process("rank", "sample_parts/mast_bracket.stl", "--stress-axis", "1,0,0")
    assert len(shown) >= 4
    assert set(shown) <= set(done.stdout.splitlines())


# --- strength ---------------------------------------------------------------------------------------------


@pytest.fixture
def arm(tmp_path):
    """A bar held at one end and pushed down at the other, with its brief."""
    trimesh.creation.box((30.0, 6.0, 4.0)).export(tmp_path / "arm.stl")
    path = tmp_path / "arm.toml"
    path.write_text(
        '[part]\nfile = "arm.stl"\n[process]\npolymer = "PETG"\n[[load.case]]\nname = "push"\n'
        'fixed = ["plane:-1,0,0,15"]\n[[load.case.force]]\non = "plane:1,0,0,15"\nnewtons = [0, 0, -20]\n'
    )
    return path


def test_strength_ranks_the_poses_and_writes_its_document(shell, arm, tmp_path):
    words = ("strength", "--brief", arm, "--voxels", "800", "--directions", "30")
    code, out, _ = shell(*words, "--json", tmp_path / "out.json")
    assert code == 0
    document = json.loads((tmp_path / "out.json").read_text())
    assert document["schema"] == "orient/strength/1"
    assert document["cases"][0]["name"] == "push"
    assert "push" in out
    assert "load-test" in out
    code, out, _ = shell(*words, "--json", "-")
    assert json.loads(out)["poses"] == document["poses"]


def test_strength_judges_given_poses_in_their_order(shell, arm):
    words = ("--build-direction", "1,0,0", "--build-direction", "0,0,5")
    code, out, _ = shell("strength", "--brief", arm, "--voxels", "800", *words, "--json", "-")
    assert code == 0
    poses = json.loads(out)["poses"]
    assert [pose["build_direction"] for pose in poses] == [[1, 0, 0], [0, 0, 1]]
    # Standing, the bending pulls the layers apart; lying, it runs in them.
    assert poses[0]["safety_factor"] < poses[1]["safety_factor"]
    assert poses[0]["fails_by"] == "between layers"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("strength",), "No part was named"),
        (("strength", "{}"), "No load case was given"),
        (("strength", "--brief", "{brief}", "--build-direction", "0,0,0"), "has no length"),
        (("strength", "--brief", "{brief}", "--polymer", "PPSU"), "No strengths are known for PPSU"),
    ],
)
def test_strength_refuses_in_a_sentence(shell, arm, box, words, said):
    code, _, err = shell(*(word.format(box, brief=arm) for word in words))
    assert code == 2
    assert said in err.splitlines()[-1]


def test_strength_of_an_open_mesh_is_refused(shell, arm, tmp_path):
    bar = trimesh.creation.box((30.0, 6.0, 4.0))
    trimesh.Trimesh(bar.vertices, bar.faces[:-1]).export(tmp_path / "arm.stl")
    code, _, err = shell("strength", "--brief", arm)
    assert code == 2
    assert "is not closed" in err.splitlines()[-1]

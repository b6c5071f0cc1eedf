"""`orient compare` from the shell: exit codes, the JSON, and what a person may get wrong."""

import json
import sys

import numpy as np
import pytest
import trimesh

from orient.cli.shell import main
from tests.variants.shapes import part_of, plate


@pytest.fixture
def files(tmp_path):
    for name, part in {
        "first": part_of(plate()),
        "heavier": part_of(plate(wall=8.0)),
        "lighter": part_of(plate(rib=False)),
    }.items():
        trimesh.Trimesh(part.vertices, part.faces, process=False).export(tmp_path / f"{name}.stl")
    mesh = trimesh.load_mesh(tmp_path / "first.stl")
    trimesh.Trimesh(np.asarray(mesh.vertices) * 25.4, mesh.faces).export(tmp_path / "inches.stl")
    return tmp_path


def run(monkeypatch, *arguments):
    monkeypatch.setattr(sys, "argv", ["orient", "compare", *map(str, arguments), "--directions", "20"])
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code or 0


def test_worse_variant_ends_with_1_when_asked_to(files, monkeypatch, capsys):
    pair = files / "first.stl", files / "heavier.stl"
    assert run(monkeypatch, *pair, "--json", "-", "--fail-if-worse") == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["pairs"][0]["better"] is False
    assert "Worse than first: heavier." in err
    assert run(monkeypatch, *pair) == 0
    assert "heavier is worse than first" in " ".join(capsys.readouterr().out.split())


def test_better_variant_ends_with_0(files, monkeypatch, capsys):
    assert run(monkeypatch, files / "heavier.stl", files / "first.stl", "--fail-if-worse") == 0


def test_brief_may_name_the_first(files, monkeypatch, capsys):
    (files / "job.toml").write_text('[part]\nfile = "first.stl"\n')
    assert run(monkeypatch, files / "lighter.stl", "--brief", files / "job.toml", "--json", "-") == 0
    assert [one["name"] for one in json.loads(capsys.readouterr().out)["variants"]] == ["first", "lighter"]


def test_variant_in_inches_is_named_and_not_compared(files, monkeypatch, capsys):
    assert run(monkeypatch, files / "first.stl", files / "inches.stl") == 2
    err = capsys.readouterr().err
    assert "inches is about 25.4 times as large as first" in err
    assert "Traceback" not in err


def test_one_part_is_refused_in_one_sentence(files, monkeypatch, capsys):
    assert run(monkeypatch, files / "first.stl") == 2
    assert "One part alone is nothing to compare" in capsys.readouterr().err

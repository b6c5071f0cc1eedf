"""`orient picture` and `orient report`: what they write, and what they refuse in a sentence."""

import io

import numpy as np
import pytest
import trimesh
from PIL import Image


@pytest.fixture
def block(tmp_path):
    path = tmp_path / "block.stl"
    trimesh.creation.box((10.0, 20.0, 30.0)).export(path)
    return path


def test_a_picture_of_a_given_pose_is_written_and_told_in_words(shell, block, tmp_path):
    out = tmp_path / "block.png"
    code, _, said = shell(
        "picture", block, "-o", out, "--build-direction", "1,0,0", "--width", 320, "--height", 240
    )
    assert code == 0, said
    assert "built along +x, 10.0 mm tall" in said
    assert "600 mm² lies on the bed" in said
    assert Image.open(io.BytesIO(out.read_bytes())).size == (320, 240)


def test_a_picture_of_a_ranked_pose_has_that_pose(shell, block, tmp_path):
    one, two = tmp_path / "one.png", tmp_path / "two.png"
    assert shell("picture", block, "-o", one, "--directions", 20)[0] == 0
    assert (
        shell("picture", block, "-o", two, "--directions", 20, "--pose", 20, "--colour", "thickness")[0] == 0
    )
    pictures = [np.asarray(Image.open(path).convert("L")).astype(int) for path in (one, two)]
    assert pictures[0].shape == pictures[1].shape
    assert (np.abs(pictures[0] - pictures[1]) > 30).mean() > 0.02


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("-o", "x.jpg"), "x.jpg"),
        (("-o", "x.png", "--view", "sideways"), "sideways"),
        (("-o", "x.png", "--build-direction", "0,0,0"), "length"),
        (("-o", "x.png", "--build-direction", "0,0,1", "--pose", "2"), "give one of them"),
        (("-o", "x.png", "--build-direction", "0,0,1", "--colour", "price"), "price"),
        (("-o", "x.png", "--build-direction", "0,0,1", "--colour", "safety"), "load.case"),
        (("-o", "missing/x.png", "--build-direction", "0,0,1"), "does not exist"),
    ],
)
def test_what_cannot_be_drawn_is_said_in_a_sentence(shell, block, words, expected, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    code, _, said = shell("picture", block, *words)
    assert code == 2
    assert expected in said
    assert "Traceback" not in said
    assert not list(tmp_path.glob("*.png"))


def test_a_report_is_written(shell, block, tmp_path):
    out = tmp_path / "report.html"
    code, _, said = shell("report", block, "-o", out, "--directions", 20, "--top", 2)
    assert code == 0, said
    assert f"Wrote {out}" in said
    assert out.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("out", "expected"),
    [("report.pdf", "html"), ("missing/report.html", "does not exist"), ("block.stl", "html")],
)
def test_a_report_that_has_no_place_is_refused_before_any_work(
    shell, block, out, expected, monkeypatch, tmp_path
):
    monkeypatch.chdir(tmp_path)
    code, _, said = shell("report", block, "-o", out)
    assert code == 2
    assert expected in said
    assert "Reading" not in said
    assert [path.name for path in tmp_path.iterdir()] == ["block.stl"]

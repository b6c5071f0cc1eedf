"""Files that others have published: the npm package stl-models (MIT), broken ones and sound ones.

It is fetched when the test runs, and kept nowhere.
"""

import json
import shutil
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest
import trimesh

from orient.part.read import read_part
from tests.trust.bounded import BYTES, SECONDS

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm, which fetches the files, is not on this machine")
    folder = tmp_path_factory.mktemp("published")
    run = subprocess.run(
        [npm, "pack", "--silent", "stl-models@0.12.0"], cwd=folder, capture_output=True, text=True
    )
    if run.returncode != 0:
        pytest.skip(f"the npm registry did not answer: {run.stderr.strip()[-200:]}")
    with tarfile.open(next(folder.glob("*.tgz"))) as archive:
        archive.extractall(folder, filter="data")
    return folder / "package"


@pytest.mark.slow
def test_every_published_file_ends_in_a_result_or_one_sentence(published):
    run = [sys.executable, "-m", "tests.trust.bounded", *(str(published / name) for name in ROOMS)]
    lines = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    ended = [one for one in map(json.loads, lines) if one["name"].endswith(".stl")]
    assert len(ended) >= 35
    for one in ended:
        assert one["code"] in (0, 2), one
        assert "Traceback" not in one["said"], one
        assert one["seconds"] <= SECONDS, one
        assert one["bytes"] <= BYTES, one
        if one["code"] == 2:
            sentence = one["said"].splitlines()[-1]
            assert sentence.startswith("orient: "), one
            assert sentence.endswith("."), one
    refused = sorted(one["name"] for one in ended if one["code"] == 2)
    print(f"{len(ended)} published files, {len(refused)} refused: {', '.join(refused)}")


@pytest.mark.slow
def test_sound_published_files_have_the_faces_and_the_volume_that_trimesh_finds(published):
    names = ["objects/bunny.bin.stl", "objects/gearwheel.ascii.stl", "polytopes/tetrahedron.bin.stl"]
    for name in [*names, "polytopes/cube.ascii.stl", "polytopes/unitCube.binary.stl"]:
        theirs = trimesh.load_mesh(published / name)
        ours = read_part(published / name, together=True)
        assert len(ours.faces) == len(theirs.faces), name
        if theirs.is_watertight:
            assert ours.volume_mm3 == pytest.approx(abs(theirs.volume), rel=1e-6), name


ROOMS = ("broken", "misc", "objects", "polytopes")

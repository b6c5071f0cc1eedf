import os
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh

from orient.errors import OrientError
from orient.part.read import read_part
from tests.part.shapes import box

BOX = trimesh.Trimesh(*box())
STL = BOX.export(file_type="stl")
ASCII = BOX.export(file_type="stl_ascii").encode()
NAN = STL[: 84 + 12] + struct.pack("<f", np.nan) + STL[84 + 16 :]
INFINITE = STL[: 84 + 12] + struct.pack("<f", np.inf) + STL[84 + 16 :]
FACE = b"facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("empty.stl", b"", "is empty"),
        ("letter.stl", b"Dear customer, the part is attached.", "no mesh"),
        ("letter.obj", b"Dear customer, the part is attached.", "no mesh"),
        ("cut.stl", STL[:-60], "cut short"),
        ("cut_head.stl", STL[:50], "cut short"),
        ("cut_ascii.stl", ASCII[: len(ASCII) // 2], "cut short"),
        ("words.stl", ASCII.replace(b"vertex 0", b"vertex O", 1), "not three numbers"),
        ("nan.stl", NAN, "a corner that is no finite number"),
        ("infinite.stl", INFINITE, "a corner that is no finite number"),
        (
            "nan_ascii.stl",
            b"solid\n" + FACE + FACE.replace(b"1 0 0", b"nan 0 0") + b"endsolid\n",
            "no finite number",
        ),
        ("none.stl", STL[:80] + struct.pack("<I", 0), "no faces"),
        ("none_ascii.stl", b"solid none\nendsolid none\n", "no faces"),
        ("one.stl", STL[:80] + struct.pack("<I", 1) + STL[84:134], "single face"),
        ("one_ascii.stl", b"solid\n" + FACE + b"endsolid\n", "single face"),
        ("index.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1 2 9\n", "not there"),
        ("zero.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", "line 4"),
        ("number.obj", b"v 0 0 zero\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not three numbers"),
        ("points.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no faces"),
        ("cut.ply", BOX.export(file_type="ply")[:-20], "PLY"),
        ("liar.ply", BOX.export(file_type="ply").replace(b"face 12", b"face 2000000000"), "PLY"),
        ("cut.off", BOX.export(file_type="off").encode()[:-40], "OFF"),
        ("liar.off", b"OFF\n2000000000 2000000000 0\n0 0 0\n", "OFF"),
        ("cut.glb", BOX.export(file_type="glb")[:-200], "GLB"),
        ("cut.3mf", BOX.export(file_type="3mf")[:-100], "3MF"),
        ("words.step", b"ISO-10303-21;\nHEADER;\nnothing", "STEP"),
        ("part.xyz", STL, "'.xyz'"),
        ("part", STL, "without an ending"),
    ],
)
def test_a_bad_file_ends_in_one_sentence_with_its_name(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(OrientError) as refusal:
        read_part(path)
    said = str(refusal.value)
    assert name in said
    assert says in said
    assert said.endswith(".")
    assert "\n" not in said
    assert ": " in said  # what is wrong: what to do


def test_a_missing_file_says_so(tmp_path):
    with pytest.raises(OrientError, match=r"no file '.*bracket\.stl'"):
        read_part(tmp_path / "bracket.stl")


def test_a_folder_says_so(tmp_path):
    folder = tmp_path / "parts.stl"
    folder.mkdir()
    with pytest.raises(OrientError, match=r"parts\.stl' is a folder"):
        read_part(folder)


def test_an_unknown_unit_is_refused_before_the_file_is_opened():
    with pytest.raises(OrientError, match=r"'nowhere\.stl'.*'parsec' is not known"):
        read_part("nowhere.stl", units="parsec")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read_says_so(tmp_path):
    path = tmp_path / "locked.stl"
    path.write_bytes(STL)
    path.chmod(0)
    with pytest.raises(OrientError, match=r"locked\.stl' may not be read"):
        read_part(path)


def test_a_refusal_by_the_system_is_passed_on_in_words(tmp_path, monkeypatch):
    path = tmp_path / "locked.stl"
    path.write_bytes(STL)

    def refuse(self, *args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(OrientError, match=r"locked\.stl' may not be read"):
        read_part(path)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "off", "3mf", "glb"])
def test_a_damaged_file_is_read_or_refused_but_never_a_crash(tmp_path, kind):
    whole = BOX.export(file_type=kind)
    whole = whole.encode() if isinstance(whole, str) else whole
    path = tmp_path / f"part.{kind[:3]}"
    damage = np.random.default_rng(7)
    for _ in range(25):
        content = bytearray(whole)
        for at in damage.integers(0, len(content), damage.integers(1, 6)):
            content[at] = damage.integers(0, 256)
        cut = damage.integers(0, len(content))
        del content[cut : cut + damage.integers(0, 30)]
        path.write_bytes(content)
        try:
            outcome = read_part(path, together=True)
        except OrientError as refusal:
            outcome = str(refusal)
        assert path.name in outcome if isinstance(outcome, str) else np.isfinite(outcome.vertices).all()


def test_a_zip_without_a_model_is_told(tmp_path):
    path = tmp_path / "holiday.3mf"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("photo.txt", "none")
    with pytest.raises(OrientError, match=r"holiday\.3mf' holds no 3D model"):
        read_part(path)

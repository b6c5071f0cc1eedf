"""What the gate lets in, and how it says no."""

import os
import zipfile

import pytest

import orient
from orient.errors import OrientError
from orient.part import gate, read
from tests.trust.corpus import ascii_stl, binary, block, package

WHOLE = binary(block().triangles)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "part.stl")
    with pytest.raises(OrientError, match="is a pipe or a device"):
        orient.load(tmp_path / "part.stl")


@pytest.mark.skipif(os.name != "posix", reason="names are bytes on these systems only")
@pytest.mark.parametrize("name", [b"geh\xe4use.stl", b"two\nlines.stl", b"bell\x07.stl"])
def test_a_name_that_is_no_text_is_read_and_told_on_one_line(tmp_path, name):
    path = os.fsencode(tmp_path) + b"/" + name
    with open(path, "wb") as file:
        file.write(WHOLE)
    assert orient.load(os.fsdecode(path)).name.encode().decode().isprintable()
    with open(path, "wb") as file:
        file.write(WHOLE[:99])
    with pytest.raises(OrientError, match=r"^The file '[^\n]*\.stl' is cut short") as refusal:
        orient.load(os.fsdecode(path))
    assert str(refusal.value).isprintable()


def test_a_file_that_is_written_to_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "part.stl"
    path.write_bytes(WHOLE)

    def meanwhile(path):
        found = read.read_binary_stl(path)
        path.write_bytes(WHOLE + b"more")
        return found

    monkeypatch.setitem(read._READERS, "binary STL", meanwhile)
    with pytest.raises(OrientError, match="was changed while it was read"):
        orient.load(path)


def test_faces_beyond_the_limit_are_refused_before_room_is_made(tmp_path, monkeypatch):
    monkeypatch.setattr(gate, "MOST_FACES", 11)
    for name, data in (("b.stl", WHOLE), ("a.stl", ascii_stl(block().triangles).encode())):
        (tmp_path / name).write_bytes(data)
        with pytest.raises(OrientError, match=r"12 faces, more than are read here \(11\)"):
            orient.load(tmp_path / name)


def test_a_file_beyond_the_limit_is_refused_unread(tmp_path):
    path = tmp_path / "huge.stl"
    with path.open("wb") as file:
        file.truncate(gate.MOST_BYTES + 1)  # a hole: it takes no room on the disk
    with pytest.raises(OrientError, match=r"has 2\.1 GB, more than any mesh"):
        orient.load(path)


def test_memory_that_runs_out_while_reading_ends_in_a_sentence(tmp_path, monkeypatch):
    (tmp_path / "part.stl").write_bytes(WHOLE)

    def full(path):
        raise MemoryError

    monkeypatch.setitem(read._READERS, "binary STL", full)
    with pytest.raises(OrientError, match=r"part\.stl' needs more memory than there is"):
        orient.load(tmp_path / "part.stl")


def test_nothing_of_an_archive_is_unpacked_onto_the_disk(tmp_path):
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    (folder / "part.3mf").write_bytes(package(more={"../../outside.model": b"x"}))
    assert orient.load(folder / "part.3mf").closed
    assert [p.name for p in sorted(tmp_path.rglob("*"))] == ["a", "b", "part.3mf"]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({f"x/{i}": b"" for i in range(5000)}, r"archive of 5,00\d entries"),
        ({"Metadata/big.bin": bytes(50_000_000)}, "would unpack to 50 MB"),
    ],
)
def test_an_archive_is_checked_before_it_is_unpacked(tmp_path, monkeypatch, more, says):
    (tmp_path / "part.3mf").write_bytes(package(more=more))

    def never(self, *args, **kwargs):
        raise AssertionError("an entry was opened")

    monkeypatch.setattr(zipfile.ZipFile, "open", never)
    with pytest.raises(OrientError, match=says):
        orient.load(tmp_path / "part.3mf")


def test_quadrilateral_facets_of_an_ascii_stl_are_refused_not_misread(tmp_path):
    text = ascii_stl(block().triangles).replace("endloop", "vertex 1 2 3\nendloop")
    (tmp_path / "part.stl").write_text(text)
    with pytest.raises(OrientError, match="12 facets with 48 corners"):
        orient.load(tmp_path / "part.stl")

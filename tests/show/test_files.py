"""Files that appear whole or not at all."""

import errno
import os
import threading
from pathlib import Path

import pytest

from orient.errors import OrientError
from orient.show.files import refuse_outputs, refuse_unwritable, write_together, write_whole


def full_disk(*_args, **_kwargs):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_file_holds_what_was_written(tmp_path):
    write_whole(tmp_path / "a.json", b"first")
    write_whole(tmp_path / "a.json", b"second")
    assert (tmp_path / "a.json").read_bytes() == b"second"
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]


def test_a_file_is_as_readable_as_any_other(tmp_path):
    write_whole(tmp_path / "a.json", b"data")
    (tmp_path / "b.json").write_bytes(b"data")
    assert (tmp_path / "a.json").stat().st_mode == (tmp_path / "b.json").stat().st_mode


@pytest.mark.parametrize("call", ["replace", "chmod"])
def test_a_write_that_fails_leaves_what_was_there(call, tmp_path, monkeypatch):
    (tmp_path / "a.json").write_bytes(b"old")
    monkeypatch.setattr(os, call, full_disk)
    with pytest.raises(OrientError, match=r"a\.json cannot be written \(No space left"):
        write_whole(tmp_path / "a.json", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]
    assert (tmp_path / "a.json").read_bytes() == b"old"


class SmallDisk:
    """A file that takes three bytes before the disk is full."""

    def __init__(self, handle, _mode):
        self.handle = handle

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.close(self.handle)

    def write(self, data):
        os.write(self.handle, data[:3])
        full_disk()


def test_a_disk_that_fills_up_leaves_nothing_half_written(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fdopen", SmallDisk)
    with pytest.raises(OrientError, match="free some room"):
        write_whole(tmp_path / "a.json", b"new and long")
    assert not list(tmp_path.iterdir())


def test_of_files_that_belong_together_none_appears_unless_all_can_be_written(tmp_path):
    (tmp_path / "bed-1.3mf").write_bytes(b"old")
    with pytest.raises(OrientError, match="does not exist"):
        write_together({tmp_path / "bed-1.3mf": b"new", tmp_path / "no" / "bed-2.3mf": b"new"})
    assert [path.name for path in tmp_path.iterdir()] == ["bed-1.3mf"]
    assert (tmp_path / "bed-1.3mf").read_bytes() == b"old"


def test_stopping_in_the_middle_leaves_nothing_behind(tmp_path, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a.json", b"new")
    assert not list(tmp_path.iterdir())


def test_a_link_is_followed_and_stays_a_link(tmp_path):
    (tmp_path / "real.json").write_bytes(b"old")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    write_whole(tmp_path / "link.json", b"new")
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_bytes() == b"new"


def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    got = []
    reader = threading.Thread(target=lambda: got.append((tmp_path / "pipe").read_bytes()))
    reader.start()
    write_whole(tmp_path / "pipe", b"through")
    reader.join(timeout=10)
    assert got == [b"through"]
    assert (tmp_path / "pipe").is_fifo()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_full_device_is_told_in_words():
    with pytest.raises(OrientError, match="No space left"):
        write_whole(Path("/dev/full"), b"data" * 4096)


def test_a_folder_and_a_missing_folder_are_refused(tmp_path):
    with pytest.raises(OrientError, match="is a folder"):
        refuse_unwritable(tmp_path)
    with pytest.raises(OrientError, match="does not exist"):
        refuse_unwritable(tmp_path / "no" / "a.json")


def test_a_folder_that_may_not_be_written_to_is_refused(tmp_path, monkeypatch):
    (tmp_path / "shut").mkdir(mode=0o500)
    # The superuser may write everywhere; the answer of the system for anyone else is put in its place.
    if os.geteuid() == 0:
        monkeypatch.setattr(os, "access", lambda path, mode: path != tmp_path / "shut")
    with pytest.raises(OrientError, match="cannot be written to"):
        refuse_unwritable(tmp_path / "shut" / "a.json")


@pytest.mark.parametrize(
    ("outputs", "said"),
    [
        ({"--json": "-", "--csv": "-"}, "--json and --csv cannot both go to standard output"),
        ({"--json": "{0}/a", "--csv": "{0}/../{1}/a"}, "--json and --csv cannot both go to"),
        ({"--save": "{0}/part.stl"}, "--save would overwrite"),
        ({"--json": "{0}/job.toml"}, "--json would overwrite"),
        ({"--csv": ""}, "--csv has no file name"),
    ],
)
def test_outputs_that_would_be_lost_are_refused(outputs, said, tmp_path):
    (tmp_path / "part.stl").write_bytes(b"")
    named = {flag: name.format(tmp_path, tmp_path.name) for flag, name in outputs.items()}
    with pytest.raises(OrientError) as caught:
        refuse_outputs(named, inputs=(str(tmp_path / "part.stl"), str(tmp_path / "job.toml"), None))
    assert said in str(caught.value)


def test_outputs_apart_are_taken(tmp_path):
    refuse_outputs(
        {"--json": "-", "--csv": str(tmp_path / "a.csv"), "--save": None}, inputs=("part.stl", None)
    )

"""Which files a run is asked for."""

import os

import pytest

from orient.errors import OrientError
from orient.fleet.inputs import find_inputs


@pytest.fixture
def archive(tmp_path):
    for name in ("b.stl", "a.STL", "deep/er/c.3mf", "deep/notes.txt", "d.step"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")
    return tmp_path


def names(found, root):
    return [os.path.relpath(path, root) for path in found]


def test_a_folder_gives_its_meshes_at_any_depth_in_order(archive):
    assert names(find_inputs([str(archive)]), archive) == ["a.STL", "b.stl", "d.step", "deep/er/c.3mf"]


def test_a_pattern_gives_what_matches(archive):
    assert names(find_inputs([str(archive / "**" / "*.3mf")]), archive) == ["deep/er/c.3mf"]


def test_a_list_gives_its_lines_whatever_they_name(archive):
    listed = archive / "list.txt"
    listed.write_bytes(f"{archive}/b.stl\n\n{archive}/geh".encode() + b"\xe4use.stl\r\n")
    assert [os.fsencode(one) for one in find_inputs([], [str(listed)])] == [
        os.fsencode(archive / "b.stl"),
        os.fsencode(archive) + b"/geh\xe4use.stl",
    ]


def test_links_to_folders_are_not_followed(archive):
    (archive / "round").symlink_to(archive, target_is_directory=True)
    assert len(list(find_inputs([str(archive)]))) == 4


@pytest.mark.parametrize(
    ("asked", "lists", "said"),
    [
        (["{}/deep/notes"], [], "There is no folder"),
        (["{}/*.obj"], [], "No file matches"),
        (["{}/empty"], [], "No mesh lies below"),
        ([], ["{}/none.txt"], "cannot be read"),
    ],
)
def test_what_is_not_there_is_named(archive, asked, lists, said):
    (archive / "empty").mkdir()
    with pytest.raises(OrientError, match=said):
        list(find_inputs([one.format(archive) for one in asked], [one.format(archive) for one in lists]))


def test_a_pattern_follows_no_link_in_circles(archive):
    (archive / "loop").symlink_to(archive, target_is_directory=True)
    found = list(find_inputs([f"{archive}/**/*.stl"]))
    assert found
    assert not any("loop" in one for one in found)
    (archive / "loop").unlink()


def test_a_list_may_hold_folders_remarks_and_blanks_but_not_nothing(archive, tmp_path):
    listed = tmp_path / "list.txt"
    listed.write_text(f"# what came in on Friday\n\n  {archive}  \n")
    assert list(find_inputs([], [str(listed)])) == list(find_inputs([str(archive)]))
    listed.write_text("# nothing yet\n")
    with pytest.raises(OrientError, match="names no file"):
        list(find_inputs([], [str(listed)]))

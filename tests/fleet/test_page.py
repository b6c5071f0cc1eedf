"""The overview page: what can be started is read at a glance, whatever the parts are called."""

from pathlib import Path

import html5lib
import pytest

from orient.errors import OrientError
from orient.fleet.overview import Asked, overview_of
from orient.fleet.page import answer, overview_page
from orient.fleet.results import reading, writing
from orient.fleet.rows import Request, rows_of
from tests.trust.corpus import binary, block

NAMES = ("plain.stl", "<script>alert(1)</script>.stl", "a & b 'quoted'.stl")


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    folder = tmp_path_factory.mktemp("in")
    paths = []
    for name in NAMES:
        path = folder / name.replace("/", "∕")
        path.write_bytes(binary(block().triangles))
        paths.append(path)
    stands = paths[0].stat()
    found = rows_of(Request(str(paths[0]), stands.st_size, stands.st_mtime_ns, "{}", 30))
    with writing(folder / "r.db") as results:
        run = results.begin("1", "b" * 64, "{}")
        results.list(iter(map(str, [*paths, folder / "broken.stl"])), run, "b" * 64)
        for one in list(results.waiting(run)):
            refused = {"outcome": "refused", "sentence": "It holds no faces.", "seconds": 0.1}
            results.keep(one, None, "1", refused if "broken" in one.path else found)
        results.end(run)
    with reading(folder / "r.db") as opened:
        yield opened


def test_the_headline_counts_what_can_be_started(base):
    found = overview_of(base, Asked())
    head, lead = answer(found)
    ready = found.counts["fine"] + found.counts["support"]
    assert head == f"{ready} of 4 parts can be started"
    assert "1 were refused" in lead
    assert sum(found.counts.values()) == 4


def test_the_page_is_valid_html_and_names_stay_text(base):
    page = overview_page(base, "r.db")
    html5lib.HTMLParser(strict=True).parse(page)
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert "http" not in page.replace("http-equiv", "")
    assert ' style="' not in page


def test_every_part_is_listed_in_its_group(base):
    page = overview_page(base, "r.db")
    assert page.count('<th scope="row"><bdi>') == 4
    assert "It holds no faces." in page


@pytest.fixture
def odd(tmp_path):
    """A sound block twice, the same without one face, one drawn in inches, one longer than any machine."""
    sides = {
        "block.stl": (40, 30, 20),
        "again.stl": (40, 30, 20),
        "inch.stl": (3, 2, 1),
        "long.stl": (700, 20, 20),
    }
    paths = []
    for name, size in sides.items():
        paths.append(tmp_path / name)
        paths[-1].write_bytes(binary(block(size).triangles))
    paths.append(tmp_path / "open.stl")
    paths[-1].write_bytes(binary(block((41, 30, 20)).triangles[:-1]))
    with writing(tmp_path / "r.db") as results:
        run = results.begin("1", "b" * 64, "{}")
        results.list(iter([*map(str, paths), str(tmp_path / "gone.stl")]), run, "b" * 64)
        run = results.begin("1", "b" * 64, "{}")
        results.list(iter(map(str, paths)), run, "b" * 64)
        for one in list(results.waiting(run)):
            stands = Path(one.path).stat()
            content = "same" if one.path.endswith(("block.stl", "again.stl")) else one.path
            found = rows_of(Request(one.path, stands.st_size, stands.st_mtime_ns, "{}", 30))
            results.keep(one, content, "1", found)
        results.end(run)
    with reading(tmp_path / "r.db") as opened:
        yield opened


def test_what_cannot_be_relied_on_is_never_ready_to_start(odd):
    found = overview_of(odd, Asked())
    groups = {Path(part["path"]).name: part["standing"] for part in found.parts}
    assert groups["open.stl"] == groups["inch.stl"] == "doubtful"
    assert groups["long.stl"] == "no machine"
    said = {Path(part["path"]).name: part["said"] for part in found.parts}
    assert "not closed" in said["open.stl"]
    assert "--units in" in said["inch.stl"]
    assert "too large for the room" in said["long.stl"]


def test_like_files_name_each_other_and_what_is_gone_is_not_shown(odd):
    found = overview_of(odd, Asked())
    assert sum(found.counts.values()) == 5
    like = {Path(part["path"]).name: part["like"] for part in found.parts}
    assert Path(like["block.stl"]).name == "again.stl"
    assert like["again.stl"] is None
    with pytest.raises(OrientError, match="there are"):
        overview_of(odd, Asked(machine="bigbig"))

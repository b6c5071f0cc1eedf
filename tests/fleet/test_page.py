"""The overview page: what can be started is read at a glance, whatever the parts are called."""

import html5lib
import pytest

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

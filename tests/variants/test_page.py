"""The page of a comparison: complete, quiet, and turned together in a real browser."""

import re

import numpy as np
import pytest

from orient.brief import Brief
from orient.show.page.comparison import comparison_page, laid
from orient.show.picture.change import ADDED, marked, marked_pair
from orient.variants.compare import compare
from tests.variants.shapes import part_of, plate

WHERE = "k => document.getElementById('viewer' + k).viewer.camera.position.toArray()"


@pytest.fixture(scope="module")
def found():
    parts = [part_of(plate(), "a<b>"), part_of(plate(rib=False), "b"), part_of(plate(fillet=True), "c")]
    return compare(parts, Brief.model_validate({"load": {"stress_axis": [1, 0, 0]}}), directions=30)


@pytest.fixture(scope="module")
def page(found):
    return comparison_page(found)


def test_page_holds_every_verdict_and_change(found, page):
    for pair in found.pairs:
        assert pair.verdict.replace("<", "&lt;").replace(">", "&gt;") in page
        for piece in pair.changes.pieces:
            assert f"<td>{piece.id}</td><td>{piece.what}</td>" in page


def test_names_cannot_bring_in_markup(page):
    assert "a<b>" not in page
    assert "a&lt;b&gt;" in page


def test_page_asks_nothing_of_the_network(page):
    assert "default-src &#39;none&#39;" in page
    body = page[: page.index('<script type="application/json"')]
    assert not re.search(r'(src|href)="(?!data:|#)', body)


def test_load_is_never_shown_without_its_caution(page):
    assert "load-test" in page


def test_what_is_coloured_is_what_changed(found):
    pair = found.pairs[0]
    (first, paint), (_, none) = marked_pair(pair)
    # The rib's sides, top and end: as in the list of changes.
    assert first.areas[paint.code == 1].sum() == pytest.approx(pair.changes.pieces[0].area_mm2, rel=0.05)
    assert first.area_mm2 == pytest.approx(pair.first.part.area_mm2, rel=1e-9)
    assert not none.code.any()


def test_part_without_changes_keeps_its_faces(found):
    part = found.variants[0].part
    same, paints = marked(part, [[]], ADDED, np.eye(4))
    assert len(same.faces) == len(part.faces)
    assert not paints[0].code.any()


def test_every_variant_stands_on_the_bed(found):
    for row in range(3):
        for one, transform in zip(found.variants, laid(found.variants, row), strict=True):
            z = one.part.vertices @ transform[2, :3] + transform[2, 3]
            assert z.min() == pytest.approx(0.0, abs=1e-6)
            assert transform[2, :3] == pytest.approx(one.figures.directions[row], abs=1e-6)


def test_cameras_are_linked(browser, page, tmp_path):
    pytest.importorskip("nicegui", reason="nicegui, which brings three.js, is missing")
    path = tmp_path / "page.html"
    path.write_text(page, encoding="utf-8")
    said, asked = [], []
    opened = browser.new_page()
    opened.on("pageerror", lambda one: said.append(str(one)))
    opened.on("request", lambda one: asked.append(one.url))
    opened.goto(path.as_uri())
    opened.wait_for_function("document.getElementById('viewer2').viewer?.frames > 0")
    before = [opened.evaluate(WHERE, k) for k in range(3)]
    opened.focus("#viewer1")
    opened.keyboard.press("ArrowLeft")
    opened.keyboard.press("ArrowUp")
    opened.wait_for_timeout(200)
    after = [opened.evaluate(WHERE, k) for k in range(3)]
    opened.close()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
    assert np.abs(np.array(after) - before).max() > 1.0
    for places in (before, after):
        assert places[0] == pytest.approx(places[1], abs=1e-9)
        assert places[0] == pytest.approx(places[2], abs=1e-9)

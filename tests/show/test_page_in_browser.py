"""The page in a real browser: no request, a part that turns, and picks that are the right face."""

import base64
import re
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from orient.features.rays import Rays
from orient.show.picture.subject import subject_of
from orient.show.viewer.finer import finer, levels_of, small_at
from tests.evaluated import sample
from tests.show.pages import bracket, hostile, plain

PIXELS = """() => {
  const { viewer } = document.getElementById('viewer');
  viewer.render();
  const gl = viewer.canvas.getContext('webgl2'), w = gl.drawingBufferWidth, h = gl.drawingBufferHeight;
  const out = new Uint8Array(w * h * 4);
  gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, out);
  // Every fourth pixel is enough.
  return btoa(Array.from(out.filter((_, k) => k % 16 < 4), c => String.fromCharCode(c)).join(''));
}"""
PICK = """at => {
  const { viewer } = document.getElementById('viewer');
  return [viewer.pick(...at), viewer.ray(...at)];
}"""
OVERLAPS = """() => {
  const words = 'h1, h2, h3, p, dd, dt, figcaption, .card > img';
  const boxes = [...document.querySelectorAll(words)].map(e => e.getBoundingClientRect());
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2;
  return boxes.filter((a, i) => boxes.some((b, j) => i < j && meet(a, b))).length;
}"""
WORKED = "'a[href], input:checked, select, summary, #viewer, pre'"


def expect(found):
    """What the browser's driver waits for; it need not be installed to read this file."""
    return import_module("playwright.sync_api").expect(found)


class Opened:
    """A page that was opened, and what the browser had to say of it."""

    def __init__(self, browser, path, **context):
        self.said, self.asked = [], []
        self.page = browser.new_context(**context).new_page()
        self.page.on("console", lambda one: self.said.append(one.text))
        self.page.on("pageerror", lambda one: self.said.append(str(one)))
        self.page.on("request", lambda one: self.asked.append(one.url))
        self.page.goto(path.as_uri())

    def call(self, script, *given):
        return self.page.evaluate(script, *given)


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    made = {}
    for name, make in (("bracket", bracket), ("plain", plain), ("hostile", hostile)):
        made[name] = folder / f"{name}.html"
        made[name].write_text(make(), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def opened(browser, files):
    return Opened(browser, files["bracket"], viewport={"width": 1400, "height": 1000})


def pixels(opened):
    """What the canvas shows, as an array; drawn now, so that it is not read after it was cleared."""
    data = opened.call(PIXELS)
    return np.frombuffer(base64.b64decode(data), dtype=np.uint8).reshape(-1, 4)


def test_nothing_goes_wrong_and_nothing_is_asked_of_the_network(opened):
    assert opened.said == []
    assert all(url.startswith(("file:", "data:")) for url in opened.asked)
    assert sum(url.startswith("file:") for url in opened.asked) == 1


@pytest.mark.parametrize("name", ["plain", "hostile"])
def test_other_pages_open_as_quietly(browser, files, name):
    other = Opened(browser, files[name])
    assert other.said == []
    assert other.call("() => document.querySelectorAll('b, main script').length") == 0
    assert other.call("() => document.getElementById('viewer').viewer.canvas.width") > 0


def test_the_part_is_drawn(opened):
    shown = pixels(opened)
    assert (shown[:, 3] > 0).mean() > 0.05
    assert shown[shown[:, 3] > 250][:, :3].std() > 5


def test_another_pose_looks_another(opened):
    before = pixels(opened).copy()
    numbers = opened.call("() => [...document.querySelectorAll('#pose-choice option')].map(o => o.value)")
    assert len(numbers) > 1
    opened.page.select_option("#pose-choice", numbers[1])
    after = pixels(opened)
    assert (np.abs(before.astype(int) - after).max(axis=1) > 20).mean() > 0.02
    opened.page.select_option("#pose-choice", numbers[0])
    assert np.array_equal(pixels(opened), before)


@pytest.mark.parametrize("paint", ["thickness", "features", "safety"])
def test_a_switch_colours_the_part_anew(opened, paint):
    before = pixels(opened).copy()
    opened.page.check(f"input[name=paint][value={paint}]")
    assert (np.abs(before.astype(int) - pixels(opened)).max(axis=1) > 10).any()
    assert opened.page.locator("#key span").count() > 1
    opened.page.check("input[name=paint][value=overhang]")


def test_the_safety_that_is_read_at_a_place_is_that_of_the_stress_there(opened):
    found = sample("mast_bracket")
    paint = subject_of(found, found.ranking.recommended - 1).safety
    numbers = opened.call("() => [...document.querySelectorAll('#pose-choice option')].map(o => o.value)")
    assert numbers[0] == str(found.ranking.recommended)
    part = found.part
    rng = np.random.default_rng(7)
    faces = rng.choice(len(part.faces), 200, p=part.areas / part.areas.sum()).astype(np.int32)
    u, v = np.sort(rng.uniform(0.0, 1.0, (2, 200)), axis=0)
    a, b, c = (part.vertices[part.faces[faces, k]] for k in range(3))
    points = a + u[:, None] * (b - a) + (v - u)[:, None] * (c - a)
    levels = levels_of(part)
    code, ends = finer(part, paint, levels), np.cumsum(levels.astype(int) ** 2)
    rows = levels[faces].astype(int)
    expected = code[ends[faces] - rows**2 + small_at(part, faces, points, rows)]
    ask = """([faces, points]) => {
      const viewer = document.getElementById('viewer').viewer;
      return faces.map((face, k) => viewer.faceFacts(face, points[k]).bytes.safety);
    }"""
    read = opened.call(ask, [faces.tolist(), points.tolist()])
    # Corners are sent to 16 bits of the part's box: a place on the line between two may be of either.
    assert (np.array(read) == expected).mean() > 0.97
    assert len(np.unique(expected)) > 10


def test_frames_are_drawn_on_demand_only(opened):
    opened.page.wait_for_timeout(400)
    count = "() => document.getElementById('viewer').viewer.frames"
    before = opened.call(count)
    opened.page.wait_for_timeout(500)
    assert opened.call(count) == before


def test_arrow_keys_turn_the_part_and_home_brings_it_back(opened):
    opened.page.focus("#viewer")
    opened.page.keyboard.press("Home")
    before = pixels(opened).copy()
    opened.page.keyboard.press("ArrowLeft")
    assert (np.abs(before.astype(int) - pixels(opened)).max(axis=1) > 20).mean() > 0.01
    opened.page.keyboard.press("Home")
    assert np.array_equal(pixels(opened), before)


def test_a_pick_is_the_face_that_an_embree_ray_meets(opened):
    found = sample("mast_bracket")
    rays = Rays(found.part)
    opened.page.locator("#viewer").scroll_into_view_if_needed()
    box = opened.page.locator("#viewer canvas").bounding_box()
    rng = np.random.default_rng(6)
    agreed = tried = 0
    while tried < 50:
        x = box["x"] + box["width"] * rng.uniform(0.3, 0.7)
        y = box["y"] + box["height"] * rng.uniform(0.2, 0.8)
        picked, ray = opened.call(PICK, [x, y])
        origin, along = np.array([ray["origin"]]), np.array([ray["direction"]])
        face, _ = rays.first_hits(origin, along, 1e5)
        if picked < 0 and face[0] < 0:
            continue
        tried += 1
        agreed += int(face[0]) == picked
    assert agreed == 50


def test_pointing_at_a_face_says_what_it_is(opened):
    canvas = opened.page.locator("#viewer canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    opened.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    opened.page.mouse.move(box["x"] + box["width"] / 2 + 3, box["y"] + box["height"] / 2 + 3)
    expect(opened.page.locator("#face-said")).to_contain_text(re.compile(r"^Face \d+: .*thickness"))


def test_every_letter_on_the_part_is_in_the_list(opened):
    opened.page.check("input[name=paint][value=features]")
    letters = opened.page.locator(".viewer-labels .letter").all_text_contents()
    listed = opened.page.locator(".feature .letter").all_text_contents()
    assert letters
    assert set(letters) <= set(listed)
    opened.page.check("input[name=paint][value=overhang]")


def test_pointing_at_a_dot_of_the_chart_shows_its_pose(opened):
    opened.page.locator(".flag").first.focus()
    expect(opened.page.locator("#tip")).to_contain_text("mm³")
    assert opened.page.locator("#tip-picture").get_attribute("alt")


@pytest.mark.parametrize("name", ["bracket", "plain", "hostile"])
@pytest.mark.parametrize("width", [1400, 390])
def test_nothing_sticks_out_of_the_page(browser, files, name, width):
    page = Opened(browser, files[name], viewport={"width": width, "height": 844}).page
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    # Boxes that hold words do not lie over each other.
    over = page.evaluate(OVERLAPS)
    assert over == 0


def test_everything_that_can_be_worked_is_reached_by_the_tab_key(opened):
    number = "all => e => [...document.querySelectorAll('*')].indexOf(e)"
    wanted = opened.call(f"() => [...document.querySelectorAll({WORKED})].map(({number})())")
    opened.call("() => { document.activeElement.blur(); window.scrollTo(0, 0); }")
    reached = set()
    for _ in range(len(wanted) + 10):
        opened.page.keyboard.press("Tab")
        reached.add(opened.call(f"() => ({number})()(document.activeElement)"))
    assert set(wanted) <= reached


@pytest.mark.parametrize(("name", "least", "most"), [("bracket", 6, 14), ("plain", 3, 8)])
def test_it_prints_to_a_few_sheets_with_pictures_for_the_canvas(browser, files, name, least, most, tmp_path):
    page = Opened(browser, files[name]).page
    sheets = Path(tmp_path / "page.pdf")
    page.pdf(path=sheets, prefer_css_page_size=True, print_background=True)
    # Chromium writes one page object for each sheet, uncompressed.
    count = len(re.findall(rb"/Type\s*/Page\b(?!s)", sheets.read_bytes()))
    assert least <= count <= most
    page.emulate_media(media="print")
    assert not page.locator("#viewer").is_visible()
    assert page.locator(".pictures img").first.is_visible()
    # No picture is taller than what a sheet of A4 leaves between its margins.
    tall = page.evaluate("() => Math.max(...[...document.images].map(i => i.getBoundingClientRect().height))")
    assert tall < (297 - 28) / 25.4 * 96

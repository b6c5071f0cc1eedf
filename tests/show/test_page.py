"""The page is one valid file that lets nothing else in, says what is missing, and can be run again."""

import base64
import hashlib
import io
import re
import tomllib
from dataclasses import replace
from functools import cache
from importlib.resources import files

import html5lib
import numpy as np
import pytest
from rich.console import Console

import orient
from orient.errors import OrientError
from orient.handover.oriented import brief_hash
from orient.show.page import page
from orient.show.page.brief_text import brief_toml
from orient.show.page.chart import _axis, trade_off
from orient.show.page.facts import Fact, compared, lying_words, pose_facts
from orient.show.page.page import report, write_report
from orient.show.picture.subject import subject_of
from orient.show.strength import strength_view
from orient.show.table import ranking_view
from orient.show.viewer import library
from orient.show.viewer.payload import mesh_data, packed_text, viewer_data
from orient.show.words import fill_words
from tests.evaluated import SAMPLES, open_box, sample, without_load
from tests.show.pages import HOSTILE, bracket, hostile, plain, plain_evaluation, sphere

PAGES = {"bracket": bracket, "plain": plain, "hostile": hostile}
NAMESPACE = "{http://www.w3.org/1999/xhtml}"


@cache
def tree(name):
    """The page as a standard parser reads it; a mistake in the markup is an error."""
    html = PAGES[name]()
    if name != "bracket":
        # The scripts are the same on every page, and long: one page is read with all of them.
        html = re.sub(r"<script>.*?</script>", "<script></script>", html, flags=re.DOTALL)
    return html5lib.HTMLParser(strict=True).parse(html)


def elements(name, tag):
    return list(tree(name).iter(f"{NAMESPACE}{tag}"))


def text(name):
    body = tree(name).find(f"{NAMESPACE}body")
    for one in [*body.iter(f"{NAMESPACE}script")]:
        one.text = ""
    return " ".join("".join(body.itertext()).split())


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_valid_html(name):
    # html5lib in its strict mode raises at every parse error of the HTML standard.
    assert elements(name, "main")


@pytest.mark.parametrize("name", PAGES)
def test_ids_are_unique_and_references_lead_somewhere(name):
    ids = [one.get("id") for one in tree(name).iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    for one in tree(name).iter():
        for key in ("aria-labelledby", "aria-describedby"):
            assert one.get(key, ids[0]) in ids
        if (one.get("href") or "").startswith("#"):
            assert one.get("href")[1:] in ids


@pytest.mark.parametrize("name", PAGES)
def test_nothing_in_a_page_points_out_of_it(name):
    for one in tree(name).iter():
        for key, value in one.attrib.items():
            if key in ("src", "srcset"):
                assert value.startswith("data:image/")
            if str(key).endswith("href"):
                assert value.startswith(("#", "data:,"))
            assert not str(key).startswith("on")
            assert key != "style"


def test_only_the_script_and_the_style_of_the_page_itself_may_run():
    [policy] = [m.get("content") for m in elements("bracket", "meta") if m.get("http-equiv")]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    html = bracket()
    for tag, key in (("style", "style-src"), ("script", "script-src")):
        [inside] = re.findall(rf"<{tag}>(.*?)</{tag}>", html, flags=re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert rules[key] == f"'sha256-{digest}'"


def test_names_that_want_to_be_markup_are_shown_as_text():
    assert " ".join(HOSTILE.split()) in text("hostile")
    assert "</title><b>" in text("hostile")
    assert "alert(1)" not in "".join(one.text or "" for one in elements("hostile", "script"))
    assert not list(tree("hostile").iter(f"{NAMESPACE}b"))
    # Each stands alone, so that a name that runs from right to left turns nothing else round.
    assert any(
        " ".join(HOSTILE.split()) in " ".join("".join(b.itertext()).split())
        for b in elements("hostile", "bdi")
    )


def test_sections_come_in_the_order_in_which_a_reader_asks():
    heads = [one.get("id") for one in elements("bracket", "section")]
    order = "answer poses trade-off features part strength tuning cautions approximate record"
    assert heads == order.split()


def test_the_answer_comes_first_with_its_picture():
    html = bracket()
    assert html.index("<h1") < html.index("<img") < html.index('id="poses"')
    found = sample("mast_bracket")
    [head] = elements("bracket", "h1")
    assert "−y" in "".join(head.itertext())
    support = found.ranking.columns["support_needed_mm3"][found.ranking.recommended - 1]
    assert f"{support:,.0f} mm³ of support" in text("bracket")


def test_every_picture_says_what_it_shows_in_numbers():
    shown = [one for one in elements("bracket", "img") if one.get("id") != "tip-picture"]
    assert len(shown) > 8
    for one in shown:
        assert re.search(r"\d", one.get("alt"))
        assert len(one.get("alt")) > 20


def test_the_list_has_every_feature_with_its_letter():
    found = sample("mast_bracket").features.recommended
    ids = {one.get("id") for one in tree("bracket").iter()}
    assert found.features
    for one in found.features:
        assert f"feature-{one.id}" in ids


def test_a_part_with_nothing_to_say_of_says_so_in_a_line():
    said = text("plain")
    assert "No hard feature was found" in said
    assert "There is one pose to show" in said
    assert "No load was given" in said
    assert "No brief was given" in said


def test_sections_that_were_not_made_are_absent():
    found = replace(plain_evaluation(), features=None)
    html = report(found)
    assert 'id="features"' not in html
    assert 'value="features"' not in html
    assert 'value="safety"' not in html


def test_an_open_mesh_says_what_is_approximate():
    html = report(open_box())
    assert "The mesh is not closed" in html
    assert "≈" in html


def test_wherever_strength_is_shown_its_caution_stands():
    caution = "load-test the printed part and have qualified people judge"
    assert caution in text("bracket")
    assert caution in text("hostile")
    assert caution not in text("plain")


def test_the_brief_in_the_page_is_the_brief_that_made_it():
    [block] = elements("bracket", "pre")
    again = orient.Brief.model_validate(tomllib.loads("".join(block.itertext())))
    given = sample("mast_bracket").brief
    assert again.part.file == "mast_bracket.stl"
    assert again.model_dump(exclude={"part"}) == given.model_dump(exclude={"part"})
    assert brief_hash(sample("mast_bracket")) in bracket()
    assert sample("mast_bracket").part.content_hash in bracket()


@pytest.mark.parametrize("file", sorted(SAMPLES.glob("*.toml")), ids=lambda file: file.stem)
def test_a_brief_written_out_is_read_back_the_same(file, tmp_path):
    given = orient.read_brief(file)
    again = tmp_path / "brief.toml"
    again.write_text(brief_toml(given), encoding="utf-8")
    read = orient.read_brief(again)
    assert read.model_dump(exclude={"part"}) == given.model_dump(exclude={"part"})


def test_text_of_a_brief_survives_whatever_it_holds(tmp_path):
    for said in (HOSTILE, 'a"b\\c\nd\te', "\x7f", "'''", "日本", "\u202e"):
        given = orient.Brief.model_validate({"job": {"number": said, "chemicals": [said]}})
        assert tomllib.loads(brief_toml(given)) == {"job": {"number": said, "chemicals": [said]}}


def test_the_chart_has_every_pose_once_and_marks_the_undominated():
    found = sample("mast_bracket")
    chart = trade_off(found)
    assert sorted(dot.number for dot in chart.dots) == list(range(1, len(found.ranking.directions) + 1))
    assert sum(dot.undominated for dot in chart.dots) == found.ranking.undominated.sum() > 0
    places = {dot.number: dot for dot in chart.dots}
    height = found.ranking.columns["height_mm"]
    low, high = int(height.argmin()) + 1, int(height.argmax()) + 1
    assert places[low].y > places[high].y
    for dot in chart.dots:
        assert chart.left <= dot.x <= chart.right
        assert chart.top <= dot.y <= chart.bottom
    assert {flag.number - 1 for flag in chart.flags} == set(found.ranking.shown)


def test_light_is_weak_in_the_chart_as_on_the_part():
    found = sample("mast_bracket")
    colours = {dot.number: bytes.fromhex(dot.colour[1:]) for dot in trade_off(found).dots}
    factor = found.ranking.columns["safety_factor"]
    weak, strong = colours[int(factor.argmin()) + 1], colours[int(factor.argmax()) + 1]
    paint = subject_of(found, 0).paint("safety")
    low, high = paint.palette[paint.steps(np.array([paint.low, paint.high]))]
    assert tuple(weak) == tuple(low.tolist())
    assert tuple(strong) == tuple(high.tolist())
    assert sum(weak) > sum(strong)


@pytest.mark.parametrize("span", [0.0, 1e-12, 0.07, 1.0, 6.9, 8.3, 9.99, 10.0, 470.0, 99_999.0])
def test_an_axis_is_marked_with_a_few_round_figures_whatever_its_span(span):
    values = 3.0 + np.array([0.0, span / 2, span])
    for squared in (False, True):
        marks, placed = _axis(values, 0.0, 500.0, squared)
        assert 1 <= len(marks) <= 9
        assert len({said for _, said in marks}) == len(marks)
        assert all(0.0 <= at <= 500.0 for at in (*placed, *(at for at, _ in marks)))


@pytest.mark.parametrize("make", [lambda: sample("mast_bracket"), without_load, plain_evaluation])
def test_flags_of_the_chart_do_not_cover_each_other(make):
    flags = trade_off(make()).flags
    for k, one in enumerate(flags):
        for other in flags[:k]:
            assert abs(one.x - other.x) >= 27 or abs(one.y - other.y) >= 19


def test_the_best_figure_beside_others_is_marked_and_ties_are_not():
    found = sample("mast_bracket")
    rows = list(found.ranking.shown)
    marked = compared([pose_facts(found, row) for row in rows])
    for name in ("support", "height", "score"):
        own = [next(fact for fact in pose if fact.name == name) for pose in marked]
        best = {fact.said for fact in own if fact.best}
        assert best <= {min(own, key=lambda fact: fact.value).said}
    score = [next(fact for fact in pose if fact.name == "score") for pose in marked]
    assert sum(fact.best for fact in score) == 1


def test_figures_that_read_alike_are_marked_alike():
    def poses(*values):
        return [[Fact("hours", f"{value:.1f} h", value)] for value in values]

    def marks(*values):
        return [pose[0].best for pose in compared(poses(*values))]

    assert marks(2.81, 2.84, 3.2, 3.4) == [True, True, False, False]
    # Most of them read alike: that singles none out.
    assert marks(2.81, 2.84, 2.83, 3.4) == [False] * 4


def test_solid_against_filled_is_told_beside_the_safety_factor():
    found = sample("mast_bracket")
    part_filled = found.brief.model_copy(
        update={"process": found.brief.process.model_copy(update={"infill": None})}
    )
    plan = replace(found.shop.shop.plan, infill=0.2)
    shop = replace(found.shop, shop=replace(found.shop.shop, plan=plan))
    assert fill_words(found) == ""
    mixed = replace(found, brief=part_filled, shop=shop)
    assert "solid all through" in fill_words(mixed)
    assert "20 %" in fill_words(mixed)
    given = found.brief.model_copy(update={"process": part_filled.process.model_copy(update={"infill": 0.2})})
    assert "filled to 20 % within solid contours" in fill_words(replace(mixed, brief=given))
    assert fill_words(replace(mixed, strength=None)) == ""
    # Wherever the factor is shown to a person.
    for view in (ranking_view(mixed), strength_view(mixed.part, mixed.strength, mixed)):
        console = Console(width=100, file=io.StringIO())
        console.print(view)
        assert "solid all through" in " ".join(console.file.getvalue().split())
    assert report(mixed).count("solid all through") >= 2


def test_the_page_marks_where_the_part_is_held():
    found = sample("mast_bracket")
    arrows = viewer_data(found, {0: subject_of(found, 0)})["arrows"]
    held = [one for one in arrows if one["said"] == "held"]
    assert len(held) == len({place for case in found.brief.load.case for place in case.fixed}) == 2
    assert all(one["length"] == 0 for one in held)
    assert sorted(round(one["at"][0], 3) for one in held) == [-27.0, 27.0]


def test_corners_are_kept_to_a_65535th_of_the_box():
    part = sphere(3)
    data = mesh_data(part)
    steps = np.frombuffer(base64.b64decode(data["corners"]), dtype="<u2").reshape(-1, 3)
    back = np.array(data["low"]) + steps * np.array(data["step"])
    assert np.abs(back - part.vertices).max() <= 0.51 * part.extents_mm.max() / 65535
    kind = "<u4" if data["wide"] else "<u2"
    assert np.array_equal(
        np.frombuffer(base64.b64decode(data["faces"]), dtype=kind).reshape(-1, 3), part.faces
    )


@pytest.mark.parametrize("lengths", [[600], [1, 2, 3] * 400, [255, 256, 510, 511, 1], [1] * 50, [90_000, 7]])
def test_codes_come_back_from_their_runs(lengths):
    codes = np.repeat(np.arange(len(lengths)) % 251, lengths).astype(np.uint8)
    told = packed_text(codes)
    packed = np.frombuffer(base64.b64decode(told.lstrip("~")), dtype=np.uint8)
    back = np.repeat(packed[1::2], packed[::2]) if told.startswith("~") else packed
    assert np.array_equal(back, codes)
    assert len(packed) <= len(codes)


def test_without_three_js_the_page_has_pictures_and_one_line_on_how_to_get_it(monkeypatch):
    monkeypatch.setattr(library, "bundle_path", lambda: None)
    html = report(plain_evaluation())
    html5lib.HTMLParser(strict=True).parse(html)
    assert "pip install nicegui" in html
    assert 'id="viewer"' not in html
    assert 'class="pictures"' in html


def test_a_bundle_that_is_built_otherwise_is_not_taken():
    assert library.as_script("export default 1;") is None
    assert library.as_script('import x from "y"; export{x as THREE, x as OrbitControls};') is None
    assert library.as_script("const a=1;export{a as THREE};") is None


def test_a_page_goes_nowhere_but_to_a_folder_that_takes_it(tmp_path):
    with pytest.raises(OrientError, match="does not exist"):
        write_report(plain_evaluation(), tmp_path / "missing" / "page.html")
    assert not (tmp_path / "missing").exists()


def test_a_page_is_replaced_whole_or_not_at_all(tmp_path, monkeypatch):
    there = tmp_path / "page.html"
    there.write_text("before")

    def fail(*_):
        raise RuntimeError("no page")

    monkeypatch.setattr(page, "trade_off", fail)
    with pytest.raises(RuntimeError):
        write_report(plain_evaluation(), there)
    assert there.read_text() == "before"
    monkeypatch.undo()
    write_report(plain_evaluation(), there)
    assert there.read_text(encoding="utf-8") == plain()
    assert list(tmp_path.iterdir()) == [there]


def luminance(colour):
    """Relative luminance of a colour as WCAG 2.1 defines it."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", [0, 1, 2], ids=["light", "dark", "print"])
def test_words_stand_out_as_accessibility_asks(scheme):
    # WCAG 2.1, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (what is not text, 3 to 1).
    style = files("orient.show.page").joinpath("page.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root\s*\{([^}]*)\}", style)
    colours = dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", blocks[scheme]))
    pairs = [("ink", "paper"), ("ink", "sheet"), ("soft", "paper"), ("soft", "sheet"), ("accent", "paper")]
    pairs += [("accent", "sheet"), ("on-accent", "accent"), ("on-mark", "mark"), ("paper", "ink")]
    for front, back in pairs:
        assert contrast(colours[front], colours[back]) >= 4.5, (front, back)
    assert contrast(colours["soft"], colours["sheet"]) >= 3
    # The words on the viewer's plate are dark in either scheme.
    assert contrast("#1c2024", colours["view"]) >= 4.5


@pytest.mark.slow
def test_a_page_at_84_thousand_faces_is_light():
    part = sphere(6)
    assert len(part.faces) > 60_000
    found = orient.evaluate(part, directions=10, features=False)
    html = report(found)
    assert len(html.encode()) <= 6e6 * len(part.faces) / 84_000


@pytest.mark.parametrize("where", ["hole-near:-27,0,3", "hole:H1"])
def test_a_force_on_a_hole_is_drawn(where):
    case = {"fixed": ["hole-near:27,0,3"], "force": [{"on": where, "newtons": [0, 0, -60]}]}
    brief = orient.Brief.model_validate({"load": {"case": [case]}})
    found = orient.evaluate(orient.load(SAMPLES / "mast_bracket.stl"), brief, directions=30, voxels=3000)
    text = report(found)
    assert "60 N" in text


def test_what_support_touches_of_the_faces_that_matter_is_told_of_every_pose():
    found = sample("mast_bracket")
    (measured,) = found.named
    touched = 0
    for row in range(len(found.ranking.directions)):
        (fact,) = [one for one in pose_facts(found, row) if one.name == "faces that matter"]
        scar = measured.scar_mm2[row]
        touched += scar >= 0.5
        assert fact.said == (f"support on {scar:,.0f} mm²" if scar >= 0.5 else "no support")
    assert 0 < touched < len(found.ranking.directions)


def test_a_pose_that_would_tip_from_its_flat_is_not_said_to_lie_on_it_alone():
    found = sample("mast_bracket")
    stable = {row: rests for row, (_, rests) in found.resting.items()}
    assert set(stable.values()) == {True, False}
    for row, rests in stable.items():
        assert ("tipping" in lying_words(found, row)) != rests
    free = next(row for row in range(len(found.ranking.directions)) if row not in stable)
    assert lying_words(found, free) == "standing on support"

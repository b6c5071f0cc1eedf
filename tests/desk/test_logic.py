"""The desk without a browser: briefs, orders anew, what goes over the wire, the page in a user simulation."""

import asyncio
import gzip
import hashlib
import io
import json
import tomllib
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import trimesh
from nicegui import ElementFilter, background_tasks, ui
from nicegui.testing import user_simulation

from orient.brief import read_brief
from orient.desk import shelf as shelves
from orient.desk.bring import begin_afresh, sample
from orient.desk.change import REST_S, edit, undo, weigh
from orient.desk.edits import History, brief_of, data_from, toml_of, with_added, with_value, without
from orient.desk.job import open_brief
from orient.desk.jobs import JOBS, Held
from orient.desk.layout import build
from orient.desk.order import cards, in_order, order_of
from orient.desk.part import bring_part
from orient.desk.pick import _axis_arrows
from orient.desk.rank import find_stress
from orient.desk.serve import show_trouble
from orient.desk.shelf import Shelf
from orient.desk.shown import show
from orient.desk.take import fetch
from orient.desk.views import HardFeatures, PoseCards
from orient.desk.visitor import Visitors
from orient.desk.warm import Warm
from orient.errors import OrientError
from orient.part.read import read_part
from orient.part.select import select
from orient.show.document import ranking_document
from tests.benchmarks.meshes import bracket
from tests.desk.shapes import dense

PARTS = Path(__file__).parents[2] / "sample_parts"
BRACKET = PARTS / "mast_bracket.stl"


def quiet(words, share):
    """Nobody listens."""


@pytest.fixture(scope="module")
def held():
    """A child's memory with the bracket in it, and its poses ranked under a stress axis."""
    one = Held()
    JOBS["bring"](one, quiet, path=str(BRACKET), name="bracket")
    return one


@pytest.fixture(scope="module")
def judged(held):
    return JOBS["evaluate"](held, quiet, toml="[load]\nstress_axis = [1, 0, 0]\n")


@pytest.mark.parametrize("path", sorted(PARTS.glob("*.toml")), ids=lambda path: path.stem)
def test_a_brief_goes_through_the_desk_unchanged(path, tmp_path):
    data, part, left_out = data_from(path.read_bytes())
    (tmp_path / "brief.toml").write_text(toml_of(data))
    # The standard library reads TOML; the shell's own reader makes it a brief.
    assert tomllib.loads(toml_of(data)).keys() == tomllib.loads(path.read_text()).keys() - {"part"}
    assert "file" not in part
    theirs, ours = read_brief(path), read_brief(tmp_path / "brief.toml")
    assert not left_out
    assert ours.model_copy(update={"part": theirs.part}) == theirs


@pytest.mark.parametrize("path", sorted(PARTS.glob("*.toml")), ids=lambda path: path.stem)
def test_every_sample_is_ranked_under_its_own_job_before_its_stress_is_found(path):
    one = Held()
    JOBS["bring"](one, quiet, path=str(path.with_suffix(".stl")), name=path.stem)
    data, *_ = data_from(path.read_bytes())
    judged = JOBS["evaluate"](one, quiet, toml=toml_of(data))
    assert judged.strength is None
    assert len(judged.ranking.directions) > 500


def test_every_change_can_be_taken_back_and_one_move_of_a_slider_is_one_change():
    history = History()
    history.change(with_value(history.now, "process.polymer", "ASA"), "the polymer")
    history.change(with_added(history.now, ("load", "case", 0, "fixed"), "hole-near:0,0,0"), "a fixing")
    for weight in (1.1, 1.2, 1.3):
        history.change(with_value(history.now, "weights.support", weight), "support", joins=True)
    assert history.now["weights"] == {"support": 1.3}
    assert history.undo() == "support"
    assert "weights" not in history.now
    assert without(history.now, ("load", "case", 0, "fixed", 0)) == {"process": {"polymer": "ASA"}}
    assert [history.undo(), history.undo(), history.undo()] == ["a fixing", "the polymer", None]
    assert history.now == {}
    assert [history.redo(), history.redo(), history.redo()] == ["the polymer", "a fixing", "support"]
    assert history.now["weights"] == {"support": 1.3}
    assert (history.last, history.next, history.redo()) == ("support", None, None)
    # What is changed after an undo is a change of its own, however soon.
    history.undo()
    history.change(with_value(history.now, "weights.support", 2.0), "support", joins=True)
    before = history.now
    history.undo()
    history.redo()
    history.change(with_value(history.now, "weights.support", 3.0), "support", joins=True)
    assert (history.undo(), history.now) == ("support", before)
    history.undo()
    history.change(with_value(history.now, "process.polymer", "PETG"), "the polymer")
    assert history.redo() is None
    assert history.now["process"] == {"polymer": "PETG"}


def test_a_change_that_makes_no_brief_leaves_the_brief_as_it_was():
    history = History({"process": {"polymer": "PLA"}})
    with pytest.raises(OrientError, match="layer_height_mm"):
        history.change(with_value(history.now, "process.layer_height_mm", -1.0), "the layer")
    assert history.now == {"process": {"polymer": "PLA"}}
    assert history.last is None


def test_the_order_by_other_weights_is_that_of_an_evaluation_by_them(held, judged):
    weights = {"first_layer": 5.0, "support": 0.4}
    ours = order_of(judged, weights)
    toml = "[load]\nstress_axis = [1, 0, 0]\n[weights]\nfirst_layer = 5.0\nsupport = 0.4\n"
    again = Held()
    again.take(held.known.part, held.known.file, {})
    theirs = JOBS["evaluate"](again, quiet, toml=toml)
    spots = {tuple(np.round(one, 9)): k for k, one in enumerate(theirs.ranking.directions)}
    shared = [k for k, one in enumerate(ours.ranking.directions) if tuple(np.round(one, 9)) in spots]
    # What the continuous search adds depends on the weights; all else stands in the same order.
    places = [spots[tuple(np.round(ours.ranking.directions[k], 9))] for k in shared]
    assert len(shared) > 900
    inspected = {int(row) for row in (*ours.ranking.shown, *theirs.ranking.shown)}
    plain = [
        place
        for k, place in zip(shared, places, strict=True)
        if k not in inspected and place not in inspected
    ]
    assert plain == sorted(plain)


def test_cards_bear_the_figures_of_the_json(held, judged):
    document = ranking_document(held.evaluation)
    for card in cards(in_order(judged)):
        measures = document["candidates"][card.number - 1]["measures"]
        facts = {fact.name: fact.value for fact in card.facts}
        assert facts["height"] == pytest.approx(measures["height_mm"])
        assert facts["support"] == pytest.approx(measures["support_needed_mm3"])
        assert card.taken == (card.number == document["recommended"])
        assert card.lies == document["candidates"][card.number - 1]["rests_on_flat"]


def test_the_pose_to_take_stands_first_in_the_list_whatever_its_number(judged):
    for weights in ({}, {"first_layer": 0.0, "height": 0.0, "support": 5.0}, {"finish": 5.0}):
        listed = cards(order_of(judged, weights))
        assert [one.taken for one in listed] == [True] + [False] * (len(listed) - 1)
        numbers = [one.number for one in listed[1:]]
        assert numbers == sorted(numbers)


def test_a_pose_of_the_hand_is_taken_as_it_was_turned(held, judged, tmp_path):
    up = np.array([0.36, -0.48, 0.8])
    shown = held.evaluation
    asked = {"toml": judged.toml, "forces": False, "direction": tuple(up.tolist())}
    for kind in ("stl", "3mf"):
        made = JOBS["save"](held, quiet, **asked, kind=kind)
        (tmp_path / f"laid.{kind}").write_bytes(made.body)
        # trimesh reads both; a rigid turn that takes the build direction to +z takes file to file.
        laid, filed = trimesh.load_mesh(tmp_path / f"laid.{kind}"), trimesh.load_mesh(BRACKET)
        heights = filed.vertices @ up
        assert laid.extents[2] == pytest.approx(np.ptp(heights), abs=1e-3)
        assert laid.volume == pytest.approx(filed.volume, rel=1e-5)
        np.testing.assert_allclose(
            np.sort(laid.triangles_center[:, 2]),
            np.sort(filed.triangles_center @ up) - heights.min(),
            atol=1e-3,
        )
    # What is said of it is what the hand read, and the list keeps its numbers.
    assert "bracket, the pose of your hand: " in made.said
    assert f"{np.ptp(heights):.1f} mm on the bed" in made.said
    assert held.evaluation is shown
    page = JOBS["page"](held, quiet, **asked)
    assert "0.36 −0.48 0.80" in page.body.decode()


def test_a_pose_of_the_hand_that_breaks_a_limit_is_refused_with_the_reason(held, judged):
    toml = judged.toml + "[limits]\nmax_height_mm = 46.0\n"
    with pytest.raises(OrientError, match=r"limits: It is 73.0 mm tall .* Turn the part further"):
        JOBS["save"](
            Held(held.known), quiet, toml=toml, forces=False, direction=(0.36, -0.48, 0.8), kind="stl"
        )


def test_the_edges_of_an_inner_corner_are_as_long_as_the_list_says(held, judged):
    pose = JOBS["pose"](held, quiet, direction=tuple(judged.ranking.directions[0]), number=1, features=True)
    corners = [one for one in pose.features if one["kind"] == "sharp corner" and one["lines"]]
    assert corners
    for one in corners:
        a, b = np.array(one["lines"]).reshape(-1, 2, 3).transpose(1, 0, 2)
        assert f"{np.linalg.norm(b - a, axis=1).sum():.3g} mm" in one["size"]


def test_a_face_is_named_by_its_middle_wherever_it_was_clicked_so_that_a_revision_has_it_too(held):
    part = held.at_hand.part
    # The seat of the sample bracket reaches from y = −16 to 20, that of its redesign to 16.
    seat = np.flatnonzero((part.normals[:, 2] > 0.99) & (np.abs(part.centroids[:, 2] - 40.0) < 1e-3))
    clicked = (9.61, 16.19, 40.0)
    named = {JOBS["pick"](held, quiet, point=clicked, face=face, kind="face").selector for face in seat}
    (selector,) = named
    again = select(read_part(PARTS / "mast_bracket_rev_b.stl"), selector)
    assert again.area_mm2 > 100.0
    place = [float(number) for number in selector.partition(":")[2].split(",")]
    edges = part.vertices[part.faces[seat]].reshape(-1, 3)
    assert np.linalg.norm(edges - place, axis=1).min() > 5.0


def test_84_000_faces_go_out_in_a_megabyte_and_a_recolour_in_20_kb(tmp_path):
    (tmp_path / "dense.stl").write_bytes(dense())
    held, shelf = Held(), Shelf()
    brought = JOBS["bring"](held, quiet, path=str(tmp_path / "dense.stl"), name="dense")
    assert brought.faces > 80_000
    sizes = {"mesh": shelf.size(shelf.put(brought.scene, "application/json"))}
    JOBS["evaluate"](held, quiet, toml="")
    up = (0.0, 0.0, 1.0)
    sizes["overhang"] = shelf.size(shelf.put(JOBS["pose"](held, quiet, direction=up, number=1).overhang.code))
    thick = JOBS["colours"](held, quiet, kind="thickness", direction=up)
    sizes["thickness"] = shelf.size(shelf.put(thick.code)) + len(
        gzip.compress(json.dumps(thick.key).encode())
    )
    shelf.clear()
    print({name: f"{size / 1000:.1f} kB" for name, size in sizes.items()})
    assert sizes["mesh"] <= 1_000_000
    assert max(sizes["overhang"], sizes["thickness"]) <= 20_000


@pytest.mark.slow
def test_the_colours_of_safety_of_84_000_faces_go_out_in_20_kb(tmp_path):
    bracket(84_000).export(tmp_path / "dense.stl")
    held, up = Held(), (0.0, 0.0, 1.0)
    assert JOBS["bring"](held, quiet, path=str(tmp_path / "dense.stl"), name="dense").faces > 80_000
    held_at, pushed_at = "face-near:0,0,0", "face-near:3,2,80"
    data = {
        "process": {"polymer": "ASA"},
        "load": {"case": [{"fixed": [held_at], "force": [{"on": pushed_at, "newtons": [0, 0, -120]}]}]},
    }
    JOBS["strength"](held, quiet, toml=toml_of(data))
    colours = JOBS["colours"](held, quiet, kind="safety", direction=up)
    size = len(gzip.compress(colours.code)) + len(gzip.compress(json.dumps(colours.key).encode()))
    print(f"safety: {size / 1000:.1f} kB")
    assert len(set(colours.code)) > 1
    assert size <= 20_000


def test_what_lies_on_a_shelf_is_fetched_by_its_name_alone_until_it_is_cleared():
    shelf = Shelf()
    name = shelf.put(b"a mesh" * 100).rpartition("/")[2]
    answer = shelves.hand_out(name)
    assert gzip.decompress(answer.body) == b"a mesh" * 100
    assert answer.headers["content-encoding"] == "gzip"
    assert shelves.hand_out(name[:-1]).status_code == 404
    shelf.clear()
    assert shelves.hand_out(name).status_code == 404


def simulated(test, tmp_path, mesh=BRACKET):
    """Run a test with a page of the desk in NiceGUI's user simulation, over a real child process."""

    async def run():
        warm = Warm(tmp_path)
        visitors = Visitors(tmp_path, warm)
        visitor = visitors.enter("tab", "window")

        async def page():
            ui.context.client.on_exception(show_trouble)
            await build(visitor, mesh)

        try:
            async with user_simulation(page) as user:
                await user.open("/")
                await test(user, visitor.state["desk"])
        finally:
            await visitors.close()
            warm.close()
            await asyncio.sleep(0.3)  # until the loop has seen the last child go

    # In a thread of its own: where a browser was driven before, this one has a loop already.
    with ThreadPoolExecutor(1) as alone:
        alone.submit(asyncio.run, run()).result()


async def seen(what, seconds=30.0):
    for _ in range(int(seconds / 0.05)):
        if what():
            return
        await asyncio.sleep(0.05)
    raise AssertionError("it did not come to be")


def test_a_part_named_at_the_start_is_read_ranked_and_reweighed(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        await user.should_see("Build it along −y, lying on its own flat.")
        with user:
            (listed,) = ElementFilter(kind=PoseCards)
            assert listed.props["cards"][0]["along"] == "−y"
            before = desk.history.now
            weigh(desk, "first_layer", 5.0)
            assert listed.props["cards"][0]["along"] == "+z"
        await seen(lambda: desk.judged.toml == toml_of(desk.history.now))
        assert desk.direction == (0.0, 0.0, 1.0)
        user.find("Undo").click()
        assert desk.history.now == before
        await seen(lambda: desk.judged.toml == "" and desk.direction == (0.0, -1.0, 0.0))
        with user:
            (hard,) = ElementFilter(kind=HardFeatures)
        await seen(lambda: hard.props["features"])
        assert {one["verdict"] for one in hard.props["features"]} >= {"support", "tune", "fine"}

    simulated(test, tmp_path)


def test_a_slider_that_moves_on_while_a_pose_is_made_leaves_the_process_alone(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None and desk.busy == "")
        quick = desk.visitor.quick
        child = quick.process_id
        with user:
            # The lane is at work, so that the pose which the first move asks for has to wait.
            other = asyncio.ensure_future(quick.do("evaluate", toml="[process]\nlayer_height_mm = 0.15\n"))
            weigh(desk, "first_layer", 5.0)
            await asyncio.sleep(REST_S + 0.1)
            weigh(desk, "first_layer", 0.0)
            await asyncio.sleep(REST_S + 0.1)
            weigh(desk, "support", 4.0)
        await other
        await seen(lambda: desk.judged.toml == toml_of(desk.history.now))
        assert quick.process_id == child
        assert desk.trouble == ""

    simulated(test, tmp_path)


def test_a_job_that_is_mended_while_the_bad_one_waits_is_ranked(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None and desk.busy == "")
        with user:
            other = asyncio.ensure_future(desk.visitor.quick.do("evaluate", toml="[job]\nquantity = 3\n"))
            await asyncio.sleep(0.01)
            for width in (60.0, 0.5):
                edit(desk, with_value(desk.history.now, "process.line_width_mm", width), "the line")
                await asyncio.sleep(0.05)
        await other
        await seen(lambda: desk.judged.toml == toml_of(desk.history.now))
        assert desk.trouble == ""

    simulated(test, tmp_path)


def test_the_unit_that_was_answered_is_in_the_brief_and_that_of_an_opened_one_is_used(tmp_path):
    small = tmp_path / "small.stl"
    trimesh.creation.box([2.5, 1.5, 1.0]).export(small)

    async def test(user, desk):
        await seen(lambda: desk.brought is not None and desk.brought.doubt is not None)
        with user:
            await bring_part(desk, small, "small", units="in")
        await seen(lambda: desk.judged is not None)
        assert tomllib.loads(desk.saved) == {"part": {"units": "in"}}
        # The shell's own reader finds the part as large as it lies here.
        theirs = read_part(small, brief_of(desk.saved).part.units)
        np.testing.assert_allclose(theirs.extents_mm, desk.brought.extents_mm)
        with user:
            await open_brief(desk, b'[part]\nfile = "other.stl"\nunits = "cm"\n[job]\nquantity = 2\n')
        np.testing.assert_allclose(desk.brought.extents_mm, [25.0, 15.0, 10.0])
        assert tomllib.loads(desk.saved) == {"part": {"units": "cm"}, "job": {"quantity": 2}}
        await seen(lambda: desk.judged is not None and desk.judged.toml == desk.toml)

    simulated(test, tmp_path, small)


def test_forces_and_fixings_are_listed_and_removed_one_by_one(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        data, *_ = data_from(BRACKET.with_suffix(".toml").read_bytes())
        with user:
            edit(desk, data, "the brief")
        await user.should_see("held: hole near −27, 0, 3")
        await user.should_see("120 N along 0, 0, −1: face near 12.5, 0, 40")
        await user.should_see("should bear no support: face near 12.5, 0, 40")
        with user:
            removes = [one for one in ElementFilter(kind=ui.button) if one.text == "Remove"]
        assert len(removes) == 5  # an axis, two bolts, a force, a face
        with user:
            edit(desk, without(desk.history.now, ("load", "case", 0, "fixed", 0)), "a fixing", again=False)
        await user.should_not_see("held: hole near −27, 0, 3")
        await seen(lambda: not background_tasks.running_tasks or desk.busy == "")

    simulated(test, tmp_path)


_LOADED = """
[[load.case]]
name = "press"
fixed = ["face-near:0,19,3"]
gravity = [0, 0, -1]
[[load.case.pressure]]
on = "face-near:12.5,0,40"
mpa = 0.2
[[load.case.moment]]
on = "hole-near:27,0,3"
newton_mm = 500
"""


def test_a_fill_is_typed_in_percent_and_kept_as_a_share(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            fill = next(one for one in ElementFilter(kind=ui.number) if one.props["label"] == "Fill, %")
            fill.set_value(35)
            assert desk.history.now["process"]["infill"] == 0.35
            fill.set_value(140)
            assert desk.history.now["process"]["infill"] == 1.0
            fill.set_value(None)
            assert "process" not in desk.history.now
            edit(desk, with_value(desk.history.now, "process.infill", 0.15), "the fill")
            assert fill.value == 15
        await seen(lambda: not background_tasks.running_tasks or desk.busy == "")

    simulated(test, tmp_path)


def test_another_load_case_is_held_as_the_one_before_and_takes_what_is_added(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        data, *_ = data_from(BRACKET.with_suffix(".toml").read_bytes())
        with user:
            edit(desk, data, "the brief")
        before = desk.history.now["load"]["case"]
        user.find("Add another load case").click()
        held = list(before[0]["fixed"])
        assert desk.history.now["load"]["case"] == [*before, {"name": "case 2", "fixed": held}]
        user.find(kind=ui.checkbox, content="acts both ways").click()
        assert desk.history.now["load"]["case"][1]["both_ways"] is True
        user.find("gust, both ways").click()  # the first is added to again
        await user.should_see("case 2, both ways")
        assert desk.case == 0
        for _ in range(2):
            user.find("Undo").click()
        assert desk.history.now["load"]["case"] == before
        await seen(lambda: desk.busy == "")

    simulated(test, tmp_path)


def test_what_a_pose_must_keep_leaves_poses_out_and_is_held_against_stress_once_there_is_one(tmp_path):
    path, job = beam(tmp_path, 5.0)
    limits = {"max_height_mm": 7.0, "max_deflection_mm": 1000.0, "min_safety_factor": 0.01}

    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        assert desk.judged.ranking.excluded == ()
        with user:
            edit(desk, job | {"limits": limits}, "the brief")
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        # A bar of 6 by 6 by 24 mm lies lower than 7 mm, and stands higher.
        assert desk.judged.ranking.columns["height_mm"].max() <= 7.0
        out = len(desk.judged.ranking.excluded)
        assert out > 100
        await user.should_see(f"{out:,} of them are left out by the machine or by what a pose must keep")
        user.find("Height, mm, at most").clear().type("5")
        await seen(lambda: desk.trouble != "" and desk.busy == "")
        await user.should_see("the nearest one would pass with the greatest height from 5 to 6.")
        with user:
            undo(desk)
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        with user:
            await find_stress(desk)
        assert desk.loaded
        with user:
            edit(desk, with_value(desk.history.now, "limits.min_safety_factor", 1e6), "the least factor")
        await seen(lambda: desk.trouble != "" and desk.busy == "")
        await user.should_see("would pass with the least safety factor from 1,000,000 to")
        with user:
            undo(desk)
        await user.should_see("What is stronger than that still scores better.")
        user.find("Strong enough is enough").click()
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        assert desk.history.now["weights"] == {"load": 0.0}
        assert desk.loaded
        await user.should_see("Strong enough is enough: strength is not weighed besides.")
        user.find("Weigh strength again").click()
        await user.should_see("What is stronger than that still scores better.")

    simulated(test, tmp_path, path)


def test_pressures_moments_and_weight_of_an_opened_brief_are_told_and_removed(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            edit(desk, data_from(_LOADED.encode())[0], "the brief")
        await user.should_see("0.2 MPa into it: face near 12.5, 0, 40")
        await user.should_see("moment of 500 N·mm: hole near 27, 0, 3")
        await user.should_see("its own weight, down along 0, 0, −1")
        with user:
            (remove,) = (
                one
                for one in ElementFilter(kind=ui.button)
                if one.props.get("aria-label") == "Remove its own weight, down along 0, 0, −1"
            )
        for listener in list(remove._event_listeners.values()):
            if listener.type == "click":
                remove._handle_event({"listener_id": listener.id, "args": {}})
        await seen(lambda: "gravity" not in desk.history.now["load"]["case"][0])
        await seen(lambda: desk.busy == "")

    simulated(test, tmp_path)


def test_what_goes_wrong_in_work_that_nobody_waits_for_is_told_in_the_page(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            edit(desk, with_value(desk.history.now, "process.polymer", "unobtainium"), "the polymer")
        await seen(lambda: any("unobtainium" in said for said in user.notify.messages))

        async def fault():
            raise ZeroDivisionError("by nothing")

        desk.start(fault())
        await seen(lambda: any("by a fault of this program (by nothing)" in s for s in user.notify.messages))
        user.find("Undo").click()
        await seen(lambda: desk.judged.toml == toml_of(desk.history.now) and desk.busy == "")

    simulated(test, tmp_path)


@pytest.mark.slow
def test_page_test_prints_and_package_take_a_pose_of_the_hand(held, judged):
    asked = {"toml": judged.toml, "forces": False, "direction": (0.36, -0.48, 0.8)}
    prints = JOBS["trial_prints"](held, quiet, **asked, minutes=10.0)
    assert "test prints" in prints.said
    packed = zipfile.ZipFile(io.BytesIO(JOBS["package"](held, quiet, **asked, minutes=10.0).body))
    manifest = json.loads(packed.read("bracket/manifest.json"))
    np.testing.assert_allclose(manifest["build_direction"], asked["direction"], atol=1e-9)
    for one in manifest["files"]:
        assert hashlib.sha256(packed.read(f"bracket/{one['path']}")).hexdigest() == one["sha256"]


def test_all_parts_that_are_wanted_are_laid_on_beds_of_the_machine(held, judged):
    asked = {"forces": False, "direction": tuple(judged.ranking.directions[0])}

    def laid(count):
        toml = f'[process]\nmachine = "entry"\n[load]\nstress_axis = [1, 0, 0]\n[job]\nquantity = {count}\n'
        return JOBS["beds"](held, quiet, toml=toml, **asked)

    def parts_in(body):
        return len(trimesh.load(io.BytesIO(body), file_type="3mf").graph.nodes_geometry)

    one = laid(4)
    assert one.said.startswith("4 parts on one bed of 220 × 220 mm: ")
    # trimesh, a general reference library, counts them.
    assert parts_in(one.body) == 4
    many = laid(30)
    packed = zipfile.ZipFile(io.BytesIO(many.body))
    runs = [int(name.split("-run-")[1].split("-")[0]) for name in packed.namelist()]
    counts = [parts_in(packed.read(name)) for name in packed.namelist()]
    assert sum(run * count for run, count in zip(runs, counts, strict=True)) == 30
    assert many.said.startswith("30 parts on ")


def beam(tmp_path, newtons):
    """A bar in a file, and a job that holds it at one end and pulls at the other."""
    path = tmp_path / "bar.stl"
    trimesh.creation.box(bounds=[[0, 0, 0], [24, 6, 6]]).export(path)
    case = {
        "fixed": ["face-near:0,3,3"],
        "force": [{"on": "face-near:24,3,3", "newtons": [0.0, 0.0, -newtons]}],
    }
    return path, {"process": {"polymer": "PETG"}, "load": {"case": [case]}}


def test_what_fails_under_its_load_is_said_to_beside_the_answer_and_stays_said_when_more_are_wanted(tmp_path):
    path, job = beam(tmp_path, 400.0)

    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            edit(desk, job, "the brief")
        await user.should_see("The forces are not counted yet: find the stress")
        await seen(lambda: desk.busy == "" and not desk.stale)
        with user:
            await find_stress(desk)
        assert desk.loaded
        await user.should_see("It is expected to fail under its load, safety factor 0.")
        # The safety is of the part that hours and material are of.
        assert desk.history.now["process"]["infill"] == 0.2
        await user.should_see("Safety, hours, material and cost are of a part filled to 20 %")
        with user:
            edit(desk, with_value(desk.history.now, "job.quantity", 3), "the quantity")
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        assert desk.loaded
        with user:
            edit(desk, with_value(desk.history.now, "process.infill", 0.3), "the fill")
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        assert not desk.loaded
        # What was found for the job before is there again with it.
        with user:
            undo(desk)
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        assert desk.loaded
        # Whoever stops what goes on beside it loses the stress, and is told so; the list goes on.
        with user:
            packing = desk.start(fetch(desk, "take", "package", minutes=5.0))
            await seen(lambda: "take" in desk.beside)
            desk.visitor.long.stop()
            await packing
        await seen(lambda: not desk.loaded and desk.busy == "")
        await user.should_see("The forces are not counted yet: find the stress")
        with user:
            await show(desk, desk.cards[-1].row)
        await seen(lambda: desk.chosen + 1 in desk.poses)
        with user:
            edit(desk, with_value(desk.history.now, "process.line_width_mm", 60), "the line")
        await seen(lambda: desk.trouble and desk.busy == "")
        await user.should_see("The job as it is now cannot be ranked; this is of the job before.")

    simulated(test, tmp_path, path)


def test_a_stress_of_one_part_is_never_told_of_another(tmp_path):
    path, job = beam(tmp_path, 20.0)

    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            edit(desk, job, "the brief")
        await seen(lambda: desk.busy == "" and not desk.stale)
        with user:
            finding = desk.start(find_stress(desk))
            await seen(lambda: desk.visitor.long.busy)
            # The same job, as a revision has it.
            await bring_part(desk, BRACKET, "another")
            await finding
        assert desk.judged is not None
        assert (desk.name, desk.loaded, desk.judged.strength) == ("another", False, None)

    simulated(test, tmp_path, path)


def test_a_file_that_cannot_be_read_leaves_the_part_before_ranked(tmp_path):
    (tmp_path / "no.stl").write_text("no mesh")

    async def test(user, desk):
        await seen(lambda: desk.busy.startswith("Measuring"))
        with user, pytest.raises(OrientError):
            await bring_part(desk, tmp_path / "no.stl", "no")
        await seen(lambda: desk.judged is not None)
        assert desk.name == BRACKET.stem

    simulated(test, tmp_path)


def test_what_the_service_asks_is_ticked(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            outdoors = next(one for one in ElementFilter(kind=ui.checkbox) if one.text == "outdoors")
            outdoors.set_value(True)
            assert desk.history.now["job"] == {"outdoor": True}
            undo(desk)
            assert outdoors.value is False
            assert desk.history.now == {}
        await seen(lambda: not background_tasks.running_tasks or desk.busy == "")

    simulated(test, tmp_path)


def test_another_part_keeps_the_shops_part_of_a_job_and_not_the_load_of_the_part_before(tmp_path):
    path, job = beam(tmp_path, 20.0)

    async def test(user, desk):
        await seen(lambda: desk.judged is not None)
        with user:
            edit(desk, job, "the brief", again=False)
            broken = tmp_path / "broken.stl"
            broken.write_text("no mesh at all")
            with pytest.raises(OrientError):
                await bring_part(desk, broken, "broken", read=lambda: begin_afresh(desk))
            # What cannot be read leaves part and job as they were.
            assert desk.history.now == job
            await bring_part(desk, path, "again", read=lambda: begin_afresh(desk))
        assert desk.history.now == {"process": {"polymer": "PETG"}}
        await user.should_see("The job begins anew for this part; polymer and process are kept.")
        user.find("Take over the job of bar").click()
        assert desk.history.now == job
        await user.should_not_see("The job begins anew for this part")
        await user.should_see("Its places are those of bar: look where it is held and pushed here.")
        user.find("Undo").click()
        assert desk.history.now == {"process": {"polymer": "PETG"}}
        await user.should_see("Taken back: the job of bar.")
        # The part before is not brought back by an undo, and so neither is what was done to its job.
        assert desk.history.last is None
        user.find("Redo").click()
        assert desk.history.now == job
        assert desk.history.next is None
        with user:
            await sample(desk, BRACKET)
        assert desk.history.now["load"]["case"]
        with user:
            await bring_part(desk, path, "again", read=lambda: begin_afresh(desk))
        assert desk.history.now == {}
        assert desk.history.last is None
        await seen(lambda: desk.busy == "")

    simulated(test, tmp_path, path)


def test_a_pose_that_other_weights_brought_up_has_its_hard_features_counted_once_it_is_looked_at(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None and desk.judged.counts and desk.busy == "")
        row = next(row for row in range(len(desk.judged.ranking.directions)) if row not in desk.judged.counts)
        with user:
            desk.start(show(desk, row))

        def said():
            (card,) = [one for one in desk.cards if one.row == row]
            return {fact.name: fact.said for fact in card.facts}["hard features"]

        await seen(lambda: desk.chosen == row and said() != "…")
        found = [one["verdict"] for one in desk.poses[row + 1].features]
        for verdict in ("redesign", "support", "tune"):
            count = found.count(verdict)
            assert (f"{count} to {verdict}" in said()) == (count > 0)

    simulated(test, tmp_path)


def test_what_is_typed_anew_after_a_while_is_undone_by_itself(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("orient.desk.edits.monotonic", lambda: now[0])
    history = History()
    for fill, after in ((0.4, 0.0), (0.5, 10.0), (0.55, 0.5)):
        now[0] += after
        history.change(with_value(history.now, "process.infill", fill), "the fill", joins=True)
    assert history.undo() == "the fill"
    assert history.now["process"]["infill"] == 0.4


def test_more_than_all_of_the_inside_is_not_filled(tmp_path):
    async def test(user, desk):
        await seen(lambda: desk.judged is not None and desk.busy == "")
        user.find("Fill, %").clear().type("150")
        await user.should_see("Fill is 100 % at the most: that is taken.")
        assert desk.history.now["process"]["infill"] == 1.0
        (box,) = user.find("Fill, %").elements
        assert box.value == 100.0
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")

    simulated(test, tmp_path)


def test_what_polymer_and_machine_make_of_the_job_is_said_and_what_makes_every_pose_useless_on_top(tmp_path):
    data = {"process": {"polymer": "PLA"}, "load": {"service_temp_c": 90.0}, "job": {"outdoor": True}}

    async def test(user, desk):
        await seen(lambda: desk.judged is not None and desk.busy == "")
        # Nobody named a machine: whose hours they are is said, and nothing is asked of the polymer.
        await user.should_see("Hours and beds are for the entry class: no machine is named.")
        with user:
            edit(desk, data, "the brief")
        await seen(lambda: desk.judged.toml == desk.toml and desk.busy == "")
        verdicts = [verdict for verdict, _ in desk.judged.suits]
        assert {"no", "care", "fine"} >= set(verdicts)
        assert "no" in verdicts
        with user:
            told = [
                one.text for one in ElementFilter(kind=ui.label) if one.text.startswith("Heat: service at 90")
            ]
        # Beside the answer, under the job, and in what to take care of in two rooms.
        assert len(told) == 4
        assert all("PLA softens at" in one for one in told)

    simulated(test, tmp_path)


@pytest.mark.parametrize("kind", ["tension", "compression", "bending"])
def test_a_part_that_is_pulled_has_the_arrows_of_its_axis_away_from_it(kind, held):
    scene = json.loads(JOBS["bring"](Held(), quiet, path=str(BRACKET), name="bracket").scene)
    low, high = held.at_hand.part.bounds
    for arrow in _axis_arrows(scene, (1.0, 0.0, 0.0), pulled=kind == "tension"):
        tail = np.array(arrow["at"])
        tip = tail + arrow["length"] * np.array(arrow["along"])
        middle = 0.5 * (low + high)
        away = np.linalg.norm(tip - middle) > np.linalg.norm(tail - middle)
        assert away == (kind == "tension")

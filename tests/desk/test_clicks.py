"""Faces, holes and points that a hand takes on the part, in a real browser."""

import re

import numpy as np
import trimesh
from manifold3d import Manifold

from orient.desk.edits import brief_of
from tests.desk.desks import until
from tests.desk.pages import (
    BRACKET,
    brief,
    bring,
    first,
    point_axis,
    ranked_anew,
    spot,
    surface_at,
    undo,
    viewer,
)


def test_a_click_on_the_canvas_names_the_stress_axis_and_undo_takes_it_back(laid, tmp_path):
    before = laid.locator(".pose-list").text_content()
    # trimesh, a general reference library, says what lies under the click.
    normal = point_axis(laid)
    ranked_anew(laid, before)
    axis = brief_of(brief(laid, tmp_path)).load.stress_axis
    np.testing.assert_allclose(axis, [normal], atol=1e-6)
    assert "strength kept" in first(laid)
    undo(laid)
    until(lambda: laid.locator(".pose-list").text_content() == before, 60)
    assert brief_of(brief(laid, tmp_path)).load.stress_axis is None


def test_what_a_click_selects_is_shown_before_it_is_taken(laid):
    laid.get_by_role("button", name="Held at").click()
    x, y = spot(laid)
    laid.mouse.move(x, y)
    laid.wait_for_selector(".pointed:not([hidden])")
    assert re.match(r"flat face, [\d,]+ mm²", laid.text_content(".pointed"))
    laid.mouse.click(x, y)
    laid.wait_for_selector(".banner >> text=selects the flat face of")
    laid.get_by_role("button", name="Cancel").click()
    laid.wait_for_selector(".banner .note", state="hidden")
    assert not laid.locator("text=held: face-near").count()


def test_one_place_after_another_is_held_until_the_hand_is_done(laid):
    laid.get_by_role("button", name="corner").click()
    laid.get_by_role("button", name="Held at").click()
    held = laid.locator(".entry", has_text="held: ")
    for count, (across, down) in enumerate(((0.5, 0.62), (0.66, 0.45)), start=1):
        laid.wait_for_selector(".banner >> text=Click each face or hole that holds the part.")
        x, y = rest(laid, across, down)
        laid.mouse.click(x, y)
        laid.get_by_role("button", name="Take it").click()
        until(lambda count=count: held.count() == count, 60)
        # What is held stays green on the part while the next click is waited for.
        until(lambda: "held" in laid.locator(".middle .key").text_content(), 60)
    laid.mouse.click(*rest(laid, 0.66, 0.45))
    laid.wait_for_selector("text=It is held there already")
    assert held.count() == 2
    laid.get_by_role("button", name="Done").click()
    laid.wait_for_selector(".banner .note", state="hidden")
    undo(laid)
    undo(laid)
    until(lambda: held.count() == 0, 60)


def test_a_hole_is_taken_by_a_click_into_its_open_mouth(laid):
    laid.get_by_role("button", name="Held at").click()
    laid.wait_for_selector(".viewer.picking")
    # The middle of every hole as the camera projects it, in the window.
    places = viewer(
        laid,
        "document.querySelector('.middle .scene').scene.holes.list.map(hole => {"
        "const box = viewer.canvas.getBoundingClientRect();"
        "const at = viewer.camera.position.clone().fromArray(hole.at).applyMatrix4(viewer.laid.matrix)"
        ".project(viewer.camera);"
        "return [hole.id, box.left + (at.x + 1) / 2 * box.width, box.top + (1 - at.y) / 2 * box.height]; })",
    )
    mesh = trimesh.load(BRACKET)
    taken = []
    for name, x, y in places:
        ray = viewer(laid, f"viewer.ray({x}, {y})")
        if not len(mesh.ray.intersects_location([ray["origin"]], [ray["direction"]])[0]):
            # Nothing of the part lies there: a click between the walls.
            laid.mouse.move(x, y)
            until(lambda name=name: pointed(laid).startswith(f"hole {name},"), 60)
            laid.mouse.click(x, y)
            laid.wait_for_selector(f".banner >> text=selects the wall of hole {name}")
            taken.append(name)
    assert taken
    laid.get_by_role("button", name="Cancel").click()
    laid.wait_for_selector(".banner .note", state="hidden")


def test_the_bottom_of_a_pocket_can_be_pointed_at_through_its_mouth(fresh, tmp_path):
    pocket = Manifold.cube((40, 40, 12)) - Manifold.cylinder(10, 8, -1, 48).translate((20, 20, 5))
    mesh = pocket.to_mesh()
    trimesh.Trimesh(mesh.vert_properties, mesh.tri_verts).export(tmp_path / "pocket.stl")
    bring(fresh, tmp_path / "pocket.stl")
    fresh.get_by_role("button", name="above").click()
    fresh.get_by_role("button", name="Held at").click()
    fresh.wait_for_selector(".viewer.picking")
    spot = "viewer.camera.position.clone().set(20, 20, 5)"
    seen = f"{spot}.applyMatrix4(viewer.laid.matrix).project(viewer.camera)"
    across, down = viewer(fresh, f"[({seen}.x + 1) / 2, (1 - {seen}.y) / 2]")
    rest(fresh, across, down)
    # Area of a regular 48-gon, ½·n·r²·sin(2π/n).
    area = 24 * 64 * np.sin(np.pi / 24)
    until(lambda: pointed(fresh) == f"flat face, {area:.0f} mm²", 60)


def rest(page, across, down):
    """Bring the pointer to a place and leave it there, as a hand does that is done."""
    x, y = spot(page, across, down)
    page.mouse.move(x, y)
    return x, y


def pointed(page):
    return page.text_content(".pointed") if page.is_visible(".pointed") else ""


def test_a_pointer_that_ran_and_rests_is_told_what_it_rests_on(laid):
    laid.get_by_role("button", name="corner").click()
    laid.get_by_role("button", name="Held at").click()
    laid.wait_for_selector(".viewer.picking")
    rest(laid, 0.5, 0.62)
    until(lambda: pointed(laid), 60)
    before = pointed(laid)
    # Faster than any pointer: three places within one turn of the page, the last beside the part and back.
    there, off = spot(laid, 0.66, 0.45), spot(laid, 0.02, 0.98)
    laid.evaluate(
        "places => { const host = document.querySelector('.middle .viewer');"
        "for (const [x, y] of places) host.dispatchEvent("
        "new PointerEvent('pointermove', { clientX: x, clientY: y, bubbles: true })); }",
        [off, off, there],
    )
    until(lambda: pointed(laid) not in ("", before), 60)
    laid.get_by_role("button", name="Cancel").click()
    laid.wait_for_selector(".banner .note", state="hidden")


def test_a_pointer_that_rests_already_is_told_once_a_face_is_asked_for(laid):
    laid.get_by_role("button", name="Held at").focus()
    rest(laid, 0.5, 0.62)
    laid.keyboard.press("Enter")
    until(lambda: re.match(r"flat face, [\d,]+ mm²", pointed(laid)), 60)
    laid.get_by_role("button", name="Cancel").click()
    laid.wait_for_selector(".banner .note", state="hidden")


def test_the_keyboard_alone_takes_a_face_and_turns_the_part(laid):
    laid.get_by_role("button", name="corner").click()
    laid.get_by_role("button", name="Held at").focus()
    laid.keyboard.press("Enter")
    laid.wait_for_selector(".viewer.picking")
    laid.locator(".middle .viewer").focus()
    laid.keyboard.press("Enter")
    laid.wait_for_selector(".banner >> text=selects the")
    laid.get_by_role("button", name="Take it").focus()
    laid.keyboard.press("Enter")
    laid.wait_for_selector(".entry >> text=held: ")
    laid.get_by_role("button", name="Done").click()
    undo(laid)
    laid.wait_for_selector(".entry >> text=held: ", state="detached")
    laid.get_by_text("Turn the part by hand").click()
    laid.wait_for_selector(".viewer.handling")
    laid.locator(".middle .viewer").focus()
    for _ in range(3):
        laid.keyboard.press("ArrowUp")
    laid.wait_for_selector(".by-hand >> text=Turned by hand")
    laid.get_by_text("Turn the part by hand").click()
    laid.locator(".pose-list li.taken .pose").click()
    laid.wait_for_selector(".by-hand", state="hidden")


def test_two_points_name_the_stress_axis_from_one_to_the_other(laid, tmp_path):
    laid.get_by_role("button", name="corner").click()
    laid.get_by_role("button", name="Two points").click()
    laid.wait_for_selector(".viewer.picking")
    spots = [spot(laid, 0.45, 0.6), spot(laid, 0.5, 0.7)]
    (a, _), (b, _) = [surface_at(laid, *one) for one in spots]
    laid.mouse.click(*spots[0])
    laid.wait_for_selector(".banner >> text=Now click where it points to")
    laid.mouse.click(*spots[1])
    laid.wait_for_selector(".entry >> text=along ")
    axis = np.array(brief_of(brief(laid, tmp_path)).load.stress_axis[0])
    assert np.linalg.norm(b - a) > 1.0
    np.testing.assert_allclose(axis, (b - a) / np.linalg.norm(b - a), atol=1e-3)
    undo(laid)
    laid.wait_for_selector(".entry >> text=along ", state="detached")


def test_a_push_is_asked_for_in_newtons_and_goes_into_the_face_that_was_clicked(laid, tmp_path):
    laid.get_by_role("button", name="corner").click()
    laid.get_by_role("button", name="Pushed at").click()
    laid.wait_for_selector(".viewer.picking")
    x, y = spot(laid)
    _, normal = surface_at(laid, x, y)
    laid.mouse.click(x, y)
    laid.get_by_role("button", name="Take it").click()
    add = laid.get_by_role("button", name="Add the force")
    add.click()
    laid.locator(".q-notification", has_text="Say how many newtons").wait_for()
    laid.get_by_label("newtons").fill("120")
    add.click()
    laid.wait_for_selector(".entry >> text=120 N along")
    laid.wait_for_selector(".viewer-labels >> text=120 N")
    [case] = brief_of(brief(laid, tmp_path)).load.case
    np.testing.assert_allclose(case.force[0].newtons, -120.0 * normal, atol=1e-3)
    undo(laid)
    laid.wait_for_selector(".entry >> text=120 N along", state="detached")


# As a hand does that drags a file over the window and lets go beside the places for it.
LET_GO = """([at, name, text]) => {
  const data = new DataTransfer();
  data.items.add(new File([text], name));
  const told = { dataTransfer: data, bubbles: true, cancelable: true };
  const place = document.querySelector(at), over = new DragEvent("dragover", told);
  place.dispatchEvent(over);
  const lit = document.body.classList.contains("dropping");
  const drop = new DragEvent("drop", told);
  place.dispatchEvent(drop);
  return [over.defaultPrevented, lit, drop.defaultPrevented];
}"""


def test_a_file_that_is_let_go_over_the_part_or_beside_it_is_brought(fresh, tmp_path):
    bring(fresh, BRACKET)
    trimesh.creation.box([30, 20, 10]).export(tmp_path / "block.obj")
    block = (tmp_path / "block.obj").read_text()
    assert fresh.evaluate(LET_GO, [".middle .viewer canvas", "block.obj", block]) == [True, True, True]
    until(lambda: fresh.text_content(".desk-head .part") == "block", 60)
    fresh.wait_for_selector(".pose-list li.taken")
    assert fresh.evaluate(LET_GO, [".desk-head", "brief.toml", "[job]\nquantity = 7\n"]) == [True, True, True]
    until(lambda: fresh.get_by_label("Parts wanted").input_value() == "7", 60)
    fresh.evaluate(LET_GO, [".found-side", "notes.txt", "words"])
    fresh.wait_for_selector(".q-notification >> text=That is no mesh that is read here")
    assert fresh.text_content(".desk-head .part") == "block"


def test_one_press_of_the_keys_takes_one_change_back_whatever_has_the_focus(fresh):
    bring(fresh, BRACKET)
    fill, wanted = fresh.get_by_label("Fill, %"), fresh.get_by_label("Parts wanted")
    for box, value in ((fill, "55"), (wanted, "12")):
        box.fill(value)
        fresh.wait_for_timeout(700)
    ticked = fresh.get_by_role("checkbox", name="wet")
    ticked.click()
    until(lambda: ticked.get_attribute("aria-checked") == "true", 20)
    # With the focus in a box, where a browser would take single figures back.
    wanted.click()
    for expected in ((False, "12", "55"), (False, "", "55"), (False, "", "")):
        fresh.keyboard.press("Control+z")
        until(
            lambda expected=expected: (
                (ticked.get_attribute("aria-checked") == "true", wanted.input_value(), fill.input_value())
                == expected
            ),
            20,
        )
    for expected in (("", "55"), ("12", "55")):
        fresh.keyboard.press("Control+Shift+z")
        until(lambda expected=expected: (wanted.input_value(), fill.input_value()) == expected, 20)
    # What was typed this moment is a change too.
    fill.fill("70")
    fresh.keyboard.press("Control+z")
    fresh.wait_for_timeout(1200)
    until(lambda: fill.input_value() == "55", 20)
    assert wanted.input_value() == "12"


def test_escape_calls_off_what_was_to_be_clicked(laid):
    laid.get_by_role("button", name="Held at").click()
    laid.wait_for_selector(".viewer.picking")
    laid.keyboard.press("Escape")
    laid.wait_for_selector(".viewer:not(.picking)")

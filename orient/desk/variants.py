"""A redesign held against the part on the desk."""

from __future__ import annotations

import re
from functools import partial
from pathlib import Path

from nicegui import ui
from nicegui.events import UploadEventArguments

from orient.desk.answers import Compared
from orient.desk.arrival import receive
from orient.desk.beside import progress_row
from orient.desk.bring import uploader
from orient.desk.going import do_beside
from orient.desk.part import bring_part
from orient.desk.scene import PartScene
from orient.desk.state import Desk
from orient.desk.work import Stopped

# How the two lie on the bed, by the numbers that the scenes know.
_LYING = {1: "as the first lies best", 2: "each as it lies best", 3: "as both lie well"}
_PLACES = ("corner", "under", "front", "back", "left", "right", "above")


def build(desk: Desk) -> None:
    """A second mesh in, the verdict out."""
    ui.label(
        "Bring a revision of this part: what went away, what is new, and which of the two to build, under "
        "the same job."
    ).classes("small")

    async def arrived(event: UploadEventArguments) -> None:
        if desk.brought is None:
            ui.notify("Bring the first part first.")
            return
        arrival = await receive(event.file, desk.visitor.folder)
        desk.revision = arrival.path, Path(arrival.name).stem or arrival.name
        await _compare(desk)

    uploader("Drop the revision, or click", arrived)
    progress_row(desk, "variant")
    with ui.element("div").classes("note stale") as stale:
        ui.label("The job has changed since: what stands here is for the job before.")
        ui.button("Compare again", on_click=lambda: _compare(desk)).props("outline dense no-caps")
    found = ui.element("div").classes("compared")

    def compared() -> None:
        found.clear()
        if desk.compared is not None:
            with found:
                _show(desk, desk.compared)

    def job() -> None:
        running = "variant" in desk.beside
        stale.set_visibility(desk.compared is not None and not running and desk.compared_under != desk.toml)

    desk.when("compared", compared)
    for event in ("compared", "brief", "weighed", "beside"):
        desk.when(event, job)


async def _compare(desk: Desk) -> None:
    """Hold the revision against the part under the job as it is now."""
    assert desk.revision is not None
    path, name = desk.revision
    part = desk.brought
    desk.compared, desk.compared_under = None, desk.toml
    desk.tell("compared")
    try:
        compared: Compared = await do_beside(
            desk,
            "variant",
            desk.visitor.long,
            "variant",
            f"Reading {name}",
            toml=desk.compared_under,
            path=str(path),
            name=name,
        )
    except Stopped:
        return
    if desk.brought is part:
        desk.compared = compared
        desk.tell("compared")


def _show(desk: Desk, answer: Compared) -> None:
    first, second = answer.names
    ui.label(answer.build).classes("build")
    ui.label(answer.verdict).classes("judgement")
    for said in answer.service:
        ui.label(said).classes("small")
    ui.label(f"Each in its own best pose: {answer.lying}").classes("small")
    _side_by_side(desk, answer)
    if answer.changes:
        with ui.element("ul").classes("points"):
            for said in answer.changes:
                with ui.element("li"):
                    ui.label(said)
    with ui.element("div").classes("wide"), ui.element("table"):
        with ui.element("thead"), ui.element("tr"):
            for name in ("", first, second, "change", ""):
                with ui.element("th"):
                    ui.label(_breakable(name))
        with ui.element("tbody"):
            for row in answer.rows:
                with ui.element("tr"):
                    for key in ("title", "first", "second", "change", "word"):
                        with ui.element("td"):
                            ui.label(row[key])
    with ui.element("div").classes("abreast"):
        ui.button(
            "Take the comparison as a page",
            on_click=lambda: ui.download.content(answer.page, "comparison.html", "text/html"),
        ).props("outline no-caps")
        ui.button("Go on with the revision", on_click=lambda: _go_on(desk)).props("outline no-caps").tooltip(
            "It becomes the part on the desk, under the same job"
        )


def _breakable(name: str) -> str:
    """A name that may be broken where its words meet."""
    return re.sub(r"([_-])", "\\1\u200b", name)


async def _go_on(desk: Desk) -> None:
    """Make the revision the part on the desk; the job stays."""
    assert desk.revision is not None
    path, name = desk.revision
    assert desk.brought is not None
    await bring_part(desk, path, name, units=desk.brought.units)


def _side_by_side(desk: Desk, answer: Compared) -> None:
    """Both parts, turned together, what changed on them coloured."""
    scenes: list[PartScene] = []
    with ui.element("div").classes("sides"):
        for name, data, what in zip(answer.names, answer.scenes, ("removed", "added"), strict=True):
            with ui.element("figure"):
                scene = PartScene(desk.visitor.shelf, quiet=True)
                scene.on_ready(partial(scene.open, data))
                scenes.append(scene)
                with ui.element("figcaption"):
                    ui.label(f"{name}, with what was {what}")
    # Both are there once the second is.
    scenes[1].on_ready(lambda: scenes[0].follow(scenes[1]))
    ui.label("They turn together. Orange and lined: removed. Blue and dotted: added.").classes("small")
    with ui.element("div").classes("abreast"):
        lying = ui.select(_LYING, value=1, label="Draw them").props("dense outlined").classes("lying")
        seen = ui.select(list(_PLACES), value="corner", label="Seen from").props("dense outlined")

    def lie() -> None:
        for scene in scenes:
            scene.show(int(lying.value), "pair1")

    lying.on_value_change(lie)
    seen.on_value_change(lambda: scenes[0].see(str(seen.value)))

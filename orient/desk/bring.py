"""Bringing a part: a mesh dropped or chosen, a sample, its unit and its body where they are in doubt."""

from __future__ import annotations

import html
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any

from nicegui import ui
from nicegui.element import Element
from nicegui.events import UploadEventArguments

from orient.desk.arrival import receive
from orient.desk.change import redo, undo
from orient.desk.edits import data_from, of_the_shop
from orient.desk.entry import as_fields
from orient.desk.part import bring_part
from orient.desk.pick import want
from orient.desk.state import Desk
from orient.part.units import unit_word

# Beside this file where the program is installed, at the top of its own folder where it is worked on.
_INSTALLED = Path(__file__).with_name("samples")
SAMPLES = _INSTALLED if _INSTALLED.is_dir() else Path(__file__).resolve().parents[2] / "sample_parts"
# A question with more answers than this is none.
_MOST_BODIES = 30
_ACCEPT = ".stl,.obj,.ply,.off,.3mf,.glb,.step,.stp"


def welcome(desk: Desk) -> None:
    """What stands in the middle before there is a part."""
    ui.html("<h1>Which way up?</h1>", sanitize=False)
    ui.label(
        "Bring a part: its poses are ranked by support, height, strength across the layers and finish, and "
        "what will be hard to print is pointed out. Nothing leaves this machine."
    ).classes("lead")
    drop(desk, "Drop a mesh here, or click to choose one")
    ui.label("STL, OBJ, PLY, OFF, 3MF, GLB or STEP.").classes("small")
    told = ui.label().classes("note").props('aria-live="polite"')
    if SAMPLES.is_dir():
        ui.html("<h2>Or try a sample</h2>", sanitize=False)
        with ui.element("div").classes("samples"):
            for path in sorted(SAMPLES.glob("*.stl")):
                ui.button(path.stem.replace("_", " "), on_click=lambda path=path: sample(desk, path)).props(
                    "outline no-caps"
                )

    def busy() -> None:
        told.set_visibility(bool(desk.busy))
        told.set_text(f"{desk.busy} …")

    desk.when("busy", busy)


def drop(desk: Desk, words: str) -> None:
    """A place to drop a mesh on."""

    async def arrived(event: UploadEventArguments) -> None:
        desk.say(f"Receiving {event.file.name}")
        try:
            arrival = await receive(event.file, desk.visitor.folder)
        finally:
            desk.say("")
        name = Path(arrival.name).stem or arrival.name
        await bring_part(desk, arrival.path, name, read=partial(begin_afresh, desk))

    uploader(words, arrived)


class Anywhere(Element, component="anywhere.js"):
    """What is dropped beside the places for it, a mesh as another part, a ``.toml`` as the job; and keys."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.on("several", lambda: ui.notify("Several files were dropped: the first is taken."), args=[])
        self.on("undo", lambda: undo(desk), args=[])
        self.on("redo", lambda: redo(desk), args=[])
        self.on("leave", lambda: want(desk, None) if desk.wanted is not None else None, args=[])


def begin_afresh(desk: Desk) -> None:
    """Leave the job of the part before behind, but for what is the shop's; a sample's job wholly."""
    if desk.brought is None:
        return
    before = desk.history.now
    kept = {} if before == desk.sample_job else of_the_shop(before)
    # An undo would bring the job back, but not the part that it is of.
    desk.history.begin(kept)
    if kept != before:
        desk.left = desk.name, before
        desk.tell("brief")


def uploader(words: str, arrived: Callable[[UploadEventArguments], Awaitable[None]]) -> ui.upload:
    """A place that takes one mesh, dropped or chosen; it says so when it does not.

    Parameters
    ----------
    words : str
        What is written on it.
    arrived : callable
        Called with the file.
    """

    async def took(event: UploadEventArguments) -> None:
        upload.reset()
        await arrived(event)

    upload = ui.upload(label=words, on_upload=took, auto_upload=True).props(f'accept="{_ACCEPT}" flat')
    upload.on_rejected(
        lambda: ui.notify("That is no mesh that is read here: take STL, OBJ, PLY, OFF, 3MF, GLB or STEP.")
    )
    upload.on(
        "failed",
        lambda: ui.notify(
            "The file did not arrive: it is larger than the desk takes, or the desk was closed."
        ),
        args=[],
    )
    # Its words are the button, for whoever comes by the keyboard or listens; the widget's own has no name.
    opener = 'type="button" class="choose" @click.stop="props.pickFiles($event)"'
    said = f"<button {opener}>{html.escape(words)}<q-uploader-add-trigger /></button>"
    upload.add_slot("header", f'<div class="q-uploader__header-content">{said}</div>')
    # All of it opens the choice of files, not the small plus alone.
    pick = f"getElement({upload.id}).$refs.qRef.pickFiles()"
    choose = f"event => {{ if (!event.target.closest('a, button, input')) {pick}; }}"
    upload.on("click", js_handler=choose)
    return upload.classes("drop")


async def sample(desk: Desk, path: Path) -> None:
    """Bring a sample part with its own brief."""
    brief = path.with_suffix(".toml")
    data, part, _ = data_from(brief.read_bytes() if brief.is_file() else b"")

    def its_job() -> None:
        before, name = desk.history.now, desk.name
        if desk.brought is not None and before not in ({}, desk.sample_job):
            desk.left = name, before
        desk.history.begin(data)
        desk.sample_job = data
        desk.tell("brief")

    await bring_part(desk, path, path.stem, read=its_job, **part)


def build(desk: Desk) -> None:
    """The part as it was read: size, health, unit, body."""
    with ui.element("section").classes("card-room"):
        ui.html("<h2>Part</h2>", sanitize=False)
        about = ui.element("div")
        again = ui.element("div")
        with again, ui.expansion("Bring another part").classes("another") as other:
            drop(desk, "Drop a mesh, or click")
            if SAMPLES.is_dir():
                with ui.element("div").classes("samples small-samples"):
                    for path in sorted(SAMPLES.glob("*.stl")):
                        ui.button(
                            path.stem.replace("_", " "), on_click=lambda path=path: sample(desk, path)
                        ).props("flat dense no-caps")

    def part() -> None:
        again.set_visibility(desk.brought is not None)
        other.close()
        about.clear()
        with about:
            _about(desk)

    desk.when("part", part)


def _about(desk: Desk) -> None:
    found = desk.brought
    if found is None:
        ui.label("None yet.").classes("small")
        return
    if found.bodies:
        ui.label(f"{len(found.bodies)} bodies; which one is meant is asked beside.").classes("small")
        return
    x, y, z = found.extents_mm
    facts = [
        ("size", f"{x:.1f} × {y:.1f} × {z:.1f} mm"),
        ("volume", _volume(found.volume_mm3) if found.closed else "open mesh"),
        ("triangles", f"{found.faces:,}"),
        ("read in", found.units),
    ]
    with ui.element("dl").classes("facts"):
        for name, said in facts:
            with ui.element("div"):
                ui.html(name, sanitize=False, tag="dt")
                ui.html(said, sanitize=False, tag="dd")
    health = [as_fields(said) for said in (*found.warnings, *found.repairs)]
    if found.closed and not found.warnings:
        health.insert(0, "The mesh is sound: closed, and it looks outward.")
    room = ui.expansion("Health of the mesh", value=bool(found.warnings)).classes("health")
    with room, ui.element("ul").classes("points"):
        for said in health:
            with ui.element("li"):
                ui.label(said)


def _volume(mm3: float) -> str:
    return f"{mm3 / 1000:,.1f} cm³" if mm3 >= 1000 else f"{mm3:,.1f} mm³"


def question(desk: Desk) -> None:
    """What must be said before the poses are ranked: unit or body, where they are in doubt."""
    room = ui.element("div").classes("note question").props('aria-live="polite"')

    def part() -> None:
        found = desk.brought
        room.clear()
        asked = found is not None and bool(found.bodies or found.doubt)
        room.set_visibility(asked)
        with room:
            if found is not None and found.bodies:
                _which_body(desk)
            elif asked:
                _which_unit(desk)

    desk.when("part", part)


def _which_unit(desk: Desk) -> None:
    found = desk.brought
    assert found is not None
    doubt = found.doubt
    assert doubt is not None

    def size(sides: tuple[float, float, float]) -> str:
        return " × ".join(f"{side:.1f}" for side in sides)

    def keep(units: str) -> None:
        assert desk.file is not None
        asked = {k: v for k, v in desk.asked.items() if k != "units"}
        desk.start(bring_part(desk, desk.file, desk.name, units=units, **asked))

    ui.label(f"Which unit is the file in? Read in {unit_word(found.units)}, {doubt.reason}.")
    with ui.element("div").classes("abreast"):
        ui.button(
            f"In {unit_word(doubt.unit)}: {size(doubt.as_doubted_mm)} mm", on_click=lambda: keep(doubt.unit)
        ).props("unelevated no-caps")
        ui.button(
            f"In {unit_word(found.units)}: {size(doubt.as_read_mm)} mm", on_click=lambda: keep(found.units)
        ).props("outline no-caps")


def _which_body(desk: Desk) -> None:
    found = desk.brought
    assert found is not None

    def bring(**asked: Any) -> None:
        assert desk.file is not None
        desk.start(bring_part(desk, desk.file, desk.name, **asked))

    many = f"; the first {_MOST_BODIES} are offered" if len(found.bodies) > _MOST_BODIES else ""
    ui.label(f"The file holds {len(found.bodies)} bodies that lie apart{many}. Which one is meant?")
    with ui.element("div").classes("abreast"):
        for body in found.bodies[:_MOST_BODIES]:
            x, y, z = body.extents_mm
            ui.button(
                f"{body.number}: {x:.1f} × {y:.1f} × {z:.1f} mm",
                on_click=lambda number=body.number: bring(body=number),
            ).props("outline no-caps")
        ui.button("All together, as they are arranged", on_click=lambda: bring(together=True)).props(
            "unelevated no-caps"
        )

"""The job: polymer, machine and layer; along what the part is loaded; which faces matter."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.events import UploadEventArguments

from orient.brief import vector_from_text
from orient.cost.plan import INFILL
from orient.desk import cases, limits, suits
from orient.desk.answers import Picked, Vector
from orient.desk.change import edit
from orient.desk.edits import data_from, of_the_shop, with_added, with_value, without
from orient.desk.entry import entry, selector_words, vector_words
from orient.desk.numbers import Number, number_boxes
from orient.desk.part import bring_part
from orient.desk.pick import Wanted, axes_of, mark, want
from orient.desk.state import Desk
from orient.desk.take import save_brief
from orient.materials.machines import Machine, machine_classes
from orient.materials.polymers import polymers
from orient.process import DEFAULT_POLYMER, LAYER_OF_NOZZLE, NOZZLE_MM
from orient.ranking.figures import listing

_KINDS = {"tension": "pulled", "compression": "pressed", "bending": "bent"}
_NUMBERS = (
    Number("process.layer_height_mm", "Layer height, mm", "the layer", 0.05),
    Number("process.nozzle_mm", "Nozzle, mm", "the nozzle", 0.1, f"{NOZZLE_MM:g}"),
    Number("process.line_width_mm", "Line width, mm", "the line", 0.05, "by nozzle"),
    Number("process.infill", "Fill, %", "the fill", 5, f"{100 * INFILL:g}", percent=True),
    Number("load.service_temp_c", "In use at, °C", "how warm it gets", 5, "not said"),
    Number("job.quantity", "Parts wanted", "the quantity", 1, "1", whole=True),
)
# What of the job of the part before holds for another, as `of_the_shop` has it.
_KEPT = {
    "process": "polymer and process",
    "polymer": "figures of the polymer",
    "rates": "rates",
    "weights": "weights",
}
_MATTERS = {
    "visible": "is seen",
    "fit": "fits to another part",
    "seal": "seals",
    "no_support": "should bear no support",
}


def build(desk: Desk) -> None:
    """All of the job's settings."""
    with ui.element("section").classes("card-room"):
        with ui.element("div").classes("abreast spread"):
            ui.html("<h2>Job</h2>", sanitize=False)
            with ui.element("div").classes("abreast"):
                ui.button("Save", on_click=lambda: save_brief(desk)).props("flat dense no-caps").tooltip(
                    "Save the job as brief.toml, which the shell reads too"
                )
                _opener(desk)
        _left_behind(desk)
        _process(desk)
        cases.build(desk)
        _load(desk)
        _faces(desk)
        limits.build(desk)


def _left_behind(desk: Desk) -> None:
    """That another part begins another job, and the way back to the one before."""
    room = ui.element("div").classes("note left-behind").props('aria-live="polite"')

    def use() -> None:
        if desk.left is not None:
            name, before = desk.left
            desk.left = None
            edit(desk, before, f"the job of {name}")
            if before.get("load", {}).get("case") or before.get("faces"):
                ui.notify(f"Its places are those of {name}: look where it is held and pushed here.")

    def leave() -> None:
        desk.left = None
        desk.tell("brief")

    def brief() -> None:
        room.clear()
        # An undo has brought it back already.
        offered = desk.left is not None and desk.history.now != desk.left[1]
        room.set_visibility(offered)
        if desk.left is None or not offered:
            return
        kept = [words for section, words in _KEPT.items() if section in of_the_shop(desk.left[1])]
        rest = f"; {listing(kept)} are kept" if kept else ""
        with room:
            ui.label(f"The job begins anew for this part{rest}.")
            with ui.element("div").classes("abreast"):
                ui.button(f"Take over the job of {desk.left[0]}", on_click=use).props("outline dense no-caps")
                ui.button("Begin anew", on_click=leave).props("flat dense no-caps")

    desk.when("brief", brief)
    desk.when("part", brief)


# Process.


def _machine_words(name: str, one: Machine) -> str:
    """A machine as the list of machines tells it: shut or open, how hot, how large."""
    size = " × ".join(f"{side:g}" for side in one.envelope_mm)
    return (
        f"{name}: {'enclosed' if one.enclosed else 'open'}, nozzle to {one.nozzle_max_c[1]:g} °C, {size} mm"
    )


def _process(desk: Desk) -> None:
    names = {key: key for key in polymers()}
    classes = {"": "any that can build it"} | {
        name: _machine_words(name, one) for name, one in machine_classes().items()
    }

    filling = False

    def field(key: str, what: str) -> Callable[[Any], None]:
        def set_(event: Any) -> None:
            value = event.value
            if filling:
                return  # not a hand: the brief is shown
            if value in ("", None) and key == "process.polymer":
                return
            edit(desk, with_value(desk.history.now, key, value or None), what)

        return set_

    with ui.element("div").classes("fields"):
        polymer = ui.select(
            names, label="Polymer", with_input=True, on_change=field("process.polymer", "the polymer")
        )
        machine = ui.select(classes, label="Machine", on_change=field("process.machine", "the machine"))
        inputs = number_boxes(desk, _NUMBERS)
        for one in (polymer, machine):
            one.props("dense outlined")
    said = {
        "job.outdoor": ("outdoors", "whether it is used outdoors"),
        "job.wet": ("wet", "whether it gets wet"),
        "load.sustained": ("load stays on", "whether the load stays"),
    }
    ticks = {}
    with ui.element("div").classes("abreast ticks"):
        for key, (label, what) in said.items():
            ticks[key] = ui.checkbox(label).props("dense")
            ticks[key].on_value_change(field(key, what))

    suits.build(desk)

    def brief() -> None:
        nonlocal filling
        filling = True
        now = desk.history.now
        process = now.get("process", {})
        polymer.set_value(process.get("polymer", DEFAULT_POLYMER))
        machine.set_value(process.get("machine", "") if process.get("machine", "") in classes else "")
        nozzle = process.get("nozzle_mm", NOZZLE_MM)
        inputs["process.layer_height_mm"].props(f"placeholder={LAYER_OF_NOZZLE * nozzle:g}")
        for key, tick in ticks.items():
            section, name = key.split(".")
            tick.set_value(bool(now.get(section, {}).get(name)))
        filling = False

    desk.when("brief", brief)


def _opener(desk: Desk) -> None:
    async def arrived(event: UploadEventArguments) -> None:
        upload.reset()
        await open_brief(desk, await event.file.read())

    upload = ui.upload(on_upload=arrived, auto_upload=True, max_file_size=1_000_000).props('accept=".toml"')
    upload.classes("hidden-upload brief-file")
    upload.on_rejected(lambda: ui.notify("That is no brief: take a .toml file of no more than 1 MB."))
    ui.button("Open", on_click=lambda: upload.run_method("pickFiles")).props("flat dense no-caps").tooltip(
        "Open a brief.toml"
    )


async def open_brief(desk: Desk, toml: bytes) -> None:
    """Take over a brief; the part is read anew where another unit or another body of it is meant."""
    data, part, left_out = data_from(toml)
    desk.left = None
    for said in left_out:
        ui.notify(said, timeout=0, close_button="Close")
    otherwise = desk.file is not None and part not in ({}, desk.asked)
    edit(desk, data, "the brief that was opened", again=not otherwise)
    if otherwise and desk.file is not None:
        await bring_part(desk, desk.file, desk.name, **part)


# Load.


def _load(desk: Desk) -> None:
    ui.html("<h3>Load: only its direction</h3>", sanitize=False)
    ui.label(
        "Enough to rank the poses: along which way it is pulled, pressed or bent. Where forces are given, "
        "leave it out: they take its place once their stress is found."
    ).classes("small")
    with ui.element("div").classes("fields"):
        kind = ui.select(_KINDS, label="It is", on_change=lambda event: _set_kind(desk, event.value))
        kind.props("dense outlined")
    ui.label("Along").classes("small")
    with ui.element("div").classes("abreast"):
        ui.button("Click a face or hole", on_click=lambda: _want_axis(desk)).props("outline dense no-caps")
        ui.button("Two points", on_click=lambda: _want_points(desk)).props("outline dense no-caps")
        typed = ui.input(placeholder="x,y,z").props("dense outlined").classes("typed")
        typed.on("keydown.enter", lambda: _typed(desk, typed))
    axes = ui.element("div")

    def brief() -> None:
        load = desk.history.now.get("load", {})
        kind.set_value(load.get("kind", "tension"))
        axes.clear()
        with axes:
            for place, axis in enumerate(axes_of(desk)):
                entry(f"along {vector_words(axis)}", partial(_drop_axis, desk, place))

    desk.when("brief", brief)


def _set_kind(desk: Desk, kind: str) -> None:
    if kind != desk.history.now.get("load", {}).get("kind", "tension"):
        edit(desk, with_value(desk.history.now, "load.kind", kind), "how it is loaded")


def _drop_axis(desk: Desk, place: int) -> None:
    left = [axis for k, axis in enumerate(axes_of(desk)) if k != place]
    edit(desk, with_value(desk.history.now, "load.stress_axis", left), "the stress axis")


def _add_axis(desk: Desk, axis: Vector) -> None:
    edit(
        desk,
        with_value(desk.history.now, "load.stress_axis", [*map(list, axes_of(desk)), list(axis)]),
        "the stress axis",
    )


def _typed(desk: Desk, typed: ui.input) -> None:
    _add_axis(desk, vector_from_text(typed.value or ""))
    typed.set_value("")


def _want_axis(desk: Desk) -> None:
    def accepts(found: Picked) -> str:
        return "" if found.along else "That face has no direction: click a flat face, or the wall of a hole."

    def take(found: Picked) -> None:
        assert found.along is not None
        _add_axis(desk, found.along)

    want(desk, Wanted("Click the face or hole along which it is loaded.", "any", take, accepts))


def _want_points(desk: Desk) -> None:
    way = partial(_add_axis, desk)
    want(desk, Wanted("Click where the load begins.", "point", lambda found: None, along=way))


# Faces that matter.


def _faces(desk: Desk) -> None:
    ui.html("<h3>Faces that matter</h3>", sanitize=False)
    with ui.element("div").classes("abreast"):
        why = ui.select(_MATTERS, value=desk.matters, label="A face that").props("dense outlined")
        why.classes("why").on_value_change(lambda event: setattr(desk, "matters", event.value))
        ui.button("Click a face", on_click=lambda: _want_face(desk, why.value)).props("outline dense no-caps")
    listed = ui.element("div")

    def brief() -> None:
        listed.clear()
        with listed:
            for k, one in enumerate(desk.history.now.get("faces", [])):
                entry(
                    f"{_MATTERS[one['matters']]}: {selector_words(one['on'])}",
                    partial(_drop_face, desk, k),
                )
        desk.start(mark(desk))

    desk.when("brief", brief)
    desk.when("part", brief)


def _drop_face(desk: Desk, place: int) -> None:
    edit(desk, without(desk.history.now, ("faces", place)), "a face that matters")


def _want_face(desk: Desk, why: str) -> None:
    def take(found: Picked) -> None:
        entry = {"on": found.selector, "matters": why}
        edit(desk, with_added(desk.history.now, ("faces",), entry), "a face that matters")

    want(desk, Wanted(f"Click the face that {_MATTERS[why]}.", "face", take))

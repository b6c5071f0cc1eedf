"""The job: polymer, machine and layer; where the part is loaded, held and pushed; which faces matter.

Directions and faces are given by clicking them. What a click selects is shown first and taken only when that
is confirmed, as a selector of the same brief that the shell reads.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from nicegui import ui
from nicegui.events import UploadEventArguments

from orient.brief import vector_from_text
from orient.desk.answers import Picked, Vector
from orient.desk.edits import data_from, with_added, with_changed, with_value, without
from orient.desk.state import Desk
from orient.materials.machines import machine_classes
from orient.materials.polymers import polymers
from orient.process import DEFAULT_POLYMER

_KINDS = {"tension": "pulled", "compression": "pressed", "bending": "bent"}
_MATTERS = {
    "visible": "is seen",
    "fit": "fits to another part",
    "seal": "seals",
    "no_support": "bears no support",
}
_TINTS = {"axis": 0x0072B2, "load": 0x0072B2, "fixed": 0x009E73}


@dataclass
class Wanted:
    """What the next click on the part is for.

    Attributes
    ----------
    words : str
        What to click, as the banner says it.
    mode : str
        What the pointer takes, as the scene names it.
    take : callable
        Does with what was picked what it is wanted for.
    accepts : callable
        Says in words why what was picked is of no use, or nothing.
    first : (3,) tuple or None
        The first of two points.
    found : Picked or None
        What a click selects, until it is taken.
    """

    words: str
    mode: str
    take: Callable[[Picked], None]
    accepts: Callable[[Picked], str] = lambda picked: ""
    first: Vector | None = None
    found: Picked | None = None


def build(desk: Desk) -> None:
    """All of the job's settings."""
    with ui.element("section").classes("card-room"):
        with ui.element("div").classes("abreast spread"):
            ui.html("<h2>Job</h2>", sanitize=False)
            with ui.element("div").classes("abreast"):
                ui.button(
                    "Save", on_click=lambda: ui.download.content(desk.toml, "brief.toml", "application/toml")
                ).props("flat dense no-caps").tooltip("Save the job as brief.toml, which the shell reads too")
                _opener(desk)
        _process(desk)
        _load(desk)
        _cases(desk)
        _faces(desk)


def banner(desk: Desk) -> None:
    """Above the part: what to click, and what was clicked."""
    room = ui.element("div").classes("note").props('aria-live="polite"')

    def show() -> None:
        room.clear()
        wanted: Wanted | None = desk.wanted
        room.set_visibility(wanted is not None)
        if wanted is None:
            return
        with room:
            if wanted.found is None:
                ui.label(wanted.words)
            else:
                ui.label(f"This selects the {wanted.found.words}.")
                ui.label(wanted.found.selector).classes("small")
                ui.button("Take it", on_click=lambda: _taken(desk)).props("unelevated dense no-caps")
            ui.button("Leave it", on_click=lambda: want(desk, None)).props("flat dense no-caps")

    desk.when("pick", show)


def want(desk: Desk, wanted: Wanted | None) -> None:
    """Ask for a click, or for none any more."""
    desk.wanted = wanted
    if desk.scene is not None:
        desk.scene.mode("look" if wanted is None else wanted.mode)
    if wanted is None:
        desk.start(mark(desk))
    desk.tell("pick")


async def picked(desk: Desk, told: dict[str, Any]) -> None:
    """A click on the part: named, shown, and kept until it is taken."""
    wanted: Wanted | None = desk.wanted
    if wanted is None or desk.scene is None:
        return
    if wanted.mode == "point":
        x, y, z = told["point"]
        if wanted.first is None:
            wanted.first, wanted.words = (x, y, z), "Now click where it points to."
            desk.tell("pick")
            return
        a = wanted.first
        along = (x - a[0], y - a[1], z - a[2])
        if math.hypot(*along) < 1e-6:
            ui.notify("The two points are one: click another.")
            return
        _add_axis(desk, _scaled(_unit(along), 1.0))
        want(desk, None)
        return
    found = await desk.pick(told)
    if said := wanted.accepts(found):
        ui.notify(said)
        return
    wanted.found = found
    desk.scene.tint([("hover", found)])
    desk.tell("pick")


def _taken(desk: Desk) -> None:
    wanted: Wanted | None = desk.wanted
    if wanted is None or wanted.found is None:
        return
    found = wanted.found
    want(desk, None)
    wanted.take(found)


# Process.


def _process(desk: Desk) -> None:
    names = {key: key for key in polymers()}
    classes = {"": "any that can build it"} | {
        name: f"{name}, {' × '.join(f'{side:g}' for side in one.envelope_mm)} mm"
        for name, one in machine_classes().items()
    }

    filling = False

    def field(key: str, what: str) -> Callable[[Any], None]:
        def set_(event: Any) -> None:
            value = event.value
            if filling:
                return  # not a hand: the brief is shown
            if isinstance(value, float | int) and not isinstance(value, bool) and value <= 0:
                value = None
            if value in ("", None) and key == "process.polymer":
                return
            desk.edit(with_value(desk.history.now, key, value or None), what)

        return set_

    with ui.element("div").classes("fields"):
        polymer = ui.select(
            names, label="Polymer", with_input=True, on_change=field("process.polymer", "the polymer")
        )
        machine = ui.select(classes, label="Machine", on_change=field("process.machine", "the machine"))
        numbers = {
            "process.layer_height_mm": ("Layer, mm", "the layer", 0.05, "0.2"),
            "process.nozzle_mm": ("Nozzle, mm", "the nozzle", 0.1, "0.4"),
            "process.line_width_mm": ("Line, mm", "the line", 0.05, "by nozzle"),
            "process.infill": ("Fill, 0 to 1", "the fill", 0.1, "0.2"),
            "load.service_temp_c": ("Warmest, °C", "how warm it gets", 5, "not said"),
            "job.quantity": ("Parts wanted", "the quantity", 1, "1"),
        }
        inputs = {}
        for key, (label, what, step, usual) in numbers.items():
            whole = key == "job.quantity"
            inputs[key] = ui.number(label, step=step, placeholder=usual, precision=0 if whole else None)
            inputs[key].props("clearable debounce=500 stack-label")

            def set_(event: Any, key: str = key, what: str = what, whole: bool = whole) -> None:
                value = event.value
                if filling:
                    return
                if value is not None and value <= 0:
                    value = None
                value = int(value) if whole and value is not None else value
                desk.edit(with_value(desk.history.now, key, value), what, joins=True)

            inputs[key].on_value_change(set_)
        for one in (polymer, machine, *inputs.values()):
            one.props("dense outlined")

    def brief() -> None:
        nonlocal filling
        filling = True
        now = desk.history.now
        process = now.get("process", {})
        polymer.set_value(process.get("polymer", DEFAULT_POLYMER))
        machine.set_value(process.get("machine", "") if process.get("machine", "") in classes else "")
        for key, one in inputs.items():
            section, name = key.split(".")
            one.set_value(now.get(section, {}).get(name))
        filling = False

    desk.when("brief", brief)


def _opener(desk: Desk) -> None:
    async def arrived(event: UploadEventArguments) -> None:
        upload.reset()
        data, left_out = data_from(await event.file.read())
        for said in left_out:
            ui.notify(said, timeout=0, close_button="Close")
        desk.edit(data, "the brief that was opened")

    upload = ui.upload(on_upload=arrived, auto_upload=True, max_file_size=1_000_000).props('accept=".toml"')
    upload.classes("hidden-upload")
    ui.button("Open", on_click=lambda: upload.run_method("pickFiles")).props("flat dense no-caps").tooltip(
        "Open a brief.toml"
    )


# Load.


def _load(desk: Desk) -> None:
    ui.html("<h3>Load</h3>", sanitize=False)
    with ui.element("div").classes("fields"):
        kind = ui.select(_KINDS, label="It is", on_change=lambda event: _set_kind(desk, event.value))
        kind.props("dense outlined")
    ui.label("Along").classes("small")
    with ui.element("div").classes("abreast"):
        ui.button("Click a face or hole", on_click=lambda: _want_axis(desk)).props("outline dense no-caps")
        ui.button("Two points", on_click=lambda: _want_points(desk)).props("outline dense no-caps")
        typed = ui.input(placeholder="or 1,0,0").props("dense outlined").classes("typed")
        typed.on("keydown.enter", lambda: _typed(desk, typed))
    axes = ui.element("div")

    def brief() -> None:
        load = desk.history.now.get("load", {})
        kind.set_value(load.get("kind", "tension"))
        axes.clear()
        with axes:
            for place, axis in enumerate(_axes(desk)):
                _entry(f"along {_vector(axis)}", partial(_drop_axis, desk, place))

    desk.when("brief", brief)


def _set_kind(desk: Desk, kind: str) -> None:
    if kind != desk.history.now.get("load", {}).get("kind", "tension"):
        desk.edit(with_value(desk.history.now, "load.kind", kind), "how it is loaded")


def _axes(desk: Desk) -> list[Sequence[float]]:
    given = desk.history.now.get("load", {}).get("stress_axis") or []
    return [given] if given and not isinstance(given[0], list | tuple) else list(given)


def _drop_axis(desk: Desk, place: int) -> None:
    left = [axis for k, axis in enumerate(_axes(desk)) if k != place]
    desk.edit(with_value(desk.history.now, "load.stress_axis", left), "the stress axis")


def _add_axis(desk: Desk, axis: Vector) -> None:
    desk.edit(
        with_value(desk.history.now, "load.stress_axis", [*map(list, _axes(desk)), list(axis)]),
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
    want(desk, Wanted("Click where the load begins.", "point", lambda found: None))


# Held and pushed.


def _cases(desk: Desk) -> None:
    ui.html("<h3>Held and pushed</h3>", sanitize=False)
    ui.label(
        "For the strength: where it is held, and with how many newtons it is pushed where. What acts "
        "together is one load case."
    ).classes("small")
    with ui.element("div").classes("abreast"):
        ui.button("Held at …", on_click=lambda: _want_held(desk)).props("outline dense no-caps")
        ui.button("Pushed at …", on_click=lambda: _want_force(desk)).props("outline dense no-caps")
    listed = ui.element("div")
    more = ui.button("Add another load case", on_click=lambda: _add_case(desk))
    more.props("flat dense no-caps").tooltip("For what acts at another time; it is held as the one before")

    def brief() -> None:
        listed.clear()
        cases = _all_cases(desk)
        more.set_visibility(bool(cases))
        with listed:
            for k, case in enumerate(cases):
                _case(desk, k, case, alone=len(cases) == 1)

    desk.when("brief", brief)


def _all_cases(desk: Desk) -> list[dict[str, Any]]:
    return list(desk.history.now.get("load", {}).get("case", []))


def _case(desk: Desk, k: int, case: dict[str, Any], *, alone: bool) -> None:
    """A load case: its name and whether it acts both ways where it is chosen, and all that is in it."""
    chosen = k == _chosen_case(desk)
    with ui.element("div").classes("case chosen" if chosen and not alone else "case"):
        with ui.element("div").classes("abreast"):
            if chosen:
                name = ui.input("Load case", value=case.get("name"), placeholder=f"case {k + 1}")
                name.props("dense outlined stack-label").classes("case-name")
                for event in ("blur", "keydown.enter"):
                    name.on(event, lambda: _name_case(desk, k, name.value))
                both = ui.checkbox("both ways", value=bool(case.get("both_ways")))
                both.props("dense").tooltip("It acts as much the other way, as a gust and its lull do")
                both.on_value_change(lambda event: _both_ways(desk, k, event.value))
            else:
                ui.button(_case_name(case, k), on_click=lambda: _choose_case(desk, k)).props(
                    "flat dense no-caps"
                ).tooltip("Add fixings and forces to this load case")
            if not alone:
                _remove(partial(_drop, desk, ("load", "case", k)), f"load case {case.get('name') or k + 1}")
        for j, selector in enumerate(case.get("fixed", [])):
            _entry(f"held: {_words(selector)}", partial(_drop, desk, ("load", "case", k, "fixed", j)))
        for kind, words in _IN_WORDS.items():
            for j, one in enumerate(case.get(kind, [])):
                _entry(words(one), partial(_drop, desk, ("load", "case", k, kind, j)))
        for kind, said in _BODY.items():
            if case.get(kind):
                _entry(f"{said} {_vector(case[kind])}", partial(_drop, desk, ("load", "case", k, kind)))


def _case_name(case: dict[str, Any], k: int) -> str:
    return (case.get("name") or f"case {k + 1}") + (", both ways" if case.get("both_ways") else "")


def _chosen_case(desk: Desk) -> int:
    """The load case that is added to; what an undo took away is not."""
    return max(0, min(desk.case, len(_all_cases(desk)) - 1))


def _choose_case(desk: Desk, k: int) -> None:
    desk.case = k
    desk.tell("brief")


def _name_case(desk: Desk, k: int, name: str | None) -> None:
    cases = _all_cases(desk)
    if k >= len(cases) or (name or "").strip() == cases[k].get("name", ""):
        return
    now, name = desk.history.now, (name or "").strip()
    path = ("load", "case", k)
    new = with_changed(now, path, {"name": name}) if name else without(now, (*path, "name"))
    desk.edit(new, "the name of a load case", again=False)


def _both_ways(desk: Desk, k: int, on: bool) -> None:
    now, path = desk.history.now, ("load", "case", k)
    new = with_changed(now, path, {"both_ways": True}) if on else without(now, (*path, "both_ways"))
    desk.edit(new, "whether a load case acts both ways", again=False)


def _add_case(desk: Desk) -> None:
    cases = _all_cases(desk)
    named = {case.get("name") for case in cases}
    number = next(n for n in range(len(cases) + 1, 10_000) if f"case {n}" not in named)
    new: dict[str, Any] = {"name": f"case {number}"}
    if held := cases[_chosen_case(desk)].get("fixed"):
        new["fixed"] = list(held)
    desk.case = len(cases)
    desk.edit(with_added(desk.history.now, ("load", "case"), new), "another load case", again=False)


def _vector(vector: Sequence[float]) -> str:
    return ", ".join(f"{value:g}" for value in vector).replace("-", "−")


def _moment(one: dict[str, Any]) -> str:
    about = one["newton_mm"]
    if isinstance(about, list | tuple):
        size, axis = math.hypot(*about), f" about {_vector(_rounded(_unit(about)))}"
    else:
        size, axis = about, ""
    return f"moment of {size:g} N·mm{axis}: {_words(one['on'])}".replace("-", "−")


def _rounded(vector: Vector) -> Vector:
    x, y, z = (round(value, 3) + 0.0 for value in vector)
    return x, y, z


def _force(one: dict[str, Any]) -> str:
    """A force in words.

    >>> _force({"on": "face-near:1,2,3", "newtons": [0, 0, -120]})
    '120 N along 0, 0, −1: face near 1, 2, 3'
    """
    newtons = one["newtons"]
    return f"{math.hypot(*newtons):g} N along {_vector(_rounded(_unit(newtons)))}: {_words(one['on'])}"


# What a load case holds, in words.
_IN_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    "force": _force,
    "pressure": lambda one: f"{one['mpa']:g} MPa into it: {_words(one['on'])}".replace("-", "−"),
    "moment": _moment,
}
_BODY = {"gravity": "its own weight, down along", "acceleration_m_s2": "accelerated, in m/s², by"}


def _drop(desk: Desk, path: Sequence[str | int]) -> None:
    desk.edit(without(desk.history.now, path), "a fixing or a load", again=False)


def _to_case(desk: Desk) -> str:
    """Which load case a fixing or a force goes to, where there are several."""
    cases, k = _all_cases(desk), _chosen_case(desk)
    return f" It goes to {cases[k].get('name') or f'case {k + 1}'}." if len(cases) > 1 else ""


def _want_held(desk: Desk) -> None:
    def take(found: Picked) -> None:
        path = ("load", "case", _chosen_case(desk), "fixed")
        desk.edit(with_added(desk.history.now, path, found.selector), "where it is held", again=False)

    want(desk, Wanted(f"Click the face or hole that holds the part.{_to_case(desk)}", "any", take))


def _want_force(desk: Desk) -> None:
    words = f"Click the face or hole that is pushed.{_to_case(desk)}"
    want(desk, Wanted(words, "any", lambda found: _ask_newtons(desk, found)))


def _ask_newtons(desk: Desk, found: Picked) -> None:
    base = found.outward if found.along is None else found.along
    ways: dict[str, Vector] = {
        "into the face": _scaled(found.outward, -1.0),
        "out of the face": found.outward,
        "+x": (1.0, 0.0, 0.0),
        "−x": (-1.0, 0.0, 0.0),
        "+y": (0.0, 1.0, 0.0),
        "−y": (0.0, -1.0, 0.0),
        "+z": (0.0, 0.0, 1.0),
        "−z": (0.0, 0.0, -1.0),
    }
    if found.selector.startswith("hole-near"):
        del ways["into the face"], ways["out of the face"]
        ways = {"along the hole": base, "back along the hole": _scaled(base, -1.0)} | ways
    with ui.dialog() as dialog, ui.card():
        ui.label(f"How hard is the {found.words} pushed?")
        newtons = ui.number("newtons", value=50, min=0.001).props("outlined autofocus")
        way = ui.select(list(ways), value=next(iter(ways)), label="which way").props("outlined")

        def add() -> None:
            if not newtons.value or newtons.value <= 0:
                ui.notify("Give a force above zero.")
                return
            force = {"on": found.selector, "newtons": list(_scaled(ways[way.value], newtons.value))}
            path = ("load", "case", _chosen_case(desk), "force")
            dialog.close()
            desk.edit(with_added(desk.history.now, path, force), "a force", again=False)

        with ui.element("div").classes("abreast"):
            ui.button("Add the force", on_click=add).props("unelevated no-caps")
            ui.button("Leave it", on_click=dialog.close).props("flat no-caps")
    dialog.open()


def _scaled(vector: Vector, by: float) -> Vector:
    x, y, z = (round(value * by, 6) + 0.0 for value in vector)
    return x, y, z


# Faces that matter.


def _faces(desk: Desk) -> None:
    ui.html("<h3>Faces that matter</h3>", sanitize=False)
    with ui.element("div").classes("abreast"):
        why = ui.select(_MATTERS, value="visible", label="A face that").props("dense outlined").classes("why")
        ui.button("Click a face", on_click=lambda: _want_face(desk, why.value)).props("outline dense no-caps")
    listed = ui.element("div")

    def brief() -> None:
        listed.clear()
        with listed:
            for k, one in enumerate(desk.history.now.get("faces", [])):
                _entry(
                    f"{_MATTERS[one['matters']]}: {_words(one['on'])}",
                    partial(_drop_face, desk, k),
                )
        desk.start(mark(desk))

    desk.when("brief", brief)
    desk.when("part", brief)


def _drop_face(desk: Desk, place: int) -> None:
    desk.edit(without(desk.history.now, ("faces", place)), "a face that matters")


def _want_face(desk: Desk, why: str) -> None:
    def take(found: Picked) -> None:
        entry = {"on": found.selector, "matters": why}
        desk.edit(with_added(desk.history.now, ("faces",), entry), "a face that matters")

    want(desk, Wanted(f"Click the face that {_MATTERS[why]}.", "face", take))


def _words(selector: str) -> str:
    """A selector as a list shows it.

    >>> _words("hole-near:-27,0,3")
    'hole near −27, 0, 3'
    """
    kind, _, rest = selector.partition(":")
    return f"{kind.replace('-', ' ')} {rest.replace(',', ', ').replace('-', '−')}"


def _entry(words: str, remove: Callable[[], Any]) -> None:
    with ui.element("div").classes("entry"):
        ui.label(words)
        _remove(remove, words)


def _remove(remove: Callable[[], Any], what: str) -> None:
    ui.button("Remove", on_click=remove).props("flat dense no-caps size=sm").props["aria-label"] = (
        f"Remove {what}"
    )


# What is drawn of it.


async def mark(desk: Desk) -> None:
    """Tint the faces that the job names, and draw its arrows."""
    if desk.scene is None or desk.brought is None or desk.brought.bodies or desk.wanted is not None:
        return
    now = desk.history.now
    named: list[tuple[str, str, Vector | None]] = []
    for case in now.get("load", {}).get("case", []):
        named += [("fixed", one, None) for one in case.get("fixed", [])]
        named += [("load", one["on"], tuple(one["newtons"])) for one in case.get("force", [])]
        named += [("load", one["on"], None) for kind in ("pressure", "moment") for one in case.get(kind, [])]
    named += [("matters", one["on"], None) for one in now.get("faces", [])]
    found = await desk.visitor.quick.do("named", selectors=[one[1] for one in named]) if named else []
    if desk.scene is None or desk.wanted is not None:
        return
    scene = json.loads(desk.brought.scene)
    size = float(scene["size"])
    marks, arrows = [], []
    for (kind, selector, newtons), one in zip(named, found, strict=True):
        if isinstance(one, str):
            ui.notify(f"{selector}: {one}", timeout=0, close_button="Close")
            continue
        marks.append((kind, one))
        if newtons is not None and math.hypot(*newtons) > 0:
            arrows.append(_arrow(one, newtons, size))
    for axis in _axes(desk):
        arrows += _axis_arrows(scene, axis)
    desk.scene.tint(marks)
    desk.scene.arrows(arrows)


def _axis_arrows(scene: dict[str, Any], axis: Sequence[float]) -> list[dict[str, Any]]:
    """A stress axis as two arrows towards the part, from beyond its ends."""
    long = 0.42 * float(scene["size"])
    middle = [low + 32767.5 * step for low, step in zip(scene["low"], scene["step"], strict=True)]
    unit = _unit(axis)
    arrows = []
    for sense, said in ((1.0, "load axis"), (-1.0, "")):
        at = [m - 1.3 * long * sense * u for m, u in zip(middle, unit, strict=True)]
        along = [sense * u for u in unit]
        arrows.append(
            {"at": at, "along": along, "length": 0.5 * long, "colour": _TINTS["axis"], "said": said}
        )
    return arrows


def _arrow(on: Picked, newtons: Vector, size: float) -> dict[str, Any]:
    """A force as an arrow: its tip on the face where it pushes, its tail where it pulls."""
    unit, length = _unit(newtons), 0.22 * size
    pulls = sum(u * n for u, n in zip(unit, on.outward, strict=True)) > 0.0
    at = [a - (0.0 if pulls else length * u) for a, u in zip(on.at_mm, unit, strict=True)]
    said = f"{math.hypot(*newtons):.3g} N"
    return {"at": at, "along": list(unit), "length": length, "colour": _TINTS["load"], "said": said}


def _unit(vector: Sequence[float]) -> Vector:
    length = math.hypot(*vector) or 1.0
    x, y, z = (value / length for value in vector)
    return x, y, z

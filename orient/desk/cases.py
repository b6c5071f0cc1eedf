"""Load cases: where the part is held, and with how many newtons it is pushed where."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from nicegui import ui

from orient.desk.answers import Picked, Vector
from orient.desk.change import edit
from orient.desk.edits import with_added, with_changed, without
from orient.desk.entry import entry, remove_button, rounded, scaled, selector_words, unit_of, vector_words
from orient.desk.pick import Wanted, want
from orient.desk.state import Desk


def build(desk: Desk) -> None:
    """The list of load cases, and what adds to it."""
    ui.html("<h3>Load: forces</h3>", sanitize=False)
    ui.label(
        "For a safety factor: where it is held, and with how many newtons it is pushed where. A force is "
        "spread over the face or hole that is clicked; what acts together is one load case."
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
                both = ui.checkbox("acts both ways", value=bool(case.get("both_ways")))
                both.props("dense").tooltip("It acts as much the other way, as a gust and its lull do")
                both.on_value_change(lambda event: _both_ways(desk, k, event.value))
            else:
                ui.button(_case_name(case, k), on_click=lambda: _choose_case(desk, k)).props(
                    "flat dense no-caps"
                ).tooltip("Add fixings and forces to this load case")
            if not alone:
                remove_button(
                    partial(_drop, desk, ("load", "case", k)), f"load case {case.get('name') or k + 1}"
                )
        for j, selector in enumerate(case.get("fixed", [])):
            entry(f"held: {selector_words(selector)}", partial(_drop, desk, ("load", "case", k, "fixed", j)))
        for kind, words in _IN_WORDS.items():
            for j, one in enumerate(case.get(kind, [])):
                entry(words(one), partial(_drop, desk, ("load", "case", k, kind, j)))
        for kind, said in _BODY.items():
            if case.get(kind):
                entry(f"{said} {vector_words(case[kind])}", partial(_drop, desk, ("load", "case", k, kind)))


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
    edit(desk, new, "the name of a load case", again=False)


def _both_ways(desk: Desk, k: int, on: bool) -> None:
    now, path = desk.history.now, ("load", "case", k)
    new = with_changed(now, path, {"both_ways": True}) if on else without(now, (*path, "both_ways"))
    edit(desk, new, "whether a load case acts both ways", again=False)


def _add_case(desk: Desk) -> None:
    cases = _all_cases(desk)
    named = {case.get("name") for case in cases}
    number = next(n for n in range(len(cases) + 1, 10_000) if f"case {n}" not in named)
    new: dict[str, Any] = {"name": f"case {number}"}
    if held := cases[_chosen_case(desk)].get("fixed"):
        new["fixed"] = list(held)
    desk.case = len(cases)
    edit(desk, with_added(desk.history.now, ("load", "case"), new), "another load case", again=False)


def _moment(one: dict[str, Any]) -> str:
    about = one["newton_mm"]
    if isinstance(about, list | tuple):
        size, axis = math.hypot(*about), f" about {vector_words(rounded(unit_of(about)))}"
    else:
        size, axis = about, ""
    return f"moment of {size:g} N·mm{axis}: {selector_words(one['on'])}".replace("-", "−")


def _force(one: dict[str, Any]) -> str:
    """A force in words.

    >>> _force({"on": "face-near:1,2,3", "newtons": [0, 0, -120]})
    '120 N along 0, 0, −1: face near 1, 2, 3'
    """
    newtons = one["newtons"]
    along = vector_words(rounded(unit_of(newtons)))
    return f"{math.hypot(*newtons):g} N along {along}: {selector_words(one['on'])}"


# What a load case holds, in words.
_IN_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    "force": _force,
    "pressure": lambda one: f"{one['mpa']:g} MPa into it: {selector_words(one['on'])}".replace("-", "−"),
    "moment": _moment,
}
_BODY = {"gravity": "its own weight, down along", "acceleration_m_s2": "accelerated, in m/s², by"}


def _drop(desk: Desk, path: Sequence[str | int]) -> None:
    edit(desk, without(desk.history.now, path), "a fixing or a load", again=False)


def _to_case(desk: Desk) -> str:
    """Which load case a fixing or a force goes to, where there are several."""
    cases, k = _all_cases(desk), _chosen_case(desk)
    return f" It goes to {cases[k].get('name') or f'case {k + 1}'}." if len(cases) > 1 else ""


def _want_held(desk: Desk) -> None:
    def take(found: Picked) -> None:
        path = ("load", "case", _chosen_case(desk), "fixed")
        edit(desk, with_added(desk.history.now, path, found.selector), "where it is held", again=False)

    def accepts(found: Picked) -> str:
        cases = _all_cases(desk)
        held = cases[_chosen_case(desk)].get("fixed", []) if cases else []
        return "It is held there already: click another, or Done." if found.selector in held else ""

    words = f"Click each face or hole that holds the part.{_to_case(desk)}"
    want(desk, Wanted(words, "any", take, accepts, again=True))


def _want_force(desk: Desk) -> None:
    words = f"Click the face or hole that is pushed.{_to_case(desk)}"
    want(desk, Wanted(words, "any", lambda found: _ask_newtons(desk, found)))


def _ask_newtons(desk: Desk, found: Picked) -> None:
    base = found.outward if found.along is None else found.along
    ways: dict[str, Vector] = {
        "into the face": scaled(found.outward, -1.0),
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
        ways = {"along the hole": base, "back along the hole": scaled(base, -1.0)} | ways
    with ui.dialog() as dialog, ui.card():
        ui.label(f"How hard is the {found.words} pushed?")
        newtons = ui.number("newtons", min=0.001).props("outlined autofocus")
        way = ui.select(list(ways), value=next(iter(ways)), label="which way").props("outlined")

        def add() -> None:
            if not newtons.value or newtons.value <= 0:
                ui.notify("Say how many newtons: a number above zero.")
                return
            force = {"on": found.selector, "newtons": list(scaled(ways[way.value], newtons.value))}
            path = ("load", "case", _chosen_case(desk), "force")
            dialog.close()
            edit(desk, with_added(desk.history.now, path, force), "a force", again=False)

        with ui.element("div").classes("abreast"):
            ui.button("Add the force", on_click=add).props("unelevated no-caps")
            ui.button("Leave it", on_click=dialog.close).props("flat no-caps")
    dialog.open()

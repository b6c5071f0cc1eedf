"""Clicks on the part: what the next one is for, what it selects, and what the job names, drawn on the part.

What a click selects is shown first and taken only when that is confirmed, as a selector of the same brief
that the shell reads.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from nicegui import ui

from orient.desk.answers import Picked, Vector
from orient.desk.entry import scaled, unit_of
from orient.desk.state import Desk

_TINTS = {"axis": 0x0072B2, "load": 0x0072B2}


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
    along : callable or None
        Does what is wanted with the way from one point to another, where points are picked.
    again : bool
        Whether the next click is for the same, until the hand says that it is done.
    first : (3,) tuple or None
        The first of two points.
    found : Picked or None
        What a click selects, until it is taken.
    taken : bool
        Whether something was.
    """

    words: str
    mode: str
    take: Callable[[Picked], None]
    accepts: Callable[[Picked], str] = lambda picked: ""
    along: Callable[[Vector], None] | None = None
    again: bool = False
    first: Vector | None = None
    found: Picked | None = None
    taken: bool = False


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
                ui.label(f"{wanted.words} Take it, or click another instead.").classes("small")
                ui.button("Take it", on_click=lambda: _taken(desk)).props("unelevated dense no-caps")
            done = wanted.again and wanted.taken and wanted.found is None
            ui.button("Done" if done else "Cancel", on_click=lambda: _leave(desk)).props(
                "unelevated dense no-caps" if done else "flat dense no-caps"
            )

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
    if wanted.along is not None:
        x, y, z = told["point"]
        if wanted.first is None:
            wanted.first, wanted.words = (x, y, z), "Now click where it points to."
            desk.tell("pick")
            await mark(desk)
            return
        a = wanted.first
        way = (x - a[0], y - a[1], z - a[2])
        if math.hypot(*way) < 1e-6:
            ui.notify("The two points are one: click another.")
            return
        wanted.along(scaled(unit_of(way), 1.0))
        want(desk, None)
        return
    found = await _named(desk, told)
    if said := wanted.accepts(found):
        ui.notify(said)
        return
    wanted.found = found
    desk.scene.tint([*desk.marked, ("hover", found)])
    desk.tell("pick")


async def _named(desk: Desk, picked: dict[str, Any]) -> Picked:
    """Name what a click stands for."""
    x, y, z = picked["point"]
    found: Picked = await desk.visitor.quick.do(
        "pick", point=(x, y, z), face=int(picked["face"]), kind=picked["kind"]
    )
    return found


def _taken(desk: Desk) -> None:
    wanted: Wanted | None = desk.wanted
    if wanted is None or wanted.found is None:
        return
    found = wanted.found
    if wanted.again:
        wanted.found, wanted.taken = None, True
        desk.tell("pick")
    else:
        want(desk, None)
    wanted.take(found)


def _leave(desk: Desk) -> None:
    """Give up what was clicked last; where more were asked for, what is taken already stays."""
    wanted: Wanted | None = desk.wanted
    if wanted is not None and wanted.again and wanted.found is not None and wanted.taken:
        wanted.found = None
        desk.start(mark(desk))
        desk.tell("pick")
    else:
        want(desk, None)


def axes_of(desk: Desk) -> list[Sequence[float]]:
    """The stress axes of the job."""
    given = desk.history.now.get("load", {}).get("stress_axis") or []
    return [given] if given and not isinstance(given[0], list | tuple) else list(given)


async def mark(desk: Desk) -> None:
    """Tint the faces that the job names, and draw its arrows."""
    if desk.scene is None or desk.brought is None or desk.brought.bodies:
        return
    now = desk.history.now
    named: list[tuple[str, str, Vector | None]] = []
    for case in now.get("load", {}).get("case", []):
        named += [("fixed", one, None) for one in case.get("fixed", [])]
        named += [("load", one["on"], tuple(one["newtons"])) for one in case.get("force", [])]
        named += [("load", one["on"], None) for kind in ("pressure", "moment") for one in case.get(kind, [])]
    named += [("matters", one["on"], None) for one in now.get("faces", [])]
    found = await desk.visitor.quick.do("named", selectors=[one[1] for one in named]) if named else []
    if desk.scene is None:
        return
    scene = json.loads(desk.brought.scene)
    size = float(scene["size"])
    marks, arrows, unfound = [], [], set()
    for (kind, selector, newtons), one in zip(named, found, strict=True):
        if isinstance(one, str):
            if selector not in desk.unfound:
                ui.notify(f"{selector}: {one}", timeout=0, close_button="Close")
            unfound.add(selector)
            continue
        marks.append((kind, one))
        if newtons is not None and math.hypot(*newtons) > 0:
            arrows.append(_arrow(one, newtons, size))
    for axis in axes_of(desk):
        arrows += _axis_arrows(scene, axis, pulled=now["load"].get("kind", "tension") == "tension")
    wanted: Wanted | None = desk.wanted
    if wanted is not None and wanted.first is not None:
        begun = {"at": list(wanted.first), "along": [0, 0, 1], "length": 0, "said": "from here"}
        arrows.append(begun | {"colour": _TINTS["axis"]})
    desk.marked, desk.unfound = marks, unfound
    asked = [] if wanted is None or wanted.found is None else [("hover", wanted.found)]
    desk.scene.tint([*marks, *asked])
    desk.scene.arrows(arrows)


def _axis_arrows(scene: dict[str, Any], axis: Sequence[float], *, pulled: bool) -> list[dict[str, Any]]:
    """A stress axis as two arrows beyond the part's ends: away from it if it is pulled, else towards it."""
    long = 0.42 * float(scene["size"])
    middle = [low + 32767.5 * step for low, step in zip(scene["low"], scene["step"], strict=True)]
    unit = unit_of(axis)
    arrows = []
    for sense, said in ((1.0, "load axis"), (-1.0, "")):
        off = 0.8 if pulled else 1.3
        at = [m - off * long * sense * u for m, u in zip(middle, unit, strict=True)]
        along = [(-sense if pulled else sense) * u for u in unit]
        arrows.append(
            {"at": at, "along": along, "length": 0.5 * long, "colour": _TINTS["axis"], "said": said}
        )
    return arrows


def _arrow(on: Picked, newtons: Vector, size: float) -> dict[str, Any]:
    """A force as an arrow: its tip on the face where it pushes, its tail where it pulls."""
    unit, length = unit_of(newtons), 0.22 * size
    pulls = sum(u * n for u, n in zip(unit, on.outward, strict=True)) > 0.0
    at = [a - (0.0 if pulls else length * u) for a, u in zip(on.at_mm, unit, strict=True)]
    said = f"{math.hypot(*newtons):.3g} N"
    return {"at": at, "along": list(unit), "length": length, "colour": _TINTS["load"], "said": said}

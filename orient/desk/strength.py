"""Strength under load cases: found in the background, stopped when wanted, told with its assumptions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import Any

from nicegui import ui

from orient.desk.beside import progress_row
from orient.desk.entry import as_fields
from orient.desk.rank import find_stress, stress_lost
from orient.desk.shown import colour, show
from orient.desk.state import Desk


def build(desk: Desk) -> None:
    """What is asked for, how far it is, and what was found."""
    asks = ui.label().classes("small")
    go = ui.button("Find the stress", on_click=lambda: find_stress(desk)).props("unelevated no-caps")
    progress_row(desk, "strength")
    desk.when("lost", lambda: stress_lost(desk))
    found = ui.element("div")

    def brief() -> None:
        running = "strength" in desk.beside
        ready = desk.forces_ready
        known = desk.loaded and not desk.forces_moved
        go.set_enabled(ready and desk.brought is not None)
        go.set_visibility(not running and not known)
        go.set_text("Find the stress again" if desk.loaded else "Find the stress")
        if not ready:
            asks.set_text(
                "Say in the job where the part is held and where it is pushed: Held at, or Pushed at, then a "
                "click on a face or a hole."
            )
        elif running:
            asks.set_text("The rest of the desk stays usable meanwhile.")
        elif desk.forces_moved:
            asks.set_text("The forces or fixings have changed: what stands here is for those before.")
        elif desk.stale and desk.trouble:
            asks.set_text("The job as it is now cannot be ranked: what stands here is for the job before.")
        elif known:
            asks.set_text("Found for the job as it is. The list of poses counts it, and so do the colours.")
        else:
            asks.set_text(
                "Finds the stress under the forces of the job, and how much more each pose bears before it "
                "fails. It takes some seconds to a few minutes; the rest of the desk stays usable."
            )

    def strength() -> None:
        found.clear()
        brief()
        judged = desk.judged
        if judged is None or judged.strength is None:
            return
        section = judged.strength
        with found:
            for said in judged.failing:
                ui.label(said).classes("caution-line")
            for said in section["service"]:
                ui.label(said).classes("caution-line")
            for said in (judged.load_caution or "", as_fields(judged.fill)):
                ui.label(said).classes("small")
            with ui.element("div").classes("wide"), ui.element("table"):
                with ui.element("thead"), ui.element("tr"):
                    for name in ("pose", "safety factor", "low to high", "fails", "weakest"):
                        ui.html(name, sanitize=False, tag="th")
                with ui.element("tbody"):
                    for one in section["poses"]:
                        with ui.element("tr"):
                            for said in (
                                str(one["number"]),
                                f"{one['factor']}: {one['short']}" if one["short"] else one["factor"],
                                f"{one['low']} to {one['high']}",
                                one["fails"],
                            ):
                                with ui.element("td"):
                                    ui.label(said)
                            with ui.element("td"):
                                there = ui.button("show", on_click=partial(_go_to, desk, one))
                                there.props("flat dense no-caps").props["title"] = f"At {one['at']} mm"
                                there.props["aria-label"] = f"Show its weakest place, at {one['at']} mm"
            ui.label(
                "A safety factor is how many times its load a pose bears before it fails: below 1 it does "
                "not bear it. How much more is enough is for whoever answers for the part. Low to high is "
                "the spread of what is cited for the polymer."
            ).classes("small")
            for case in section["cases"]:
                ui.label(f"{case['name']}: deflects {case['sag']} at the most").classes("small")
            room = ui.expansion(f"What is assumed; {section['cells']} cells of {section['pitch']} mm")
            with room, ui.element("ul").classes("points small"):
                for line in section["notes"]:
                    if line in section["service"]:
                        continue
                    with ui.element("li"):
                        ui.label(as_fields(line))

    desk.when("brief", brief)
    desk.when("part", brief)
    desk.when("beside", brief)
    desk.when("strength", strength)


async def _go_to(desk: Desk, one: Mapping[str, Any]) -> None:
    """Show a pose in the colours of its safety, and take the camera to its weakest place."""
    if desk.scene is None or desk.brought is None or not desk.loaded:
        return
    about = 0.16 * math.hypot(*desk.brought.extents_mm)
    row = int(one["number"]) - 1
    if desk.chosen != row:
        await show(desk, row)
    await colour(desk, "safety")
    desk.tell("pose")
    desk.scene.go_to({"id": "", "place": list(one["place"]), "looks": [0.0, 0.0, 0.0], "reach": about})

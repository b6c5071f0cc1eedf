"""Strength under load cases: found in the background, stopped when wanted, told with its assumptions."""

from __future__ import annotations

from nicegui import ui

from orient.desk.edits import toml_of
from orient.desk.state import Desk
from orient.desk.work import Stopped


def build(desk: Desk) -> None:
    """What is asked for, how far it is, and what was found."""
    asks = ui.label().classes("small")
    with ui.element("div").classes("abreast"):
        go = ui.button("Find the stress").props("unelevated no-caps")
        stop = ui.button("Stop", on_click=lambda: desk.visitor.long.stop()).props("outline no-caps")
    told = ui.label().props('aria-live="polite"')
    bar = ui.linear_progress(show_value=False, size="6px")
    found = ui.element("div")

    def far(words: str, share: float | None) -> None:
        desk.solving = words
        told.set_text(f"{words} …")
        bar.set_value(share or 0.0)

    async def solve() -> None:
        if desk.solving:
            return
        far("Filling the part with cells", None)
        running(True)
        try:
            judged = await desk.visitor.long.do("strength", toml=toml_of(desk.history.now), progress=far)
        except Stopped:
            ui.notify("Stopped.")
            return
        finally:
            desk.solving = ""
            running(False)
        desk.take(judged, loaded=True)

    go.on_click(solve)

    def running(on: bool) -> None:
        stop.set_visibility(on)
        bar.set_visibility(on)
        told.set_visibility(on)
        go.set_visibility(not on)

    def brief() -> None:
        cases = desk.history.now.get("load", {}).get("case", [])
        ready = any(one.get("fixed") for one in cases) and any(
            one.get("force") or one.get("pressure") or one.get("moment") or one.get("gravity")
            for one in cases
        )
        go.set_enabled(ready and desk.brought is not None)
        asks.set_text(
            "The rest of the desk stays usable meanwhile."
            if ready
            else "Say in the job where the part is held and where it is pushed: Held at, or Pushed at, then "
            "a click on a face or a hole."
        )

    def strength() -> None:
        found.clear()
        judged = desk.judged
        if judged is None or judged.strength is None:
            return
        section = judged.strength
        with found:
            if judged.load_caution:
                ui.label(judged.load_caution).classes("caution-line")
            with ui.element("div").classes("wide"), ui.element("table"):
                with ui.element("thead"), ui.element("tr"):
                    for name in ("pose", "safety", "low–high", "weakest at, mm", "fails"):
                        ui.html(name, sanitize=False, tag="th")
                with ui.element("tbody"):
                    for one in section["poses"]:
                        with ui.element("tr"):
                            for said in (
                                str(one["number"]),
                                one["factor"],
                                f"{one['low']}–{one['high']}",
                                one["at"],
                                one["fails"],
                            ):
                                with ui.element("td"):
                                    ui.label(said)
            for case in section["cases"]:
                ui.label(f"{case['name']}: deflection {case['sag']}").classes("small")
            room = ui.expansion(f"Assumptions; {section['cells']} cells of {section['pitch']} mm")
            with room, ui.element("ul").classes("points small"):
                for line in section["notes"]:
                    with ui.element("li"):
                        ui.label(line)

    running(bool(desk.solving))
    desk.when("brief", brief)
    desk.when("part", brief)
    desk.when("strength", strength)

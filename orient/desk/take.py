"""What leaves the desk: the part in its pose, the page, test prints, the folder to hand over, the brief."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from orient.desk.answers import File
from orient.desk.edits import toml_of
from orient.desk.state import BY_HAND, Desk
from orient.desk.work import Stopped


def build(desk: Desk) -> None:
    """A button a file."""
    none = ui.label("Once a part is here, its files can be taken from this place.").classes("small")
    said: ui.label
    minutes: ui.number
    room = ui.element("div").classes("take")
    with room:
        pose = ui.label().classes("which")
        with ui.element("div").classes("abreast"):
            for kind in ("3mf", "stl"):
                ui.button(
                    f"Part in this pose, {kind.upper()}",
                    on_click=lambda kind=kind: fetch(desk, said, "save", kind=kind),
                ).props("unelevated no-caps" if kind == "3mf" else "outline no-caps")
        ui.button("The page to send along", on_click=lambda: fetch(desk, said, "page")).props(
            "outline no-caps"
        )
        with ui.element("div").classes("abreast"):
            ui.button(
                "Short test prints of the hard features",
                on_click=lambda: fetch(desk, said, "trial_prints", minutes=minutes.value or 5.0),
            ).props("outline no-caps")
            minutes = ui.number("minutes each", value=5, min=1, max=120, step=1).props("dense outlined")
        ui.button(
            "Everything in one folder, zipped",
            on_click=lambda: fetch(desk, said, "package", minutes=minutes.value or 5.0),
        ).props("outline no-caps")
        ui.button(
            "The brief, brief.toml",
            on_click=lambda: ui.download.content(toml_of(desk.history.now), "brief.toml", "application/toml"),
        ).props("outline no-caps")
        said = ui.label().props('aria-live="polite"')

    def order() -> None:
        none.set_visibility(desk.judged is None)
        room.set_visibility(desk.judged is not None)
        card = next((one for one in desk.cards if one.row == desk.chosen), None)
        if card is not None:
            pose.set_text(f"Pose {card.number}, built along {card.along}, is what is shown and taken.")
        elif desk.chosen == BY_HAND:
            pose.set_text("The pose that your hand has turned the part to is what is shown and taken.")

    desk.when("order", order)


async def fetch(desk: Desk, said: ui.label, name: str, **asked: Any) -> None:
    """Have a file made, and hand it to the browser."""
    if desk.judged is None:
        return
    lane = desk.lane if name == "save" else desk.visitor.long
    said.set_text("Making it …")

    def far(words: str, share: float | None) -> None:
        said.set_text(f"{words} …")

    try:
        made: File = await lane.do(
            name,
            toml=toml_of(desk.history.now),
            forces=desk.loaded,
            progress=far,
            direction=desk.direction,
            **asked,
        )
    except Stopped:
        said.set_text("Stopped.")
        return
    except BaseException:
        said.set_text("")
        raise
    ui.download.content(made.body, made.name, made.media_type)
    said.set_text(made.said or f"{made.name} was handed to the browser.")

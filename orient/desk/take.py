"""What leaves the desk: the part in its pose, the page, test prints, the folder to hand over, the brief."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from orient.desk.answers import File
from orient.desk.beside import care, progress_row
from orient.desk.going import do_beside
from orient.desk.state import BY_HAND, Desk
from orient.desk.work import Stopped

# Where a file is asked for beside the answer, without a place for words that would move the part.
BESIDE_THE_ANSWER = "3mf"


def build(desk: Desk) -> None:
    """A button a file."""
    none = ui.label("Once a part is here, its files can be taken from this place.").classes("small")
    minutes: ui.number
    room = ui.element("div").classes("take")
    with room:
        pose = ui.label().classes("which")
        with _offer(
            "The part in this pose",
            "One of it, set down on the bed, ready to slice. A 3MF says its unit and job.",
        ):
            for kind in ("3mf", "stl"):
                ui.button(
                    kind.upper(), on_click=lambda kind=kind: fetch(desk, "take", "save", kind=kind)
                ).props("unelevated no-caps" if kind == "3mf" else "outline no-caps").props(
                    f'aria-label="The part in this pose, {kind.upper()}"'
                )
        with _offer(
            "All parts on beds",
            "As many as are wanted, under Job, laid out on the machine's bed; their hours and grams in all.",
        ):
            ui.button("Beds", on_click=lambda: fetch(desk, "take", "beds")).props(
                'outline no-caps aria-label="All parts on beds"'
            )
        with _offer("The page", "One file for any browser: poses, hard features and figures, to send along."):
            ui.button("Page", on_click=lambda: fetch(desk, "take", "page")).props(
                'outline no-caps aria-label="The page"'
            )
        with _offer(
            "Test prints", "Short prints of what is hard, to find the settings before the whole part."
        ):
            minutes = ui.number("minutes each", value=5, min=1, max=120, step=1).props("dense outlined")
            ui.button(
                "Test prints",
                on_click=lambda: fetch(desk, "take", "trial_prints", minutes=minutes.value or 5.0),
            ).props("outline no-caps")
        with _offer(
            "The package",
            "The part, its page and test prints in one zip, with settings to try, the brief, and checksums.",
        ):
            ui.button(
                "Package", on_click=lambda: fetch(desk, "take", "package", minutes=minutes.value or 5.0)
            ).props('outline no-caps aria-label="The package"')
        with _offer(
            "The brief", "The job as a file, brief.toml; it opens here again, and the command line reads it."
        ):
            ui.button("Brief", on_click=lambda: save_brief(desk)).props(
                'outline no-caps aria-label="The brief"'
            )
        with ui.element("div").classes("going"):
            progress_row(desk, "take")
        care(desk)

    def order() -> None:
        none.set_visibility(desk.judged is None)
        room.set_visibility(desk.judged is not None)
        card = next((one for one in desk.cards if one.row == desk.chosen), None)
        if card is not None:
            pose.set_text(f"Pose {card.number}, built along {card.along}, is what is shown and taken.")
        elif desk.chosen == BY_HAND:
            pose.set_text("The pose that your hand has turned the part to is what is shown and taken.")

    desk.when("order", order)


def _offer(title: str, words: str) -> ui.element:
    """A kind of file: what it is, and room for its buttons."""
    with ui.element("div").classes("offer"):
        with ui.element("div"):
            ui.label(title).classes("title")
            ui.label(words).classes("small")
        return ui.element("div").classes("abreast")


def save_brief(desk: Desk) -> None:
    """Hand the brief to the browser."""
    ui.download.content(desk.saved, "brief.toml", "application/toml")


async def fetch(desk: Desk, where: str, name: str, /, **asked: Any) -> None:
    """Have a file made, and hand it to the browser.

    Parameters
    ----------
    desk : Desk
        Whose.
    where : str
        Where it is told how far it is.
    name : str
        The job that makes it.
    **asked
        Of the job.
    """
    if desk.judged is None or desk.page is None or where in desk.beside:
        return
    lane = desk.lane if name == "save" else desk.visitor.long
    try:
        made: File = await do_beside(
            desk,
            where,
            lane,
            name,
            "Making it",
            toml=desk.toml,
            forces=desk.loaded,
            direction=desk.direction,
            **asked,
        )
    except Stopped:
        return
    desk.said[where] = f"{made.name} was handed to the browser. {made.said}".strip()
    # The page may have been loaded anew meanwhile.
    with desk.page:
        ui.download.content(made.body, made.name, made.media_type)
        if where == BESIDE_THE_ANSWER:
            ui.notify(desk.said.pop(where), multi_line=True)
    desk.tell("beside")

"""A redesign held against the part on the desk."""

from __future__ import annotations

from pathlib import Path

from nicegui import ui
from nicegui.events import UploadEventArguments

from orient.desk.answers import Compared
from orient.desk.arrival import receive
from orient.desk.bring import uploader
from orient.desk.edits import toml_of
from orient.desk.state import Desk
from orient.desk.work import Stopped


def build(desk: Desk) -> None:
    """A second mesh in, the verdict out."""
    ui.label(
        "Bring a revision of this part: what went away, what is new, and which of the two to build, under "
        "the same job."
    ).classes("small")

    def far(words: str, share: float | None) -> None:
        told.set_text(f"{words} …")

    async def arrived(event: UploadEventArguments) -> None:
        if desk.brought is None:
            ui.notify("Bring the first part first.")
            return
        arrival = await receive(event.file, desk.visitor.folder)
        found.clear()
        stop.set_visibility(True)
        try:
            answer: Compared = await desk.visitor.long.do(
                "variant",
                toml=toml_of(desk.history.now),
                path=str(arrival.path),
                name=Path(arrival.name).stem or arrival.name,
                progress=far,
            )
        except Stopped:
            return
        finally:
            told.set_text("")
            stop.set_visibility(False)
        with found:
            _show(answer)

    uploader("Drop the revision, or click", arrived)
    told = ui.label().props('aria-live="polite"')
    stop = ui.button("Stop", on_click=lambda: desk.visitor.long.stop()).props("outline no-caps")
    stop.set_visibility(False)
    found = ui.element("div")
    desk.when("part", found.clear)


def _show(answer: Compared) -> None:
    first, second = answer.names
    with ui.element("p").classes("judgement"):
        ui.label(answer.word).classes(f"word {answer.word}")
        ui.label(answer.verdict)
    with ui.element("div").classes("wide"), ui.element("table"):
        with ui.element("thead"), ui.element("tr"):
            for name in ("", first, second, "change", ""):
                with ui.element("th"):
                    ui.label(name)
        with ui.element("tbody"):
            for row in answer.rows:
                with ui.element("tr"):
                    for key in ("title", "first", "second", "change", "word"):
                        with ui.element("td"):
                            ui.label(row[key])
    if answer.changes:
        with ui.element("ul").classes("points"):
            for said in answer.changes:
                with ui.element("li"):
                    ui.label(said)
    ui.button(
        "Take the whole comparison as a page",
        on_click=lambda: ui.download.content(answer.page, "comparison.html", "text/html"),
    ).props("outline no-caps")

"""What stands beside the answer: how far other work is, with a stop, and what to be careful about."""

from __future__ import annotations

from time import monotonic

from nicegui import ui

from orient.desk.going import stop_beside
from orient.desk.state import Desk


def progress_row(desk: Desk, kind: str) -> None:
    """Words, a bar and a stop for one kind of work; how it ended stays said.

    Parameters
    ----------
    desk : Desk
        Whose.
    kind : str
        As `do_beside` knows it.
    """
    told = ui.label().props('aria-live="polite"')
    bar = ui.linear_progress(show_value=False, size="6px").classes("bar").props('aria-label="how far it is"')
    # Of its own: whoever listens to the page is not told every second.
    clock = ui.label().classes("small")
    stop = ui.button("Stop", on_click=lambda: stop_beside(desk, kind)).props("outline no-caps")

    def second() -> None:
        clock.set_text(f"{monotonic() - desk.began[kind]:.0f} s")

    ticking = ui.timer(1.0, second, active=False)

    def beside() -> None:
        doing = desk.beside.get(kind)
        for one in (bar, clock, stop):
            one.set_visibility(doing is not None)
        if doing is not None and not ticking.active:
            second()
        ticking.active = doing is not None
        told.set_text(told_words(desk, kind))
        bar.set_value((doing[1] if doing else None) or 0.0)

    desk.when("beside", beside)


def care(desk: Desk) -> None:
    """What can hurt, or go wrong with the pose to take, under the job as it was ranked last."""
    room = ui.element("div").classes("care")

    def order() -> None:
        room.clear()
        said = () if desk.judged is None else (*desk.judged.warnings, *desk.judged.cautions)
        if said:
            with room:
                ui.html("<h3>Take care</h3>", sanitize=False)
                with ui.element("ul").classes("points"):
                    for one in said:
                        with ui.element("li"):
                            ui.label(one)

    desk.when("order", order)


def told_words(desk: Desk, kind: str) -> str:
    """How far something is, or how it ended."""
    doing = desk.beside.get(kind)
    return desk.said.get(kind, "") if doing is None else f"{doing[0]} …"

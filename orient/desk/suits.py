"""What the polymer makes of its service, and the machine of the polymer: said under what was asked for."""

from __future__ import annotations

from nicegui import ui

from orient.desk.state import Desk

# As in the shell, a shape goes with each word.
_MARKS = {"fine": "●", "care": "◐", "no": "○"}
_WORDS = {"fine": "fine", "care": "take care", "no": "does not do"}


def build(desk: Desk) -> None:
    """A line a check, the gravest first; nothing where nothing was asked."""
    room = ui.element("ul").classes("suits small").props('aria-live="polite"')

    shown: list[object] = [None]

    def order() -> None:
        judged = desk.judged
        room.set_visibility(judged is not None)
        # Told once, not at every pose that is looked at.
        if judged is None or shown[0] is judged:
            return
        shown[0] = judged
        room.clear()
        with room:
            for verdict, said in sorted(judged.suits, key=lambda one: ("no", "care", "fine").index(one[0])):
                with ui.element("li").classes(verdict):
                    ui.html(
                        f'<span role="img" aria-label="{_WORDS[verdict]}">{_MARKS[verdict]}</span>',
                        sanitize=False,
                        tag="span",
                    )
                    ui.label(said)

    desk.when("order", order)

"""What a pose must keep to be in the list at all."""

from __future__ import annotations

from nicegui import ui

from orient.desk.change import edit
from orient.desk.edits import with_value
from orient.desk.numbers import Number, number_boxes
from orient.desk.order import weights_of
from orient.desk.state import Desk

_LIMITS = (
    Number("limits.min_safety_factor", "Safety factor, at least", "the least safety factor", 0.1, "any"),
    Number("limits.max_deflection_mm", "Gives way, mm, at most", "how far it may give way", 0.1, "any"),
    Number("limits.max_height_mm", "Height, mm, at most", "the greatest height", 5, "any"),
    Number(
        "limits.min_strength_retained",
        "Strength kept, %, at least",
        "the least strength kept",
        5,
        "any",
        percent=True,
    ),
)


def build(desk: Desk) -> None:
    """A box a limit; open where the job has one."""
    with ui.expansion("What a pose must keep").classes("another limits") as room:
        ui.label("Poses that do not are left out. The first two count once the stress is found.").classes(
            "small"
        )
        with ui.element("div").classes("fields wide"):
            number_boxes(desk, _LIMITS)
        enough = ui.element("div").classes("small")
        with enough:
            ui.label("What is stronger than that still scores better.")
            ui.button("Strong enough is enough", on_click=lambda: _enough(desk)).props(
                "outline dense no-caps"
            ).tooltip("Weigh strength no more, under What matters: support, height and finish decide")

    asked = False

    def brief() -> None:
        nonlocal asked
        limits = desk.history.now.get("limits", {})
        before, asked = asked, any(one.key.partition(".")[2] in limits for one in _LIMITS)
        if asked and not before:
            room.open()
        weighed = weights_of(desk.history.now)["load"] > 0.0
        enough.set_visibility("min_safety_factor" in limits and weighed)

    desk.when("brief", brief)
    desk.when("weighed", brief)


def _enough(desk: Desk) -> None:
    """The least safety factor sees to the strength: it is not bargained for besides."""
    edit(desk, with_value(desk.history.now, "weights.load", 0.0), "the weight on load")

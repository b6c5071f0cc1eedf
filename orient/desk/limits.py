"""What a pose must keep to be in the list at all."""

from __future__ import annotations

from nicegui import ui

from orient.desk.numbers import Number, number_boxes
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

    def brief() -> None:
        if desk.history.now.get("limits"):
            room.open()

    desk.when("brief", brief)

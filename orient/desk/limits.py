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
    Number("limits.max_deflection_mm", "Deflection, mm, at most", "the largest deflection", 0.1, "any"),
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
        ui.label(
            "A pose that does not keep them is left out. The first two count once the stress is found; the "
            "safety factor must be kept with the least strengths that are cited."
        ).classes("small")
        with ui.element("div").classes("fields wide"):
            number_boxes(desk, _LIMITS)
        enough = ui.element("div").classes("small")
        with enough:
            told = ui.label()
            more = ui.button("Strong enough is enough", on_click=lambda: _weigh_strength(desk, 0.0))
            more.props("outline dense no-caps").tooltip(
                "Weigh strength no more, under What matters: support, height and finish decide"
            )
            less = ui.button("Weigh strength again", on_click=lambda: _weigh_strength(desk, None))
            less.props("flat dense no-caps")

    asked = False

    def brief() -> None:
        nonlocal asked
        limits = desk.history.now.get("limits", {})
        before, asked = asked, any(one.key.partition(".")[2] in limits for one in _LIMITS)
        if asked and not before:
            room.open()
        weighed = weights_of(desk.history.now)["load"] > 0.0
        enough.set_visibility("min_safety_factor" in limits)
        told.set_text(
            "What is stronger than that still scores better."
            if weighed
            else "Strong enough is enough: strength is not weighed besides."
        )
        more.set_visibility(weighed)
        less.set_visibility(not weighed)

    desk.when("brief", brief)
    desk.when("weighed", brief)


def _weigh_strength(desk: Desk, weight: float | None) -> None:
    """Where the least safety factor sees to the strength it need not be bargained for besides."""
    edit(desk, with_value(desk.history.now, "weights.load", weight), "the weight on load")

"""The hard features of the pose that is shown: filtered by verdict, each one a click away."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from orient.desk.state import Desk
from orient.desk.views import HardFeatures


def build(desk: Desk) -> None:
    """The list, worst first."""
    told = ui.label().classes("small")
    listed = HardFeatures()
    said = ui.element("ul").classes("points small")
    shown: list[object] = [None]
    # What was clicked just as the poses were ranked anew is of the list that was there.
    last: list[dict[str, Any]] = []

    def chosen(number: int) -> None:
        one = next((one for one in last if one["number"] == number), None)
        if one is None or desk.scene is None:
            return
        desk.paint = "features"
        desk.scene.paint("features")
        desk.scene.go_to(one)
        desk.tell("pose")

    listed.on_choose(chosen)

    def pose() -> None:
        found = desk.poses.get((desk.chosen if desk.chosen is not None else -2) + 1)
        features = None if found is None else found.features
        if desk.judged is None:
            last.clear()
            told.set_text("Once a part is here, what will be hard to print stands in this list.")
        elif features is None:
            told.set_text("Looking for hard features …")
        else:
            told.set_text(
                "In the pose that is shown. Choose one to go there; its letter and number stand at its place."
            )
        if features is not shown[0] or features is None:
            listed.show(features)
        shown[0] = features
        last[:] = last if features is None else features
        said.clear()
        with said:
            for line in () if found is None else found.said:
                with ui.element("li"):
                    ui.label(line)

    desk.when("pose", pose)
    desk.when("part", pose)

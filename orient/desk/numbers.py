"""Boxes for the numbers of a job: shown as the job has them, and written back when a hand changes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from nicegui import ui

from orient.desk.change import edit
from orient.desk.edits import with_value
from orient.desk.state import Desk


@dataclass(frozen=True)
class Number:
    """A number of the job.

    Attributes
    ----------
    key : str
        Where it stands in the brief, dotted.
    label : str
        What is written over its box.
    what : str
        What it is, where a change of it is taken back.
    step : float
        How far an arrow key moves it.
    usual : str
        What holds where nothing is said.
    whole, percent : bool
        Whether it counts something; whether it is a share in the brief and a percentage here.
    """

    key: str
    label: str
    what: str
    step: float
    usual: str = ""
    whole: bool = False
    percent: bool = False

    def shown(self, value: float | None) -> float | None:
        """What its box shows of a value of the brief."""
        return round(100.0 * value, 4) if self.percent and value is not None else value

    def kept(self, value: float | None) -> float | None:
        """What the brief keeps of what is in its box; nothing where it is not above zero.

        >>> Number("process.infill", "Fill, %", "the fill", 5, percent=True).kept(20)
        0.2
        """
        if value is None or value <= 0:
            return None
        if self.whole:
            return max(int(value), 1)
        return min(round(value / 100.0, 6), 1.0) if self.percent else value


def number_boxes(desk: Desk, asked: Sequence[Number]) -> dict[str, ui.number]:
    """Make boxes, where they are wanted.

    Parameters
    ----------
    desk : Desk
        Whose.
    asked : sequence of Number
        What is asked for.

    Returns
    -------
    dict of str to ui.number
        By key.
    """
    filling = False
    boxes: dict[str, ui.number] = {}

    def taken(one: Number, event: Any) -> None:
        if filling:
            return  # no hand: the brief is shown
        kept = one.kept(event.value)
        if one.percent and event.value is not None and event.value > 100:
            ui.notify(f"{one.label.partition(',')[0]} is 100 % at the most: that is taken.")
            boxes[one.key].set_value(one.shown(kept))
        edit(desk, with_value(desk.history.now, one.key, kept), one.what, joins=True)

    for one in asked:
        box = ui.number(one.label, step=one.step, placeholder=one.usual, precision=0 if one.whole else None)
        box.props("clearable debounce=500 stack-label dense outlined")
        box.on_value_change(lambda event, one=one: taken(one, event))
        boxes[one.key] = box

    def brief() -> None:
        nonlocal filling
        filling = True
        for one in asked:
            section, name = one.key.split(".")
            boxes[one.key].set_value(one.shown(desk.history.now.get(section, {}).get(name)))
        filling = False

    desk.when("brief", brief)
    return boxes

"""The lists and the chart of the desk: elements that draw themselves in the browser."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

from nicegui.element import Element
from nicegui.events import GenericEventArguments

from orient.desk.order import Card, Order
from orient.desk.scene import trouble
from orient.desk.shelf import Shelf
from orient.show.page.chart import HEIGHT, WIDTH
from orient.show.page.facts import MEANT
from orient.show.words import VERDICT_WORDS


class PoseCards(Element, component="cards.js"):
    """The poses in order, each with its small picture and its figures."""

    def __init__(self) -> None:
        super().__init__()
        self._props |= {"cards": [], "pictures": {}, "chosen": None, "pinned": []}

    def on_choose(self, handler: Callable[[int], Any]) -> None:
        """Call with the row of the pose that was chosen."""
        self.on("choose", lambda event: handler(int(_only(event))))

    def on_pin(self, handler: Callable[[int], Any]) -> None:
        """Call with the row of the pose that was pinned, or taken off again."""
        self.on("pin", lambda event: handler(int(_only(event))))

    def show(
        self, cards: list[Card], pictures: dict[int, str], chosen: int | None, pinned: list[int]
    ) -> None:
        """Show these poses."""
        self._props["cards"] = [
            {
                "row": one.row,
                "number": one.number,
                "along": one.along,
                "taken": one.taken,
                "fails": any(f.name == "safety factor" and f.value < 1.0 for f in one.facts),
                "leans": one.leans,
                "unsteady": "" if one.lies else one.rests,
                "facts": [
                    {"name": f.name, "said": f.said, "best": f.best, "meant": MEANT.get(f.name, "")}
                    for f in one.facts
                ],
            }
            for one in cards
        ]
        self._props["pictures"] = {str(row): address for row, address in pictures.items()}
        self._props["chosen"] = chosen
        self._props["pinned"] = list(pinned)
        self.update()


class TradeOff(Element, component="chart.js"):
    """The trade-off of every pose, each a dot that can be clicked.

    Parameters
    ----------
    shelf : Shelf
        Where the dots are laid for the browser.
    """

    def __init__(self, shelf: Shelf) -> None:
        super().__init__()
        self.shelf = shelf
        self._order: Order | None = None
        self._props |= {"address": None, "chosen": None}
        self.on("trouble", trouble)

    def on_choose(self, handler: Callable[[int], Any]) -> None:
        """Call with the row of the pose that was clicked."""
        self.on("choose", lambda event: handler(int(_only(event))))

    def show(self, order: Order, chosen: int | None) -> None:
        """Show this order."""
        if order is not self._order:
            self._order = order
            drawn = json.dumps(_plain(order), separators=(",", ":"), allow_nan=False)
            self._props["address"] = self.shelf.put(drawn.encode(), "application/json")
        self._props["chosen"] = chosen
        self.update()


def _plain(order: Order) -> dict[str, Any]:
    """The chart of an order as plain values."""
    chart, rows = order.chart, order.rows.tolist()
    return {
        "size": [WIDTH, HEIGHT],
        "left": chart.left,
        "right": chart.right,
        "top": chart.top,
        "bottom": chart.bottom,
        "x_marks": [list(mark) for mark in chart.x_marks],
        "y_marks": [list(mark) for mark in chart.y_marks],
        "dots": [
            [round(d.x, 1), round(d.y, 1), d.colour, d.undominated, rows[d.number - 1], d.said]
            for d in chart.dots
            if math.isfinite(d.x) and math.isfinite(d.y)
        ],
        "flags": [vars(flag) | {"row": rows[flag.number - 1]} for flag in chart.flags],
        "strength": chart.strength,
        "low": chart.low,
        "high": chart.high,
        "alt": chart.alt,
    }


class HardFeatures(Element, component="features.js"):
    """The hard features of the pose that is shown, by verdict."""

    def __init__(self) -> None:
        super().__init__()
        self._props |= {"features": None, "verdicts": VERDICT_WORDS}

    def on_choose(self, handler: Callable[[int], Any]) -> None:
        """Call with the number of the feature that was chosen."""
        self.on("choose", lambda event: handler(int(_only(event))))

    def show(self, features: tuple[dict[str, Any], ...] | None) -> None:
        """Show these features; None while they are being looked for."""
        told = None if features is None else [_but_lines(one) for one in features]
        self._props["features"] = told
        self.update()


def _but_lines(feature: dict[str, Any]) -> dict[str, Any]:
    """A feature as the list shows it: its edges are for the viewer."""
    return {name: value for name, value in feature.items() if name != "lines"}


def _only(event: GenericEventArguments) -> Any:
    return event.args[0] if isinstance(event.args, list) else event.args

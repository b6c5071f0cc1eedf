"""Two poses side by side, turned together, with their figures."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from nicegui import ui

from orient.desk.order import facts_of
from orient.desk.scene import PartScene
from orient.desk.state import Desk
from orient.show.page.facts import Fact, compared


def build(desk: Desk) -> None:
    """The two that are pinned; their figures are told anew whenever the list is."""
    room = ui.element("div").classes("pair")
    rows: list[int] = []
    names: list[ui.html] = []
    figures: list[ui.element] = []

    def order() -> None:
        if rows == desk.pinned:
            tell()
            return
        chosen = len(rows) == 1
        rows[:] = desk.pinned
        for one in (room, names, figures):
            one.clear()
        with room:
            if len(rows) == 1:
                ui.label("Choose “compare” at another pose as well.").classes("small")
            if len(rows) == 2:
                desk.start(draw(seen=chosen))

    async def draw(seen: bool) -> None:
        asked = list(rows)
        while True:
            judged = desk.judged
            await _known(desk, asked)
            if asked != rows or desk.judged is None or desk.brought is None:
                return
            # Ranked anew meanwhile, they are other poses under the same numbers.
            if judged is desk.judged:
                break
        scenes = []
        with room:
            ui.html("<h3>Side by side</h3>", sanitize=False)
            with ui.element("div").classes("sides"):
                for row in asked:
                    with ui.element("figure"):
                        scene = PartScene(desk.visitor.shelf, quiet=True)
                        scene.on_ready(partial(_lie, desk, scene, row + 1))
                        names.append(ui.html("", sanitize=False, tag="figcaption"))
                        scenes.append(scene)
            # Both are there once the second is.
            scenes[1].on_ready(lambda: scenes[0].follow(scenes[1]))
            figures.append(ui.element("div"))
        tell()
        if seen:
            # The list is long: whoever pinned the second far down would not see that anything came of it.
            room.run_method("scrollIntoView", {"behavior": "smooth", "block": "start"})

    def tell() -> None:
        order = desk.order
        if order is None or not figures:
            return
        said = [f"Pose {order.number(row)}" for row in rows]
        for name, words in zip(names, said, strict=True):
            name.set_content(words)
        figures[0].clear()
        with figures[0]:
            _figures(said, compared([facts_of(order, order.number(row) - 1) for row in rows]))

    desk.when("order", order)
    desk.when("pictures", tell)


def pin(desk: Desk, row: int) -> None:
    """Put a pose beside another, or take it away again."""
    if row in desk.pinned:
        desk.pinned.remove(row)
    else:
        desk.pinned = [*desk.pinned[-1:], row]
    desk.tell("order")


async def _known(desk: Desk, rows: Sequence[int]) -> None:
    """See to it that the viewer can show poses."""
    judged = desk.judged
    for row in rows:
        if judged is None or row + 1 in desk.poses:
            continue
        x, y, z = judged.ranking.directions[row].tolist()
        pose = await desk.lane.do("pose", direction=(x, y, z), number=row + 1, features=False)
        if judged is not desk.judged:
            return
        desk.poses[row + 1] = pose
        if desk.scene is not None:
            desk.scene.add(pose)


def _lie(desk: Desk, scene: PartScene, number: int) -> None:
    if desk.brought is not None and number in desk.poses:
        scene.open(desk.brought.scene)
        scene.add(desk.poses[number])
        scene.show(number, "overhang")


def _figures(names: Sequence[str], facts: Sequence[Sequence[Fact]]) -> None:
    """The figures of poses beside each other, the better of each marked."""
    with ui.element("div").classes("wide"), ui.element("table"):
        with ui.element("thead"), ui.element("tr"):
            for name in ("", *names):
                ui.html(name, sanitize=False, tag="th")
        with ui.element("tbody"):
            for figures in zip(*facts, strict=True):
                with ui.element("tr"):
                    with ui.element("td"):
                        ui.label(figures[0].name)
                    for one in figures:
                        with ui.element("td").classes("better" if one.best else ""):
                            ui.label(one.said)

"""The ranked poses: the list, what matters as sliders, two side by side, the trade-off, a pose by hand."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from nicegui import ui
from nicegui.events import GenericEventArguments

from orient.desk.beside import care
from orient.desk.order import facts_of, weights_of
from orient.desk.scene import PartScene
from orient.desk.state import BY_HAND, Desk
from orient.desk.views import PoseCards, TradeOff
from orient.show.page.facts import MEANT, Fact, compared

# What a slider weighs, in words, and how far it goes.
_SLIDERS = {
    "support": "little support",
    "height": "a low build",
    "load": "strength under load",
    "first_layer": "a broad first layer",
    "finish": "fine steps",
    "faces": "faces that matter",
}
_MOST = 5.0


def build(desk: Desk) -> None:
    """What matters, then the list."""
    with ui.expansion("What matters", value=True).classes("weights"):
        sliders = {}
        for name, words in _SLIDERS.items():
            with ui.element("div").classes("weight"):
                label = ui.label(words)
                slider = ui.slider(min=0, max=_MOST, step=0.05, value=0).props(f'dense aria-label="{words}"')
                figure = ui.label().classes("small figure")

                def moved(event: GenericEventArguments, name: str = name, figure: ui.label = figure) -> None:
                    figure.set_text(f"{float(event.args):g}")
                    desk.weigh(name, float(event.args))

                # The event of a hand, not of a value that is set here.
                slider.on("update:model-value", moved, throttle=0.05)
            sliders[name] = (slider, figure, label)
    asks = ui.label().classes("small")
    figures = ui.expansion("What the figures mean").classes("meant")
    pair = ui.element("div").classes("pair")
    listed = PoseCards()
    listed.on_choose(lambda row: desk.start(desk.show(row)))
    listed.on_pin(lambda row: _pin(desk, row))
    why = ui.element("div").classes("why-room")
    care(desk)

    def brief() -> None:
        weights = weights_of(desk.history.now)
        for name, (slider, figure, label) in sliders.items():
            slider.set_value(min(weights[name], _MOST))
            figure.set_text(f"{weights[name]:g}")
            there = (
                desk.judged is None or name not in ("load", "faces") or name in desk.judged.ranking.penalty
            )
            for one in (slider, figure, label):
                one.set_visibility(there)

    def listing() -> None:
        listed.show(desk.cards, desk.pictures, desk.chosen, desk.pinned)

    def told() -> None:
        if desk.judged is None:
            asked = desk.brought is not None and (desk.brought.bodies or desk.brought.doubt)
            waits = "Answer the question over the part first; then its poses stand here, best first."
            none = "Bring a part, and its poses stand here, best first."
            soon = "Its poses are being measured; they stand here in a moment, best first."
            failed = f"The poses could not be ranked. {desk.trouble}"
            soon = failed if desk.trouble else soon
            asks.set_text(waits if asked else none if desk.brought is None else soon)
        else:
            load = _load_words(desk)
            count = len(desk.judged.ranking.directions)
            asks.set_text(
                f"{count:,} poses were tried and numbered by score, the lower the better. Shown are the best "
                f"that stand well apart, and the best that rests on no flat face.{load}"
            )

    meant: list[str] = []

    def explain(names: list[str]) -> None:
        figures.set_visibility(bool(names))
        if names == meant:
            return
        meant[:] = names
        figures.clear()
        with figures, ui.element("dl"):
            for name in names:
                with ui.element("div"):
                    ui.html(name, sanitize=False, tag="dt")
                    ui.html(f": {MEANT[name]}.", sanitize=False, tag="dd")

    def order() -> None:
        cards = desk.cards
        explain([fact.name for fact in cards[0].facts if fact.name in MEANT] if cards else [])
        listing()
        told()
        why.clear()
        card = next((one for one in cards if one.row == desk.chosen), None)
        if card is not None:
            with why:
                ui.html(f"<h3>Pose {card.number}</h3>", sanitize=False)
                ui.label(f"It rests on {card.rests}.")
                with ui.element("ul").classes("points"):
                    for said in card.why:
                        with ui.element("li"):
                            ui.label(said)
        brief()

    def side_by_side() -> None:
        if getattr(pair, "rows", None) == desk.pinned:
            return
        pair.rows = list(desk.pinned)  # type: ignore[attr-defined]
        pair.clear()
        if len(desk.pinned) == 1:
            with pair:
                ui.label("Choose “compare” at another pose as well.").classes("small")
        if len(desk.pinned) == 2:
            with pair:
                desk.start(_pair(desk, pair))

    desk.when("brief", brief)
    desk.when("brief", order)
    desk.when("order", order)
    desk.when("beside", told)
    desk.when("weighed", listing)
    desk.when("pictures", listing)
    desk.when("order", side_by_side)


def _load_words(desk: Desk) -> str:
    """What the list makes of the load, where that is not all there is to it."""
    assert desk.judged is not None
    if "strength" in desk.beside:
        return " The stress is being found; the list counts it once it is."
    if desk.forces_moved:
        return " The forces have changed since: find the stress again, under Strength."
    if desk.loaded:
        return ""
    if desk.forces_ready:
        return " The forces are not counted yet: find the stress, under Strength."
    if desk.history.now.get("load", {}).get("case"):
        return " For the forces to count, say both where it is held and where it is pushed, under Job."
    if desk.judged.load_caution:
        return ""
    return " No load is given: say under Job along which way it is pulled, or where it is held and pushed."


def _pin(desk: Desk, row: int) -> None:
    if row in desk.pinned:
        desk.pinned.remove(row)
    else:
        desk.pinned = [*desk.pinned[-1:], row]
    desk.tell("order")


async def _pair(desk: Desk, into: ui.element) -> None:
    """Two poses side by side, turned together, with their figures."""
    judged, order, rows = desk.judged, desk.order, list(desk.pinned)
    if judged is None or order is None or desk.brought is None:
        return
    for row in rows:
        if row + 1 not in desk.poses:
            x, y, z = judged.ranking.directions[row].tolist()
            desk.poses[row + 1] = await desk.lane.do(
                "pose", direction=(x, y, z), number=row + 1, features=False
            )
            if desk.scene is not None:
                desk.scene.add(desk.poses[row + 1])
    if rows != desk.pinned or judged is not desk.judged:
        return
    names = [f"Pose {order.number(row)}" for row in rows]
    scenes = []
    with into:
        ui.html("<h3>Side by side</h3>", sanitize=False)
        with ui.element("div").classes("sides"):
            for row, name in zip(rows, names, strict=True):
                with ui.element("figure"):
                    scene = PartScene(desk.visitor.shelf, quiet=True)
                    scene.on_ready(partial(_lie, desk, scene, row + 1))
                    ui.html(name, sanitize=False, tag="figcaption")
                    scenes.append(scene)
        # Both are there once the second is.
        scenes[1].on_ready(lambda: scenes[0].follow(scenes[1]))
        _figures(names, compared([facts_of(order, order.number(row) - 1) for row in rows]))


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


def chart(desk: Desk) -> None:
    """The trade-off under the part."""
    drawn = TradeOff(desk.visitor.shelf)
    drawn.on_choose(lambda row: desk.start(desk.show(row)))

    def order() -> None:
        drawn.set_visibility(desk.order is not None)
        if desk.order is not None:
            drawn.show(desk.order, desk.chosen)

    desk.when("order", order)


def by_hand(desk: Desk) -> None:
    """What the pose would score that a hand has turned the part to."""
    room = ui.element("div").classes("note by-hand").props('aria-live="polite"')

    def pose() -> None:
        scored = desk.scored
        shown = scored is not None and desk.chosen == BY_HAND
        room.set_visibility(shown)
        room.clear()
        if not shown or scored is None:
            return
        with room:
            ui.label(
                f"Turned by hand, it scores {scored.score:.3f}; {scored.better:,} of the {scored.of:,} poses "
                "of the list are better. "
                + "; ".join(f"{name} {said}" for name, said in scored.facts).capitalize()
                + "."
            )
            ui.button(
                f"Show the nearest of the list, {scored.off_deg:.1f}° away",
                on_click=lambda: desk.start(desk.show(scored.nearest - 1)),
            ).props("outline dense no-caps")

    desk.when("pose", pose)

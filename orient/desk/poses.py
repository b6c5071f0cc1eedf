"""The ranked poses: the list, what matters as sliders, the trade-off, a pose by hand."""

from __future__ import annotations

from nicegui import ui
from nicegui.events import GenericEventArguments

from orient.desk import pair
from orient.desk.beside import care
from orient.desk.change import weigh
from orient.desk.order import weights_of
from orient.desk.shown import show
from orient.desk.state import BY_HAND, Desk
from orient.desk.views import PoseCards, TradeOff
from orient.show.page.facts import MEANT

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
                    weigh(desk, name, float(event.args))

                # The event of a hand, not of a value that is set here.
                slider.on("update:model-value", moved, throttle=0.05)
            sliders[name] = (slider, figure, label)
    asks = ui.label().classes("small")
    figures = ui.expansion("What the figures mean").classes("meant")
    pair.build(desk)
    listed = PoseCards()
    listed.on_choose(lambda row: desk.start(show(desk, row)))
    listed.on_pin(lambda row: pair.pin(desk, row))
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
            count, out = len(desk.judged.ranking.directions), len(desk.judged.ranking.excluded)
            left = (
                f" {out:,} of them are left out by the machine or by what a pose must keep, under Job."
                if out
                else ""
            )
            asks.set_text(
                f"{count + out:,} poses were tried and numbered by score, the lower the better. Shown are "
                f"the best that stand well apart, and the best that rests on no flat face. “Along −y” means "
                f"that −y of the file points up.{left}{load}"
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

    desk.when("brief", brief)
    desk.when("brief", order)
    desk.when("order", order)
    desk.when("beside", told)
    desk.when("weighed", listing)
    desk.when("pictures", listing)


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


def chart(desk: Desk) -> None:
    """The trade-off under the part."""
    drawn = TradeOff(desk.visitor.shelf)
    drawn.on_choose(lambda row: desk.start(show(desk, row)))

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
                on_click=lambda: desk.start(show(desk, scored.nearest - 1)),
            ).props("outline dense no-caps")

    desk.when("pose", pose)

"""The page of the desk: the part in the middle, the job to its left, what was found to its right."""

from __future__ import annotations

from pathlib import Path

from nicegui import ui

from orient.desk import bring, hard, job, pick, poses, strength, take, variants
from orient.desk.beside import told_words
from orient.desk.change import redo, undo
from orient.desk.order import Card
from orient.desk.part import bring_part
from orient.desk.rank import find_stress
from orient.desk.scene import WAYS, PartScene
from orient.desk.shown import colour, show, turned
from orient.desk.state import BY_HAND, Desk
from orient.desk.visitor import Visitor
from orient.desk.work import Stopped

_HERE = Path(__file__).parent
_STYLE = "\n".join(
    path.read_text(encoding="utf-8")
    for path in (_HERE.parent / "show" / "page" / "page.css", _HERE / "desk.css")
)
ui.add_css(_STYLE, shared=True)
_BEING_RANKED = "The job has changed; the poses are being ranked anew."
_OF_THE_JOB_BEFORE = "The job as it is now cannot be ranked; this is of the job before."
_PLACES = ("corner", "under", "front", "back", "left", "right", "above")


async def build(visitor: Visitor, mesh: Path | None) -> None:
    """Make the page of a visitor; one who loads it again finds everything as it was.

    Parameters
    ----------
    visitor : Visitor
        Who it is for.
    mesh : Path or None
        A part to begin with, on a first visit.
    """
    known = visitor.state.get("desk")
    desk: Desk = known if known is not None else Desk(visitor)
    ui.colors(primary="#005a8c", dark="#1c2024")
    visitor.state["desk"] = desk
    desk.begin()
    # Work that nobody waits for lives as long as the page, not as long as the button that began it.
    desk.page = ui.context.client.content
    desk.start(visitor.quick.ready())
    _head(desk)
    bring.Anywhere(desk)
    with ui.element("main").classes("desk") as room:
        with ui.element("div").classes("middle"):
            _middle(desk)
        with ui.element("div").classes("sheets"):
            with ui.element("div").classes("side job-side"):
                bring.build(desk)
                job.build(desk)
            with ui.element("div").classes("side found-side"):
                _found(desk)

    def part() -> None:
        # Until there is a part there is one thing to do.
        room.classes(remove="empty") if desk.brought is not None else room.classes("empty")

    desk.when("part", part)
    if known is not None and desk.brought is not None and not desk.brought.bodies:
        assert desk.scene is not None
        desk.scene.open(desk.brought.scene, waits=desk.chosen is not None)
        for pose in desk.poses.values():
            desk.scene.add(pose)
        if desk.holes is not None:
            desk.scene.with_holes(desk.holes)
        desk.scene.mode(_mode(desk))
        if desk.chosen is not None:
            desk.start(show(desk, desk.chosen))
    desk.tell("part", "brief", "order", "pose", "pick", "busy", "beside", "strength", "compared")
    if known is None and mesh is not None:
        desk.start(bring_part(desk, mesh, mesh.stem))


def _head(desk: Desk) -> None:
    with ui.element("header").classes("desk-head"):
        ui.html("<strong>orient</strong> desk", sanitize=False).classes("sign")
        name = ui.label().classes("part")
        told = ui.label().classes("told small").props('aria-live="polite"')
        bar = ui.linear_progress(show_value=False, size="4px").classes("bar")
        jumps: list[ui.element] = []
        for words, where in (("Job", ".job-side"), ("Findings", ".found-side")):
            jump = (
                ui.button(words)
                .on("click", js_handler=f"() => document.querySelector('{where}').scrollIntoView()")
                .props("flat no-caps dense")
                .classes("jump")
            )
            jumps.append(jump)
        undone = ui.button("Undo", on_click=lambda: undo(desk)).props("flat no-caps dense").classes("undo")
        again = ui.button("Redo", on_click=lambda: redo(desk)).props("flat no-caps dense")

    def brief() -> None:
        last, coming = desk.history.last, desk.history.next
        undone.set_enabled(last is not None)
        undone.props["title"] = f"Take back: {last} (Ctrl Z)" if last else "No change of the job to take back"
        undone.update()
        again.set_enabled(coming is not None)
        again.props["title"] = f"Make again: {coming} (Ctrl Y)" if coming else "Nothing was taken back"
        again.update()

    def busy() -> None:
        doing = (desk.busy, desk.share) if desk.busy else next(iter(desk.beside.values()), ("", None))
        told.set_text(f"{doing[0]} …" if doing[0] else "")
        bar.set_visibility(bool(doing[0]))
        bar.set_value(doing[1] or 0.0)

    def part() -> None:
        name.set_text(desk.name)
        for one in (*jumps, undone, again):
            one.set_visibility(desk.brought is not None)
        brief()

    desk.when("busy", busy)
    desk.when("beside", busy)
    desk.when("brief", brief)
    desk.when("weighed", brief)
    desk.when("part", part)


def _middle(desk: Desk) -> None:
    welcome = ui.element("div").classes("welcome")
    with welcome:
        bring.welcome(desk)
    bring.question(desk)
    shown = ui.element("div").classes("shown")
    with shown:
        with ui.element("div").classes("answer-line") as over:
            answer = ui.label().classes("answer")
            with ui.element("div").classes("beneath"):
                instead = ui.button(
                    on_click=lambda: desk.order and desk.start(show(desk, desk.order.recommended))
                )
                instead.props("flat dense no-caps").classes("instead")
                rests = ui.label().classes("small")
                uncounted = ui.button(
                    "The forces are not counted yet: find the stress", on_click=lambda: find_stress(desk)
                )
                uncounted.props("flat dense no-caps").classes("instead")
                stale = ui.label().classes("small")
                told = ui.label().classes("small").props('aria-live="polite"')
                fails = ui.label().classes("fails")
                unfit = ui.label().classes("fails short")
            out = ui.button(
                "Take the 3MF", on_click=lambda: take.fetch(desk, take.BESIDE_THE_ANSWER, "save", kind="3mf")
            )
            out.props("unelevated no-caps").tooltip("The part in the pose that is shown, as a 3MF file")
        with ui.element("div").classes("stage"):
            with ui.element("div").classes("banner"):
                pick.banner(desk)
                poses.by_hand(desk)
            desk.scene = PartScene(
                desk.visitor.shelf, hint="Drag to turn the view; point at a face to read what is known of it."
            )
        desk.scene.on_picked(desk_picked(desk))
        desk.scene.on_turned(lambda told: _guarded(turned(desk, told["direction"])))
        # Between the part and the key of its colours, which may be long: a button stays under the hand.
        with desk.scene, ui.element("div").classes("switches"):
            with ui.element("fieldset"):
                ui.html("Colour by", sanitize=False, tag="legend")
                ways = ui.toggle(dict(WAYS), value=desk.paint).props("no-caps dense unelevated")
                ways.on_value_change(lambda event: _guarded(colour(desk, event.value)))
            with ui.element("fieldset").classes("places"):
                ui.html("Look from", sanitize=False, tag="legend")
                for place in _PLACES:
                    ui.button(place, on_click=lambda place=place: desk.scene.see(place)).props(
                        "flat dense no-caps"
                    )
            by_hand = ui.switch("Turn the part by hand").tooltip(
                "Drag the part itself; let go, and read what that pose would score"
            )
            by_hand.on_value_change(lambda event: desk.scene.mode("hand" if event.value else _mode(desk)))
        poses.chart(desk)

    def part() -> None:
        there = desk.brought is not None and not desk.brought.bodies and desk.brought.doubt is None
        welcome.set_visibility(desk.brought is None)
        shown.set_visibility(desk.brought is not None and not desk.brought.bodies)
        over.set_visibility(there)
        if not there:
            answer.set_text("")

    def order() -> None:
        cards = desk.cards
        best = next((one for one in cards if one.taken), None)
        shown = next((one for one in cards if one.row == desk.chosen), best)
        by_hand = desk.chosen == BY_HAND
        if best is None or shown is None:
            answer.set_text("")
        elif by_hand:
            answer.set_text("Turned by hand")
        else:
            answer.set_text(shown.head if shown.taken else f"Pose {shown.number}, along {shown.along}")
        other = shown is not None and (by_hand or not shown.taken)
        instead.set_visibility(other)
        instead.set_text(f"Show the one to take: pose {best.number}, along {best.along}" if best else "")
        out.set_visibility(best is not None)
        stale.set_visibility(desk.stale and bool(desk.busy or desk.trouble))
        stale.set_text(_BEING_RANKED if desk.busy else f"{_OF_THE_JOB_BEFORE} {desk.trouble}")
        rests.set_visibility(shown is not None and not other and not stale.visible)
        rests.set_text(f"It rests on {shown.rests}." if shown is not None else "")
        bears, how = ("", "") if by_hand else _bears_words(desk, shown)
        fails.set_visibility(bool(bears))
        fails.set_text(bears)
        fails.classes(f"fails {how}".strip(), remove="bears unsure short")
        # What makes any pose useless stands beside the answer.
        wont = () if desk.judged is None else [said for verdict, said in desk.judged.suits if verdict == "no"]
        unfit.set_visibility(bool(wont))
        unfit.set_text(wont[0] if wont else "")

    def beside() -> None:
        finding = "strength" in desk.beside
        told.set_text(told_words(desk, "strength" if finding else take.BESIDE_THE_ANSWER))
        counted = desk.loaded and not desk.forces_moved
        uncounted.set_visibility(
            desk.judged is not None and desk.forces_ready and not counted and not finding
        )

    def pose() -> None:
        loaded = desk.loaded
        ways.set_options({k: v for k, v in WAYS.items() if k != "safety" or loaded}, value=desk.paint)

    def let_go() -> None:
        # A click that is asked for, and another part, take the part out of the hand.
        by_hand.set_value(False)

    desk.when("part", part)
    desk.when("part", let_go)
    desk.when("pick", let_go)
    desk.when("order", order)
    desk.when("busy", order)
    desk.when("beside", beside)
    desk.when("brief", beside)
    desk.when("order", beside)
    desk.when("pose", pose)
    desk.when("strength", pose)


def _mode(desk: Desk) -> str:
    """What the pointer takes where the part is not in the hand."""
    return "look" if desk.wanted is None else str(desk.wanted.mode)


def _bears_words(desk: Desk, card: Card | None) -> tuple[str, str]:
    """Whether the pose that is shown bears its load, in a line beside the answer, and how that looks."""
    if desk.judged is None or card is None or not desk.loaded or desk.forces_moved:
        return "", ""
    factor = next((fact for fact in card.facts if fact.name == "safety factor"), None)
    if factor is None:
        return "", ""
    if card.taken and desk.judged.failing:
        # Its first half has room here; the Strength room and the files say all of it.
        said = desk.judged.failing[0].partition(":")[0]
        return f"{said}, safety factor {factor.said.partition(':')[0]}.", "short"
    if factor.value < 1.0:
        said = f"It is expected to fail under its load, safety factor {factor.said.partition(':')[0]}."
        return said, "short"
    told = (desk.judged.strength or {}).get("poses", ())
    if any(one["number"] == card.row + 1 and one["short"] for one in told):
        said = "It may fail under its load, with the least strengths that are cited"
        return f"{said}: safety factor {factor.said}.", "short"
    # What heat and time take from it is not known here.
    if (desk.judged.strength or {}).get("service"):
        short = "for a short time " if desk.history.now.get("load", {}).get("sustained") else ""
        return f"It bears its load {short}at room temperature, safety factor {factor.said}.", "unsure"
    return f"It bears its load, safety factor {factor.said}.", "bears"


def desk_picked(desk: Desk):  # type: ignore[no-untyped-def]
    """What a click on the part does: what the job was asked to take."""
    return lambda told: _guarded(pick.picked(desk, told))


def _found(desk: Desk) -> None:
    rooms = {
        "poses": ("Poses", poses.build),
        "hard": ("Hard features", hard.build),
        "strength": ("Strength", strength.build),
        "variants": ("Revision", variants.build),
        "take": ("Take away", take.build),
    }
    with ui.tabs().props("no-caps dense align=left inline-label narrow-indicator").classes("rooms") as tabs:
        for key, (title, _) in rooms.items():
            ui.tab(key, label=title)
    with ui.tab_panels(tabs, value="poses", keep_alive=True, animated=False).classes("room"):
        for key, (_, make) in rooms.items():
            with ui.tab_panel(key):
                make(desk)
    before = desk.brought

    def part() -> None:
        nonlocal before
        if desk.brought is not before:
            # Another part begins where the first did.
            tabs.set_value("poses")
        before = desk.brought

    desk.when("part", part)


async def _guarded(work) -> None:  # type: ignore[no-untyped-def]
    """Let stopped work end without a word; anything else is told by the page."""
    try:
        await work
    except Stopped:
        return

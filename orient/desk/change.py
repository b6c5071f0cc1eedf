"""The job is changed, or a change taken back, and the poses are ranked anew where that matters."""

from __future__ import annotations

import asyncio

from nicegui import ui

from orient.desk.edits import Data, with_value
from orient.desk.order import order_of, weights_of
from orient.desk.rank import rank_anew
from orient.desk.shown import show
from orient.desk.state import Desk
from orient.errors import OrientError

# A slider that has rested so long has come to rest: the part turns over, then the search goes on from there.
REST_S, SEARCH_S = 0.3, 0.9


def edit(desk: Desk, new: Data, what: str, *, joins: bool = False, again: bool = True) -> None:
    """Change the brief, and rank anew where that changes more than weights."""
    if not desk.history.change(new, what, joins=joins):
        return
    desk.stale = True
    desk.tell("brief")
    if again:
        desk.start(rank_anew(desk))


def undo(desk: Desk) -> None:
    """Take the last change back."""
    _moved(desk, desk.history.undo(), "Taken back", "Nothing to take back.")


def redo(desk: Desk) -> None:
    """Make again what was taken back last."""
    _moved(desk, desk.history.redo(), "Made again", "Nothing was taken back.")


def _moved(desk: Desk, what: str | None, done: str, none: str) -> None:
    if what is None:
        ui.notify(none)
        return
    ui.notify(f"{done}: {what}.")
    desk.stale = True
    desk.tell("brief")
    desk.start(rank_anew(desk))


def weigh(desk: Desk, name: str, weight: float) -> None:
    """Rank by another weight, at once, from the measures that are kept."""
    desk.history.change(
        with_value(desk.history.now, f"weights.{name}", float(weight)),
        f"the weight on {name}",
        joins=True,
    )
    if desk.judged is None or desk.order is None:
        return
    followed = desk.follows
    try:
        desk.order = order_of(desk.judged, weights_of(desk.history.now))
    except OrientError as error:
        ui.notify(str(error))
        return
    desk.tell("weighed")
    if desk.resting is not None:
        desk.resting.cancel()
    desk.resting = desk.start(_rest(desk, followed or desk.followed))
    desk.followed = followed or desk.followed


async def _rest(desk: Desk, followed: bool) -> None:
    """Once the hand has let go: the new first pose on the bed, then the search from where it is now."""
    await asyncio.sleep(REST_S)
    desk.followed = False
    desk.tell("brief", "order")
    if followed and desk.order is not None and desk.chosen != desk.order.recommended:
        # By itself: a hand that moves on calls off what waits here, not a job in the middle.
        desk.start(show(desk, desk.order.recommended))
    await asyncio.sleep(SEARCH_S)
    desk.resting = None
    await rank_anew(desk)

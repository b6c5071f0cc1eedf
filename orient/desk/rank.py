"""The poses are ranked under the job as it is, with the stress where it is known, and then shown."""

from __future__ import annotations

import tomllib

import numpy as np
from nicegui import ui

from orient.desk.answers import Judged
from orient.desk.borne import borne_alike
from orient.desk.edits import Data, with_value
from orient.desk.entry import as_fields
from orient.desk.going import do_beside
from orient.desk.order import in_order
from orient.desk.shown import show
from orient.desk.state import Desk
from orient.desk.work import Stopped
from orient.errors import OrientError


async def rank(desk: Desk) -> None:
    """Rank the poses under the brief as it is; asked meanwhile, once more afterwards."""
    if desk.brought is None or desk.brought.bodies:
        return
    desk.turn += 1
    if desk.evaluating:
        desk.again = True
        return
    desk.evaluating, desk.trouble = True, ""
    try:
        while True:
            desk.again, turn = False, desk.turn
            toml = desk.toml
            try:
                judged = await desk.visitor.quick.do("evaluate", toml=toml, progress=desk.say)
            except OrientError as error:
                # What was changed meanwhile may have mended it.
                if not desk.again:
                    _not_ranked(desk, error)
                    raise
            if not desk.again:
                break
    finally:
        desk.evaluating = False
        desk.say("")
    if turn == desk.turn:
        show_ranking(desk, judged)


async def rank_anew(desk: Desk) -> None:
    """Rank under the job as it is now, with the stress where it is that which was found last."""
    kept = desk.solved is not None and borne_alike(desk.solved, desk.toml)
    await (_rank_loaded(desk) if kept else rank(desk))


async def _rank_loaded(desk: Desk) -> None:
    """Rank anew with the load cases, whose stress is known: nothing is solved again."""
    desk.turn += 1
    turn, toml = desk.turn, desk.toml
    try:
        judged = await desk.visitor.long.do("strength", toml=toml, progress=desk.say)
    except OrientError as error:
        _not_ranked(desk, error)
        raise
    finally:
        desk.say("")
    # What was asked for since, of the other child, is newer whichever answers first.
    if turn == desk.turn:
        show_ranking(desk, judged, loaded=True)


def _not_ranked(desk: Desk, error: OrientError) -> None:
    desk.trouble = as_fields(str(error))
    desk.tell("order")


async def find_stress(desk: Desk) -> None:
    """Rank with the load cases solved; the rest stays usable meanwhile."""
    if "strength" in desk.beside:
        return
    _say_the_fill(desk)
    lane, begins = desk.visitor.long, "Filling the part with cells"
    try:
        while True:
            judged = await do_beside(desk, "strength", lane, "strength", begins, toml=desk.toml)
            if judged.toml == desk.toml:
                break
            if _but_weights(judged.toml) != _but_weights(desk.toml):
                desk.said["strength"] = "The job was changed meanwhile: find the stress again."
                desk.tell("beside")
                return
    except Stopped:
        return
    desk.turn += 1
    show_ranking(desk, judged, loaded=True)


def _say_the_fill(desk: Desk) -> None:
    """Where no fill was said, the one that hours are of: the safety is to be of the same part."""
    if desk.judged is None or "infill" in desk.history.now.get("process", {}):
        return
    share = desk.judged.infill
    if desk.history.change(with_value(desk.history.now, "process.infill", share), "the usual fill"):
        ui.notify(
            f"No fill was said: {100 * share:g} % is taken, the usual one. Say another under Job: 100 is "
            "a solid part."
        )
        desk.tell("brief")


def stress_lost(desk: Desk) -> None:
    """The child that held the stress is gone: the list is ranked without it, until it is found again."""
    desk.solved = None
    if desk.loaded and not desk.visitor.gone:
        desk.start(rank(desk))


def show_ranking(desk: Desk, judged: Judged, *, loaded: bool = False) -> None:
    """Show an evaluation."""
    old, followed = desk.judged, desk.follows
    desk.loaded, desk.trouble = loaded, ""
    if loaded:
        desk.solved = judged.toml
    elif desk.paint == "safety":
        desk.paint = "overhang"  # the colours went with what they were of
    desk.stale = judged.toml != desk.toml
    weighed = old is not None and _but_weights(old.toml) == _but_weights(judged.toml)
    alike = _same_poses(old, judged) if old is not None else {}
    kept = alike if weighed else {}
    desk.pictures = {kept[row]: address for row, address in desk.pictures.items() if row in kept}
    desk.pinned = [alike[row] for row in desk.pinned if row in alike]
    shown = None if followed or desk.chosen is None else alike.get(desk.chosen)
    desk.judged, desk.order, desk.poses, desk.scored = judged, in_order(judged), {}, None
    desk.solid = {kind: one for kind, one in desk.solid.items() if kind == "thickness" and weighed}
    desk.chosen = desk.order.recommended if shown is None else shown
    desk.tell("order", "strength")
    desk.start(show(desk, desk.chosen, follow_up=True))


def _but_weights(toml: str) -> Data:
    """A brief without its weights."""
    return {name: section for name, section in tomllib.loads(toml).items() if name != "weights"}


def _same_poses(old: Judged, new: Judged) -> dict[int, int]:
    """Rows of poses that both evaluations have, the new by the old."""
    spots = {one.tobytes(): row for row, one in enumerate(np.round(new.ranking.directions, 9) + 0.0)}
    pairs = (
        (row, spots.get(one.tobytes())) for row, one in enumerate(np.round(old.ranking.directions, 9) + 0.0)
    )
    return {row: found for row, found in pairs if found is not None}

"""A pose is put on the bed: turned over, coloured, its hard features looked for, its small pictures drawn."""

from __future__ import annotations

import numpy as np

from orient.desk.answers import Judged, Pose
from orient.desk.state import BY_HAND, Desk
from orient.desk.work import Stopped
from orient.features.model import VERDICTS


async def show(desk: Desk, row: int, *, follow_up: bool = False) -> None:
    """Turn the part over into a pose, then look for what is hard about it."""
    if desk.judged is None:
        return
    if row != desk.chosen:
        desk.chosen = row
        desk.tell("order")
    number, judged = row + 1, desk.judged
    desk.tell("pose")
    if desk.scene is None:
        return
    try:
        for features in (False, True):
            known = desk.poses.get(number)
            if known is None or (features and known.features is None):
                pose = await _pose(desk, number, features=features)
                if desk.judged is not judged:
                    return
                desk.poses[number] = pose
                desk.scene.add(pose)
            elif features:
                break
            if desk.chosen == row:
                desk.scene.show(number, desk.paint)
                desk.tell("pose")
        _count(desk, row, desk.poses[number])
        await _coloured(desk)
        if follow_up:
            await _pictures(desk, judged)
            await _holes(desk)
    except Stopped:
        return


def _count(desk: Desk, row: int, pose: Pose) -> None:
    """Put the hard features of a pose that was looked at beside its figures."""
    if desk.judged is None or not desk.judged.counts or row in desk.judged.counts or row == BY_HAND:
        return
    verdicts = [str(one["verdict"]) for one in pose.features or ()]
    desk.judged.counts[row] = {one: verdicts.count(one) for one in VERDICTS}
    desk.tell("pictures")


async def _pose(desk: Desk, number: int, *, features: bool) -> Pose:
    pose: Pose = await desk.lane.do("pose", direction=_of(desk, number), number=number, features=features)
    return pose


def _of(desk: Desk, number: int) -> tuple[float, float, float]:
    assert desk.judged is not None
    if number == BY_HAND + 1 and desk.scored is not None:
        return desk.scored.direction
    x, y, z = desk.judged.ranking.directions[number - 1].tolist()
    return x, y, z


async def _pictures(desk: Desk, judged: Judged) -> None:
    for card in desk.cards:
        if card.row in desk.pictures or desk.judged is not judged:
            continue
        x, y, z = judged.ranking.directions[card.row].tolist()
        png, _ = await desk.lane.do("picture", direction=(x, y, z))
        if desk.judged is not judged:
            return
        desk.pictures[card.row] = desk.visitor.shelf.put(png, "image/png")
        desk.tell("pictures")


async def _holes(desk: Desk) -> None:
    if desk.holes is None and desk.scene is not None:
        desk.holes = await desk.visitor.quick.do("holes")
        desk.scene.with_holes(desk.holes)


async def turned(desk: Desk, direction: list[float]) -> None:
    """Say what a pose would score that a hand has turned to."""
    up = np.array(direction) / np.linalg.norm(direction)
    x, y, z = up.tolist()
    desk.scored = await desk.lane.do("score", direction=(x, y, z))
    desk.poses.pop(BY_HAND + 1, None)
    await show(desk, BY_HAND)


async def colour(desk: Desk, paint: str) -> None:
    """Colour the part by one of the ways."""
    desk.paint = paint
    await _coloured(desk)


async def _coloured(desk: Desk) -> None:
    if desk.scene is None or desk.chosen is None or desk.judged is None:
        return
    number, paint = desk.chosen + 1, desk.paint
    # Thickness is the same in every pose.
    key = paint if paint == "thickness" else f"{paint}:{number}"
    if paint in ("thickness", "safety") and key not in desk.solid:
        colours = await desk.lane.do("colours", kind=paint, direction=desk.direction)
        desk.solid[key] = colours
    if paint in ("thickness", "safety"):
        desk.scene.colour(paint, None if paint == "thickness" else number, desk.solid[key])
    desk.scene.paint(paint)

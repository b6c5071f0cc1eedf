"""A part is read, and takes the place of the one before."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from orient.desk.answers import Brought
from orient.desk.rank import rank
from orient.desk.state import Desk
from orient.errors import OrientError


async def bring_part(
    desk: Desk, path: Path, name: str, *, read: Callable[[], None] | None = None, **asked: Any
) -> None:
    """Read a part, then rank its poses; ask where its unit or its body is in doubt.

    Parameters
    ----------
    desk : Desk
        Whose.
    path, name : Path, str
        The mesh, and what to call the part.
    read : callable, optional
        Called once it was read: a file that cannot be leaves everything as it was.
    **asked
        Unit and body, where they were asked for.
    """
    desk.visitor.quick.stop()
    desk.say(f"Reading {name}")
    try:
        brought: Brought = await desk.visitor.quick.do(
            "bring", path=str(path), name=name, progress=desk.say, **asked
        )
    except OrientError:
        if path.parent == desk.visitor.folder and path != desk.file:
            path.unlink(missing_ok=True)
        # What was being found of the part before was stopped for this one.
        if desk.brought is not None and desk.brought.doubt is None and not desk.loaded:
            desk.start(rank(desk))
        raise
    finally:
        desk.say("")
    if path != desk.file:
        desk.left = None
    if read is not None:
        read()
    desk.visitor.shelf.renew()
    desk.turn += 1
    desk.file, desk.name, desk.brought, desk.asked = path, name, brought, asked
    desk.holes = desk.judged = desk.order = desk.chosen = desk.scored = None
    desk.pinned, desk.pictures, desk.poses, desk.solid = [], {}, {}, {}
    desk.loaded, desk.compared, desk.revision, desk.case, desk.trouble = False, None, None, 0, ""
    desk.said.clear()
    desk.wanted, desk.marked, desk.solved, desk.unfound = None, [], None, set()
    desk.paint = "overhang" if desk.paint == "safety" else desk.paint
    if desk.scene is not None:
        desk.scene.mode("look")
        if not brought.bodies:
            desk.scene.open(brought.scene)
    # Whatever goes on beside is of the part before.
    desk.visitor.long.stop()
    desk.tell("part", "order", "pose", "pick", "beside", "strength", "compared")
    if not brought.bodies and brought.doubt is None:
        await rank(desk)

"""Work that goes on beside the rest of the desk: begun, told of, stopped."""

from __future__ import annotations

import asyncio
from time import monotonic
from typing import Any

from orient.desk.entry import as_fields
from orient.desk.state import Desk
from orient.desk.work import Stopped, Work
from orient.errors import OrientError


async def do_beside(desk: Desk, kind: str, lane: Work, job: str, begins: str, /, **arguments: Any) -> Any:
    """Have a job done while the rest stays usable.

    Parameters
    ----------
    desk : Desk
        Whose.
    kind : str
        Under which it is told how far it is, and how it ended.
    lane : Work
        Who does it.
    job : str
        What is done.
    begins : str
        What is said until the job says something itself.
    **arguments
        Of the job.
    """

    def far(words: str, share: float | None) -> None:
        # A step may be told again from its beginning, for a further load case: a bar that goes back is not
        # believed.
        doing, before = desk.beside.get(kind, ("", None))
        back = doing == words and before is not None and share is not None and share < before
        desk.beside[kind] = words, before if back else share
        desk.tell("beside")

    desk.said.pop(kind, None)
    desk.began[kind] = monotonic()
    far(begins, None)
    going = asyncio.ensure_future(lane.do(job, progress=far, **arguments))
    desk.going[kind] = going
    held = lane.process_id
    try:
        return await going
    except (Stopped, asyncio.CancelledError) as error:
        stopped = isinstance(error, Stopped) or desk.going.get(kind) is not going
        going.cancel()
        if not stopped:
            raise
        desk.said[kind] = "Stopped."
        if lane is desk.visitor.long and held is not None and lane.process_id != held:
            desk.tell("lost")
        raise Stopped from None
    except OrientError as error:
        desk.said[kind] = as_fields(str(error))
        raise
    finally:
        desk.going.pop(kind, None)
        desk.beside.pop(kind, None)
        desk.tell("beside")


def stop_beside(desk: Desk, kind: str) -> None:
    """Stop one kind of work; what waits behind it goes on."""
    going = desk.going.pop(kind, None)
    if going is not None:
        going.cancel()

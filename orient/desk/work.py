"""A lane of work: one job after another in a child process that can be stopped at any moment."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from orient.desk.warm import Child, Ended, Fault, Warm
from orient.errors import OrientError

__all__ = ["Bench", "Fault", "Stopped", "Work"]


class Stopped(Exception):
    """The work was stopped before it came to an end."""


@dataclass(eq=False)
class Bench:
    """What the lanes of one visitor work on.

    Attributes
    ----------
    folder : Path
        Private folder, for the files of the visitor and those that a reader lays down for a moment.
    part : dict or None
        How the part was brought, to bring it to another child.
    count : int
        Parts that were brought so far.
    """

    folder: Path
    part: dict[str, Any] | None = None
    count: int = 0
    _files: list[Path] = field(default_factory=list)

    def take(self, part: dict[str, Any]) -> None:
        """Note which part it is from now on; the file of the last one stays, since it may still be read."""
        path = Path(part["path"])
        if path.parent == self.folder and path not in self._files:
            self._files.append(path)
            for old in self._files[:-2]:
                old.unlink(missing_ok=True)
            del self._files[:-2]
        self.part = part
        self.count += 1


@dataclass(eq=False)
class Work:
    """One lane.

    Parameters
    ----------
    bench : Bench
        What it works on.
    warm : Warm
        Where children come from.
    """

    bench: Bench
    warm: Warm
    _child: Child | None = None
    _has: int = 0
    _stops: int = 0
    _asked: int = 0
    _closed: bool = False
    _turn: asyncio.Lock = field(default_factory=asyncio.Lock, repr=False)

    @property
    def busy(self) -> bool:
        """Whether a job is being done or waits."""
        return self._asked > 0

    @property
    def process_id(self) -> int | None:
        """Number of the process, where there is one."""
        return self._child.process.pid if self._child is not None and self._child.alive else None

    async def ready(self) -> None:
        """Have a child at hand, and what it needs loaded, before the first job."""
        async with self._turn:
            if not self._closed:
                await self._hand()

    async def do(
        self, name: str, /, *, progress: Callable[[str, float | None], None] | None = None, **arguments: Any
    ) -> Any:
        """Have a job done, after those that were asked for before.

        Parameters
        ----------
        name : str
            One of `orient.desk.jobs.JOBS`.
        progress : callable, optional
            Is told in words how far it is, and the share that is done or None.
        **arguments
            Of the job.

        Returns
        -------
        object
            What the job answers.

        Raises
        ------
        OrientError
            The sentence of what a user can mend.
        Stopped
            When `stop` was called meanwhile.
        Fault
            When the program itself is at fault.
        """
        stops = self._stops
        self._asked += 1
        try:
            async with self._turn:
                if self._closed or stops != self._stops:
                    raise Stopped
                try:
                    with self.warm.working():
                        return await self._do(name, arguments, progress)
                except Ended:
                    self._drop()
                    if stops != self._stops:
                        raise Stopped from None
                    raise OrientError(
                        "The work ended by itself. The terminal says why; where it says nothing, it was for "
                        "want of memory: try again, or bring a coarser mesh."
                    ) from None
                except asyncio.CancelledError:
                    # Nobody waits for the answer any more: without it the pipe would be out of step.
                    self._drop()
                    raise
        finally:
            self._asked -= 1

    async def _do(
        self, name: str, arguments: dict[str, Any], progress: Callable[[str, float | None], None] | None
    ) -> Any:
        stops = self._stops
        child = await self._hand()
        if stops != self._stops:
            raise Ended
        bench = self.bench
        if not child.ready and progress is not None:
            progress("Preparing the measuring code, once and for all: half a minute or so", None)
        if name != "bring" and bench.part is not None and self._has != bench.count:
            part, count = bench.part, bench.count
            await child.do("bring", part, bench.folder, progress)
            self._has = count
        answer = await child.do(name, arguments, bench.folder, progress)
        # Several bodies of which none was chosen are no part yet.
        if name == "bring" and not answer.bodies:
            bench.take(arguments)
            self._has = bench.count
        return answer

    async def _hand(self) -> Child:
        if self._child is None or not self._child.alive:
            self._has = 0
            self._child = await self.warm.take()
            if self._closed:
                self._child.kill()
        return self._child

    def _drop(self) -> None:
        if self._child is not None:
            self._child.kill()
            self._child = None

    def stop(self) -> None:
        """Stop what is being done and what waits; the next job starts afresh."""
        if self.busy:
            self._stops += 1
            self._drop()

    async def close(self) -> None:
        """Stop for good, and wait until the process is gone."""
        self._closed = True
        self._stops += 1
        child = self._child
        self._drop()
        if child is not None:
            await child.gone()

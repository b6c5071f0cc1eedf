"""Child processes as the server holds them, and one that waits with everything loaded."""

from __future__ import annotations

import asyncio
import os
import pickle
import signal
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from orient.desk.child import BEGUN, DONE, FAULT, LENGTH, READY, REFUSED, frame
from orient.errors import OrientError

# When a waiting child was taken, the next one is begun when nothing else has been done for so long.
_QUIET_S = 3.0

Told = Callable[[str, float | None], None]


class Ended(Exception):
    """The child is gone."""


class Fault(Exception):
    """Something in the program itself went wrong; the text is fit to show."""


@dataclass(eq=False)
class Child:
    """One child process.

    Attributes
    ----------
    process : Process
        The process; it leads a group of its own, so that what it starts ends with it.
    ready : bool
        Whether everything is loaded.
    """

    process: Process
    ready: bool = False
    _begun: bool = False

    @classmethod
    async def start(cls, root: Path) -> Child:
        """Start one; it loads by itself what it needs."""
        # Modules are looked for where this process does, never in whatever folder it was started in.
        path = [entry or str(Path.cwd()) for entry in sys.path]
        run = f"from orient.desk.child import main; main({str(root)!r}, {os.getpid()})"
        code = f"import sys; sys.path[:] = {path!r}; {run}"
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-c", code, stdin=PIPE, stdout=PIPE, start_new_session=True
        )
        return cls(process)

    async def do(self, name: str, arguments: dict[str, Any], folder: Path, told: Told | None) -> Any:
        """Have a job done; see `orient.desk.work.Work.do`."""
        assert self.process.stdin is not None
        trouble: Exception | None = None
        try:
            self.process.stdin.write(frame((name, arguments, str(folder))))
            await self.process.stdin.drain()
            while True:
                kind, *rest = await self._answer()
                if kind == READY:
                    self.ready = True
                elif kind == DONE:
                    if trouble is not None:
                        raise trouble
                    return rest[0]
                elif kind == REFUSED:
                    raise OrientError(rest[0])
                elif kind == FAULT:
                    raise Fault(rest[0])
                elif told is not None and trouble is None:
                    try:
                        told(*rest)
                    except Exception as error:
                        # The answer still has to be taken out of the pipe.
                        trouble = error
        except (asyncio.IncompleteReadError, ConnectionError) as error:
            raise Ended from error

    async def begun(self) -> None:
        """Wait until it would be woken when the desk dies; before then it is not to stand still."""
        if not self._begun:
            assert self.process.stdout is not None
            await self.process.stdout.readexactly(len(BEGUN))
            self._begun = True

    async def _answer(self) -> tuple[Any, ...]:
        await self.begun()
        assert self.process.stdout is not None
        length = LENGTH.unpack(await self.process.stdout.readexactly(LENGTH.size))[0]
        return pickle.loads(await self.process.stdout.readexactly(length))

    async def loaded(self) -> None:
        """Wait until everything is loaded; only before the first job."""
        if not self.ready:
            with suppress(asyncio.IncompleteReadError):
                await self._answer()
                self.ready = True

    @property
    def alive(self) -> bool:
        """Whether it still runs."""
        return self.process.returncode is None

    def kill(self) -> None:
        """End it at once, with all that it started."""
        with suppress(ProcessLookupError):
            if hasattr(os, "killpg"):
                os.killpg(self.process.pid, signal.SIGKILL)
            else:
                self.process.kill()

    def pause(self, on: bool) -> None:
        """Let it stand still, or go on; only where one that stands still is woken when the desk dies."""
        if sys.platform == "linux" and self._begun:
            with suppress(ProcessLookupError):
                self.process.send_signal(signal.SIGSTOP if on else signal.SIGCONT)

    async def gone(self) -> None:
        """Wait until a child that was ended is no more."""
        await self.process.wait()


@dataclass(eq=False)
class Warm:
    """The child that waits.

    Attributes
    ----------
    root : Path
        Private folder of the desk.
    busy : int
        Jobs that are being done just now by those that were taken.
    """

    root: Path
    busy: int = 0
    _waiting: Child | None = None
    _next: asyncio.Task[None] | None = field(default=None, repr=False)

    @contextmanager
    def working(self) -> Iterator[None]:
        """While a job is being done, the one that waits stands still: loading takes a whole processor."""
        self.busy += 1
        self._pause(True)
        try:
            yield
        finally:
            self.busy -= 1
            if not self.busy:
                self._pause(False)

    def _pause(self, on: bool) -> None:
        if self._waiting is not None:
            self._waiting.pause(on)

    def begin(self, after_s: float = 0.0) -> None:
        """See to it that one will wait."""
        if self._next is None or self._next.done():
            self._next = asyncio.get_running_loop().create_task(self._fill(after_s))

    async def _fill(self, after_s: float) -> None:
        await asyncio.sleep(after_s)
        while self.busy:
            await asyncio.sleep(after_s)
        if self._waiting is None or not self._waiting.alive:
            self._waiting = await Child.start(self.root)
            with suppress(asyncio.IncompleteReadError):
                await self._waiting.begun()
            if self.busy:
                self._pause(True)

    async def take(self) -> Child:
        """Take the one that waits, or start another; the next will wait before long."""
        if self._next is not None and not self._next.done():
            # One that is just being started is not to be lost.
            self._next.cancel()
            with suppress(asyncio.CancelledError):
                await self._next
        child, self._waiting = self._waiting, None
        if child is None or not child.alive:
            child = await Child.start(self.root)
        child.pause(False)
        self.begin(_QUIET_S)
        return child

    def close(self) -> None:
        """End the one that waits."""
        if self._next is not None:
            self._next.cancel()
        if self._waiting is not None:
            self._waiting.kill()
            self._waiting = None

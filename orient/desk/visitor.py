"""Who is at the desk: one visitor a browser tab, with a folder, two lanes of work and what the page knows."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from orient.desk.shelf import Shelf
from orient.desk.warm import Warm
from orient.desk.work import Bench, Work

# Who has been away for so long is gone: long enough to load the page again, and what was begun is idle again
# within five seconds.
GRACE_S = 4.5


@dataclass(eq=False)
class Visitor:
    """One tab of one browser; nothing here is shared with another.

    Attributes
    ----------
    folder : Path
        Private folder, removed when the visitor is gone.
    quick : Work
        For what is waited for: reading, ranking, looking at poses.
    long : Work
        For what goes on beside it: stress, variants, files to take away.
    shelf : Shelf
        What the browser fetches.
    state : dict
        What the page wants to find again after it was loaded anew.
    gone : bool
        Whether the visitor has left.
    """

    folder: Path
    quick: Work
    long: Work
    shelf: Shelf = field(default_factory=Shelf)
    state: dict[str, Any] = field(default_factory=dict)
    gone: bool = False

    async def leave(self) -> None:
        """Stop all work and remove everything."""
        self.gone = True
        await asyncio.gather(self.quick.close(), self.long.close())
        self.shelf.clear()
        self.state.clear()
        shutil.rmtree(self.folder, ignore_errors=True)


@dataclass(eq=False)
class Visitors:
    """Everyone at the desk.

    Parameters
    ----------
    root : Path
        Folder in which every visitor gets one.
    warm : Warm
        Where child processes come from.
    grace_s : float
        How long one may be away.
    """

    root: Path
    warm: Warm
    grace_s: float = GRACE_S
    _here: dict[str, Visitor] = field(default_factory=dict)
    _windows: dict[str, set[str]] = field(default_factory=dict)
    _timers: dict[str, asyncio.TimerHandle] = field(default_factory=dict)
    _leaving: set[asyncio.Task[None]] = field(default_factory=set)

    def __len__(self) -> int:
        return len(self._here)

    def enter(self, tab: str, window: str) -> Visitor:
        """Let someone in, or in again.

        Parameters
        ----------
        tab : str
            What names the tab, and stays when the page is loaded again.
        window : str
            What names this loading of the page.

        Returns
        -------
        Visitor
            The same as before, unless the tab is new or was away for too long.
        """
        timer = self._timers.pop(tab, None)
        if timer is not None:
            timer.cancel()
        self._windows.setdefault(tab, set()).add(window)
        if tab not in self._here:
            bench = Bench(Path(tempfile.mkdtemp(prefix="visitor-", dir=self.root)))
            self._here[tab] = Visitor(bench.folder, Work(bench, self.warm), Work(bench, self.warm))
        return self._here[tab]

    def leave(self, tab: str, window: str) -> None:
        """Note that the connection is lost: who does not come back in time is gone."""
        windows = self._windows.get(tab, set())
        windows.discard(window)
        if tab in self._here and not windows and tab not in self._timers:
            loop = asyncio.get_running_loop()
            self._timers[tab] = loop.call_later(self.grace_s, self._remove, tab)

    def _remove(self, tab: str) -> None:
        self._timers.pop(tab, None)
        self._windows.pop(tab, None)
        task = asyncio.get_running_loop().create_task(self._here.pop(tab).leave())
        self._leaving.add(task)
        task.add_done_callback(self._leaving.discard)

    async def close(self) -> None:
        """Show everyone out."""
        for timer in self._timers.values():
            timer.cancel()
        self._timers.clear()
        everyone = list(self._here.values())
        self._here.clear()
        self._windows.clear()
        await asyncio.gather(*(visitor.leave() for visitor in everyone), *self._leaving)

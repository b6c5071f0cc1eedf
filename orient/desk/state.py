"""What the page of one visitor knows, what it has done, and who is told when something changes."""

from __future__ import annotations

import asyncio
import inspect
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from nicegui import background_tasks
from nicegui.element import Element

from orient.desk.answers import Brought, Colours, Compared, Holes, Judged, Picked, Pose, Scored
from orient.desk.borne import forces_ready, same_forces
from orient.desk.edits import Data, History, toml_of
from orient.desk.order import Card, Order, cards
from orient.desk.scene import PartScene
from orient.desk.visitor import Visitor
from orient.desk.work import Work

# What listeners can be told of; lost is the stress that was found, with the process that held it.
EVENTS = (
    "part",
    "brief",
    "order",
    "weighed",
    "pictures",
    "pose",
    "pick",
    "busy",
    "beside",
    "strength",
    "compared",
    "lost",
)
# The pose that a hand has turned the part to; poses of the list are numbered from 1.
BY_HAND = 100_000


@dataclass(eq=False)
class Desk:
    """One visitor's work.

    Attributes
    ----------
    visitor : Visitor
        Lanes of work, shelf and folder.
    history : History
        The brief, and what it was.
    file, name : Path or None, str
        The mesh that was brought, and what it is called.
    brought : Brought or None
        What was read.
    holes : Holes or None
        Its holes.
    trouble : str
        Why the poses could not be ranked, in words; empty where they were, or are being.
    judged : Judged or None
        The evaluation.
    order : Order or None
        Poses by the weights as they are now.
    chosen : int or None
        Row of the pose that is shown.
    pinned : list of int
        Rows of two poses to see side by side.
    pictures : dict of int to str
        Addresses of small pictures, by row.
    poses : dict of int to Pose
        Poses that the viewer knows, by number.
    paint : str
        How faces are coloured.
    busy : str
        What is being done, in words; empty when nothing is.
    share : float or None
        How far it has come.
    stale : bool
        Whether the brief has changed since it was evaluated.
    beside : dict of str to (str, float or None)
        What goes on beside the rest, by kind: what is being done, in words, and how far it has come.
    began : dict of str to float
        When that began, by the clock that only goes on.
    said : dict of str to str
        How that ended, in words, by kind.
    compared : Compared or None
        A redesign held against the part.
    revision : (Path, str) or None
        The mesh of the redesign, and what it is called.
    compared_under : str
        The brief that it was compared under.
    sample_job : dict
        The job that came with the sample that was brought last.
    left : (str, dict) or None
        The part before, and the job of it that was left behind.
    matters : str
        How the next face that matters is said to matter.
    case : int
        The load case that fixings and forces are added to.
    page : Element or None
        The page, within which work that nobody waits for is done: what goes wrong there is told there.
    wanted : Wanted or None
        What the next click on the part is for.
    solved : str or None
        The brief that stress was found under last.
    marked : list of (str, Picked)
        Faces that the job names, as they were tinted last.
    unfound : set of str
        Faces that the job names and the part does not have; that was told.
    asked : dict
        Unit and body that were asked for, as ``[part]`` of a brief says them.
    solid : dict of str to Colours
        Ways of colouring that were asked for, by kind and pose.
    scored : Scored or None
        What a pose of the hand scores.
    loaded : bool
        Whether the list counts the load cases.
    scene : PartScene or None
        The part in 3D.
    going : dict of str to Future
        What goes on beside the rest, by kind.
    evaluating, again : bool
        Whether poses are being ranked, and whether that was asked for once more meanwhile.
    turn : int
        How often it was asked for: of two answers that of the later one counts.
    resting : Task or None
        What waits for a slider to come to rest.
    followed : bool
        Whether the pose to take was shown when the slider began to move.
    """

    visitor: Visitor
    history: History = field(default_factory=History)
    file: Path | None = None
    name: str = ""
    brought: Brought | None = None
    trouble: str = ""
    asked: dict[str, Any] = field(default_factory=dict)
    holes: Holes | None = None
    judged: Judged | None = None
    order: Order | None = None
    chosen: int | None = None
    pinned: list[int] = field(default_factory=list)
    pictures: dict[int, str] = field(default_factory=dict)
    poses: dict[int, Pose] = field(default_factory=dict)
    solid: dict[str, Colours] = field(default_factory=dict)
    scored: Scored | None = None
    paint: str = "overhang"
    busy: str = ""
    share: float | None = None
    stale: bool = False
    beside: dict[str, tuple[str, float | None]] = field(default_factory=dict)
    began: dict[str, float] = field(default_factory=dict)
    said: dict[str, str] = field(default_factory=dict)
    compared: Compared | None = None
    revision: tuple[Path, str] | None = None
    compared_under: str = ""
    sample_job: Data = field(default_factory=dict)
    left: tuple[str, Data] | None = None
    matters: str = "visible"
    case: int = 0
    page: Element | None = None
    wanted: Any = None
    solved: str | None = None
    marked: list[tuple[str, Picked]] = field(default_factory=list)
    unfound: set[str] = field(default_factory=set)
    loaded: bool = False
    scene: PartScene | None = None
    going: dict[str, asyncio.Future[Any]] = field(default_factory=dict)
    evaluating: bool = False
    again: bool = False
    turn: int = 0
    resting: asyncio.Task[Any] | None = None
    followed: bool = False
    _listeners: dict[str, list[Callable[[], Any]]] = field(default_factory=dict)

    def begin(self) -> None:
        """Forget who listened: the page is made anew."""
        self._listeners = {name: [] for name in EVENTS}

    def when(self, event: str, told: Callable[[], Any]) -> None:
        """Call whenever something of a kind changes."""
        self._listeners[event].append(told)

    def tell(self, *events: str) -> None:
        """Tell those who listen."""
        for event in events:
            for told in self._listeners.get(event, ()):
                answer = told()
                if inspect.isawaitable(answer):
                    self.start(answer)

    def start(self, work: Awaitable[Any]) -> asyncio.Task[Any]:
        """Begin work that nobody waits for; what goes wrong is told in the page."""
        return background_tasks.create(work, context=self.page)

    def say(self, words: str, share: float | None = None) -> None:
        """Show what is being done."""
        self.busy, self.share = words, share
        self.tell("busy")

    @property
    def follows(self) -> bool:
        """Whether the pose that is shown is the one to take, and stays so whichever that is."""
        return self.order is None or self.chosen is None or self.chosen == self.order.recommended

    @property
    def lane(self) -> Work:
        """The child that holds the evaluation that is shown."""
        return self.visitor.long if self.loaded else self.visitor.quick

    @property
    def cards(self) -> list[Card]:
        """Poses worth showing, with the one that is chosen and those that are pinned."""
        if self.order is None:
            return []
        also = [row for row in (self.chosen, *self.pinned) if row is not None and row < BY_HAND]
        return cards(self.order, also=tuple(dict.fromkeys(also)))

    @property
    def direction(self) -> tuple[float, float, float]:
        """Build direction of the pose that is shown."""
        assert self.judged is not None
        if self.chosen == BY_HAND and self.scored is not None:
            return self.scored.direction
        x, y, z = self.judged.ranking.directions[self.chosen or 0].tolist()
        return x, y, z

    @property
    def forces_moved(self) -> bool:
        """Whether the load cases are others than those that the list counts."""
        return self.judged is not None and self.loaded and not same_forces(self.judged.toml, self.toml)

    @property
    def toml(self) -> str:
        """The brief, but for what it says of the file of the part."""
        return toml_of(self.history.now)

    @property
    def saved(self) -> str:
        """The brief as a file: unit and body of the part, where they were asked for, are said too."""
        return toml_of({"part": self.asked, **self.history.now} if self.asked else self.history.now)

    @property
    def forces_ready(self) -> bool:
        """Whether the job says where the part is held and where it is pushed."""
        return forces_ready(self.history.now)

"""What the page of one visitor knows, what it has done, and who is told when something changes."""

from __future__ import annotations

import asyncio
import inspect
import tomllib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import Any

import numpy as np
from nicegui import background_tasks, ui
from nicegui.element import Element

from orient.desk.answers import Brought, Colours, Compared, Holes, Judged, Picked, Pose, Scored
from orient.desk.borne import borne_alike, forces_ready, same_forces
from orient.desk.edits import Data, History, toml_of, with_value
from orient.desk.entry import as_fields
from orient.desk.order import Card, Order, cards, in_order, order_of, weights_of
from orient.desk.scene import PartScene
from orient.desk.visitor import Visitor
from orient.desk.work import Stopped, Work
from orient.errors import OrientError
from orient.features.model import VERDICTS

# What listeners can be told of.
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
)
# A slider that has rested so long has come to rest: the part turns over, then the search goes on from there.
REST_S, SEARCH_S = 0.3, 0.9
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
    case: int = 0
    page: Element | None = None
    wanted: Any = None
    solved: str | None = None
    marked: list[tuple[str, Picked]] = field(default_factory=list)
    unfound: set[str] = field(default_factory=set)
    loaded: bool = False
    scene: PartScene | None = None
    _going: dict[str, asyncio.Future[Any]] = field(default_factory=dict)
    _listeners: dict[str, list[Callable[[], Any]]] = field(default_factory=dict)
    _evaluating: bool = False
    _followed: bool = False
    _resting: asyncio.Task[Any] | None = None
    _again: bool = False
    _turn: int = 0

    # Who is told.

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

    async def do_beside(self, kind: str, lane: Work, job: str, begins: str, /, **arguments: Any) -> Any:
        """Have a job done while the rest stays usable.

        Parameters
        ----------
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
            self.beside[kind] = words, share
            self.tell("beside")

        self.said.pop(kind, None)
        self.began[kind] = monotonic()
        far(begins, None)
        going = asyncio.ensure_future(lane.do(job, progress=far, **arguments))
        self._going[kind] = going
        held = lane.process_id
        try:
            return await going
        except (Stopped, asyncio.CancelledError) as error:
            stopped = isinstance(error, Stopped) or self._going.get(kind) is not going
            going.cancel()
            if not stopped:
                raise
            self.said[kind] = "Stopped."
            if lane is self.visitor.long and held is not None and lane.process_id != held:
                self._stress_lost()
            raise Stopped from None
        except OrientError as error:
            self.said[kind] = as_fields(str(error))
            raise
        finally:
            self._going.pop(kind, None)
            self.beside.pop(kind, None)
            self.tell("beside")

    def stop(self, kind: str) -> None:
        """Stop one kind of work; what waits behind it goes on."""
        going = self._going.pop(kind, None)
        if going is not None:
            going.cancel()

    def _stress_lost(self) -> None:
        """The child that held the stress is gone: the list is ranked without it, until it is found again."""
        self.solved = None
        if self.loaded and not self.visitor.gone:
            self.start(self.evaluate())

    def say(self, words: str, share: float | None = None) -> None:
        """Show what is being done."""
        self.busy, self.share = words, share
        self.tell("busy")

    # The part.

    async def bring(
        self, path: Path, name: str, *, read: Callable[[], None] | None = None, **asked: Any
    ) -> None:
        """Read a part, then rank its poses; ask where its unit or its body is in doubt.

        Parameters
        ----------
        path, name : Path, str
            The mesh, and what to call the part.
        read : callable, optional
            Called once it was read: a file that cannot be leaves everything as it was.
        **asked
            Unit and body, where they were asked for.
        """
        self.visitor.quick.stop()
        self.say(f"Reading {name}")
        try:
            brought: Brought = await self.visitor.quick.do(
                "bring", path=str(path), name=name, progress=self.say, **asked
            )
        except OrientError:
            if path.parent == self.visitor.folder and path != self.file:
                path.unlink(missing_ok=True)
            # What was being found of the part before was stopped for this one.
            if self.brought is not None and self.brought.doubt is None and not self.loaded:
                self.start(self.evaluate())
            raise
        finally:
            self.say("")
        if read is not None:
            read()
        self.visitor.shelf.renew()
        self._turn += 1
        self.file, self.name, self.brought, self.asked = path, name, brought, asked
        self.holes = self.judged = self.order = self.chosen = self.scored = None
        self.pinned, self.pictures, self.poses, self.solid = [], {}, {}, {}
        self.loaded, self.compared, self.revision, self.case, self.trouble = False, None, None, 0, ""
        self.said.clear()
        self.wanted, self.marked, self.solved, self.unfound = None, [], None, set()
        self.paint = "overhang" if self.paint == "safety" else self.paint
        if self.scene is not None:
            self.scene.mode("look")
            if not brought.bodies:
                self.scene.open(brought.scene)
        # Whatever goes on beside is of the part before.
        self.visitor.long.stop()
        self.tell("part", "order", "pose", "pick", "beside", "strength", "compared")
        if not brought.bodies and brought.doubt is None:
            await self.evaluate()

    async def evaluate(self) -> None:
        """Rank the poses under the brief as it is; asked meanwhile, once more afterwards."""
        if self.brought is None or self.brought.bodies:
            return
        self._turn += 1
        if self._evaluating:
            self._again = True
            return
        self._evaluating, self.trouble = True, ""
        try:
            while True:
                self._again, turn = False, self._turn
                toml = toml_of(self.history.now)
                try:
                    judged = await self.visitor.quick.do("evaluate", toml=toml, progress=self.say)
                except OrientError as error:
                    # What was changed meanwhile may have mended it.
                    if not self._again:
                        self._not_ranked(error)
                        raise
                if not self._again:
                    break
        finally:
            self._evaluating = False
            self.say("")
        if turn == self._turn:
            self.take(judged)

    def _not_ranked(self, error: OrientError) -> None:
        self.trouble = as_fields(str(error))
        self.tell("order")

    def take(self, judged: Judged, *, loaded: bool = False) -> None:
        """Show an evaluation."""
        old, followed = self.judged, self.follows
        self.loaded, self.trouble = loaded, ""
        if loaded:
            self.solved = judged.toml
        elif self.paint == "safety":
            self.paint = "overhang"  # the colours went with what they were of
        self.stale = judged.toml != toml_of(self.history.now)
        weighed = old is not None and _but_weights(old.toml) == _but_weights(judged.toml)
        alike = _same_poses(old, judged) if old is not None else {}
        kept = alike if weighed else {}
        self.pictures = {kept[row]: address for row, address in self.pictures.items() if row in kept}
        self.pinned = [alike[row] for row in self.pinned if row in alike]
        shown = None if followed or self.chosen is None else alike.get(self.chosen)
        self.judged, self.order, self.poses, self.scored = judged, in_order(judged), {}, None
        self.solid = {kind: one for kind, one in self.solid.items() if kind == "thickness" and weighed}
        self.chosen = self.order.recommended if shown is None else shown
        self.tell("order", "strength")
        self.start(self.show(self.chosen, follow_up=True))

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

    # A pose.

    async def show(self, row: int, *, follow_up: bool = False) -> None:
        """Turn the part over into a pose, then look for what is hard about it."""
        if self.judged is None:
            return
        if row != self.chosen:
            self.chosen = row
            self.tell("order")
        number, judged = row + 1, self.judged
        self.tell("pose")
        if self.scene is None:
            return
        try:
            if number not in self.poses:
                pose = await self._pose(number, features=False)
                if self.judged is not judged:
                    return
                self.poses[number] = pose
                self.scene.add(pose)
            if self.chosen == row:
                self.scene.show(number, self.paint)
                self.tell("pose")
            if self.poses[number].features is None:
                pose = await self._pose(number, features=True)
                if self.judged is not judged:
                    return
                self.poses[number] = pose
                self.scene.add(pose)
                if self.chosen == row:
                    self.scene.show(number, self.paint)
                    self.tell("pose")
            self._count(row, self.poses[number])
            await self._coloured()
            if follow_up:
                await self._pictures(judged)
                await self._holes()
        except Stopped:
            return

    def _count(self, row: int, pose: Pose) -> None:
        """Put the hard features of a pose that was looked at beside its figures."""
        if self.judged is None or not self.judged.counts or row in self.judged.counts or row == BY_HAND:
            return
        verdicts = [str(one["verdict"]) for one in pose.features or ()]
        self.judged.counts[row] = {one: verdicts.count(one) for one in VERDICTS}
        self.tell("pictures")

    async def _pose(self, number: int, *, features: bool) -> Pose:
        pose: Pose = await self.lane.do("pose", direction=self._of(number), number=number, features=features)
        return pose

    def _of(self, number: int) -> tuple[float, float, float]:
        assert self.judged is not None
        if number == BY_HAND + 1 and self.scored is not None:
            return self.scored.direction
        x, y, z = self.judged.ranking.directions[number - 1].tolist()
        return x, y, z

    async def _pictures(self, judged: Judged) -> None:
        for card in self.cards:
            if card.row in self.pictures or self.judged is not judged:
                continue
            x, y, z = judged.ranking.directions[card.row].tolist()
            png, _ = await self.lane.do("picture", direction=(x, y, z))
            if self.judged is not judged:
                return
            self.pictures[card.row] = self.visitor.shelf.put(png, "image/png")
            self.tell("pictures")

    async def _holes(self) -> None:
        if self.holes is None and self.scene is not None:
            self.holes = await self.visitor.quick.do("holes")
            self.scene.with_holes(self.holes)

    async def turned(self, direction: list[float]) -> None:
        """Say what a pose would score that a hand has turned to."""
        up = np.array(direction) / np.linalg.norm(direction)
        x, y, z = up.tolist()
        self.scored = await self.lane.do("score", direction=(x, y, z))
        self.poses.pop(BY_HAND + 1, None)
        await self.show(BY_HAND)

    async def colour(self, paint: str) -> None:
        """Colour the part by one of the ways."""
        self.paint = paint
        await self._coloured()

    async def _coloured(self) -> None:
        if self.scene is None or self.chosen is None or self.judged is None:
            return
        number, paint = self.chosen + 1, self.paint
        # Thickness is the same in every pose.
        key = paint if paint == "thickness" else f"{paint}:{number}"
        if paint in ("thickness", "safety") and key not in self.solid:
            colours = await self.lane.do("colours", kind=paint, direction=self.direction)
            self.solid[key] = colours
        if paint in ("thickness", "safety"):
            self.scene.colour(paint, None if paint == "thickness" else number, self.solid[key])
        self.scene.paint(paint)

    # The brief.

    def edit(self, new: Data, what: str, *, joins: bool = False, again: bool = True) -> None:
        """Change the brief, and rank anew where that changes more than weights."""
        if not self.history.change(new, what, joins=joins):
            return
        self.stale = True
        self.tell("brief")
        if again:
            self.start(self._evaluate_anew())

    def undo(self) -> None:
        """Take the last change back."""
        what = self.history.undo()
        if what is None:
            ui.notify("Nothing to take back.")
            return
        ui.notify(f"Taken back: {what}.")
        self.stale = True
        self.tell("brief")
        self.start(self._evaluate_anew())

    def weigh(self, name: str, weight: float) -> None:
        """Rank by another weight, at once, from the measures that are kept."""
        self.history.change(
            with_value(self.history.now, f"weights.{name}", float(weight)),
            f"the weight on {name}",
            joins=True,
        )
        if self.judged is None or self.order is None:
            return
        followed = self.follows
        try:
            self.order = order_of(self.judged, weights_of(self.history.now))
        except OrientError as error:
            ui.notify(str(error))
            return
        self.tell("weighed")
        if self._resting is not None:
            self._resting.cancel()
        self._resting = self.start(self._rest(followed or self._followed))
        self._followed = followed or self._followed

    async def _rest(self, followed: bool) -> None:
        """Once the hand has let go: the new first pose on the bed, then the search from where it is now."""
        await asyncio.sleep(REST_S)
        self._followed = False
        self.tell("brief", "order")
        if followed and self.order is not None and self.chosen != self.order.recommended:
            # By itself: a hand that moves on calls off what waits here, not a job in the middle.
            self.start(self.show(self.order.recommended))
        await asyncio.sleep(SEARCH_S)
        self._resting = None
        await self._evaluate_anew()

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

    async def find_stress(self) -> None:
        """Rank with the load cases solved; the rest stays usable meanwhile."""
        if "strength" in self.beside:
            return
        self._say_the_fill()
        lane, begins = self.visitor.long, "Filling the part with cells"
        try:
            while True:
                judged = await self.do_beside("strength", lane, "strength", begins, toml=self.toml)
                if judged.toml == self.toml:
                    break
                if _but_weights(judged.toml) != _but_weights(self.toml):
                    self.said["strength"] = "The job was changed meanwhile: find the stress again."
                    self.tell("beside")
                    return
        except Stopped:
            return
        self._turn += 1
        self.take(judged, loaded=True)

    def _say_the_fill(self) -> None:
        """Where no fill was said, the one that hours are of: the safety is to be of the same part."""
        if self.judged is None or "infill" in self.history.now.get("process", {}):
            return
        share = self.judged.infill
        if self.history.change(with_value(self.history.now, "process.infill", share), "the usual fill"):
            ui.notify(
                f"No fill was said: {100 * share:g} % is taken, the usual one. Say another under Job: 100 is "
                "a solid part."
            )
            self.tell("brief")

    async def _evaluate_anew(self) -> None:
        """Rank under the job as it is now, with the stress where it is that which was found last."""
        kept = self.solved is not None and borne_alike(self.solved, self.toml)
        await (self.evaluate_loaded() if kept else self.evaluate())

    @property
    def forces_ready(self) -> bool:
        """Whether the job says where the part is held and where it is pushed."""
        return forces_ready(self.history.now)

    async def evaluate_loaded(self) -> None:
        """Rank anew with the load cases, whose stress is known: nothing is solved again."""
        self._turn += 1
        turn, toml = self._turn, toml_of(self.history.now)
        try:
            judged = await self.visitor.long.do("strength", toml=toml, progress=self.say)
        except OrientError as error:
            self._not_ranked(error)
            raise
        finally:
            self.say("")
        # What was asked for since, of the other child, is newer whichever answers first.
        if turn == self._turn:
            self.take(judged, loaded=True)

    async def pick(self, picked: dict[str, Any]) -> Picked:
        """Name what a click stands for."""
        x, y, z = picked["point"]
        found: Picked = await self.visitor.quick.do(
            "pick", point=(x, y, z), face=int(picked["face"]), kind=picked["kind"]
        )
        return found


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

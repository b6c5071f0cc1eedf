"""A run: every input listed, evaluated where it is not yet, counted once."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from orient.brief import Brief
from orient.errors import OrientError
from orient.fleet.cluster import INSTALL, workers
from orient.fleet.limited import Limits, NotStarted, evaluate_within
from orient.fleet.results import Results, Waiting, writing
from orient.fleet.rows import Request, Row
from orient.part.gate import MOST_BYTES
from orient.show.page.page import program_version

# Files that are with the scheduler at once, for every one that is being evaluated: enough that no worker
# waits, few enough that neither client nor scheduler grows with the folder.
AHEAD = 3
# How often progress is told, and a scheduler asked how many workers it has.
_TELL_S = 0.5
_ASK_S = 10.0


@dataclass(frozen=True)
class Settings:
    """How files are evaluated.

    Attributes
    ----------
    brief : Brief
        The brief; a part that it names does not count.
    directions, voxels
        As for `evaluate`.
    limits : Limits
        What one file may take.
    """

    brief: Brief
    directions: int
    voxels: int | None
    limits: Limits

    @property
    def brief_text(self) -> str:
        """The brief as JSON, without a file."""
        part = self.brief.part.model_copy(update={"file": None})
        return self.brief.model_copy(update={"part": part}).model_dump_json(exclude_none=True)

    @property
    def brief_hash(self) -> str:
        """SHA-256, hexadecimal, of all that an answer depends on beside the file."""
        machines = self.brief.process.machines
        own = Path(machines).read_text(encoding="utf-8") if machines else ""
        said = json.dumps([self.brief_text, own, self.directions, self.voxels])
        return hashlib.sha256(said.encode()).hexdigest()

    def request(self, one: Waiting) -> Request:
        """What a worker is asked."""
        return Request(
            one.path, one.size_bytes, one.changed_ns, self.brief_text, self.directions, self.voxels
        )


@dataclass(frozen=True)
class Progress:
    """How far a run has come.

    Attributes
    ----------
    done, of : int
        Inputs counted, and in all.
    per_minute : float
        Inputs done by this run in a minute.
    left_s : float or None
        Seconds left at that rate; None before anything is known.
    """

    done: int
    of: int
    per_minute: float
    left_s: float | None


def run_fleet(
    inputs: Iterator[str],
    out: Path,
    settings: Settings,
    *,
    scheduler: str | None = None,
    count: int = 1,
    again: bool = False,
    report: Callable[[Progress], None] = lambda progress: None,
) -> Mapping[str | None, int]:
    """Evaluate every input that is not yet in the database.

    Parameters
    ----------
    inputs : iterator of str
        Absolute paths.
    out : Path
        The database.
    settings : Settings
        How files are evaluated.
    scheduler : str, optional
        Address of a Dask scheduler; workers are started here without one.
    count : int
        How many workers to start here, each with one thread.
    again : bool
        Whether to try again what was set aside before.
    report : callable
        Told how far it has come.

    Returns
    -------
    Mapping of str to int
        Inputs by outcome; every input once.

    Raises
    ------
    OrientError
        When the scheduler goes away, no evaluation can be started, or the database cannot be written to. What
        is done stays done: the same run again goes on from there.
    """
    version, brief_hash = program_version(), settings.brief_hash
    with writing(out) as results:
        run = results.begin(version, brief_hash, settings.brief_text)
        results.list(inputs, run, brief_hash, again=again)
        counts = results.count(run)
        if counts.get(None):
            pace = _Pace(sum(counts.values()), counts[None], report)
            with workers(scheduler, count) as client:
                _evaluate_waiting(client, results, run, settings, brief_hash, version, pace)
        results.end(run)
        return results.count(run)


@dataclass
class _Pace:
    """Counts what is done and tells of it now and then."""

    of: int
    waiting: int
    report: Callable[[Progress], None]
    done: int = 0
    began: float = field(default_factory=time.monotonic)
    told: float = 0.0

    def tell(self, more: int = 0) -> None:
        self.done += more
        now = time.monotonic()
        if now - self.told < _TELL_S and self.done < self.waiting:
            return
        self.told = now
        passed = max(now - self.began, 1e-9)
        left = (self.waiting - self.done) * passed / self.done if self.done else None
        self.report(Progress(self.of - self.waiting + self.done, self.of, 60.0 * self.done / passed, left))


def _evaluate_waiting(
    client: Any, results: Results, run: int, settings: Settings, brief_hash: str, version: str, pace: _Pace
) -> None:
    """Keep a bounded number of files with the scheduler and enter each that comes back."""
    arrived: SimpleQueue[tuple[str, Any]] = SimpleQueue()
    # Files on their way, by content: those of like content wait for the first.
    on_way: dict[str, list[Waiting]] = {}
    hashes: dict[str, str | None] = {}
    todo = results.waiting(run)
    room, asked = AHEAD, 0.0
    while True:
        if time.monotonic() - asked > _ASK_S:
            room, asked = max(room, AHEAD * _threads(client)), time.monotonic()
        while sum(map(len, on_way.values())) < room and (one := next(todo, None)) is not None:
            content = _hash_of(one)
            if content is not None and results.share(one, content, brief_hash):
                pace.tell(1)
                continue
            key = f"{content}{Path(one.path).suffix.lower()}" if content is not None else one.key
            on_way.setdefault(key, []).append(one)
            hashes[key] = content
            if len(on_way[key]) == 1:
                # Not pure: a file may have changed where the question is the same.
                future = client.submit(evaluate_within, settings.request(one), settings.limits, pure=False)
                future.add_done_callback(lambda done, key=key: arrived.put((key, done)))
        if not on_way:
            return
        with suppress(Empty):
            key, future = arrived.get(timeout=_TELL_S)
            first, *alike = on_way.pop(key)
            content = hashes.pop(key)
            results.keep(first, content, version, _answer(future))
            pace.tell(1)
            for one in alike:
                if content is None or not results.share(one, content, brief_hash):
                    results.keep(one, content, version, _answer(future))
                pace.tell(1)
        pace.tell()


def _threads(client: Any) -> int:
    try:
        return sum(client.nthreads().values())
    except (OSError, TimeoutError):
        return 1


def _answer(future: Any) -> Row:
    """The rows that came back, or why there are none."""
    from distributed.scheduler import KilledWorker

    try:
        if future.status == "cancelled":
            raise _gone()
        return future.result()
    except KilledWorker:
        return {
            "outcome": "set aside",
            "sentence": "Twice its worker was lost while it was evaluated.",
            "seconds": None,
        }
    except NotStarted as error:
        raise OrientError(
            f"A worker cannot start an evaluation ({error}): see that {INSTALL} was run where it runs."
        ) from None
    except OSError:
        raise _gone() from None


def _gone() -> OrientError:
    return OrientError(
        "The scheduler went away: start it and give the same command again; what is done stays done."
    )


def _hash_of(one: Waiting) -> str | None:
    """SHA-256 of a file, hexadecimal; None where it cannot be read or is refused for its size anyway."""
    if one.size_bytes is None or one.size_bytes > MOST_BYTES or not Path(one.path).is_file():
        return None
    try:
        with open(one.path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None

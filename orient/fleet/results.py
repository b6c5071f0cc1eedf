"""The database of a run: one row a path, results shared by content, one writer.

Plain SQL reads it. ``parts`` holds every file that was ever asked for:

- ``path``; ``path_bytes`` only where the name is no text; ``listed`` the last of ``runs`` that asked for it;
- ``outcome``: ``ok``, ``refused`` (no part, or none that the brief allows), ``set aside`` (its evaluation
  failed, crashed or took too much) or NULL while it waits; ``sentence`` says why it is not ``ok``;
- ``content_hash`` SHA-256 of the file, ``brief_hash`` of brief and settings, ``version`` of the program;
- ``verdict``: the worst hard feature in the pose to take: ``fine``, ``tune``, ``support``, ``redesign``, with
  the counts of each in columns of those names; ``machine`` the first that runs the polymer and has room;
- ``unit_doubt``: the unit that the file was probably drawn in, where it was read in another;
- the part itself in mm, mm², mm³, g and hours; ``pose`` the rank of the pose to take; ``cost`` of a part;
- ``result``: the rows of ``poses`` and ``features`` that are its own. Files of like content share them.

``poses`` are those that a ranking shows, ``features`` those of the pose to take. Lists of sentences stand a
line each. Views join them by path::

    SELECT path, hours FROM present WHERE standing = 'fine' AND machine = 'entry' ORDER BY hours;
    SELECT kind, count(DISTINCT path) FROM part_features WHERE verdict = 'redesign' GROUP BY kind;

``present`` are the parts that the last run asked for: one that was moved or deleted keeps its row in
``parts`` alone. Its ``standing`` says what comes of a part: a verdict, ``doubtful`` where the file is to be
looked at first, ``no machine``, ``refused``, ``set aside`` or ``waiting``.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from orient.errors import OrientError
from orient.features.model import VERDICTS
from orient.fleet.rows import Row
from orient.show.document import MEASURES, SHOP, WHOLE
from orient.show.files import refuse_unwritable

# Marks a SQLite file as one of these (sqlite.org/pragma.html#pragma_application_id): "orie".
APPLICATION = 0x6F726965
LAYOUT = 2

_PART = {
    "path": "TEXT PRIMARY KEY",
    "path_bytes": "BLOB",
    "listed": "INTEGER NOT NULL",
    "size_bytes": "INTEGER",
    "changed_ns": "INTEGER",
    "content_hash": "TEXT",
    "brief_hash": "TEXT NOT NULL",
    "outcome": "TEXT CHECK (outcome IN ('ok', 'refused', 'set aside'))",
    "sentence": "TEXT",
    "seconds": "REAL",
    "version": "TEXT",
    "finished": "TEXT",
    "result": "INTEGER",
    "verdict": "TEXT",
    **dict.fromkeys(VERDICTS, "INTEGER"),
    "machine": "TEXT",
    "machine_verdict": "TEXT",
    "polymer": "TEXT",
    **dict.fromkeys(("faces", "bodies"), "INTEGER"),
    "units": "TEXT",
    "unit_doubt": "TEXT",
    "closed": "INTEGER",
    **dict.fromkeys(("volume_mm3", "area_mm2", "x_mm", "y_mm", "z_mm"), "REAL"),
    "pose": "INTEGER",
    **dict.fromkeys(("hours", "part_g", "support_g", "cost"), "REAL"),
    **dict.fromkeys(("warnings", "cautions", "notes"), "TEXT"),
}
# What comes of an evaluation, and so is the same for files of like content.
_FOUND = tuple(_PART)[tuple(_PART).index("outcome") :]
_POSE = {
    "result": "INTEGER NOT NULL",
    "rank": "INTEGER NOT NULL",
    "recommended": "INTEGER NOT NULL",
    **dict.fromkeys(("x", "y", "z"), "REAL"),
    "source": "TEXT",
    "rests_on_flat": "INTEGER",
    "score": "REAL",
    **{name: "INTEGER" if name in WHOLE else "REAL" for name in MEASURES},
    **{name: "INTEGER" if name == "fits" else "REAL" for name in SHOP},
    **dict.fromkeys(VERDICTS, "INTEGER"),
    "why": "TEXT",
}
_FEATURE = {
    "result": "INTEGER NOT NULL",
    "id": "TEXT NOT NULL",
    "kind": "TEXT",
    "verdict": "TEXT",
    **dict.fromkeys(("size_mm", "limit_mm", "x_mm", "y_mm", "z_mm", "area_mm2"), "REAL"),
    "why": "TEXT",
    "try_first": "TEXT",
}
_RUN = {
    "run": "INTEGER PRIMARY KEY",
    "began": "TEXT NOT NULL",
    "ended": "TEXT",
    "version": "TEXT NOT NULL",
    "brief_hash": "TEXT NOT NULL",
    "brief": "TEXT NOT NULL",
}


def _table(name: str, columns: Mapping[str, str], more: str = "") -> str:
    held = ",\n  ".join(f"{column} {kind}" for column, kind in columns.items())
    return f"CREATE TABLE {name} (\n  {held}{more}\n);\n"


# Of a mesh with openings, or in a doubtful unit, no figure can be relied on. A part that no machine runs
# prints on none, whatever its shape.
_PRESENT = """CREATE VIEW present AS SELECT *, CASE
  WHEN outcome IS NULL THEN 'waiting' WHEN outcome <> 'ok' THEN outcome
  WHEN closed = 0 OR unit_doubt IS NOT NULL THEN 'doubtful'
  WHEN machine IS NULL THEN 'no machine' ELSE verdict END AS standing
FROM parts WHERE listed = (SELECT max(run) FROM runs);
"""
_LAYOUT = (
    _table("runs", _RUN)
    + _table("parts", _PART)
    + _table("poses", _POSE, ",\n  PRIMARY KEY (result, rank)")
    + _table("features", _FEATURE, ",\n  PRIMARY KEY (result, id)")
    + "CREATE INDEX parts_by_content ON parts (content_hash, brief_hash);\n"
    + "CREATE INDEX parts_by_outcome ON parts (listed, outcome, path);\n"
    + "CREATE VIEW part_poses AS SELECT path, poses.* FROM parts JOIN poses USING (result);\n"
    + "CREATE VIEW part_features AS SELECT path, features.* FROM parts JOIN features USING (result);\n"
    + _PRESENT
)


@dataclass(frozen=True)
class Waiting:
    """A file that waits: its place in the table, the file itself, and how it stood when it was listed."""

    key: str
    path: str
    size_bytes: int | None
    changed_ns: int | None


@contextmanager
def writing(path: Path) -> Iterator[Results]:
    """Open or begin a database as its only writer.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    Results

    Raises
    ------
    OrientError
        When another run writes to it, it is another program's, or there is no room for it.
    """
    refuse_unwritable(path)
    with _only_writer(path), _told(path), closing(sqlite3.connect(path, isolation_level=None)) as base:
        _check(base, path, empty=True)
        base.execute("PRAGMA journal_mode = WAL")
        # A program that crashes loses nothing; a machine, at worst what came last, which is done again.
        base.execute("PRAGMA synchronous = NORMAL")
        if not base.execute("PRAGMA application_id").fetchone()[0]:
            mark = f"PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {LAYOUT};"
            base.executescript(f"BEGIN; {_LAYOUT} {mark} COMMIT;")
        base.row_factory = sqlite3.Row
        yield Results(base)


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a database to read, also while a run writes to it.

    Raises
    ------
    OrientError
        When it is not there, or another program's.
    """
    if not path.is_file():
        raise OrientError(f"There is no file {path}: `orient fleet FOLDER --out {path}` makes it.")
    place = f"{path.resolve().as_uri()}?mode=ro"
    # A folder that nothing may be written to has no room for the files that readers share.
    still = "" if os.access(path.resolve().parent, os.W_OK) else "&immutable=1"
    with _told(path), closing(sqlite3.connect(place + still, uri=True)) as base:
        _check(base, path, empty=False)
        base.row_factory = sqlite3.Row
        yield base


class Results:
    """The tables of a run, for its one writer."""

    def __init__(self, base: sqlite3.Connection) -> None:
        self._base = base

    def begin(self, version: str, brief_hash: str, brief: str) -> int:
        """Note that a run begins; its number."""
        said = (_now(), version, brief_hash, brief)
        self._base.execute("INSERT INTO runs (began, version, brief_hash, brief) VALUES (?, ?, ?, ?)", said)
        return int(self._base.execute("SELECT max(run) FROM runs").fetchone()[0])

    def end(self, run: int) -> None:
        """Note that a run came to its end."""
        self._base.execute("UPDATE runs SET ended = ? WHERE run = ?", (_now(), run))

    def list(self, inputs: Iterator[str], run: int, brief_hash: str, *, again: bool = False) -> None:
        """Enter every input before any is evaluated; what is done and has not changed stays done.

        Parameters
        ----------
        inputs : iterator of str
            Absolute paths.
        run : int
            The run that asks.
        brief_hash : str
            A row under another brief waits anew.
        again : bool
            Whether what was set aside waits anew too.
        """
        with self._transaction():
            for path in inputs:
                key, raw = text_of(path)
                size, changed = _stands(path)
                asked = (size, changed, brief_hash)
                known = self._base.execute(
                    "SELECT size_bytes, changed_ns, brief_hash, outcome FROM parts WHERE path = ?", (key,)
                ).fetchone()
                stays = known is not None and tuple(known)[:3] == asked
                if stays and not (again and known["outcome"] == "set aside"):
                    self._base.execute("UPDATE parts SET listed = ? WHERE path = ?", (run, key))
                else:
                    self._base.execute(
                        "INSERT OR REPLACE INTO parts (path, path_bytes, listed, size_bytes, changed_ns, "
                        "brief_hash) VALUES (?, ?, ?, ?, ?, ?)",
                        (key, raw, run, *asked),
                    )

    def waiting(self, run: int) -> Iterator[Waiting]:
        """What a run has yet to do, in order of paths, read as it is asked for."""
        last = ""
        while rows := self._base.execute(
            "SELECT path, path_bytes, size_bytes, changed_ns FROM parts "
            "WHERE listed = ? AND outcome IS NULL AND path > ? ORDER BY path LIMIT 64",
            (run, last),
        ).fetchall():
            for key, raw, size, changed in rows:
                yield Waiting(key, key if raw is None else os.fsdecode(raw), size, changed)
                last = key

    def count(self, run: int) -> dict[str | None, int]:
        """Inputs of a run by outcome; None are those that wait."""
        rows = self._base.execute("SELECT outcome, count(*) FROM parts WHERE listed = ? GROUP BY 1", (run,))
        return dict(map(tuple, rows))

    def share(self, one: Waiting, content_hash: str, brief_hash: str) -> bool:
        """Take over what was found of a file of like content and ending; False where there is none.

        What was set aside is no result to share: it may have been the machine's fault.
        """
        known = self._base.execute(
            "SELECT * FROM parts WHERE content_hash = ? AND brief_hash = ? AND outcome IN ('ok', 'refused') "
            "AND lower(path) LIKE ? LIMIT 1",
            (content_hash, brief_hash, f"%{_ending(one.key)}"),
        ).fetchone()
        if known is None:
            return False
        found = {name: known[name] for name in _FOUND}
        if found["sentence"]:
            found["sentence"] = found["sentence"].replace(f"'{known['path']}'", f"'{one.key}'")
        self._enter(one, content_hash, found)
        return True

    def keep(self, one: Waiting, content_hash: str | None, version: str, rows: Row) -> None:
        """Enter what came of a file: all of it, or where the program ends meanwhile, nothing."""
        found: Row = dict.fromkeys(_FOUND) | rows.get("part", {})
        found |= {name: rows[name] for name in ("outcome", "sentence", "seconds")}
        found |= {"version": version, "finished": _now()}
        with self._transaction():
            if "part" in rows:
                last = self._base.execute("SELECT max(result) FROM poses").fetchone()[0]
                found["result"] = (last or 0) + 1
                for table, columns in (("poses", _POSE), ("features", _FEATURE)):
                    names, marks = ", ".join(columns), ", ".join(f":{name}" for name in columns)
                    self._base.executemany(
                        f"INSERT INTO {table} ({names}) VALUES ({marks})",
                        [{"result": found["result"], **row} for row in rows[table]],
                    )
            self._enter(one, content_hash, found)

    def _enter(self, one: Waiting, content_hash: str | None, found: Row) -> None:
        names = ", ".join(f"{name} = :{name}" for name in ("content_hash", *_FOUND))
        self._base.execute(
            f"UPDATE parts SET {names} WHERE path = :path",
            {"content_hash": content_hash, "path": one.key, **found},
        )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._base.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            # A full disk may have rolled it back already.
            with suppress(sqlite3.Error):
                self._base.execute("ROLLBACK")
            raise
        self._base.execute("COMMIT")


def text_of(path: str) -> tuple[str, bytes | None]:
    """A path as text for the table, and as bytes where it is none.

    >>> text_of("part.stl")
    ('part.stl', None)
    """
    raw = os.fsencode(path)
    text = raw.decode("utf-8", "backslashreplace")
    return text, None if text == path else raw


def _ending(path: str) -> str:
    return os.path.splitext(path)[1].lower()


def _stands(path: str) -> tuple[int | None, int | None]:
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return None, None
    return found.st_size, found.st_mtime_ns


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _check(base: sqlite3.Connection, path: Path, *, empty: bool) -> None:
    """Refuse a database of another program, or of another layout."""
    mark = base.execute("PRAGMA application_id").fetchone()[0]
    layout = base.execute("PRAGMA user_version").fetchone()[0]
    tables = base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if mark != APPLICATION and (tables or not empty):
        raise OrientError(f"{path} holds something else than results of `orient fleet`: give another file.")
    if mark == APPLICATION and layout != LAYOUT:
        raise OrientError(
            f"{path} was written by another version of orient: give another file, or use that version."
        )


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Say in one sentence what SQLite says in a word."""
    try:
        yield
    except sqlite3.Error as error:
        full = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL
        mend = "free some room or give another file" if full else "give another file"
        raise OrientError(
            f"The database {path} cannot be used ({error}): {mend}; what it holds stays in it."
        ) from None


@contextmanager
def _only_writer(path: Path) -> Iterator[None]:
    """Hold the lock beside a database; the system lets go of it whenever and however the process ends."""
    place = path.with_name(f"{path.name}.lock")
    try:
        file = place.open("a+")
    except OSError as error:
        raise OrientError(
            f"The file {place} cannot be written ({error.strerror}): choose another place."
        ) from None
    with file:
        if not _locked(file):
            raise OrientError(
                f"Another run writes to {path}: wait until it ends, or give --out another file."
            )
        yield


def _locked(file: IO[Any]) -> bool:
    try:
        import fcntl
    except ImportError:
        import msvcrt

        lock: Any = msvcrt
        try:
            lock.locking(file.fileno(), lock.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True

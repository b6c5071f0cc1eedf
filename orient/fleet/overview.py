"""What a database of results says of all its parts together: counts, machines, hours, what is in the way."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from orient.errors import OrientError
from orient.features.model import VERDICTS
from orient.features.register import BY_NAME
from orient.show.words import direction_words

# Groups of parts in the order in which a shop can start on them; each part is in one.
GROUPS: Mapping[str, str] = {
    "fine": "print as they are",
    "support": "print with supports",
    "tune": "print after tuning",
    "doubtful": "to be looked at first",
    "redesign": "need a redesign",
    "no machine": "no machine for them",
    "refused": "refused",
    "set aside": "set aside",
    "waiting": "not yet evaluated",
}
# What is told with every part says nothing about one.
_OF_ALL = "Strength figures"
NO_MACHINE = "none"
VERDICT_WORDS = tuple(group.replace(" ", "-") for group in GROUPS)


@dataclass(frozen=True)
class Asked:
    """What is to be listed.

    Attributes
    ----------
    verdict : str or None
        A group, with a hyphen for the blank; None for all.
    machine : str or None
        A machine by name, ``none`` for parts that have none; None for all.
    top : int
        How many parts at most.
    """

    verdict: str | None = None
    machine: str | None = None
    top: int = 30


@dataclass(frozen=True)
class Overview:
    """What is to be shown.

    Attributes
    ----------
    counts : Mapping of str to int
        Parts by group; every part once.
    hours : Mapping of str to float
        Build hours by group, each part once, alone on a bed.
    machines : tuple of (str, Mapping of str to int, float)
        Machine, parts by group, hours of what it prints as it is or with supports.
    kinds : tuple of (str, str, int)
        Kind of hard feature, verdict, parts that have it in the way, commonest first.
    parts : tuple of Mapping
        The parts asked for, in order of groups, the quickest first.
    matching : int
        How many there are of these.
    """

    counts: Mapping[str, int]
    hours: Mapping[str, float]
    machines: tuple[tuple[str, Mapping[str, int], float], ...]
    kinds: tuple[tuple[str, str, int], ...]
    parts: tuple[Mapping[str, Any], ...]
    matching: int


def overview_of(base: sqlite3.Connection, asked: Asked) -> Overview:
    """Ask the database what is to be shown.

    Parameters
    ----------
    base : Connection
        From `orient.fleet.results.reading`.
    asked : Asked
        What to list.

    Returns
    -------
    Overview

    Raises
    ------
    OrientError
        For a verdict that there is not.
    """
    where, values = _filter(asked)
    machines = _machines(base)
    named = [name for name, _, _ in machines]
    if asked.machine not in (None, NO_MACHINE, *named):
        raise OrientError(
            f"No part here is for a machine '{asked.machine}': there are {', '.join(named) or 'none'}."
        )
    found = base.execute("SELECT standing, count(*), total(hours) FROM present GROUP BY standing").fetchall()
    counts = {group: number for group, number, _ in found}
    hours = {group: time for group, _, time in found}
    matching = base.execute(f"SELECT count(*) FROM present WHERE {where}", values).fetchone()[0]
    return Overview(
        counts={group: counts.get(group, 0) for group in GROUPS},
        hours={group: hours.get(group, 0.0) for group in GROUPS},
        machines=machines,
        kinds=_kinds(base),
        parts=parts_of(base, where, values, asked.top),
        matching=matching,
    )


def parts_of(
    base: sqlite3.Connection, where: str, values: tuple[Any, ...], most: int
) -> tuple[Mapping[str, Any], ...]:
    """List parts with the worst of their hard features, in order of groups, the quickest first."""
    order = " ".join(f"WHEN '{group}' THEN {place}" for place, group in enumerate(GROUPS))
    rows = base.execute(
        f"SELECT * FROM present WHERE {where} ORDER BY CASE standing {order} END, hours, path LIMIT ?",
        (*values, most),
    ).fetchall()
    listed = []
    for row in rows:
        worst = None
        if row["standing"] in VERDICTS and row["verdict"] != "fine":
            worst = base.execute(
                "SELECT id, kind, why, try_first FROM features WHERE result = ? AND verdict = ? "
                "ORDER BY rowid LIMIT 1",
                (row["result"], row["verdict"]),
            ).fetchone()
        listed.append(
            {
                **dict(row),
                "up": _up(base, row["result"]),
                "like": _like(base, row),
                "worst": None if worst is None else f"{worst['id']}, {BY_NAME[worst['kind']].title}",
                "why": row["sentence"] if worst is None else worst["why"],
                "first": "" if worst is None else (worst["try_first"] or "").partition("\n")[0],
                "said": _said(row),
            }
        )
    return tuple(listed)


def _up(base: sqlite3.Connection, result: int | None) -> str:
    """The build direction to take, in words."""
    found = base.execute(
        "SELECT x, y, z FROM poses WHERE result = ? AND recommended = 1 LIMIT 1", (result,)
    ).fetchone()
    return "" if found is None else direction_words(np.array(tuple(found)))


def _like(base: sqlite3.Connection, row: sqlite3.Row) -> str | None:
    """The first of the files with the same content, where that is another."""
    if row["content_hash"] is None:
        return None
    first: str = base.execute(
        "SELECT min(path) FROM present WHERE content_hash = ?", (row["content_hash"],)
    ).fetchone()[0]
    return None if first == row["path"] else first


def _said(row: sqlite3.Row) -> str:
    """What to know of a part before anything else: warnings, and cautions of its own."""
    lines = f"{row['warnings'] or ''}\n{row['cautions'] or ''}".split("\n")
    return " ".join(line for line in lines if line and not line.startswith(_OF_ALL))


def _filter(asked: Asked) -> tuple[str, tuple[Any, ...]]:
    where, values = ["1"], []
    if asked.verdict is not None:
        group = asked.verdict.replace("-", " ")
        if group not in GROUPS:
            raise OrientError(
                f"There is no verdict '{asked.verdict}': give one of {', '.join(VERDICT_WORDS)}."
            )
        where.append("standing = ?")
        values.append(group)
    if asked.machine == NO_MACHINE:
        where.append("outcome = 'ok' AND machine IS NULL")
    elif asked.machine is not None:
        where.append("machine = ?")
        values.append(asked.machine)
    return " AND ".join(where), tuple(values)


def _machines(base: sqlite3.Connection) -> tuple[tuple[str, Mapping[str, int], float], ...]:
    rows = base.execute(
        f"SELECT ifnull(machine, '{NO_MACHINE}'), standing, count(*), total(hours) FROM present "
        "WHERE outcome = 'ok' GROUP BY 1, 2"
    ).fetchall()
    found: dict[str, dict[str, int]] = {}
    ready: dict[str, float] = {}
    for machine, group, number, hours in rows:
        found.setdefault(machine, {})[group] = number
        ready[machine] = ready.get(machine, 0.0) + (hours if group in ("fine", "support") else 0.0)
    inorder = sorted(found, key=lambda one: (one == NO_MACHINE, -sum(found[one].values()), one))
    return tuple((one, found[one], ready[one]) for one in inorder)


def _kinds(base: sqlite3.Connection) -> tuple[tuple[str, str, int], ...]:
    """Kinds of features that need a redesign or tuning, by how many parts have them."""
    rows = base.execute(
        "SELECT kind, features.verdict, count(DISTINCT path) AS n FROM present JOIN features USING (result) "
        "WHERE features.verdict IN ('redesign', 'tune') GROUP BY 1, 2 ORDER BY n DESC, kind LIMIT 12"
    ).fetchall()
    return tuple((BY_NAME[kind].title, verdict, number) for kind, verdict, number in rows)

"""What a database of results says of all its parts together: counts, machines, hours, what is in the way."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from orient.errors import OrientError
from orient.features.register import BY_NAME

# Groups of parts in the order in which a shop can start on them; each part is in one.
GROUPS: Mapping[str, str] = {
    "fine": "print as they are",
    "support": "print with supports",
    "tune": "print after tuning",
    "redesign": "need a redesign",
    "no machine": "no machine for them",
    "refused": "refused",
    "set aside": "set aside",
    "waiting": "not yet evaluated",
}
# The group of a row of `parts`, in SQL. A part that no machine runs prints on none, whatever its shape.
GROUP = (
    "CASE WHEN outcome IS NULL THEN 'waiting' WHEN outcome <> 'ok' THEN outcome "
    "WHEN machine IS NULL THEN 'no machine' ELSE verdict END"
)
NO_MACHINE = "none"
_WORDS = ("fine", "support", "tune", "redesign", "no-machine", "refused", "set-aside", "waiting")


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
    found = base.execute(f"SELECT {GROUP} AS g, count(*), total(hours) FROM parts GROUP BY g").fetchall()
    counts = {group: number for group, number, _ in found}
    hours = {group: time for group, _, time in found}
    matching = base.execute(f"SELECT count(*) FROM parts WHERE {where}", values).fetchone()[0]
    return Overview(
        counts={group: counts.get(group, 0) for group in GROUPS},
        hours={group: hours.get(group, 0.0) for group in GROUPS},
        machines=_machines(base),
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
        f"SELECT *, {GROUP} AS grp FROM parts WHERE {where} "
        f"ORDER BY CASE grp {order} END, hours, path LIMIT ?",
        (*values, most),
    ).fetchall()
    listed = []
    for row in rows:
        worst = None
        if row["verdict"] not in (None, "fine"):
            worst = base.execute(
                "SELECT id, kind, why FROM features WHERE result = ? AND verdict = ? ORDER BY rowid LIMIT 1",
                (row["result"], row["verdict"]),
            ).fetchone()
        listed.append(
            {
                **dict(row),
                "group": row["grp"],
                "worst": None if worst is None else f"{worst['id']}, {BY_NAME[worst['kind']].title}",
                "why": row["sentence"] if worst is None else worst["why"],
            }
        )
    return tuple(listed)


def _filter(asked: Asked) -> tuple[str, tuple[Any, ...]]:
    where, values = ["1"], []
    if asked.verdict is not None:
        if asked.verdict not in _WORDS:
            raise OrientError(f"There is no verdict '{asked.verdict}': give one of {', '.join(_WORDS)}.")
        where.append(f"{GROUP} = ?")
        values.append(asked.verdict.replace("-", " "))
    if asked.machine == NO_MACHINE:
        where.append("outcome = 'ok' AND machine IS NULL")
    elif asked.machine is not None:
        where.append("machine = ?")
        values.append(asked.machine)
    return " AND ".join(where), tuple(values)


def _machines(base: sqlite3.Connection) -> tuple[tuple[str, Mapping[str, int], float], ...]:
    rows = base.execute(
        f"SELECT ifnull(machine, '{NO_MACHINE}'), {GROUP} AS g, count(*), total(hours) FROM parts "
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
        "SELECT kind, verdict, count(DISTINCT path) AS n FROM part_features "
        "WHERE verdict IN ('redesign', 'tune') GROUP BY 1, 2 ORDER BY n DESC, kind LIMIT 12"
    ).fetchall()
    return tuple((BY_NAME[kind].title, verdict, number) for kind, verdict, number in rows)

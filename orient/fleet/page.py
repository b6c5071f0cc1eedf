"""The overview as one page: what can be printed, on which machine, and what is in the way of the rest."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2

from orient.fleet.overview import GROUPS, NO_MACHINE, Asked, Overview, overview_of, parts_of
from orient.fleet.table import common_folder, machine_of, short
from orient.show.files import write_whole
from orient.show.page.page import environment, page_text, policy

# Rows of a group that the page lists; the database has them all.
MOST_ROWS = 500
_HEADS = {"fine": "to know", "refused": "why", "set aside": "why", "doubtful": "what is doubtful"}
# Groups that can be started without changing the part.
_READY = ("fine", "support")


def write_overview(base: sqlite3.Connection, name: str, path: Path) -> None:
    """Write the page; one that stood there is replaced whole or not at all.

    Parameters
    ----------
    base : Connection
        From `orient.fleet.results.reading`.
    name : str
        What to call the database.
    path : Path
        Where the page goes.

    Raises
    ------
    OrientError
        When it cannot be written.
    """
    write_whole(path, overview_page(base, name).encode(errors="replace"))


def overview_page(base: sqlite3.Connection, name: str) -> str:
    """Make the page.

    Parameters
    ----------
    base : Connection
        The database.
    name : str
        What to call it.

    Returns
    -------
    str
        HTML with styles and script in it.
    """
    found = overview_of(base, Asked(top=1))
    there = [group for group in GROUPS if found.counts[group]]
    rows = {group: parts_of(base, "standing = ?", (group,), MOST_ROWS) for group in there}
    root = common_folder([str(row["path"]) for group in there for row in rows[group]])
    columns = [group for group in GROUPS if any(counts.get(group) for _, counts, _ in found.machines)]
    style = "\n".join(map(page_text, ("page.css", "comparison.css"))) + _own("overview.css")
    # Widths stand in the style itself, since the page's policy lets no style in that is not its own.
    style += "\n".join(
        f".slice.m{list(GROUPS).index(group)} {{ flex-grow: {found.counts[group]}; }}" for group in there
    )
    script = _own("overview.js")
    loaders = [jinja2.PackageLoader("orient.fleet", "."), jinja2.PackageLoader("orient.show.page", ".")]
    template = environment().overlay(loader=jinja2.ChoiceLoader(loaders)).get_template("overview.html")
    head, lead = answer(found)
    return template.render(
        name=name,
        job={"number": None, "customer_ref": None},
        revision=None,
        head=head,
        lead=lead,
        alt="; ".join(f"{found.counts[group]} {GROUPS[group]}" for group in there),
        groups=[_group(found, group) for group in there],
        machines=[
            {
                "name": "none of them" if machine == NO_MACHINE else machine,
                "counts": [counts.get(group) or "" for group in columns],
                "hours": f"{hours:,.1f}" if hours else "",
            }
            for machine, counts, hours in found.machines
        ],
        columns=columns,
        kinds=found.kinds,
        listed=[
            _group(found, group)
            | {
                "open": group in _READY,
                # What was never evaluated has no figures.
                "figures": group not in ("refused", "set aside", "waiting"),
                "why": _HEADS.get(group, "what is in the way"),
                "rows": [_row(row, root) for row in rows[group]],
                "more": found.counts[group] - len(rows[group]),
            }
            for group in there
        ],
        root=root,
        record=_record(base),
        data=None,
        style=style,
        script=script,
        policy=policy(style, script),
    )


def answer(found: Overview) -> tuple[str, str]:
    """What can be started, in a headline and a sentence."""
    fine, held = found.counts["fine"], found.counts["support"]
    total = sum(found.counts.values())
    ready, hours = fine + held, sum(found.hours[group] for group in _READY)
    head = (
        f"{ready:,} of {total:,} parts can be started"
        if ready
        else f"None of the {total:,} parts can be started as it is"
    )
    said = []
    if fine:
        said.append(f"{fine:,} print as they are")
    if held:
        said.append(f"{held:,} with supports")
    machines = [
        f"{hours:,.1f} h on {machine}"
        for machine, _, hours in found.machines
        if hours and machine != NO_MACHINE
    ]
    lead = f"{' and '.join(said)}, {hours:,.1f} machine hours in all" if said else ""
    lead += f" ({', '.join(machines)})" if len(machines) > 1 else ""
    words = dict(GROUPS) | {
        "no machine": "find no machine",
        "refused": "were refused",
        "set aside": "were set aside",
    }
    words["waiting"] = "are not yet evaluated"
    words["doubtful"] = "are to be looked at first"
    rest = [
        f"{found.counts[group]:,} {words[group]}"
        for group in GROUPS
        if group not in _READY and found.counts[group]
    ]
    lead += f"{'. ' if lead else ''}Of the rest, {', '.join(rest)}." if rest else "."
    return head, lead


def _group(found: Overview, group: str) -> dict[str, Any]:
    return {
        "anchor": group.replace(" ", "-"),
        "mark": f"m{list(GROUPS).index(group)}",
        "words": GROUPS[group],
        "parts": found.counts[group],
        "hours": f"{found.hours[group]:,.1f}" if found.hours[group] else "",
    }


def _row(part: Any, root: str) -> dict[str, Any]:
    sides = (part["x_mm"], part["y_mm"], part["z_mm"])
    return {
        "path": short(str(part["path"]), root),
        "size": "" if None in sides else " × ".join(f"{side:.0f}" for side in sides),
        "machine": machine_of(part) or "",
        "hours": "" if part["hours"] is None else f"{part['hours']:.1f}",
        "grams": "" if part["part_g"] is None else f"{part['part_g']:.0f}",
        "up": part["up"],
        "like": None if part["like"] is None else short(str(part["like"]), root),
        "worst": part["worst"],
        "why": f"{part['why'] or ''} {part['first']}".strip(),
        "said": part["said"],
    }


def _record(base: sqlite3.Connection) -> str:
    last = base.execute("SELECT began, ended, version FROM runs ORDER BY run DESC LIMIT 1").fetchone()
    if last is None:
        return ""
    polymers = base.execute(
        "SELECT DISTINCT polymer FROM present WHERE polymer IS NOT NULL ORDER BY 1"
    ).fetchall()
    end = f"ended {_clock(last['ended'])}" if last["ended"] else "is not at its end"
    of = f" For {', '.join(row[0] for row in polymers)}." if polymers else ""
    return f"The last run began {_clock(last['began'])} and {end}; orient {last['version']}.{of}"


def _clock(stamp: str) -> str:
    """A stored time in words, as clocks here show it.

    >>> len(_clock("2026-03-02T08:05:00+00:00"))
    16
    """
    return datetime.fromisoformat(stamp).astimezone().strftime("%Y-%m-%d %H:%M")


def _own(name: str) -> str:
    return files("orient.fleet").joinpath(name).read_text(encoding="utf-8")

"""The overview in the terminal and as JSON."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from orient.fleet.overview import GROUPS, NO_MACHINE, Overview

SCHEMA = "orient/fleet/1"
# Columns of `parts` that the JSON lists, as they are named there.
_TOLD = (
    "path",
    "outcome",
    "sentence",
    "verdict",
    "machine",
    "machine_verdict",
    "polymer",
    "x_mm",
    "y_mm",
    "z_mm",
    "volume_mm3",
    "pose",
    "hours",
    "part_g",
    "support_g",
    "cost",
    "content_hash",
)


def outcome_words(counts: Mapping[str | None, int]) -> str:
    """Every input of a run, counted once.

    >>> outcome_words({"ok": 11, "refused": 2})
    '13 parts: 11 evaluated, 2 refused, 0 set aside.'
    """
    total = sum(counts.values())
    ok, refused, aside = (counts.get(name, 0) for name in ("ok", "refused", "set aside"))
    parts = "1 part" if total == 1 else f"{total:,} parts"
    return f"{parts}: {ok:,} evaluated, {refused:,} refused, {aside:,} set aside."


def overview_view(found: Overview, width: int) -> RenderableType:
    """The overview as tables.

    Parameters
    ----------
    found : Overview
        What the database says.
    width : int
        Columns there are.

    Returns
    -------
    RenderableType
    """
    total = sum(found.counts.values())
    views: list[RenderableType] = []
    groups = _table("", "parts", "hours")
    for group, number in found.counts.items():
        if number:
            hours = found.hours[group]
            groups.add_row(GROUPS[group], f"{number:,}", f"{hours:,.1f}" if hours else "")
    groups.add_row("in all", f"{total:,}", "")
    views += [groups, ""]
    if found.machines:
        shown = [group for group in GROUPS if any(row.get(group) for _, row, _ in found.machines)]
        machines = _table("machine", *shown)
        for name, row, _ in found.machines:
            machines.add_row(name, *(f"{row[group]:,}" if row.get(group) else "" for group in shown))
        views += [machines, ""]
    if found.parts:
        root = common_folder([str(part["path"]) for part in found.parts])
        listed = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold", width=width)
        # The names of files are as long as people make them; what is in the way has to be read beside them.
        listed.add_column("part", overflow="fold", max_width=max(width * 2 // 5, 16))
        for head in ("", "machine"):
            listed.add_column(head, overflow="fold")
        listed.add_column("hours", justify="right", no_wrap=True)
        listed.add_column("what is in the way", ratio=1, overflow="fold")
        for part in found.parts:
            like = f" (same as {short(str(part['like']), root)})" if part["like"] else ""
            listed.add_row(
                Text(short(str(part["path"]), root) + like),
                part["standing"],
                machine_of(part) or "",
                "" if part["hours"] is None else f"{part['hours']:.1f}",
                Text(_way(part)),
            )
        views.append(listed)
        if root:
            views.append(Text(f"Below {root}"))
    left = found.matching - len(found.parts)
    if left > 0:
        views.append(Text(f"And {left:,} more: --top {found.matching} lists them."))
    elif not found.matching:
        views.append(Text("No part is like that."))
    return Group(*views)


def overview_json(found: Overview) -> str:
    """The overview as JSON text, with a newline at the end."""
    document = {
        "schema": SCHEMA,
        "counts": dict(found.counts),
        "hours": {group: round(hours, 9) for group, hours in found.hours.items()},
        "machines": [
            {"machine": None if name == NO_MACHINE else name, "counts": dict(row)}
            for name, row, _ in found.machines
        ],
        "kinds": [
            {"kind": kind, "verdict": verdict, "parts": number} for kind, verdict, number in found.kinds
        ],
        "matching": found.matching,
        "parts": [{name: part[name] for name in _TOLD} for part in found.parts],
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def common_folder(paths: list[str]) -> str:
    """The folder that all paths lie below; empty where there is none but the root.

    >>> common_folder(["/a/b/c.stl", "/a/b/d/e.stl"])
    '/a/b'
    """
    try:
        found = os.path.commonpath([os.path.dirname(path) for path in paths])
    except ValueError:
        return ""
    return "" if found == os.path.dirname(found) else found


def short(path: str, root: str) -> str:
    """A path below a folder."""
    return os.path.relpath(path, root) if root else path


def machine_of(part: Mapping[str, Any]) -> str | None:
    """The machine of a row of `parts`, ``none`` where it has none, None where it was not evaluated."""
    return None if part["outcome"] != "ok" else part["machine"] or NO_MACHINE


def _way(part: Mapping[str, Any]) -> str:
    way = f"{part['worst']}: {part['why']} {part['first']}" if part["worst"] else part["why"] or ""
    return f"{way} {part['said']}".strip()


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place else "left")
    return table

"""Hard features in words and JSON: the list of one pose, the holes, and the counts of the poses shown."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.evaluation import Evaluation
from orient.features.model import SMALL_IS_HARD, VERDICTS, Feature, Hole
from orient.features.register import BY_NAME, KINDS, Inspection
from orient.show.part import number, numbers, part_document
from orient.show.words import VERDICT_WORDS, direction_words

FEATURES_SCHEMA = "orient/features/1"

# What a verdict asks for, as the head of its entries.
_HEADS = {name: f"{name.capitalize()}: {said}" for name, said in VERDICT_WORDS.items()} | {"fine": "Fine"}
# More entries of a kind and verdict than this are told as one, the hardest in full.
_TOLD_APART = 3
# More holes than this are told by size.
_HOLES_TOLD_APART = 24
# The direction of these is where to run the lines.
_LINES = {"bridge", "mixed_ceiling"}


def features_document(found: Inspection, *, faces: bool = False) -> dict[str, Any]:
    """The hard features of one pose as plain values, ready for JSON.

    Parameters
    ----------
    found : Inspection
        What was found.
    faces : bool
        Whether to list the faces of every entry.

    Returns
    -------
    dict
        Schema ``orient/features/1``. What a kind has to say beyond the common fields stands beside them.
    """
    return {
        "schema": FEATURES_SCHEMA,
        "part": part_document(found.part),
        "build_direction": numbers(found.direction),
        "counts": dict(found.counts),
        "features": [_entry(one, faces) for one in found.features],
        "holes": [_hole(one, faces) for one in found.holes],
        "unreliable": list(found.unreliable),
        "cautions": list(found.cautions),
        "timing_s": dict(found.timing_s),
    }


def features_json(found: Inspection, *, faces: bool = False) -> str:
    """The same as JSON text, with a newline at the end."""
    document = features_document(found, faces=faces)
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _entry(one: Feature, faces: bool) -> dict[str, Any]:
    return {
        "id": one.id,
        "kind": one.kind,
        "verdict": one.verdict,
        "size_mm": number(one.size_mm),
        "limit_mm": None if one.limit_mm is None else number(one.limit_mm),
        "at_mm": numbers(one.at_mm),
        "direction": None if one.direction is None else numbers(one.direction),
        "area_mm2": number(one.area_mm2),
        "why": one.why,
        "try_first": list(one.try_first),
        **{name: number(value) if isinstance(value, float) else value for name, value in one.more.items()},
        **({"faces": one.faces.tolist()} if faces else {}),
    }


def _hole(one: Hole, faces: bool) -> dict[str, Any]:
    return {
        "id": one.id,
        "diameter_mm": number(one.diameter_mm),
        "depth_mm": number(one.depth_mm),
        "axis": numbers(one.axis),
        "centre_mm": numbers(one.centre_mm),
        "tilt_deg": None if one.tilt_deg is None else number(one.tilt_deg),
        "through": one.through,
        "countersunk": one.countersunk,
        "stepped": one.stepped,
        "residual_mm": number(one.residual_mm),
        "fits": list(one.fits),
        **({"faces": one.faces.tolist()} if faces else {}),
    }


def features_view(found: Inspection, *, every: bool = False) -> RenderableType:
    """What a person reads: entries by verdict, what is fine in a line, and the holes.

    Parameters
    ----------
    found : Inspection
        What was found.
    every : bool
        Whether like entries, and those that are fine, are each told in full.

    Returns
    -------
    rich renderable
    """
    part = found.part
    size = " × ".join(f"{side:.1f}" for side in part.extents_mm)
    parts: list[RenderableType] = [
        Text(f"{part.name}: {size} mm, built along {direction_words(found.direction)}"),
        *[_point(said) for said in part.health.warnings if said not in found.cautions],
        Text(count_words(found.counts), style="bold"),
    ]
    told = VERDICTS if every else VERDICTS[:-1]
    for verdict in told:
        entries = [one for one in found.features if one.verdict == verdict]
        if entries:
            parts += ["", Text(_HEADS[verdict], style="bold"), _entries(entries, every)]
    fine = [one for one in found.features if one.verdict == "fine"]
    if fine and not every:
        parts += ["", Text("Fine", style="bold"), _point(f"{_fine_words(fine)}.")]
    if found.holes:
        parts += ["", Text("Holes", style="bold"), _holes(found.holes, every)]
    if found.unreliable or found.cautions:
        parts += ["", Text("Caution", style="bold")]
        if found.unreliable:
            names = ", ".join(BY_NAME[kind].title for kind in found.unreliable)
            parts.append(_point(f"Not to be relied on here: {names}."))
        parts += [_point(said) for said in found.cautions]
    return Group(*parts)


def count_words(counts: Mapping[str, int]) -> str:
    """Count by verdict, in words.

    >>> count_words({"redesign": 0, "support": 1, "tune": 4, "fine": 12})
    'Nothing to redesign, 1 to support, 4 to tune, 12 fine.'
    """
    hard = [f"{counts[verdict] or 'nothing'} to {verdict}" for verdict in VERDICTS[:-1]]
    said = ", ".join((*hard, f"{counts['fine']} fine"))
    return f"{said[0].upper()}{said[1:]}."


def _entries(entries: Sequence[Feature], every: bool) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("id", no_wrap=True, min_width=4)
    table.add_column("what", width=24)
    table.add_column("why")
    for kind in KINDS:
        own = [one for one in entries if one.kind == kind.name]
        if every or len(own) <= _TOLD_APART:
            for one in own:
                table.add_row(one.id, _what(one), _why(one))
            continue
        hardest = (min if kind.name in SMALL_IS_HARD else max)(own, key=lambda one: one.size_mm)
        others = [one for one in own if one is not hardest]
        table.add_row(hardest.id, f"{_what(hardest)}\n{len(others)} more like it", _why(hardest))
        table.add_row("", "", Text(_others(others), style="dim"))
    return table


def limit_words(one: Feature, write: Callable[[float], str]) -> str:
    """What the size of a feature is held against; empty where it is held against no length.

    Parameters
    ----------
    one : Feature
        The feature. Below its limit some kinds are hard to build, above it others; of some more than the size
        decides.
    write : callable
        Writes a length in mm.
    """
    return "" if one.limit_mm is None else f"limit {write(one.limit_mm)}"


def _what(one: Feature) -> str:
    """Kind, size against limit, and place."""
    size = f"{_mm(one.size_mm)} mm"
    limit = limit_words(one, _mm)
    place = ", ".join(_coordinate(value) for value in one.at_mm)
    where = "around" if one.more.get("ring") else "at"
    return f"{BY_NAME[one.kind].title}\n{size}{limit and f', {limit}'}\n{where} {place}"


def _why(one: Feature) -> str:
    lines = [one.why]
    if one.kind in _LINES and one.direction is not None:
        lines.append(f"Lines along {_axis(one.direction)}.")
    if one.try_first:
        lines.append(f"→ {one.try_first[0]}")
    return "\n".join(lines)


def _others(others: Sequence[Feature]) -> str:
    """Ids of entries by size: one size is said once."""
    by_size: dict[str, list[str]] = {}
    for one in others:
        by_size.setdefault(_mm(one.size_mm), []).append(one.id)
    return "; ".join(f"{size} mm: {' '.join(ids)}" for size, ids in by_size.items())


def _fine_words(fine: Sequence[Feature]) -> str:
    said = []
    for kind in KINDS:
        sizes = sorted(one.size_mm for one in fine if one.kind == kind.name)
        if not sizes:
            continue
        count, ends = len(sizes), [_mm(sizes[0]), _mm(sizes[-1])]
        title = kind.title if count == 1 else _plural(kind.title)
        span = ends[0] if ends[0] == ends[1] else " to ".join(ends)
        said.append(f"{count} {title} of {span} mm")
    return ", ".join(said)


def _plural(title: str) -> str:
    """Make a title plural.

    >>> _plural("hole"), _plural("start in the air"), _plural("insert boss")
    ('holes', 'starts in the air', 'insert bosses')
    """
    first, space, rest = title.partition(" in ")
    return first + ("es" if first.endswith("s") else "s") + space + rest


def _holes(holes: Sequence[Hole], every: bool) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("")
    for head in ("Ø mm", "deep", "tilt"):
        table.add_column(head, justify="right", no_wrap=True)
    apart = every or len(holes) <= _HOLES_TOLD_APART
    if apart:
        table.add_column("centre", no_wrap=True)
    table.add_column("form")
    table.add_column("fits")
    alike: dict[Any, list[Hole]] = {}
    for one in holes:
        told = (_figures(one), _form(one), one.fits)
        alike.setdefault(one.id if apart else told, []).append(one)
    for several in alike.values():
        one = several[0]
        centre = [" ".join(_coordinate(value) for value in one.centre_mm)] if apart else []
        table.add_row(
            " ".join(hole.id for hole in several), *_figures(one), *centre, _form(one), "; ".join(one.fits)
        )
    return table


def _figures(one: Hole) -> tuple[str, str, str]:
    tilt = "" if one.tilt_deg is None else f"{one.tilt_deg:.0f}°"
    return f"{one.diameter_mm:.2f}", f"{one.depth_mm:.1f}", tilt


def _form(one: Hole) -> str:
    marks = ["through" if one.through else "blind"]
    marks += [name for name, there in (("countersunk", one.countersunk), ("stepped", one.stepped)) if there]
    return ", ".join(marks)


def poses_view(evaluation: Evaluation) -> list[RenderableType]:
    """Counts by verdict of the poses shown in a ranking, and the support that is left to be needed."""
    features = evaluation.features
    if features is None:
        return []
    ranking = evaluation.ranking
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("hard\nfeatures", no_wrap=True)
    for verdict in VERDICTS[:-1]:
        table.add_column(f"\n{verdict}", justify="right")
    table.add_column("support, mm³\nneeded of all", justify="right", no_wrap=True)
    second = features.second
    if second is not None:
        table.add_column("second\npass", justify="right")
    table.add_column("\nhardest")
    for row in ranking.shown if second is None else second.order:
        found = features.poses[row]
        needed, geometric = (
            f"{ranking.columns[f'support_{name}_mm3'][row]:,.0f}" for name in ("needed", "volume")
        )
        taken = row + 1 == ranking.recommended
        table.add_row(
            f"pose {row + 1} ◀" if taken else f"pose {row + 1}",
            *[str(found.counts[verdict]) for verdict in VERDICTS[:-1]],
            f"{needed} of {geometric}",
            *([] if second is None else [f"{second.total[row]:.3f}"]),
            _hardest(found),
            style="bold" if taken else "",
        )
    said = "Holes and short bridges need no support. `orient inspect` lists every feature of a pose."
    return ["", table, Text(said, style="dim italic")]


def _hardest(found: Inspection) -> str:
    """Name the entry that decides most: the first, unless nothing is hard."""
    hard = [one for one in found.features if one.verdict != "fine"]
    if not hard:
        return "nothing hard"
    return f"{hard[0].id} {BY_NAME[hard[0].kind].title} {_mm(hard[0].size_mm)} mm"


def _mm(value: float) -> str:
    """A size with as many decimals as tell: 0.20, 12.5, 233."""
    return f"{value:.2f}" if value < 10 else f"{value:.1f}" if value < 100 else f"{value:.0f}"


def _coordinate(value: float) -> str:
    return f"{value:.1f}".replace("-0.0", "0.0").replace("-", "−")


def _axis(direction: Sequence[float]) -> str:
    """Name lines: both ways along them are one."""
    for axis, name in enumerate("xyz"):
        if abs(direction[axis]) > 1.0 - 1e-6:
            return name
    return " ".join(f"{value:.2f}".replace("-0.00", "0.00").replace("-", "−") for value in direction)


def _point(said: str) -> Padding:
    point = Table.grid(padding=(0, 1))
    point.add_row("•", Text(said))
    return Padding(point, (0, 0, 0, 2), expand=False)

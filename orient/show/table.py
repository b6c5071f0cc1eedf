"""The ranking as a table and a few sentences for the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.evaluation import Evaluation
from orient.part.select import described
from orient.show.features import poses_view
from orient.show.shop import NO_DATA, order_words
from orient.show.terminal import print_view
from orient.show.words import direction_words as direction_words
from orient.show.words import fill_words

# Eighths of a block, from empty to full.
_BAR = " ▏▎▍▌▋▊▉█"
_BAR_WIDTH = 3
# The table is this wide with bars.
WITH_BARS = 96
# Stands before what is only approximate.
ABOUT = "≈"
# Stands after the number of a pose that no other beats in support, height and load together.
UNBEATEN = "*"


def ranking_view(evaluation: Evaluation, width: int = 100, *, why: bool = False) -> RenderableType:
    """What a person reads: the part, the best poses, which to take and why, what to mind.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    width : int
        Columns of the terminal; bars are drawn where there is room for them.
    why : bool
        Whether every pose shown is explained, not only the one to take.

    Returns
    -------
    rich renderable
    """
    ranking = evaluation.ranking
    rows = ranking.shown
    taken = ranking.recommended - 1
    parts: list[RenderableType] = [
        _part_line(evaluation),
        *[_point(said, "!") for said in evaluation.warnings],
        *[_point(said) for said in _named(evaluation)],
        "",
        _table(evaluation, rows, wide=width >= WITH_BARS),
        _legend(evaluation, wide=width >= WITH_BARS),
        *([Text(filled, style="italic")] if (filled := fill_words(evaluation)) else []),
        *poses_view(evaluation),
        "",
    ]
    direction = direction_words(ranking.directions[taken])
    parts.append(Text(f"Take pose {ranking.recommended}: build along {direction}.", style="bold"))
    parts += [_point(said) for said in ranking.why[taken]]
    shop = evaluation.shop.shop
    if shop.named and (shop.quantity > 1 or shop.due is not None):
        parts.append(_point(order_words(evaluation)))
    if why:
        for row in (row for row in rows if row != taken):
            head = f"Pose {row + 1}: build along {direction_words(ranking.directions[row])}."
            parts += ["", Text(head, style="bold"), *[_point(said) for said in ranking.why[row]]]
    if ranking.excluded:
        parts += ["", Text(_left_out(evaluation))]
    # Every STL has its corners merged: that is no news to a reader, though it stands in the JSON.
    if notes := [note for note in evaluation.notes if "corners were merged" not in note]:
        parts += ["", Text("Notes", style="bold"), *[_point(note) for note in notes]]
    if evaluation.cautions:
        parts += ["", Text("Caution", style="bold"), *[_point(said) for said in evaluation.cautions]]
    return Group(*parts)


def print_ranking(evaluation: Evaluation, *, why: bool = False) -> None:
    """Print the ranking to standard output, no wider than reads well."""
    print_view(lambda width: ranking_view(evaluation, width, why=why))


def _part_line(evaluation: Evaluation) -> Text:
    part = evaluation.part
    size = " × ".join(f"{side:.1f}" for side in part.extents_mm)
    process = evaluation.process
    about = "" if part.closed else f"{ABOUT} "
    return Text(
        f"{part.name}: {size} mm, {about}{part.volume_mm3 / 1000:.1f} cm³, {len(part.faces):,} faces; "
        f"{process.polymer}, {process.layer_height_mm:g} mm layers, "
        f"overhangs to {process.overhang_limit_deg:g}°"
    )


# Why faces matter, after "that" and a plural.
_MATTERS = {
    "visible": "are seen",
    "fit": "must fit",
    "seal": "must seal",
    "no_support": "must stay free of support",
}


def _named(evaluation: Evaluation) -> list[str]:
    """Say what each selector of the brief selected, so that a wrong one is noticed."""
    part = evaluation.part
    return [
        f"Faces that {_MATTERS[one.matters]}, {one.selector}: {described(part, one.faces)}."
        for one in evaluation.selections
    ]


def _shop_columns(evaluation: Evaluation) -> dict[str, Callable[[int], str]]:
    """Heads and cells of the shop's columns; none unless polymer and machine were named."""
    shop, poses = evaluation.shop.shop, evaluation.shop.poses
    if not shop.named:
        return {}
    columns: dict[str, Callable[[int], str]] = {"\nhours": lambda row: f"{poses.hours[row]:.1f}"}
    columns["\ng"] = lambda row: _or_no_data(poses.part_g[row] + poses.support_g[row], "{:.0f}")
    if shop.rates.known:
        columns[f"cost\n{shop.rates.currency or ''}"] = lambda row: _or_no_data(
            poses.unit_cost[row], "{:,.2f}"
        )
    return columns


def _or_no_data(value: float, written: str) -> str:
    return written.format(value) if np.isfinite(value) else NO_DATA


def _table(evaluation: Evaluation, rows: Sequence[int], wide: bool) -> Table:
    ranking = evaluation.ranking
    columns, penalty = ranking.columns, ranking.penalty
    priced = _shop_columns(evaluation)
    narrow = bool(priced) and not wide
    gap = 1 if narrow else 2
    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="bold")
    for name in ("", "build along", "rests on\nmm²"):
        table.add_column(name, no_wrap=True)
    heads = {
        "support_needed_mm3": ("support", "support\nmm³", "{:,.0f}"),
        "height_mm": ("height", "height\nmm", "{:.1f}"),
        "first_layer_mm2": ("first_layer", "first\nmm²", "{:,.0f}"),
        **_load_head(evaluation),
        "stair_step_mm": ("finish", "steps\nmm", "{:.3f}"),
    }
    # Beside hours, grams and cost there is room for the rest, or for bars, not for both.
    left_out = ("first_layer", "finish") if narrow else ()
    # A load that was named keeps its column, even where there is no strength to judge it by.
    loaded = evaluation.brief.load.stress_axis or evaluation.brief.load.case
    kept = {*penalty, *(["load"] if loaded else [])}
    shown = {column: told for column, told in heads.items() if told[0] in kept and told[0] not in left_out}
    bars = wide and not priced
    for column, (_, head, _) in shown.items():
        about = f"{ABOUT} " if column in evaluation.approximate else ""
        table.add_column(about + head, justify="right", no_wrap=True)
    for head in priced:
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("\nscore", justify="right", no_wrap=True)
    for row in rows:
        taken = row + 1 == ranking.recommended
        number = f"{row + 1}{UNBEATEN if ranking.undominated[row] else ''}"
        cells = [
            f"{number} ◀" if taken else number,
            direction_words(ranking.directions[row]),
            _rest_words(evaluation, row),
        ]
        for column, (name, _, written) in shown.items():
            if name not in penalty:
                cells.append(NO_DATA)
                continue
            text = written.format(columns[column][row]).replace("%", " %")
            cells.append(f"{text} {bar(penalty[name][row])}" if bars else text)
        cells += [written(row) for written in priced.values()]
        table.add_row(*cells, f"{penalty['total'][row]:.3f}", style="bold" if taken else "")
    return table


def _load_head(evaluation: Evaluation) -> dict[str, tuple[str, str, str]]:
    """The load's column: the safety factor where load cases were judged, the share of strength elsewhere."""
    if evaluation.strength is not None:
        return {"safety_factor": ("load", "safety\nfactor", "{:.2f}")}
    return {"strength_retained": ("load", "strength\nkept", "{:.0%}")}


def _legend(evaluation: Evaluation, wide: bool) -> Text:
    priced = evaluation.shop.shop.named
    bars = wide and not priced
    said = "score: the lower the better"
    if wide or not priced:
        said = f"first: first layer. steps: mean height of the stairs. {said}"
    if priced:
        said = f"hours, g and cost: of one part built alone, its support with it. {said}"
    said += "; bars: the longer, the more trouble." if bars else "."
    if any(b - a > 1 for a, b in zip(evaluation.ranking.shown, evaluation.ranking.shown[1:], strict=False)):
        said += " Numbers left out lean less than 15° from a pose shown, or come after it."
    if evaluation.ranking.undominated[list(evaluation.ranking.shown)].any():
        every = "support, height and load" if "load" in evaluation.ranking.penalty else "support and height"
        said += f" {UNBEATEN}: no pose betters it in {every} together."
    said += f" {ABOUT}: approximate, the mesh is not closed." if evaluation.approximate else ""
    return Text(said, style="dim italic")


def bar(penalty: float, width: int = _BAR_WIDTH) -> str:
    """A penalty from 0 to 1 as a bar of block characters, padded to its full width.

    >>> bar(0.5, 4), bar(1.0, 4), bar(0.0, 4)
    ('██  ', '████', '    ')
    """
    eighths = round(min(max(penalty, 0.0), 1.0) * width * 8)
    full, rest = divmod(eighths, 8)
    return (_BAR[8] * full + (_BAR[rest] if rest else "")).ljust(width)


def _rest_words(evaluation: Evaluation, row: int) -> str:
    if row in evaluation.resting:
        contact, stable = evaluation.resting[row]
        return f"{contact:,.0f}" if stable else f"{contact:,.0f}, tips"
    return "no flat"


def _left_out(evaluation: Evaluation) -> str:
    """Say how many poses were left out, with the first of them as an example."""
    excluded = evaluation.ranking.excluded
    count = f"{len(excluded):,} poses were left out" if len(excluded) > 1 else "One pose was left out"
    reason = excluded[0].reason
    return f"{count}, such as {direction_words(excluded[0].direction)}: {reason[0].lower()}{reason[1:]}"


def _point(said: str, mark: str = "•") -> Padding:
    point = Table.grid(padding=(0, 1))
    point.add_row(mark, Text(said))
    return Padding(point, (0, 0, 0, 2), expand=False)

"""A `Comparison` as JSON and as tables for the terminal."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.evaluation import LOAD_CAUTION
from orient.features.register import BY_NAME as KINDS
from orient.ranking.figures import figure
from orient.show.words import direction_words, fill_words
from orient.variants.compare import WAYS, Comparison, Pair, Variant
from orient.variants.features import Match, by_length
from orient.variants.measures import BY_NAME, Delta, Measure, Value

COMPARISON_SCHEMA = "orient/comparison/1"

# Okabe and Ito's bluish green and orange; the words say the same without colour.
STYLES = {"better": "#009e73", "worse": "#e69f00", "tie": "dim"}
_SIGNS = {"gone": "−", "new": "+", "easier": "▾", "harder": "▴", "same": "="}
_MOST_ROWS = 12
THICK_SAID = "thick: square through the piece; half of its surface is this thick or less."
LOOPS_SAID = (
    "Same, with two lengths: runs of the corner went, came or hang together otherwise; what there is of "
    "it is no sharper."
)
# More per cent than this are said as so many times as much.
_TIMES = 900.0


def comparison_document(found: Comparison) -> dict[str, Any]:
    """The comparison as plain values, ready for JSON.

    Parameters
    ----------
    found : Comparison
        What was compared.

    Returns
    -------
    dict
        Schema ``orient/comparison/1``. `transform` takes a point of `to` to the coordinates of `from`, a
        4 × 4 matrix for column vectors. Places of changes and features are in the coordinates of `from`,
        sizes are ``[from, to]``. Measures stand by way: each variant in its own best pose, both in the pose
        of the first, both in the pose that is best for all.
    """
    rank = {k: place for place, k in enumerate(found.order, start=1)}
    return {
        "schema": COMPARISON_SCHEMA,
        "brief": found.variants[0].evaluation.resolved_brief(),
        "variants": [_variant(one, rank[k], found.undominated[k]) for k, one in enumerate(found.variants)],
        "pairs": [_pair(pair) for pair in found.pairs],
        "timing_s": dict(found.timing_s),
    }


def comparison_json(found: Comparison) -> str:
    """The comparison as JSON text, with a newline at the end."""
    return json.dumps(comparison_document(found), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _variant(one: Variant, rank: int, undominated: bool) -> dict[str, Any]:
    part = one.part
    return {
        "name": one.name,
        "rank": rank,
        "undominated": undominated,
        "broken_limit": one.broken,
        "faces": len(part.faces),
        "closed": part.closed,
        "extents_mm": _numbers(part.extents_mm),
        "volume_mm3": _number(part.volume_mm3),
        "area_mm2": _number(part.area_mm2),
        "content_hash": part.content_hash,
        "poses": {
            way: {
                "build_direction": _numbers(one.figures.directions[row]),
                "keeps_limits": one.allowed[way],
                "measures": {name: _number(value.nominal) for name, value in one.values[way].items()},
            }
            for row, way in enumerate(WAYS)
        },
        "warnings": list(one.evaluation.warnings),
        "notes": list(one.evaluation.notes),
    }


def _pair(pair: Pair) -> dict[str, Any]:
    placed = pair.second.placed
    return {
        "from": pair.first.name,
        "to": pair.second.name,
        "transform": [_numbers(line) for line in placed.transform],
        "same_frame": placed.same_frame,
        "mirrored": placed.mirrored,
        "unchanged_fraction": _number(placed.unchanged_fraction),
        "residual_mm": _number(placed.residual_mm),
        "in_common": placed.common,
        "approximate": pair.changes.approximate,
        "changes": [
            {
                "id": one.id,
                "what": one.what,
                "volume_mm3": _number(one.volume_mm3),
                "area_mm2": _number(one.area_mm2),
                "at_mm": _numbers(one.at_mm),
                "thickness_mm": _number(one.thickness_mm),
            }
            for one in pair.changes.pieces
        ],
        "features": [
            {
                "state": one.state,
                "kind": one.kind,
                "from_id": None if one.first is None else one.first.id,
                "to_id": None if one.second is None else one.second.id,
                "size_mm": [None if f is None else _number(f.size_mm) for f in (one.first, one.second)],
                "verdict": [None if f is None else f.verdict for f in (one.first, one.second)],
                "at_mm": _numbers(one.at_mm),
            }
            for one in pair.features
        ],
        "measures": {way: {name: _delta(one) for name, one in pair.measures[way].items()} for way in WAYS},
        "better": pair.better,
        "verdict": pair.verdict,
        "notes": list(pair.notes),
    }


def _delta(one: Delta) -> dict[str, Any]:
    return {
        "from": _number(one.first.nominal),
        "to": _number(one.second.nominal),
        "delta": _number(one.delta),
        "percent": None if one.percent is None else _number(one.percent),
        "from_range": _range(one.first),
        "to_range": _range(one.second),
        "better": one.better,
        "tie": one.tie,
    }


def _range(value: Value) -> list[float | None] | None:
    return [_number(value.low), _number(value.high)] if value.ranged else None


# --- for the terminal -------------------------------------------------------------------------------------


def comparison_view(found: Comparison, width: int = 100) -> RenderableType:
    """What a person reads: the verdict of every pair, what changed, features and figures side by side.

    Parameters
    ----------
    found : Comparison
        What was compared.
    width : int
        Columns of the terminal; with few of them the figures of the shared poses are left to the JSON.

    Returns
    -------
    rich renderable
    """
    parts: list[RenderableType] = []
    if len(found.variants) > 2:
        parts += [_ranked(found), ""]
    for pair in found.pairs:
        parts += [*_pair_view(pair, width), ""]
    if any(has_strength(one) for one in found.variants):
        parts += [Text("Caution", style="bold"), Text(f"  • {LOAD_CAUTION}")]
    else:
        parts.pop()
    return Group(*parts)


def has_strength(one: Variant) -> bool:
    """Whether a figure of load or strength is shown of a variant."""
    return not {"strength_retained", "safety_factor"}.isdisjoint(one.values["own"])


def _pair_view(pair: Pair, width: int) -> list[RenderableType]:
    first, second = pair.first, pair.second
    word = {True: "better", False: "worse", None: "tie"}[pair.better]
    parts: list[RenderableType] = [
        Text(pair.verdict, style=f"bold {STYLES[word]}" if word != "tie" else "bold"),
        Text(_frame_words(pair)),
        *[Text(f"! {note}") for note in (*_warnings(first), *_warnings(second), *pair.notes)],
    ]
    if pair.second.placed.common:
        parts += ["", *_changes(pair)]
        if told := [one for one in pair.features if one.state != "same" or other_length(one)]:
            parts += ["", *_features(told, pair)]
    return [*parts, "", *_measures(pair, width)]


def _warnings(one: Variant) -> list[str]:
    return [f"{one.name}: {said}" for said in one.evaluation.warnings]


def _frame_words(pair: Pair) -> str:
    placed = pair.second.placed
    share = f"{100 * placed.unchanged_fraction:.1f} %"
    if placed.same_frame and placed.common:
        return f"Both lie in one frame; {share} of the surface is unchanged."
    return f"{share} of the surface is unchanged." if placed.common else ""


def _changes(pair: Pair) -> list[RenderableType]:
    pieces = pair.changes.pieces
    if not pieces:
        return [Text("What changed: nothing.", style="bold")]
    about = "≈ " if pair.changes.approximate else ""
    table = _table("", "", f"{about}volume\nmm³", "area\nmm²", "thick\nmm", f"where in {pair.first.name}\nmm")
    for column in table.columns[2:5]:
        column.justify = "right"
    for one in pieces[:_MOST_ROWS]:
        at = ", ".join(f"{round(float(x), 1) + 0.0:.1f}".replace("-", "−") for x in one.at_mm)
        table.add_row(
            one.id,
            one.what,
            figure(one.volume_mm3, "mm³"),
            figure(one.area_mm2, "mm²"),
            f"{one.thickness_mm:.2f}",
            at,
        )
    parts: list[RenderableType] = [Text("What changed", style="bold"), Padding(table, (0, 0, 0, 2))]
    if len(pieces) > _MOST_ROWS:
        parts.append(Text(f"  … and {len(pieces) - _MOST_ROWS} smaller ones."))
    return [*parts, Text(f"  {THICK_SAID}", style="dim")]


def _features(told: Sequence[Match], pair: Pair) -> list[RenderableType]:
    fine = [one for one in told if all(f is None or f.verdict == "fine" for f in (one.first, one.second))]
    hard = [one for one in told if one not in fine]
    table = _table("", "hard feature", "from", "", "to", "")
    for one in hard[: 2 * _MOST_ROWS]:
        cells = [f"{_SIGNS[one.state]} {one.state}", KINDS[one.kind].title]
        for feature in (one.first, one.second):
            cells += (
                ["–", ""]
                if feature is None
                else [f"{feature.id}: {figure(feature.size_mm, 'mm')} mm", feature.verdict]
            )
        word = {"gone": "better", "easier": "better", "same": "tie"}.get(one.state, "worse")
        table.add_row(Text(cells[0], style=STYLES[word]), *cells[1:])
    parts: list[RenderableType] = [Text("Hard features, each in its own best pose", style="bold")]
    if hard:
        parts.append(Padding(table, (0, 0, 0, 2)))
    if any(one.state == "same" for one in hard):
        parts.append(Text(f"  {LOOPS_SAID}", style="dim"))
    if len(hard) > 2 * _MOST_ROWS:
        parts.append(Text(f"  … and {len(hard) - 2 * _MOST_ROWS} more."))
    if fine:
        went = sum(one.state == "gone" for one in fine)
        came = sum(one.state == "new" for one in fine)
        parts.append(Text(f"  Of those that print as they are, {went} went and {came} came."))
    return parts


def other_length(one: Match) -> bool:
    """Whether a feature is the same though its runs are longer or shorter: told, and called neither."""
    return (
        one.first is not None
        and one.second is not None
        and one.state == "same"
        and one.first.verdict != "fine"
        and not by_length(one.first, one.second)
        and figure(one.first.size_mm, "mm") != figure(one.second.size_mm, "mm")
    )


def _measures(pair: Pair, width: int) -> list[RenderableType]:
    own = pair.measures["own"]
    wide = width >= 90
    heads = ["in its own best pose", "from", "to", "change", "", ""]
    if wide:
        heads += ["first's", "pose", "best", "for all"]
    table = _table(*heads)
    for column in (1, 2, 3, 4, 6, 8):
        if column < len(table.columns):
            table.columns[column].justify = "right"
    for name, one in own.items():
        measure = BY_NAME[name]
        row: list[str | Text] = [
            titled(measure, pair.first),
            written(measure, one.first.nominal),
            written(measure, one.second.nominal),
            difference_words(measure, one),
            percent_words(measure, one),
            _word(one),
        ]
        if wide:
            for way in ("first", "shared"):
                other = pair.measures[way][name]
                row += [percent_words(measure, other) or difference_words(measure, other), _word(other)]
        table.add_row(*row)
    said = [one for one in (range_words(pair), fill_words(pair.first.evaluation)) if one]
    return [*_poses(pair), "", table, *[Text(one, style="dim") for one in said]]


def _poses(pair: Pair) -> list[RenderableType]:
    """Say along what either is built in each of the three ways."""
    told = [
        [direction_words(one.figures.directions[row]) for one in (pair.first, pair.second)]
        for row in range(len(WAYS))
    ]
    alike = pair.second.placed.same_frame
    said = [f"Built along: {told[0][0]} and {told[0][1]}, each in its own best pose"]
    for row, words in ((1, "both in the first's"), (2, "in the one that is best for all")):
        said.append(f"{told[row][0] if alike else ' and '.join(told[row])} {words}")
    return [Text("; ".join(said) + ".")]


def range_words(pair: Pair) -> str:
    """Say the ranges of the data for what most depends on them; nothing where there are none."""
    one = pair.measures["own"].get("safety_factor")
    if one is None or not one.first.ranged:
        return ""
    measure = BY_NAME["safety_factor"]
    ends = [
        f"{written(measure, value.low)} to {written(measure, value.high)}"
        for value in (one.first, one.second)
    ]
    return (
        f"With the least and the greatest strengths that sources give, the safety factor is {ends[0]} and "
        f"{ends[1]}: both parts are of one polymer, so the two move together."
    )


def _word(one: Delta) -> Text:
    return Text(one.word, style=STYLES.get(one.word, ""))


def titled(measure: Measure, first: Variant) -> str:
    """A measure's title with its unit, the currency that of the brief."""
    match measure.unit:
        case "money":
            currency = first.evaluation.shop.shop.rates.currency
            return f"{measure.title}, {currency}" if currency else measure.title
        case "" | "share" | "factor" | "score" | "hours":
            return measure.title
        case unit:
            return f"{measure.title}, {unit}"


def written(measure: Measure, value: float) -> str:
    """Write a figure of a measure, without its unit."""
    match measure.unit:
        case "share":
            return f"{100 * value:.0f} %"
        case "score":
            return f"{value:.3f}"
        case "hours":
            # Of a short build a tenth of an hour is much.
            return f"{value:,.2f}" if value < 10 else f"{value:,.1f}"
        case "g" | "min":
            return f"{value:,.1f}"
        case "":
            return f"{value:.0f}"
        case unit:
            return figure(value, unit)


def difference_words(measure: Measure, one: Delta) -> str:
    """The difference with its sign."""
    if written(measure, one.first.nominal) == written(measure, one.second.nominal):
        return "0"
    return f"{'+' if one.delta > 0 else '−'}{written(measure, abs(one.delta))}"


def percent_words(measure: Measure, one: Delta) -> str:
    """The same in per cent; nothing where there was nothing before."""
    if one.percent is None or measure.unit in ("share", "") or (one.tie and abs(one.delta) <= measure.least):
        # Next to nothing, a share of next to nothing says nothing.
        return ""
    if difference_words(measure, one) == "0":
        return "0 %"
    if one.percent > _TIMES:
        return f"× {one.second.nominal / one.first.nominal:,.1f}"
    if abs(one.percent) < 0.5:
        return "under 0.5 %"
    return f"{'+' if one.percent > 0 else '−'}{abs(one.percent):,.0f} %"


def _ranked(found: Comparison) -> RenderableType:
    shown = [
        "cost",
        "hours",
        "support_needed_mm3",
        "safety_factor",
        "strength_retained",
        "features_support",
        "score",
    ]
    values = [one.values["own"] for one in found.variants]
    if any("safety_factor" in one for one in values):
        shown.remove("strength_retained")
    names = [name for name in shown if all(name in one for one in values)]
    table = _table("", "variant", *[titled(BY_NAME[name], found.variants[0]) for name in names])
    for column in table.columns[2:]:
        column.justify = "right"
    for place, k in enumerate(found.order, start=1):
        one = found.variants[k]
        mark = "*" if found.undominated[k] else ""
        broken = " (breaks a limit)" if one.broken is not None else ""
        cells = [written(BY_NAME[name], values[k][name].nominal) for name in names]
        table.add_row(f"{place}{mark}", f"{one.name}{broken}", *cells, style="bold" if place == 1 else "")
    by = "cost" if "cost" in names else "score"
    return Group(
        Text(f"Variants by {by}, each in its own best pose", style="bold"),
        Padding(table, (0, 0, 0, 2)),
        Text(
            "  * no other variant is better in one of what they are traded by and as good in the rest.",
            style="dim",
        ),
    )


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for place, head in enumerate(heads):
        table.add_column(head, no_wrap=place == 0)
    return table


def _numbers(values: Any) -> list[float | None]:
    return [_number(value) for value in values]


def _number(value: float) -> float | None:
    """A float that JSON can hold, to nine decimals; None for what is not a number or has no end."""
    value = float(value)
    return round(value, 9) + 0.0 if math.isfinite(value) else None

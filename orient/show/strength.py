"""Strength under load cases in words and JSON: how it was solved, the cases, and how safe each pose is."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.evaluation import Evaluation
from orient.part.mesh import Part
from orient.part.select import Selection
from orient.ranking.ranked import Ranking
from orient.show.words import direction_words, fill_words
from orient.strength.judge import MOST_SAFE
from orient.strength.section import FAILS, Strength

STRENGTH_SCHEMA = "orient/strength/1"


def strength_document(strength: Strength) -> dict[str, Any]:
    """Strength as plain values, ready for JSON.

    Parameters
    ----------
    strength : Strength
        What was found.

    Returns
    -------
    dict
        Schema ``orient/strength/1``: how it was solved, every case with what its selectors found, every pose
        with its safety factors (null where the polymer's spread is not known), and the cautions.
    """
    field, safety = strength.field, strength.safety
    return {
        "schema": STRENGTH_SCHEMA,
        "cells": field.cells,
        "unknowns": field.unknowns,
        "pitch_mm": _number(field.pitch_mm),
        "iterations": field.iterations,
        "residual": float(f"{field.residual:.3e}"),
        "cases": [
            {
                "name": case.name,
                "max_deflection_mm": None
                if case.max_deflection_mm is None
                else _number(case.max_deflection_mm),
                "selected": [
                    {
                        "selector": one.selector,
                        "faces": len(one.faces),
                        "area_mm2": _number(one.area_mm2),
                    }
                    for one in case.selected
                ],
            }
            for case in field.cases
        ],
        "poses": [pose_strength(strength, row) for row in range(len(safety.directions))],
        "cautions": list(strength.cautions),
        "timing_s": dict(strength.timing_s),
    }


def pose_strength(strength: Strength, row: int) -> dict[str, Any]:
    """One pose of the document."""
    safety = strength.safety
    return {
        "build_direction": [_number(x) for x in safety.directions[row]],
        "safety_factor": _number(safety.factor[row]),
        "safety_factor_low": _number(safety.low[row]),
        "safety_factor_high": _number(safety.high[row]),
        "raw_safety_factor": _number(safety.raw[row]),
        "weakest_at_mm": [_number(x) for x in safety.weakest_at_mm[row]],
        "governing_case": strength.case(row),
        "fails_by": strength.fails_by(row),
        "breaks_limits": strength.breaks.get(row),
        "cases": [
            {
                "name": case.name,
                "safety_factor": _number(safety.by_case[row, c]),
                "weakest_at_mm": [_number(x) for x in safety.places_by_case_mm[row, c]],
                "fails_by": FAILS[bool(safety.between_by_case[row, c])],
            }
            for c, case in enumerate(strength.field.cases)
        ],
    }


def strength_json(strength: Strength) -> str:
    """The same as JSON text, with a newline at the end."""
    return json.dumps(strength_document(strength), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def strength_view(
    part: Part,
    strength: Strength,
    evaluation: Evaluation | None = None,
) -> RenderableType:
    """What a person reads: how it was solved, the cases, the poses, which to take, what to mind.

    Parameters
    ----------
    part : Part
        The part.
    strength : Strength
        What was found.
    evaluation : Evaluation, optional
        The ranking that the poses come from; without one they are those that were asked for.

    Returns
    -------
    rich renderable
    """
    field = strength.field
    parts: list[RenderableType] = [
        Text(
            f"{part.name}: {field.cells:,} cells of {field.pitch_mm:.2f} mm, {field.unknowns:,} unknowns, "
            f"{field.iterations} iterations to a residual of {field.residual:.0e}"
        ),
        *[_point(said) for said in part.health.warnings],
        "",
        _cases(strength),
        "",
    ]
    ranking = None if evaluation is None else evaluation.ranking
    rows = range(len(strength.safety.directions)) if ranking is None else ranking.shown
    parts.append(_poses(strength, rows, ranking))
    said = (
        f"safety: strength over stress, averaged over a ball of {field.ball_mm:.2f} mm, "
        f"{field.zone_mm:.2f} mm and more from fixed and loaded faces; low and high: with the least and the "
        "greatest strengths of the sources. raw: at the worst point of all; it falls with finer cells at "
        "clamps and sharp corners, so it is no figure to choose by."
    )
    if ranking is not None:
        said += " kept: of what it would bear if its layers held together as they hold in themselves."
        if strength.by_axis is not None:
            said += " axis: what the stress axis alone says is kept."
    parts.append(Text(said, style="dim italic"))
    if evaluation is not None and (filled := fill_words(evaluation)):
        parts.append(Text(filled, style="italic"))
    if len(field.cases) > 1:
        parts += ["", _by_case(strength, rows)]
    if strength.breaks:
        parts += ["", Text("Limits of the brief", style="bold")]
        parts += [
            _point(f"Pose {row + 1} breaks them. {said}") for row, said in sorted(strength.breaks.items())
        ]
    if ranking is not None:
        taken = ranking.recommended - 1
        parts += [
            "",
            Text(
                f"Take pose {taken + 1}: build along {direction_words(ranking.directions[taken])}.",
                style="bold",
            ),
            *[_point(said) for said in strength.words[taken]],
        ]
    parts += ["", Text("Caution", style="bold"), *[_point(said) for said in strength.cautions]]
    return Group(*parts)


def _cases(strength: Strength) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name in ("load case", "faces", "deflection\nmm"):
        table.add_column(name, justify="right" if "mm" in name else "left", overflow="fold")
    for case in strength.field.cases:
        name = f"{case.name}, both ways" if case.both_ways else case.name
        sag = "no data" if case.max_deflection_mm is None else f"{case.max_deflection_mm:.3f}"
        table.add_row(name, "\n".join(_selected(one) for one in case.selected), sag)
    return table


def _selected(one: Selection) -> str:
    return f"{one.selector}: {one.description}"


def _poses(strength: Strength, rows: Sequence[int], ranking: Ranking | None) -> Table:
    safety = strength.safety
    by_axis = ranking is not None and strength.by_axis is not None
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("")
    table.add_column("build along", no_wrap=True)
    shares = (["kept"] if ranking is not None else []) + (["axis"] if by_axis else [])
    for name in ("safety", "low–high", "raw", *shares):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("weakest at\nmm", no_wrap=True)
    for name in ("case", "fails"):
        table.add_column(name)
    for row in rows:
        taken = ranking is not None and row == ranking.recommended - 1
        known = math.isfinite(safety.low[row])
        cells = [
            f"{row + 1} ◀" if taken else f"{row + 1}",
            direction_words(safety.directions[row]),
            _factor(safety.factor[row]),
            f"{_factor(safety.low[row])}–{_factor(safety.high[row])}" if known else "no data",
            _factor(safety.raw[row]),
        ]
        if ranking is not None:
            columns = ("strength_retained", "axis_strength_retained")[: len(shares)]
            cells += [f"{100 * ranking.columns[column][row]:.0f} %" for column in columns]
        at = " ".join(f"{x:.1f}".replace("-0.0", "0.0").replace("-", "−") for x in safety.weakest_at_mm[row])
        table.add_row(*cells, at, strength.case(row), strength.fails_by(row), style="bold" if taken else "")
    return table


def _by_case(strength: Strength, rows: Sequence[int]) -> Table:
    """Safety factor of every pose in every case."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("safety in")
    for case in strength.field.cases:
        table.add_column(case.name, justify="right")
    for row in rows:
        table.add_row(f"pose {row + 1}", *map(_factor, strength.safety.by_case[row]))
    return table


def _factor(value: float) -> str:
    return "no load" if value >= MOST_SAFE else f"{value:.2f}"


def _point(said: str) -> Padding:
    point = Table.grid(padding=(0, 1))
    point.add_row("•", Text(said))
    return Padding(point, (0, 0, 0, 2), expand=False)


def _number(value: float) -> float | None:
    value = float(value)
    return round(value, 9) + 0.0 if math.isfinite(value) else None

"""What real load cases do to an evaluation: stress once, a safety for every pose, words for those shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.brief import Brief
from orient.clock import Clock, Progress
from orient.cost.shop import with_machine
from orient.measure.sharing import available_threads
from orient.part.mesh import Part
from orient.process import Process, process_from
from orient.ranking.limits import Limits, broken
from orient.ranking.order import choose
from orient.ranking.penalties import Scale, penalties, total
from orient.ranking.ranked import Ranking
from orient.ranking.safety import SAME, axis_note, failing_words, safety_note, unseen_note
from orient.strength.cases import cases_of
from orient.strength.cells import check_closed
from orient.strength.field import Field
from orient.strength.judge import Ready, judge, make_ready, strengths_of
from orient.strength.section import Strength, field_for, safety_columns

Floats = NDArray[np.float64]


def strength_of(
    part: Part,
    brief: Brief,
    directions: ArrayLike,
    *,
    voxels: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Strength:
    """Judge given poses under the load cases of a brief, without ranking them.

    Parameters
    ----------
    part : Part
        A closed part.
    brief : Brief
        With at least one ``[[load.case]]``.
    directions : (P, 3) array_like
        Build directions.
    voxels : int, optional
        Cells to find the stress with; chosen by the program otherwise.
    threads : int, optional
        Threads to use; the answer does not depend on it.
    progress : callable, optional
        As for `evaluate`.

    Returns
    -------
    Strength

    Raises
    ------
    OrientError
        For load cases that make no sense, a mesh that is not closed, a polymer without strengths.
    """
    process = process_from(with_machine(brief))
    clock = Clock()
    ready = _solved(part, brief, process, voxels, threads, progress)
    clock.lap("strength")
    poses = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    safety = judge(ready, poses, threads or available_threads())
    clock.lap("judge")
    # The limits that strength can break; a pose's height or place on a machine is no matter of it.
    limits = Limits(
        min_strength_retained=brief.limits.min_strength_retained,
        min_safety_factor=brief.limits.min_safety_factor,
        max_deflection_mm=brief.limits.max_deflection_mm,
    )
    columns = safety_columns(ready, poses, threads or available_threads())
    return Strength(
        ready.field,
        safety,
        assumptions=process.assumptions,
        breaks=broken(columns, limits),
        timing_s=clock.laps,
    )


def check_judged(part: Part, brief: Brief) -> None:
    """Refuse a part whose strength cannot be judged.

    Parameters
    ----------
    part : Part
        The part.
    brief : Brief
        Its brief.

    Raises
    ------
    OrientError
        For a polymer without strengths, a mesh that is not closed, or load cases that make no sense.
    """
    strengths_of(process_from(with_machine(brief)))
    check_closed(part)
    cases_of(part, brief)


def stress_under(
    part: Part,
    brief: Brief,
    process: Process,
    voxels: int | None,
    threads: int | None,
    progress: Progress | None,
) -> Ready | None:
    """Find the stress under the brief's load cases; None without cases, or where they cannot be judged."""
    if not brief.load.case or not process.strengths_known or not part.closed:
        return None
    return _solved(part, brief, process, voxels, threads, progress)


def _solved(
    part: Part,
    brief: Brief,
    process: Process,
    voxels: int | None,
    threads: int | None,
    progress: Progress | None,
) -> Ready:
    def report(step: str, share: float) -> None:
        if progress:
            progress(step, round(100 * share), 100)

    strengths_of(process)
    field: Field = field_for(part, brief, process, voxels=voxels, threads=threads, progress=report)
    return make_ready(field, process)


def taken_by_axis(ranking: Ranking, scale: Scale, weights: Mapping[str, float]) -> int | None:
    """Row of the pose that would be taken if the stress axis alone told the load; None without an axis."""
    kept = ranking.columns["axis_strength_retained"]
    if not np.isfinite(kept).all():
        return None
    totals = total(penalties({**ranking.columns, "strength_retained": kept}, scale), weights)
    # The ranking's own order settles ties.
    order = np.argsort(np.round(totals, 9), kind="stable")
    return int(order[choose(totals[order], ranking.rests_on_flat[order]).recommended])


def unseen_by_axis(ranking: Ranking) -> int | None:
    """Row of the pose that is weakest under the load cases of those that the stress axis rates highest.

    Of the poses that rest on a flat face, if any: those are what a person would take by the axis alone. None
    without an axis, or where the load cases find all of them as safe as each other.
    """
    kept, factor = ranking.columns["axis_strength_retained"], ranking.columns["safety_factor"]
    if not np.isfinite(kept).all():
        return None
    lies = ranking.rests_on_flat if ranking.rests_on_flat.any() else np.ones(len(kept), dtype=bool)
    alike = np.flatnonzero(lies & (kept >= kept[lies].max() - SAME))
    weakest = int(alike[factor[alike].argmin()])
    return weakest if factor[weakest] < (1.0 - SAME) * factor[alike].max() else None


def failing(ranking: Ranking) -> tuple[str, ...]:
    """Say when the pose to take is expected to fail, or may, under the load cases; nothing without them."""
    if "safety_factor" not in ranking.columns:
        return ()
    taken = ranking.recommended - 1
    names = ("safety_factor", "safety_factor_low")
    said = failing_words(*(float(ranking.columns[name][taken]) for name in names))
    return (said,) if said else ()


def with_safety(ranking: Ranking, strength: Strength) -> tuple[Ranking, Strength]:
    """Add to every pose shown where it is weakest, and to the one taken what the stress axis made of it."""
    why, numbers = list(ranking.why), list(ranking.numbers)
    words: dict[int, tuple[str, ...]] = {}
    safety, columns = strength.safety, ranking.columns

    def figures_of(row: int) -> tuple[int, dict[str, float]]:
        names = ("safety_factor", "safety_factor_low", "axis_strength_retained")
        return row + 1, {name: float(columns[name][row]) for name in names}

    def place(row: int) -> tuple[list[float], str, bool]:
        return safety.weakest_at_mm[row].tolist(), strength.case(row), bool(safety.between_layers[row])

    def add(row: int, name: str, said: str, figures: dict[str, object]) -> None:
        words[row] = (*words.get(row, ()), said)
        why[row] = (*why[row], said)
        numbers[row] = {**(numbers[row] or {}), name: figures}

    for row in ranking.shown:
        add(row, "safety", *safety_note(figures_of(row)[1], *place(row)))
    taken = ranking.recommended - 1
    if (other := strength.by_axis) is not None:
        add(taken, "by_axis", *axis_note(figures_of(taken), figures_of(other), *place(other)))
    if (hidden := strength.unseen) is not None and hidden not in (taken, strength.by_axis):
        add(taken, "unseen_by_axis", *unseen_note(figures_of(taken), figures_of(hidden), *place(hidden)))
    told_of = replace(ranking, why=tuple(why), numbers=tuple(numbers))
    return told_of, replace(strength, words=words)

"""One part and one brief in, one `Evaluation` out: the only caller of the rooms below."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.brief import Brief
from orient.cost.bands import surface_pieces
from orient.cost.envelope import fit_in
from orient.cost.shop import (
    ShopSection,
    cost_floor,
    order_for,
    price_poses,
    shop_cautions,
    shop_for,
    shop_notes,
    with_machine,
)
from orient.measure.columns import available_threads
from orient.measure.poses import Loads, Measures, Sorted, measure_poses, sort_part
from orient.measure.surfaces import NamedFaces, NamedFacesMeasures
from orient.measure.tilt import support_when_tilted
from orient.part.mesh import Part
from orient.part.select import cylinder_axis, select
from orient.pose.candidates import Candidates, candidates
from orient.pose.refine import refine
from orient.pose.rotation import footprint_sides
from orient.process import Process, process_from, resolved_brief
from orient.ranking.figures import figure
from orient.ranking.limits import Limits, exclude
from orient.ranking.order import choose
from orient.ranking.penalties import Scale, penalties, total
from orient.ranking.ranked import Ranking, rank_poses
from orient.ranking.safety import axis_note, safety_note
from orient.ranking.tilt import tilt_note
from orient.ranking.weights import check_weights
from orient.strength.cases import cases_of
from orient.strength.cells import check_closed
from orient.strength.field import Field
from orient.strength.judge import Ready, judge, make_ready, strengths_of
from orient.strength.section import CAUTION as LOAD_CAUTION
from orient.strength.section import Strength, field_for, safety_columns, strained_axes

Floats = NDArray[np.float64]
Progress = Callable[[str, int, int], None]

# How many poses the continuous search sets out from, and how far apart they lie at least.
STARTS = 8
# A search by cost needs no more: costs change less from pose to pose than scores, and take longer to find.
STARTS_BY_COST = 3
APART_DEG = 5.0
# Poses within this angle of each other are the same choice.
NEAR_DEG = 1.0
# A refined pose is listed when it betters all that lies near it by at least this share, and never beside a
# pose that rests on a flat face: who lays a part on its face does not prop it up by a fraction of a degree.
WORTH_A_POSE = 0.001
# A face that the part rests on is at least this many line widths square and this share of its mean
# shadow (a quarter of the hull's surface); less is a tip or an edge.
LEAST_REST_LINES = 2.0
LEAST_REST_SHARE = 0.002
# A first layer smaller than this share of the mean shadow will not hold by itself. Common practice, no
# source: parts on a hundredth of their footprint are given a brim or a raft.
SMALL_FIRST_SHARE = 0.01

# What a mesh that is not closed leaves uncertain: all that is counted between inside and outside. Areas of
# faces and what follows from normals and extents do not need to know.
NEEDS_CLOSED = (
    "support_volume_mm3",
    "support_on_part_mm3",
    "scar_area_mm2",
    "first_layer_mm2",
    "islands",
    "tip_margin_deg",
)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """All that was found out about a part under a brief.

    Attributes
    ----------
    part : Part
        The part.
    brief : Brief
        The brief.
    process : Process
        What brief and data say in plain numbers.
    ranking : Ranking
        Poses in order, the one to take, and why.
    resting : Mapping[int, tuple[float, bool]]
        Contact area (mm²) and whether it stands stably, by row of the ranking, for poses that rest on a
        flat face.
    selections : tuple of NamedFaces
        The faces that matter.
    named : tuple of NamedFacesMeasures
        What every pose does to them, in the ranking's order.
    shop : ShopSection
        Machine fitness, service, hours, grams and cost, poses in the ranking's order.
    strength : Strength or None
        Stress under the load cases and the safety of every pose, in the ranking's order; None without cases.
    features : None
        A section that this version does not fill.
    warnings, cautions, notes : tuple of str
        What may make the answer wrong, to be read first; what to be careful about; what was mended or
        assumed.
    timing_s : Mapping[str, float]
        Seconds spent, by step.
    """

    part: Part
    brief: Brief
    process: Process
    ranking: Ranking
    resting: Mapping[int, tuple[float, bool]]
    selections: tuple[NamedFaces, ...]
    named: tuple[NamedFacesMeasures, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    timing_s: Mapping[str, float]
    shop: ShopSection
    features: None = None
    strength: Strength | None = None

    @property
    def approximate(self) -> tuple[str, ...]:
        """Measures that are only approximate for this part: none of a closed mesh's."""
        return () if self.part.closed else NEEDS_CLOSED

    def resolved_brief(self) -> dict[str, Any]:
        """The brief with every default filled in, as plain values."""
        return resolved_brief(self.brief, self.process)


def evaluate(
    part: Part,
    brief: Brief | None = None,
    *,
    directions: int = 1000,
    by: Literal["score", "cost"] = "score",
    explained: int = 5,
    start: datetime | None = None,
    voxels: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Evaluation:
    """Evaluate a part: measure it in every pose worth a look, rank them, explain.

    Parameters
    ----------
    part : Part
        The part.
    brief : Brief, optional
        Process, load, faces that matter, weights and limits; defaults where it is silent.
    directions : int
        Size of the even grid of build directions.
    by : {"score", "cost"}
        Whether the weighted penalties or the cost of a part decide the order.
    explained : int
        How many of the best poses are explained.
    start : datetime, optional
        When the first bed can start, to say when an order is done.
    voxels : int, optional
        Cells to find the stress under load cases with; chosen by the program otherwise.
    threads : int, optional
        Threads to measure on; the answer does not depend on it.
    progress : callable, optional
        Called with a step's name, poses done, poses in all.

    Returns
    -------
    Evaluation

    Raises
    ------
    OrientError
        For a selector that selects nothing, weights that cannot be used, limits that leave no pose, an
        unknown polymer or machine, an order by cost without prices, or load cases that make no sense.
    """
    clock = _Clock()
    brief = with_machine(brief or Brief())
    process = process_from(brief)
    shop = shop_for(brief, process, float(part.extents_mm.max()))
    loads = Loads(np.array(brief.load.stress_axis or (), dtype=np.float64).reshape(-1, 3), brief.load.kind)
    selections = tuple(_named_faces(part, one.on, one.matters) for one in brief.faces)
    clock.lap("brief")
    ready = sort_part(part)
    pieces = surface_pieces(part)
    stress = _stress(part, brief, process, voxels, threads, progress)
    clock.lap("strength")
    axes = loads.axes if stress is None or len(loads.axes) else strained_axes(stress.field)
    found = candidates(part, axes if len(axes) else None, directions)
    least_rest = max(
        (LEAST_REST_LINES * process.line_width_mm) ** 2, LEAST_REST_SHARE * part.hull.area_mm2 / 4.0
    )
    lies = found.rests_on_flat & (found.contact_area_mm2 >= least_rest)
    # A face that the part tips off is nothing to rest on.
    rests = lies & found.stable
    clock.lap("candidates")

    def measured(poses: Floats, step: str) -> Measures:
        done = 0

        def report(more: int) -> None:
            nonlocal done
            done += more
            if progress:
                progress(step, done, len(poses))

        measures = measure_poses(ready, process, poses, loads, selections, threads=threads, progress=report)
        if brief.limits.envelope_mm is not None:
            length, width = footprint_sides(poses, part.hull.points)
            bed = fit_in(poses, part.hull.points, (*brief.limits.envelope_mm[:2], np.inf), margin_mm=0.0)
            measures.columns.update(
                footprint_length_mm=length, footprint_width_mm=width, footprint_missing_mm=bed.missing_mm
            )
        if stress is not None:
            # What the load cases leave of the strength goes before what the stress axis says of it.
            measures.columns["axis_strength_retained"] = measures.columns["strength_retained"]
            measures.columns.update(safety_columns(stress, poses, threads or available_threads()))
        if shop.machine_named:
            room = fit_in(poses, part.hull.points, shop.machine.envelope_mm)
            measures.columns["machine_missing_mm"] = room.missing_mm
        if weights["cost"] > 0:
            priced = price_poses(shop, pieces, poses, measures.columns, threads=threads)
            measures.columns["unit_cost"] = priced.unit_cost
        return measures

    weights = check_weights(brief.weights.given(), brief.weights.preset)
    if by == "cost":
        weights = dict.fromkeys(weights, 0.0) | {"cost": 1.0}

    scale = Scale(
        hull_volume_mm3=part.hull.volume_mm3,
        hull_width_mm=part.hull.width_mm,
        hull_diameter_mm=part.hull.diameter_mm,
        largest_rest_mm2=float(part.hull.areas.max()),
        layer_height_mm=process.layer_height_mm,
        cost_floor=cost_floor(shop, pieces) if weights["cost"] > 0 else 1.0,
    )
    limits = Limits(
        max_height_mm=brief.limits.max_height_mm,
        envelope_mm=brief.limits.envelope_mm,
        min_strength_retained=brief.limits.min_strength_retained,
        min_safety_factor=brief.limits.min_safety_factor,
        max_deflection_mm=brief.limits.max_deflection_mm,
        machine=shop.machine.name if shop.machine_named else None,
        # The score minds a small first layer; the cost does not, and a part that falls over costs all of it.
        must_stand_mm2=part.hull.area_mm2 / 4.0 if by == "cost" else None,
    )
    first = measured(found.directions, "measure")
    clock.lap("measure")

    def cost(poses: Floats) -> Floats:
        columns = measured(poses, "refine").columns
        totals = total(penalties(columns, scale), weights)
        return np.where(_allowed(columns, poses, limits), totals, np.inf)

    most = STARTS_BY_COST if by == "cost" else STARTS
    refined = _refined(found, rests, first, scale, weights, limits, cost, ready.frame, most)
    second = measured(refined, "refine") if len(refined) else None
    clock.lap("refine")

    poses = np.vstack([found.directions, refined])
    columns = first.columns if second is None else _stacked(first.columns, second.columns)
    ranking = rank_poses(
        poses,
        found.sources + ("refined",) * len(refined),
        np.r_[rests, np.zeros(len(refined), dtype=bool)],
        columns,
        scale,
        weights,
        limits,
        explained=explained,
    )
    strength = None
    if stress is not None:
        safety = judge(stress, ranking.directions, threads or available_threads())
        strength = Strength(
            stress.field,
            safety,
            _taken_by_axis(ranking, scale, weights),
            assumptions=process.assumptions,
            timing_s=clock.laps,
        )
        ranking, strength = _with_safety(ranking, strength)
    ranking = _with_tilt(ranking, ready, process, scale.hull_volume_mm3)
    clock.lap("rank")
    poses_priced = price_poses(shop, pieces, ranking.directions, ranking.columns, threads=threads)
    taken = ranking.recommended - 1
    longer, shorter = footprint_sides(ranking.directions[[taken]], part.hull.points)
    order = order_for(
        shop,
        pieces,
        ranking.directions[taken],
        {name: float(column[taken]) for name, column in ranking.columns.items()},
        (float(longer[0]), float(shorter[0])),
        start=start,
    )
    clock.lap("shop")
    cautions = shop_cautions(shop, brief, float(poses_priced.hours[taken]))
    return Evaluation(
        part=part,
        brief=brief,
        process=process,
        ranking=ranking,
        resting={
            row: (float(found.contact_area_mm2[i]), bool(found.stable[i]))
            for row, i in enumerate(ranking.index.tolist())
            if i < len(found.sources) and lies[i]
        },
        selections=selections,
        named=_in_order(first.named, second.named if second else (), ranking.index),
        warnings=_warnings(part, brief, process, loads),
        cautions=(*cautions, *_cautions(ranking, loads, strength, part.hull.area_mm2 / 4.0)),
        notes=(
            *_notes(part, brief, process, loads),
            *(() if strength is None else strength.field.notes),
            *shop_notes(shop),
        ),
        timing_s=clock.laps,
        shop=ShopSection(shop, poses_priced, order),
        strength=strength,
    )


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
    clock = _Clock()
    ready = _solved(part, brief, process, voxels, threads, progress)
    clock.lap("strength")
    poses = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    safety = judge(ready, poses, threads or available_threads())
    clock.lap("judge")
    return Strength(ready.field, safety, assumptions=process.assumptions, timing_s=clock.laps)


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


def rank(
    part: Part, brief: Brief | None = None, *, directions: int = 1000, threads: int | None = None
) -> Ranking:
    """Rank a part's build orientations: `evaluate(part, brief).ranking`.

    Parameters
    ----------
    part : Part
        The part.
    brief : Brief, optional
        As for `evaluate`.
    directions : int
        Size of the even grid of build directions.
    threads : int, optional
        Threads to measure on.

    Returns
    -------
    Ranking
        Poses best first; `recommended` is the rank, from 1, of the one to take.
    """
    return evaluate(part, brief, directions=directions, threads=threads).ranking


def _stress(
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


def _named_faces(part: Part, selector: str, matters: str) -> NamedFaces:
    chosen = select(part, selector)
    return NamedFaces(selector, matters, chosen.faces, cylinder_axis(part, chosen.faces))


def _allowed(columns: Mapping[str, Floats], poses: Floats, limits: Limits) -> NDArray[np.bool_]:
    """Poses that keep the limits; unlike the ranking this may be none of them."""
    if limits == Limits():
        return np.ones(len(poses), dtype=bool)
    # One pose that breaks nothing keeps the check from complaining that all are excluded.
    harmless = {name: np.append(column, _harmless(name)) for name, column in columns.items()}
    out = exclude(harmless, np.vstack([poses, [0.0, 0.0, 1.0]]), limits)
    allowed = np.ones(len(poses) + 1, dtype=bool)
    allowed[[one.index for one in out]] = False
    return allowed[:-1]


def _harmless(name: str) -> float:
    most = {"strength_retained": 1.0, "tip_margin_deg": 90.0, "first_layer_mm2": 1e12}
    return (most | {"safety_factor": 1e12, "safety_factor_low": 1e12}).get(name, 0.0)


def _refined(
    found: Candidates,
    rests: NDArray[np.bool_],
    first: Measures,
    scale: Scale,
    weights: Mapping[str, float],
    limits: Limits,
    cost: Callable[[Floats], Floats],
    frame: Floats,
    most: int,
) -> Floats:
    """Search on from the best poses that lie apart; what got better, away from resting poses, is kept."""
    totals = total(penalties(first.columns, scale), weights)
    totals = np.where(_allowed(first.columns, found.directions, limits), totals, np.inf)
    starts: list[int] = []
    for i in np.argsort(totals, kind="stable").tolist():
        if not np.isfinite(totals[i]) or len(starts) == most:
            break
        if all(found.directions[i] @ found.directions[j] < np.cos(np.radians(APART_DEG)) for j in starts):
            starts.append(i)
    if not starts:
        return np.zeros((0, 3))
    directions, better = refine(cost, found.directions[starts], frame=frame)
    # A search that comes home to a pose that is already listed, and no worse, has found nothing new.
    kept: list[int] = []
    for i in np.argsort(better, kind="stable").tolist():
        near = found.directions @ directions[i] > np.cos(np.radians(NEAR_DEG))
        if (near & rests).any():
            continue
        near_kept = any(directions[i] @ directions[j] > np.cos(np.radians(NEAR_DEG)) for j in kept)
        if better[i] < (1.0 - WORTH_A_POSE) * np.min(totals[near], initial=np.inf) and not near_kept:
            kept.append(i)
    return directions[kept]


def _stacked(a: Mapping[str, Floats], b: Mapping[str, Floats]) -> dict[str, Floats]:
    return {name: np.concatenate([a[name], b[name]]) for name in a}


def _in_order(
    first: tuple[NamedFacesMeasures, ...], second: tuple[NamedFacesMeasures, ...], index: NDArray[np.int64]
) -> tuple[NamedFacesMeasures, ...]:
    """Measures of the faces that matter, in the ranking's order."""
    ordered = []
    for k, one in enumerate(first):
        more = vars(second[k]) if second else {name: np.zeros(0) for name in vars(one)}
        ordered.append(
            NamedFacesMeasures(
                **{name: np.concatenate([v, more[name]])[index] for name, v in vars(one).items()}
            )
        )
    return tuple(ordered)


def _with_tilt(ranking: Ranking, ready: Sorted, process: Process, hull_mm3: float) -> Ranking:
    """Add to every explained pose what a small tilt would do to it."""
    why, numbers = list(ranking.why), list(ranking.numbers)
    for row, said in enumerate(ranking.why):
        facts = numbers[row]
        if not said or facts is None:
            continue
        support = float(ranking.columns["support_volume_mm3"][row])
        note = tilt_note(support, support_when_tilted(ready, process, ranking.directions[row]), hull_mm3)
        if note:
            why[row] = (*said, note[0])
            numbers[row] = {**facts, "tilt": note[1]}
    return replace(ranking, why=tuple(why), numbers=tuple(numbers))


def _taken_by_axis(ranking: Ranking, scale: Scale, weights: Mapping[str, float]) -> int | None:
    """Row of the pose that would be taken if the stress axis alone told the load; None without an axis."""
    kept = ranking.columns["axis_strength_retained"]
    if not np.isfinite(kept).all():
        return None
    totals = total(penalties({**ranking.columns, "strength_retained": kept}, scale), weights)
    # The ranking's own order settles ties.
    order = np.argsort(np.round(totals, 9), kind="stable")
    return int(order[choose(totals[order], ranking.rests_on_flat[order]).recommended])


def _with_safety(ranking: Ranking, strength: Strength) -> tuple[Ranking, Strength]:
    """Add to every pose shown where it is weakest, and to the one taken what the axis would have taken."""
    shown = ranking.shown
    if strength.by_axis is not None:
        shown = tuple(sorted({*shown, strength.by_axis}))
    why, numbers = list(ranking.why), list(ranking.numbers)
    safety, columns = strength.safety, ranking.columns

    def told(row: int) -> dict[str, float]:
        names = ("safety_factor", "safety_factor_low", "axis_strength_retained")
        return {name: float(columns[name][row]) for name in names}

    def place(row: int) -> tuple[list[float], str, bool]:
        return safety.weakest_at_mm[row].tolist(), strength.case(row), bool(safety.between_layers[row])

    for row in shown:
        said, figures = safety_note(told(row), *place(row))
        why[row] = (*why[row], said)
        numbers[row] = {**(numbers[row] or {}), "safety": figures}
    taken = ranking.recommended - 1
    words = [why[taken][-1]]
    if strength.by_axis is not None:
        other = strength.by_axis
        said, figures = axis_note((taken + 1, told(taken)), (other + 1, told(other)), *place(other))
        words.append(said)
        why[taken] = (*why[taken], said)
        numbers[taken] = {**(numbers[taken] or {}), "by_axis": figures}
    told_of = replace(ranking, why=tuple(why), numbers=tuple(numbers), shown=shown)
    return told_of, replace(strength, words=tuple(words))


def _cautions(
    ranking: Ranking, loads: Loads, strength: Strength | None, shadow_mm2: float
) -> tuple[str, ...]:
    said = [LOAD_CAUTION] if len(loads.axes) or strength is not None else []
    first = float(ranking.columns["first_layer_mm2"][ranking.recommended - 1])
    if first < SMALL_FIRST_SHARE * shadow_mm2:
        said.append(
            f"The first layer of the recommended pose is only {figure(first, 'mm²')} mm²: give it a brim or "
            "a raft, or it will come off the bed."
        )
    if ranking.columns["tip_margin_deg"][ranking.recommended - 1] < 0:
        said.append(
            "The centre of mass of the recommended pose lies outside its first layer: it stands only by its "
            "grip on the bed and by its supports."
        )
    return tuple(said)


def _warnings(part: Part, brief: Brief, process: Process, loads: Loads) -> tuple[str, ...]:
    said = list(part.health.warnings)
    if brief.load.case and not part.closed:
        said.append("The load cases were left out: the mesh is not closed, so its inside cannot be filled.")
    if (len(loads.axes) or brief.load.case) and not process.strengths_known:
        said.append(
            f"The load was left out: no strength across the layers is known for {process.polymer}; give "
            "strength_in_layer_mpa and strength_across_mpa in [polymer] of a brief, or another polymer."
        )
    return tuple(said)


def _notes(part: Part, brief: Brief, process: Process, loads: Loads) -> tuple[str, ...]:
    notes = [*part.health.repairs, *(process.assumptions if len(loads.axes) or brief.load.case else ())]
    if unused := brief.unused():
        notes.append(
            f"The brief is read whole, but not all of it is used yet: {', '.join(unused[:-1])}"
            f"{' and ' if unused[1:] else ''}{unused[-1]}."
        )
    return tuple(notes)


@dataclass
class _Clock:
    """Seconds by step."""

    laps: dict[str, float] = field(default_factory=dict)
    last: float = field(default_factory=time.perf_counter)

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.laps[name] = round(now - self.last, 4)
        self.last = now

"""One part and one brief in, one `Evaluation` out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.brief import Brief
from orient.clock import Clock, Progress
from orient.cost.bands import surface_pieces
from orient.cost.envelope import fit_in
from orient.cost.shop import (
    ShopSection,
    check_prices,
    cost_floor,
    order_for,
    price_poses,
    shop_cautions,
    shop_for,
    shop_notes,
    with_machine,
    with_room,
)
from orient.errors import OrientError
from orient.evaluation.features import features_of, held_by_holes, is_very_large, rank_without_bridges
from orient.evaluation.model import Evaluation
from orient.evaluation.safety import failing, stress_under, taken_by_axis, unseen_by_axis, with_safety
from orient.evaluation.scale import limits_of, scale_of
from orient.evaluation.search import STARTS, STARTS_BY_COST, allowed, search_on
from orient.evaluation.words import cautions_of, not_counted, notes_of, warnings_of, with_tilt
from orient.measure.poses import Loads, Measures, measure_poses, sort_part
from orient.measure.sharing import available_threads
from orient.measure.surfaces import NamedFaces, NamedFacesMeasures
from orient.part.mesh import Part
from orient.part.select import cylinder_axis, select
from orient.pose.candidates import candidates
from orient.pose.rotation import footprint_sides
from orient.process import process_from
from orient.ranking.penalties import penalties, total
from orient.ranking.ranked import Ranking, rank_poses
from orient.ranking.weights import check_weights
from orient.strength.judge import judge
from orient.strength.section import Strength, safety_columns, strained_axes

Floats = NDArray[np.float64]


# A face that the part rests on is at least this many line widths square and this share of its mean
# shadow (a quarter of the hull's surface); less is a tip or an edge.
LEAST_REST_LINES = 2.0
LEAST_REST_SHARE = 0.002


def evaluate(
    part: Part,
    brief: Brief | None = None,
    *,
    directions: int = 1000,
    by: Literal["score", "cost"] = "score",
    explained: int = 5,
    start: datetime | None = None,
    voxels: int | None = None,
    features: bool | None = None,
    given: ArrayLike | None = None,
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
    features : bool, optional
        Whether the hard features of the poses shown are found; if not said, unless the part is very large.
    given : (G, 3) array_like, optional
        Build directions to judge besides those of the program; they are shown whatever their rank.
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
    clock = Clock()
    brief = with_machine(brief or Brief())
    process = process_from(brief)
    shop = shop_for(brief, process, float(part.extents_mm.max()))
    weights = check_weights(brief.weights.given(), brief.weights.preset)
    if by == "cost" or weights["cost"] > 0:
        check_prices(shop)
    loads = Loads(np.array(brief.load.stress_axis or (), dtype=np.float64).reshape(-1, 3), brief.load.kind)
    selections = tuple(_named_faces(part, one.on, one.matters) for one in brief.faces)
    clock.lap("brief")
    ready = sort_part(part)
    pieces = surface_pieces(part)
    stress = stress_under(part, brief, process, voxels, threads, progress)
    clock.lap("strength")
    features_weight = weights["features"]
    if by == "cost":
        weights = dict.fromkeys(weights, 0.0) | {"cost": 1.0}
    asked = bool(features or features_weight)
    counted = asked or (features is None and not is_very_large(part))
    # The ceilings of small holes hold themselves up whether or not features are counted.
    free = held_by_holes(part, process) if asked or not is_very_large(part) else None
    clock.lap("holes")
    axes = loads.axes if stress is None or len(loads.axes) else strained_axes(stress.field)
    found = candidates(part, axes if len(axes) else None, directions)
    least_rest = max(
        (LEAST_REST_LINES * process.line_width_mm) ** 2, LEAST_REST_SHARE * part.hull.area_mm2 / 4.0
    )
    lies = found.rests_on_flat & (found.contact_area_mm2 >= least_rest)
    # A face that the part tips off is nothing to rest on.
    rests = lies & found.stable
    clock.lap("candidates")

    def priced(poses: Floats, columns: Mapping[str, Floats]) -> Floats:
        sides = footprint_sides(poses, part.hull.points)
        return price_poses(shop, pieces, poses, columns, sides_mm=sides, threads=threads).unit_cost

    def measured(poses: Floats, step: str) -> Measures:
        done = 0

        def report(more: int) -> None:
            nonlocal done
            done += more
            if progress:
                progress(step, done, len(poses))

        measures = measure_poses(
            ready, process, poses, loads, selections, free=free, threads=threads, progress=report
        )
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
            measures.columns["unit_cost"] = priced(poses, measures.columns)
        return measures

    scale = scale_of(part, process, cost_floor(shop, pieces) if weights["cost"] > 0 else 1.0)
    limits = limits_of(part, brief, shop, by)
    first = measured(found.directions, "measure")
    clock.lap("measure")

    def cost(poses: Floats) -> Floats:
        columns = measured(poses, "refine").columns
        totals = total(penalties(columns, scale), weights)
        return np.where(allowed(columns, poses, limits), totals, np.inf)

    most = STARTS_BY_COST if by == "cost" else STARTS
    refined = search_on(found, rests, first, scale, weights, limits, cost, ready.frame, most)
    asked_for = _unit(given)
    more = np.vstack([refined, asked_for])
    second = measured(more, "refine") if len(more) else None
    clock.lap("refine")

    poses = np.vstack([found.directions, more])
    own = list(range(len(poses) - len(asked_for), len(poses)))
    columns = first.columns if second is None else _stacked(first.columns, second.columns)

    def ranked(columns: Mapping[str, Floats]) -> Ranking:
        sources = found.sources + ("refined",) * len(refined) + ("given",) * len(asked_for)
        on_flat = np.r_[rests, np.zeros(len(more), dtype=bool)]
        rank = partial(
            rank_poses, poses, sources, on_flat, columns, scale, weights, limits, explained=explained
        )
        ranking = rank(also=own)
        if stress is None:
            return ranking
        # What the stress axis alone makes of the load is shown too.
        told = [
            row
            for row in (taken_by_axis(ranking, scale, weights), unseen_by_axis(ranking))
            if row is not None
        ]
        return (
            ranking if set(told) <= set(ranking.shown) else rank(also=[*own, *ranking.index[told].tolist()])
        )

    if counted:
        price = priced if weights["cost"] > 0 else None
        ranking, shape, inspected = rank_without_bridges(
            ranked, columns, poses, ready, process, price=price, threads=threads, progress=progress
        )
    else:
        ranking = ranked(columns)
    clock.lap("features")
    strength = None
    if stress is not None:
        safety = judge(stress, ranking.directions, threads or available_threads())
        strength = Strength(
            stress.field,
            safety,
            taken_by_axis(ranking, scale, weights),
            unseen_by_axis(ranking),
            assumptions=process.assumptions,
            timing_s=clock.laps,
        )
        ranking, strength = with_safety(ranking, strength)
    ranking = with_tilt(ranking, ready, process, scale.hull_volume_mm3)
    of_poses = None
    if counted:
        ranking, of_poses = features_of(ranking, shape, inspected, process, features_weight)
    clock.lap("rank")
    taken = ranking.recommended - 1
    longer, shorter = footprint_sides(ranking.directions[[taken]], part.hull.points)
    sides_taken = float(longer[0]), float(shorter[0])
    height = float(ranking.columns["height_mm"][taken])
    shop = with_room(shop, brief, process, ranking.directions[taken], part.hull.points, height, sides_taken)
    # Brims take footprints, which take time: they are counted in where machine and polymer were named.
    sides = None
    if shop.named or weights["cost"] > 0:
        sides = footprint_sides(ranking.directions, part.hull.points)
    poses_priced = price_poses(
        shop, pieces, ranking.directions, ranking.columns, sides_mm=sides, threads=threads
    )
    order = order_for(
        shop,
        pieces,
        ranking.directions[taken],
        {name: float(column[taken]) for name, column in ranking.columns.items()},
        sides_taken,
        start=start,
        walls_mm=None if of_poses is None else of_poses.walls_mm,
    )
    clock.lap("shop")
    cautions = shop_cautions(shop, brief, float(poses_priced.hours[taken]))
    loaded = len(loads.axes) > 0 or strength is not None
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
        warnings=warnings_of(part, brief, process, loads),
        cautions=(*failing(ranking), *cautions, *cautions_of(ranking, loaded, part.hull.area_mm2 / 4.0)),
        notes=(
            *notes_of(part, brief, process, loads),
            *(() if strength is None else strength.field.notes),
            *shop_notes(shop),
            *(() if counted or features is not None else (not_counted(part),)),
        ),
        timing_s=clock.laps,
        shop=ShopSection(shop, poses_priced, order),
        features=of_poses,
        strength=strength,
    )


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


def _named_faces(part: Part, selector: str, matters: str) -> NamedFaces:
    chosen = select(part, selector)
    return NamedFaces(selector, matters, chosen.faces, cylinder_axis(part, chosen.faces))


def _unit(given: ArrayLike | None) -> Floats:
    """Directions that somebody names, of length one."""
    poses = np.zeros((0, 3)) if given is None else np.asarray(given, dtype=np.float64).reshape(-1, 3)
    length = np.linalg.norm(poses, axis=1)
    if not (np.isfinite(poses).all() and (length > 0.0).all()):
        raise OrientError("A build direction needs three numbers, not all of them zero.")
    return poses / length[:, None]


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

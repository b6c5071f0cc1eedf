"""An evaluation's figures in poses that somebody names, such as those of another variant."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.cost.bands import surface_pieces
from orient.cost.envelope import fit_in
from orient.cost.shop import Priced, Shop, cost_floor, price_poses
from orient.evaluation.features import held_by_holes
from orient.evaluation.model import Evaluation
from orient.evaluation.scale import limits_of, scale_of
from orient.evaluation.search import allowed
from orient.features.register import Inspection, inspect_part
from orient.features.shape import shape_of
from orient.measure.poses import Loads, Measures, measure_poses, sort_part
from orient.measure.sharing import available_threads
from orient.pose.rotation import footprint_sides
from orient.ranking.penalties import penalties, total
from orient.strength.judge import make_ready
from orient.strength.section import safety_columns

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Figures:
    """What P given poses take.

    Attributes
    ----------
    directions : (P, 3) float64
        Build directions.
    columns : Mapping of str to (P,) float64
        Measures, as in a ranking.
    score : (P,) float64
        Weighted mean of the penalties.
    allowed : (P,) bool
        Whether the pose keeps the brief's limits.
    priced : Priced or None
        Hours, grams and cost; None where neither they nor features were asked for.
    lightest, heaviest : Priced or None
        The same with the least and the greatest density that the polymer's sources give.
    inspected : tuple of P Inspection, or None
        Hard features, where they were asked for.
    """

    directions: Floats
    columns: Mapping[str, Floats]
    score: Floats
    allowed: NDArray[np.bool_]
    priced: Priced | None
    lightest: Priced | None
    heaviest: Priced | None
    inspected: tuple[Inspection, ...] | None

    def rows(self, rows: list[int]) -> Figures:
        """The same poses in another order, or some of them more than once."""

        def of(priced: Priced | None) -> Priced | None:
            if priced is None:
                return None
            arrays: dict[str, Any] = {
                name: v[rows] for name, v in vars(priced).items() if isinstance(v, np.ndarray)
            }
            return replace(priced, **arrays)

        return Figures(
            self.directions[rows],
            {name: column[rows] for name, column in self.columns.items()},
            self.score[rows],
            self.allowed[rows],
            of(self.priced),
            of(self.lightest),
            of(self.heaviest),
            None if self.inspected is None else tuple(self.inspected[row] for row in rows),
        )


def meter(evaluation: Evaluation, threads: int | None = None) -> Callable[[Floats, bool], Figures]:
    """Make ready to measure an evaluated part in further poses.

    Parameters
    ----------
    evaluation : Evaluation
        The part, its brief, and what was found.
    threads : int, optional
        Threads to measure on; the answer does not depend on it.

    Returns
    -------
    callable
        Takes build directions, (P, 3), and whether their hard features and prices are wanted; gives
        `Figures`. A pose of the ranking gets the figures that it has there, where its features were counted
        for the ranking.
    """
    part, brief, process = evaluation.part, evaluation.brief, evaluation.process
    shop = evaluation.shop.shop
    ready, pieces = sort_part(part), surface_pieces(part)
    counted = evaluation.features is not None
    free = held_by_holes(part, process) if counted else None
    loads = Loads(np.array(brief.load.stress_axis or (), dtype=np.float64).reshape(-1, 3), brief.load.kind)
    stress = None if evaluation.strength is None else make_ready(evaluation.strength.field, process)
    weights = evaluation.ranking.weights
    by_cost = weights.get("cost", 0.0) > 0
    scale = scale_of(part, process, cost_floor(shop, pieces) if by_cost else 1.0)
    limits = limits_of(part, brief, shop)
    known = shop.polymer.density_g_cm3
    given = brief.polymer.density_g_cm3 is not None
    ends = (
        (shop, shop)
        if known is None or given
        else (_at_density(shop, known.low), _at_density(shop, known.high))
    )
    shapes = [evaluation.features.shape] if evaluation.features is not None else []

    def inspected(direction: Floats) -> Inspection:
        if not shapes:
            shapes.append(shape_of(part, process))
        return inspect_part(part, process, direction, shapes[0])

    def measured(poses: Floats, free: NDArray[np.bool_] | None) -> Measures:
        return measure_poses(ready, process, poses, loads, evaluation.selections, free=free, threads=threads)

    def figures(directions: Floats, with_features: bool = False) -> Figures:
        poses = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        columns = measured(poses, free).columns
        columns.setdefault("support_needed_mm3", columns["support_volume_mm3"].copy())
        found = tuple(inspected(pose) for pose in poses) if with_features else None
        if found is not None and counted:
            for row, one in enumerate(found):
                held = np.zeros(len(part.faces), dtype=np.bool_)
                held[one.needs_nothing] = True
                spared = measured(poses[row], held).columns
                for name in ("support_needed_mm3", "support_weighted_mm3"):
                    columns[name][row] = min(columns[name][row], spared[name][0])
        if stress is not None:
            columns["axis_strength_retained"] = columns["strength_retained"]
            columns.update(safety_columns(stress, poses, threads or available_threads()))
        length, width = footprint_sides(poses, part.hull.points)
        columns.update(footprint_length_mm=length, footprint_width_mm=width)
        if brief.limits.envelope_mm is not None:
            bed = fit_in(poses, part.hull.points, (*brief.limits.envelope_mm[:2], np.inf), margin_mm=0.0)
            columns["footprint_missing_mm"] = bed.missing_mm
        if shop.machine_named:
            room = fit_in(poses, part.hull.points, shop.machine.envelope_mm)
            columns["machine_missing_mm"] = room.missing_mm
        sides = (length, width) if shop.named or by_cost else None

        def priced(shop: Shop) -> Priced:
            return price_poses(shop, pieces, poses, columns, sides_mm=sides, threads=threads)

        nominal = priced(shop) if with_features or by_cost else None
        if by_cost and nominal is not None:
            columns["unit_cost"] = nominal.unit_cost
        return Figures(
            directions=poses,
            columns=columns,
            score=total(penalties(columns, scale), weights),
            allowed=allowed(columns, poses, limits),
            priced=nominal,
            lightest=priced(ends[0]) if with_features else nominal,
            heaviest=priced(ends[1]) if with_features else nominal,
            inspected=found,
        )

    return figures


def _at_density(shop: Shop, density: float) -> Shop:
    plan = replace(shop.plan, density_g_cm3=density, support_density_g_cm3=density)
    return replace(shop, plan=plan)

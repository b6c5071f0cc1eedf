"""A pose that somebody names: its hard features, and the evaluation in which it is the one to take."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from orient.cost.bands import surface_pieces
from orient.cost.shop import order_for, shop_cautions
from orient.evaluation.model import Evaluation
from orient.evaluation.words import cautions_of
from orient.features.register import Inspection, inspect_part
from orient.pose.rotation import footprint_sides


def inspection_at(evaluation: Evaluation, row: int) -> Inspection:
    """Give the hard features of a pose: those that were counted, or else found now.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    row : int
        Row of the pose in the ranking.

    Returns
    -------
    Inspection
    """
    counted = evaluation.features
    if counted is not None and row in counted.poses:
        return counted.poses[row]
    shape = None if counted is None else counted.shape
    return inspect_part(evaluation.part, evaluation.process, evaluation.ranking.directions[row], shape)


def with_pose(evaluation: Evaluation, rank: int) -> Evaluation:
    """Take another pose: what is told of the pose to take is then told of this one.

    Machines are those that were held against the recommended pose.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    rank : int
        Rank of the pose, from 1.

    Returns
    -------
    Evaluation
        The same where it is the pose that is recommended.
    """
    ranking, row = evaluation.ranking, rank - 1
    if rank == ranking.recommended:
        return evaluation
    part, section = evaluation.part, evaluation.shop
    shown = tuple(sorted({*ranking.shown, row}))
    taken = replace(ranking, recommended=rank, shown=shown)
    features = evaluation.features
    if features is not None:
        found = inspection_at(evaluation, row)
        features = replace(features, poses={**features.poses, row: found}, taken=row)
    longer, shorter = footprint_sides(ranking.directions[[row]], part.hull.points)
    before = section.order.batch
    order = order_for(
        section.shop,
        surface_pieces(part),
        ranking.directions[row],
        {name: float(column[row]) for name, column in ranking.columns.items()},
        (float(longer[0]), float(shorter[0])),
        start=None if before.done is None else before.done - timedelta(hours=before.hours),
        walls_mm=None if features is None else features.walls_mm,
    )
    loaded = "load" in ranking.penalty or evaluation.strength is not None
    cautions = (
        *shop_cautions(section.shop, evaluation.brief, float(section.poses.hours[row])),
        *cautions_of(taken, loaded, part.hull.area_mm2 / 4.0),
    )
    return replace(
        evaluation,
        ranking=taken,
        features=features,
        shop=replace(section, order=order),
        cautions=cautions,
        instead_of=evaluation.instead_of or ranking.recommended,
    )

"""Poses in order, the one to take, and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.ranking.explain import why
from orient.ranking.facts import Numbers, Standing, pose_numbers
from orient.ranking.limits import Excluded, Limits, exclude
from orient.ranking.order import choose, order
from orient.ranking.penalties import Scale, add_up, penalties, shares
from orient.ranking.robust import WeightRange, weight_ranges
from orient.ranking.tradeoff import undominated
from orient.ranking.weights import counted_weights

Array = NDArray[np.float64]

# Poses nearer to each other than this are shown as one choice.
APART_DEG = 15.0
# Poses whose penalties all agree within this are one choice: sampled columns tell them no further apart.
TWIN = 0.002


@dataclass(frozen=True, eq=False)
class Ranking:
    """Poses in order, best first, without those that a limit excludes.

    Parameters
    ----------
    directions : (P, 3) array
        Build directions.
    sources : tuple of P str
        Where each pose came from.
    rests_on_flat : (P,) array of bool
        Whether the pose lies on a flat face.
    columns : Mapping[str, (P,) array]
        Measures.
    penalty : Mapping[str, (P,) array]
        Penalties that are present, and their weighted mean ``total``.
    index : (P,) array of int
        Position of each pose in the list that was ranked.
    recommended : int
        Rank, from 1, of the pose to take: the best resting pose, unless the total of the best free
        pose is at least 10 % lower.
    best_resting, best_free : int or None
        Ranks, from 1, of the best pose that lies on a flat face and of the best that does not.
    undominated : (P,) array of bool
        Poses that no other beats in support volume, height and load together.
    shown : tuple of int
        Rows (from 0) worth showing beside each other: the best poses that lie well apart, the best
        resting, the best free and the recommended one.
    why : tuple of P tuples of str
        Sentences for the poses that are explained, empty for the others.
    numbers : tuple of P (dict or None)
        The figures those sentences are made of, for the JSON.
    excluded : tuple of Excluded
        Poses left out, each with its reason.
    weights : Mapping[str, float]
        The weights that count.
    robustness : tuple of WeightRange
        How far each weight can move before another pose is recommended.
    """

    directions: Array
    sources: tuple[str, ...]
    rests_on_flat: NDArray[np.bool_]
    columns: Mapping[str, Array]
    penalty: Mapping[str, Array]
    index: NDArray[np.int64]
    recommended: int
    best_resting: int | None
    best_free: int | None
    undominated: NDArray[np.bool_]
    shown: tuple[int, ...]
    why: tuple[tuple[str, ...], ...]
    numbers: tuple[Numbers | None, ...]
    excluded: tuple[Excluded, ...]
    weights: Mapping[str, float]
    robustness: tuple[WeightRange, ...]


def rank_poses(
    directions: Array,
    sources: Sequence[str],
    rests_on_flat: NDArray[np.bool_],
    columns: Mapping[str, Array],
    scale: Scale,
    weights: Mapping[str, float] | None = None,
    limits: Limits | None = None,
    *,
    explained: int = 5,
    also: Sequence[int] = (),
) -> Ranking:
    """Rank poses by their measures, choose one and explain.

    Parameters
    ----------
    directions : (P, 3) array
        Build directions, unit vectors.
    sources : sequence of P str
        Where each pose came from: resting, plane, load, grid, refined or given.
    rests_on_flat : (P,) array of bool
        Whether the pose lies on a flat face.
    columns : Mapping[str, (P,) array]
        Measures. Needed: support_weighted_mm3, support_volume_mm3, height_mm, first_layer_mm2,
        stair_step_mm; used when there: strength_retained, faces_trouble, islands, tip_margin_deg;
        for an envelope: footprint_length_mm and footprint_width_mm. Others are carried along.
    scale : Scale
        The part's own sizes.
    weights : Mapping[str, float], optional
        A weight that is not named keeps its default.
    limits : Limits, optional
        What a pose must keep to be considered.
    explained : int
        How many poses are shown and explained, at the most, unless the recommended pose, the best
        resting and the best free one ask for more. They lie `APART_DEG` apart: neighbours of a good
        pose are nearly as good, and no other choice.
    also : sequence of int
        Poses that are shown and explained whatever their rank, by position in `directions`.

    Returns
    -------
    Ranking
        The same for the same poses in any order.

    Raises
    ------
    OrientError
        When there is no pose, when the limits exclude all of them, or for weights that are not usable.
    """
    directions = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
    rests = np.asarray(rests_on_flat, dtype=bool)
    count = len(directions)
    if count == 0:
        raise OrientError("There is no pose to rank: ask for at least one direction.")
    table = {name: np.asarray(column, dtype=np.float64) for name, column in columns.items()}
    # Where nothing is known to do without, all that geometry asks for is needed.
    table.setdefault("support_needed_mm3", table["support_volume_mm3"])
    if len(sources) != count or any(len(c) != count for c in (rests, *table.values())):
        raise ValueError("sources, rests_on_flat and every column need one row for each direction")

    excluded = exclude(table, directions, limits or Limits())
    left = np.setdiff1d(np.arange(count), [pose.index for pose in excluded])
    table = {name: column[left] for name, column in table.items()}
    penalty = penalties(table, scale)
    counted = counted_weights(weights, penalty)
    cost = shares(penalty, weights)
    total = add_up(cost.values())

    kinds = [sources[i] for i in left]
    settle = partial(
        order,
        rests_on_flat=rests[left],
        sources=kinds,
        support_mm3=table["support_volume_mm3"],
        height_mm=table["height_mm"],
        directions=directions[left],
    )
    at = settle(total)
    index = left[at]
    table = {name: column[at] for name, column in table.items()}
    penalty = {name: p[at] for name, p in penalty.items()}
    cost = {name: part[at] for name, part in cost.items()}
    total, rests = total[at], rests[index]
    kept_sources = tuple(sources[i] for i in index)

    choice = choose(total, rests)
    ties = np.argsort(settle(np.zeros(len(index))))[at]
    others = _others(penalty, choice.recommended)
    ranges = tuple(
        _renumbered(span, others)
        for span in weight_ranges(
            {name: p[others] for name, p in penalty.items()},
            counted,
            rests[others],
            int(np.flatnonzero(others == choice.recommended)[0]),
            ties[others],
        )
    )
    standing = Standing(table, cost, total, rests, kept_sources, counted, choice, ranges)
    named = (choice.recommended, choice.best_resting, choice.best_free)
    always = {row for row in named if row is not None} | set(np.flatnonzero(np.isin(index, also)).tolist())
    shown = _worth_showing(directions[index], explained, always)
    numbers = pose_numbers(standing, shown)
    no_load = np.zeros(len(index))
    return Ranking(
        directions=directions[index],
        sources=kept_sources,
        rests_on_flat=rests,
        columns=table,
        penalty=penalty | {"total": total},
        index=index,
        recommended=choice.recommended + 1,
        best_resting=None if choice.best_resting is None else choice.best_resting + 1,
        best_free=None if choice.best_free is None else choice.best_free + 1,
        # Rounded far below what can be built, so that rounding beats no pose.
        undominated=undominated(
            np.column_stack(
                [
                    np.round(table["support_volume_mm3"], 3),
                    np.round(table["height_mm"], 4),
                    np.round(penalty.get("load", no_load), 6),
                ]
            )
        ),
        shown=tuple(shown),
        why=tuple(why(numbers[i]) if i in numbers else () for i in range(len(index))),
        numbers=tuple(numbers.get(i) for i in range(len(index))),
        excluded=excluded,
        weights=counted,
        robustness=ranges,
    )


def _others(penalty: Mapping[str, Array], recommended: int) -> NDArray[np.int64]:
    """Rows that are another choice than the recommended pose, and that pose itself.

    A part's mirror image measures the same but for the sampling of its columns, and no weight decides
    between the two.
    """
    apart = np.max([np.abs(p - p[recommended]) for p in penalty.values()], axis=0) > TWIN
    apart[recommended] = True
    return np.flatnonzero(apart)


def _renumbered(span: WeightRange, rows: NDArray[np.int64]) -> WeightRange:
    """Give the rivals of a range their ranks in the whole list."""

    def rank(rival: int | None) -> int | None:
        return None if rival is None else int(rows[rival - 1]) + 1

    return replace(span, rival_low=rank(span.rival_low), rival_high=rank(span.rival_high))


def _worth_showing(directions: Array, most: int, always: set[int]) -> list[int]:
    """Rows of the best poses that lie apart, best first, those that are always shown among them."""
    chosen: list[int] = []
    least = np.cos(np.radians(APART_DEG))
    for row in range(len(directions)):
        if len(chosen) >= most:
            break
        if row in always or not chosen or float((directions[chosen] @ directions[row]).max()) < least:
            chosen.append(row)
    return sorted({*chosen, *always})

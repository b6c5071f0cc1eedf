"""The figures that an explanation is made of.

Everything a sentence says about a pose is read from the mapping built here, and the same mapping
goes into the JSON, so that words and fields cannot disagree.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.ranking.figures import differ, number_or_none
from orient.ranking.order import LEAST_GAIN, PLACES, Choice
from orient.ranking.robust import WeightRange

Array = NDArray[np.float64]
Numbers = dict[str, Any]


@dataclass(frozen=True)
class Measure:
    """The measure that stands for a penalty in words.

    Parameters
    ----------
    field : str
        Its name in the JSON; a strength is given in percent.
    unit : str
        Unit as shown.
    less_is_better : bool
        Which way is good.
    """

    field: str
    unit: str
    less_is_better: bool


MEASURES: Mapping[str, Measure] = {
    "support": Measure("support_needed_mm3", "mm³", True),
    "height": Measure("height_mm", "mm", True),
    "load": Measure("strength_retained_percent", "%", False),
    "first_layer": Measure("first_layer_mm2", "mm²", False),
    "finish": Measure("stair_step_mm", "step", True),
    "faces": Measure("faces_trouble", "score", True),
    "cost": Measure("unit_cost", "money", True),
}


@dataclass(frozen=True, eq=False)
class Standing:
    """Poses in order, best first, and what was decided about them.

    Parameters
    ----------
    columns : Mapping[str, (P,) array]
        Measures.
    cost : Mapping[str, (P,) array]
        Parts of the total, w·p/Σw, for the penalties that count.
    total : (P,) array
        Totals.
    rests_on_flat : (P,) array of bool
        Whether a pose lies on a flat face.
    sources : sequence of P str
        Where each pose came from.
    weights : Mapping[str, float]
        The weights that count.
    choice : Choice
        Recommended, best resting and best free pose.
    ranges : sequence of WeightRange
        How far each weight can move.
    """

    columns: Mapping[str, Array]
    cost: Mapping[str, Array]
    total: Array
    rests_on_flat: NDArray[np.bool_]
    sources: Sequence[str]
    weights: Mapping[str, float]
    choice: Choice
    ranges: Sequence[WeightRange]


def shown_measures(columns: Mapping[str, Array], names: Sequence[str]) -> dict[str, Array]:
    """Give the measure of each penalty as it is shown, by penalty name."""
    return {
        name: columns["strength_retained"] * 100.0 if name == "load" else columns[MEASURES[name].field]
        for name in names
    }


def pose_numbers(standing: Standing, positions: Sequence[int]) -> dict[int, Numbers]:
    """Gather the figures of some poses.

    Parameters
    ----------
    standing : Standing
        Poses in order.
    positions : sequence of int
        Positions (from 0) of the poses to explain, in order; each is held against the next of them, the
        last against the pose that follows it.

    Returns
    -------
    dict[int, dict]
        By position; plain Python values that JSON can hold.
    """
    shown = shown_measures(standing.columns, tuple(standing.weights))
    best = {
        name: int(np.argmin(np.round(values if MEASURES[name].less_is_better else -values, PLACES)))
        for name, values in shown.items()
    }
    last = len(standing.total) - 1

    def one(i: int) -> Numbers:
        return {
            "rank": i + 1,
            "source": standing.sources[i],
            "rests_on_flat": bool(standing.rests_on_flat[i]),
            "total": float(standing.total[i]),
            "cost": {name: float(part[i]) for name, part in standing.cost.items()},
            "measures": {MEASURES[name].field: float(values[i]) for name, values in shown.items()},
        }

    found = {}
    following = dict(pairwise(positions))
    for i in positions:
        after = following.get(i, i + 1)
        numbers = one(i) | {
            "poses": last + 1,
            "weights": dict(standing.weights),
            "choice": _choice(standing),
            "next": one(after) if after <= last else None,
            "best": {
                MEASURES[name].field: {"rank": j + 1, "value": float(shown[name][j])}
                for name, j in best.items()
                if differ(float(shown[name][i]), float(shown[name][j]), MEASURES[name].unit)
            },
        }
        if i == standing.choice.recommended:
            numbers["holds"] = [_hold(weight_range) for weight_range in standing.ranges]
            numbers["stands_on"] = _stands_on(standing.columns, i)
        found[i] = numbers
    return found


def _choice(standing: Standing) -> Numbers:
    choice = standing.choice
    numbers: Numbers = {
        "recommended": choice.recommended + 1,
        "best_resting": None if choice.best_resting is None else choice.best_resting + 1,
        "best_free": None if choice.best_free is None else choice.best_free + 1,
        "least_gain_percent": 100.0 * LEAST_GAIN,
        "gain_percent": None,
    }
    if choice.best_resting is not None and choice.best_free is not None:
        resting, free = (float(standing.total[k]) for k in (choice.best_resting, choice.best_free))
        numbers["gain_percent"] = 100.0 * (resting - free) / resting if resting > 0 else 0.0
    return numbers


def _hold(weight_range: WeightRange) -> Numbers:
    return {
        "weight": weight_range.name,
        "now": weight_range.weight,
        "low": weight_range.low,
        "high": number_or_none(weight_range.high),
        "rival_low": weight_range.rival_low,
        "rival_high": weight_range.rival_high,
    }


def _stands_on(columns: Mapping[str, Array], i: int) -> Numbers:
    return {
        name: number_or_none(float(columns[name][i]))
        for name in ("first_layer_mm2", "islands", "tip_margin_deg")
        if name in columns
    }

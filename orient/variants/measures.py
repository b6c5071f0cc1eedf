"""Figures of two variants side by side: the difference, its sign, and whether it is one at all.

A range says how far sources differ about the polymer. Both variants are of the same spool, so whatever is
true of it is true of both: the difference is taken at either end of the range, and where the ends do not
agree which variant is better, it is a tie. A tie is also what is smaller than the figure is sure: columns of
support are sampled, cells of a stress field have a size, and no published build time bears out hours to the
last per cent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from orient.evaluation import Evaluation
from orient.evaluation.given import Figures


@dataclass(frozen=True)
class Measure:
    """A figure that variants are compared by.

    Attributes
    ----------
    name : str
        As in the JSON.
    title, unit : str
        In words; the unit as `orient.ranking.figures` knows it.
    more_is_better : bool or None
        None where neither is better.
    sure : float
        Differences under this share of the larger figure are ties: this program's choice.
    least : float
        So are differences under this.
    """

    name: str
    title: str
    unit: str
    more_is_better: bool | None
    sure: float
    least: float


MEASURES = (
    Measure("support_needed_mm3", "support", "mm³", False, 0.02, 5.0),
    Measure("scar_area_mm2", "touched by support", "mm²", False, 0.02, 1.0),
    Measure("height_mm", "height", "mm", False, 0.001, 0.05),
    Measure("first_layer_mm2", "first layer", "mm²", True, 0.02, 1.0),
    Measure("stair_step_mm", "surface steps", "mm", False, 0.02, 0.001),
    Measure("volume_mm3", "volume of the part", "mm³", None, 1e-4, 0.1),
    Measure("features_redesign", "features to redesign", "", False, 0.0, 0.5),
    Measure("features_support", "features to support", "", False, 0.0, 0.5),
    Measure("features_tune", "features to tune", "", False, 0.0, 0.5),
    Measure("strength_retained", "strength kept", "share", True, 0.01, 0.005),
    Measure("safety_factor", "safety factor", "factor", True, 0.05, 0.0),
    Measure("max_deflection_mm", "deflection", "mm", False, 0.05, 1e-4),
    Measure("hours", "hours", "hours", False, 0.02, 0.02),
    Measure("part_g", "part", "g", False, 0.005, 0.05),
    Measure("support_g", "support", "g", False, 0.02, 0.1),
    Measure("finishing_min", "finishing by hand", "min", False, 0.05, 0.5),
    Measure("cost", "cost", "money", False, 0.02, 0.005),
    Measure("score", "score", "score", False, 0.02, 0.001),
)
BY_NAME: Mapping[str, Measure] = {one.name: one for one in MEASURES}


@dataclass(frozen=True)
class Value:
    """A figure and, where the data give one, its range."""

    nominal: float
    low: float
    high: float

    @property
    def ranged(self) -> bool:
        """Whether the data give a range."""
        return self.low != self.high


@dataclass(frozen=True)
class Delta:
    """A figure of two variants.

    Attributes
    ----------
    name : str
        The measure.
    first, second : Value
        The figure of either.
    better : bool or None
        Whether the second is better; None for a tie, or where neither is.
    tie : bool
        Whether the difference is none that can be told.
    """

    name: str
    first: Value
    second: Value
    better: bool | None
    tie: bool

    @property
    def delta(self) -> float:
        """The second's figure less the first's."""
        return self.second.nominal - self.first.nominal

    @property
    def percent(self) -> float | None:
        """The same as a percentage of the first's; None where that is 0."""
        return 100.0 * self.delta / self.first.nominal if self.first.nominal else None

    @property
    def word(self) -> str:
        """``better``, ``worse``, ``tie``, or nothing where neither is better."""
        if self.tie:
            return "tie"
        return {True: "better", False: "worse", None: ""}[self.better]


def values_of(evaluation: Evaluation, figures: Figures, row: int) -> dict[str, Value]:
    """Collect the figures of one variant in one pose.

    Parameters
    ----------
    evaluation : Evaluation
        The variant.
    figures : Figures
        Of some poses.
    row : int
        Which of them.

    Returns
    -------
    dict of str to Value
        By measure, without those that the brief says nothing of.
    """
    columns = {name: float(column[row]) for name, column in figures.columns.items()}
    found: dict[str, Value] = {}

    def put(name: str, nominal: float, low: float | None = None, high: float | None = None) -> None:
        if not np.isfinite(nominal):
            return
        ends = [nominal if end is None or not np.isfinite(end) else end for end in (low, high)]
        found[name] = Value(nominal, *ends)

    for name in ("support_needed_mm3", "scar_area_mm2", "height_mm", "first_layer_mm2", "stair_step_mm"):
        put(name, columns[name])
    put("volume_mm3", evaluation.part.volume_mm3)
    if figures.inspected is not None:
        counts = figures.inspected[row].counts
        for verdict in ("redesign", "support", "tune"):
            put(f"features_{verdict}", float(counts[verdict]))
    put("strength_retained", columns["strength_retained"])
    if evaluation.strength is not None:
        put("safety_factor", *(columns[f"safety_factor{end}"] for end in ("", "_low", "_high")))
        put("max_deflection_mm", columns["max_deflection_mm"])
    ends = (figures.priced, figures.lightest, figures.heaviest)
    for name in ("hours", "part_g", "support_g", "finishing_min", "unit_cost"):
        if name != "unit_cost" or evaluation.shop.shop.rates.known:
            told = [float(getattr(one, name)[row]) for one in ends if one is not None]
            if told:
                put("cost" if name == "unit_cost" else name, *told)
    put("score", float(figures.score[row]))
    return found


def deltas(first: Mapping[str, Value], second: Mapping[str, Value]) -> dict[str, Delta]:
    """Set the figures of two variants side by side.

    Parameters
    ----------
    first, second : Mapping of str to Value
        From `values_of`.

    Returns
    -------
    dict of str to Delta
        The measures that both have, in the order of `MEASURES`.

    Examples
    --------
    >>> a, b = Value(3.1, 2.4, 3.9), Value(2.4, 1.9, 3.0)
    >>> deltas({"safety_factor": a}, {"safety_factor": b})["safety_factor"].word
    'worse'
    >>> b = Value(3.0, 2.3, 3.8)
    >>> deltas({"safety_factor": a}, {"safety_factor": b})["safety_factor"].word
    'tie'
    """
    return {
        measure.name: _delta(measure, first[measure.name], second[measure.name])
        for measure in MEASURES
        if measure.name in first and measure.name in second
    }


def _delta(measure: Measure, first: Value, second: Value) -> Delta:
    change = second.nominal - first.nominal
    ends = (second.low - first.low, change, second.high - first.high)
    unsure = max(measure.sure * max(abs(first.nominal), abs(second.nominal)), measure.least)
    tie = abs(change) <= unsure or not (all(end > 0 for end in ends) or all(end < 0 for end in ends))
    better = None if tie or measure.more_is_better is None else (change > 0) == measure.more_is_better
    return Delta(measure.name, first, second, better, tie)

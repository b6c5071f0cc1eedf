"""The figures of a pose as a reader compares them, and the answer in one sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from orient.show.page.chart import support_of
from orient.show.words import direction_words, fill_words

if TYPE_CHECKING:
    # Who only compares figures need not load what found them.
    from orient.evaluation import Evaluation

ABOUT = "≈ "

# What a figure is, for whoever meets it for the first time.
MEANT = {
    "support": "the volume of the columns under what hangs over too far, short ceilings that bridge included",
    "height": "how tall the build is; the taller, the longer it takes",
    "first layer": "the area on the bed, measured half a layer up; the more, the better it sticks",
    "surface steps": "how high the stairs are that layers leave on slopes, on average",
    "strength kept": "how much of the strength within a layer is left along the way it is loaded",
    "safety factor": "how many times its load it bears before it fails; below 1 it does not bear it",
    "hard features": "places that will not come out as drawn, need holding up, or want their own settings",
    "faces that matter": "what support and the bed touch of the faces that the job names",
    "hours": "time to build one part, with its support",
    "material": "polymer for one part, with its support",
    "cost": "what one part costs at the shop's rates",
    "score": "all that matters weighed together; the lower, the better",
}


@dataclass(frozen=True)
class Fact:
    """One figure of a pose.

    Attributes
    ----------
    name, said : str
        What it is, and the figure with its unit.
    value : float
        To compare poses by; NaN where there is nothing to compare.
    less_is_better : bool
        Which way is better.
    best : bool
        Whether no pose beside it has a better one, and some have a worse one.
    """

    name: str
    said: str
    value: float
    less_is_better: bool = True
    best: bool = False


def pose_facts(evaluation: Evaluation, row: int) -> list[Fact]:
    """Give the figures of a pose, in the same order for every pose of an evaluation."""
    ranking, poses = evaluation.ranking, evaluation.shop.poses
    columns = ranking.columns

    def about(column: str) -> str:
        return ABOUT if column in evaluation.approximate else ""

    support, first = support_of(evaluation)[row], columns["first_layer_mm2"][row]
    facts = [
        Fact("support", f"{about('support_volume_mm3')}{support:,.0f} mm³", support),
        Fact("height", f"{columns['height_mm'][row]:.1f} mm", columns["height_mm"][row]),
        Fact("first layer", f"{about('first_layer_mm2')}{first:,.0f} mm²", first, False),
        Fact("surface steps", f"{columns['stair_step_mm'][row]:.3f} mm", columns["stair_step_mm"][row]),
        *_strength(evaluation, row),
    ]
    if evaluation.named:
        facts.append(_named(evaluation, row))
    if evaluation.features is not None and row in evaluation.features.poses:
        facts.append(counted_fact(evaluation.features.poses[row].counts))
    facts.append(Fact("hours", f"{poses.hours[row]:.1f} h", poses.hours[row]))
    grams = poses.part_g[row] + poses.support_g[row]
    if math.isfinite(grams):
        facts.append(Fact("material", f"{grams:.0f} g", grams))
    if math.isfinite(poses.unit_cost[row]):
        currency = evaluation.shop.shop.rates.currency or ""
        facts.append(Fact("cost", f"{poses.unit_cost[row]:,.2f} {currency}".strip(), poses.unit_cost[row]))
    facts.append(Fact("score", f"{ranking.penalty['total'][row]:.3f}", ranking.penalty["total"][row]))
    return [replace(fact, value=float(fact.value)) for fact in facts]


def _named(evaluation: Evaluation, row: int) -> Fact:
    """What support does to the faces that the brief names, and the bed to those that are seen."""
    scar = sum(float(one.scar_mm2[row]) for one in evaluation.named)
    told = [f"support on {scar:,.0f} mm²" if scar >= 0.5 else "no support"]
    lies = sum(
        float(one.on_bed_mm2[row])
        for chosen, one in zip(evaluation.selections, evaluation.named, strict=True)
        if chosen.matters == "visible"
    )
    if lies >= 0.5:
        told.append(f"{lies:,.0f} mm² on the bed")
    return Fact("faces that matter", ", ".join(told), float(evaluation.ranking.columns["faces_trouble"][row]))


def counted_fact(counts: Mapping[str, int]) -> Fact:
    """How many hard features there are, by verdict."""
    asked = [verdict for verdict in ("redesign", "support", "tune") if counts[verdict]]
    said = ", ".join(f"{counts[verdict]} to {verdict}" for verdict in asked) or "none"
    # Worst verdicts decide; the weights only order.
    worst = counts["redesign"] * 1e6 + counts["support"] * 1e3 + counts["tune"]
    return Fact("hard features", said, float(worst))


def compared(facts: list[list[Fact]]) -> list[list[Fact]]:
    """Mark the best figure of each kind among poses beside each other."""
    marked = []
    for pose in facts:
        own = []
        for k, fact in enumerate(pose):
            others = [other[k].value for other in facts if math.isfinite(other[k].value)]
            if len(others) > 1 and min(others) < max(others):
                best = min(others) if fact.less_is_better else max(others)
                # Figures that read alike are alike; what most of them reach singles none out.
                alike = {other[k].said for other in facts if other[k].value == best}
                few = sum(other[k].said in alike for other in facts) <= len(others) / 2
                fact = replace(fact, best=few and fact.said in alike)
            own.append(fact)
        marked.append(own)
    return marked


def rests(evaluation: Evaluation, row: int) -> str:
    """What a pose rests on, in words."""
    if row not in evaluation.resting:
        return "no flat face of its own: it stands on support"
    contact, stable = evaluation.resting[row]
    return f"its flat face of {contact:,.0f} mm²" + ("" if stable else ", from which it would tip over")


def answer(evaluation: Evaluation) -> tuple[str, str]:
    """The verdict: what to do, and why in one sentence.

    Returns
    -------
    head, sentence : str
    """
    row = evaluation.ranking.recommended - 1
    head = headline(direction_words(evaluation.ranking.directions[row]), lying_words(evaluation, row))
    facts = {fact.name: fact.said for fact in pose_facts(evaluation, row)}
    count = len(evaluation.ranking.directions)
    best = "the best score" if evaluation.ranking.recommended == 1 else "the best footing for its score"
    told = [f"{facts['support']} of support" if support_of(evaluation)[row] >= 0.5 else "no support"]
    told.append(f"{facts['height']} tall")
    told += [f"{name} {facts[name]}" for name in ("safety factor", "strength kept") if name in facts]
    among = f"of {count:,} ways up it has {best}" if count > 1 else "it is the one way up that was looked at"
    if evaluation.instead_of is not None:
        among = f"it was chosen by hand, where pose {evaluation.instead_of} is recommended"
    return head, f"It rests on {rests(evaluation, row)}; {', '.join(told)}: {among}."


def headline(along: str, lies: str) -> str:
    """What to do, in one line.

    >>> headline("−y", "lying on its own flat")
    'Build it along −y, lying on its own flat.'
    """
    return f"Build it along {along}, {lies}."


def lying_words(evaluation: Evaluation, row: int) -> str:
    """How a pose is held on the bed."""
    if row not in evaluation.resting:
        return "standing on support"
    stable = evaluation.resting[row][1]
    return "lying on its own flat" + ("" if stable else ", kept from tipping by support")


def _bears(evaluation: Evaluation, factor: float) -> str:
    """A safety factor with what it is of, where hours and material are of another inside, and if it fails."""
    from orient.strength.judge import MOST_SAFE

    if factor >= MOST_SAFE:
        return "no load"
    solid = evaluation.brief.process.infill is None and bool(fill_words(evaluation))
    return f"{factor:.2f}" + (" if solid" if solid else "") + (": fails" if factor < 1.0 else "")


def _strength(evaluation: Evaluation, row: int) -> list[Fact]:
    columns = evaluation.ranking.columns
    if evaluation.strength is not None:
        value = float(columns["safety_factor"][row])
        return [Fact("safety factor", _bears(evaluation, value), value, False)]
    if "load" in evaluation.ranking.penalty:
        value = float(columns["strength_retained"][row])
        return [Fact("strength kept", f"{value:.0%}".replace("%", " %"), value, False)]
    return []

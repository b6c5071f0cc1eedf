"""The second pass: the poses shown, ordered anew with their hard features counted.

Features are found for a few poses only, so they cannot take part in the first ranking. Where a weight is
given for them they are added to the totals of the poses shown, and the choice is made among these again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from orient.ranking.figures import apart, figure
from orient.ranking.order import choose
from orient.ranking.ranked import Ranking

# What one feature takes away of a pose that had none, by verdict. This program's own choice.
SHARES: Mapping[str, float] = {"redesign": 0.2, "support": 0.1, "tune": 0.03, "fine": 0.0}


@dataclass(frozen=True)
class SecondPass:
    """The poses shown, in the order of the second pass.

    Attributes
    ----------
    weight : float
        Weight of the hard features.
    order : tuple of int
        Rows of the ranking, best first.
    penalty, total : Mapping[int, float]
        Penalty of the features and total with them, by row.
    before : int
        Row that the first pass recommends.
    """

    weight: float
    order: tuple[int, ...]
    penalty: Mapping[int, float]
    total: Mapping[int, float]
    before: int


def feature_penalty(counts: Mapping[str, int]) -> float:
    """Penalty of hard features: 1 − Π (1 − share of the verdict), over all of them.

    Parameters
    ----------
    counts : Mapping[str, int]
        Features by verdict.

    Returns
    -------
    float
        0 where nothing is hard, towards 1 the more there is.

    Examples
    --------
    >>> feature_penalty({"redesign": 0, "support": 1, "tune": 0, "fine": 9})
    0.1
    """
    left = 1.0
    for verdict, share in SHARES.items():
        left *= (1.0 - share) ** counts.get(verdict, 0)
    return round(1.0 - left, 12)


def second_pass(
    ranking: Ranking, counts: Mapping[int, Mapping[str, int]], weight: float
) -> tuple[Ranking, SecondPass]:
    """Choose again among the poses shown, with their hard features.

    Parameters
    ----------
    ranking : Ranking
        The first pass.
    counts : Mapping of int to Mapping[str, int]
        Features whose verdict the pose decides, by verdict, for every row shown.
    weight : float
        Weight of their penalty, above zero, beside the weights of the first pass.

    Returns
    -------
    ranking : Ranking
        The first pass with the pose that the second recommends, and a sentence that says so.
    second : SecondPass
        Order, penalties and totals.
    """
    rows = np.array(sorted(ranking.shown))
    whole = sum(ranking.weights.values())
    penalty = np.array([feature_penalty(counts[row]) for row in rows.tolist()])
    total = (whole * ranking.penalty["total"][rows] + weight * penalty) / (whole + weight)
    # The first pass settles ties.
    at = np.argsort(np.round(total, 9), kind="stable")
    rows, penalty, total = rows[at], penalty[at], total[at]
    taken = int(rows[choose(total, ranking.rests_on_flat[rows]).recommended])
    second = SecondPass(
        weight=weight,
        order=tuple(rows.tolist()),
        penalty=dict(zip(rows.tolist(), penalty.tolist(), strict=True)),
        total=dict(zip(rows.tolist(), total.tolist(), strict=True)),
        before=ranking.recommended - 1,
    )
    said, numbers = list(ranking.why), list(ranking.numbers)
    for row in {taken, second.before}:
        sentence, figures = _note(second, row, taken, counts)
        said[row] = (*said[row], sentence)
        numbers[row] = {**(numbers[row] or {}), "second_pass": figures}
    told = replace(ranking, recommended=taken + 1, why=tuple(said), numbers=tuple(numbers))
    return told, second


def _note(
    second: SecondPass, row: int, taken: int, counts: Mapping[int, Mapping[str, int]]
) -> tuple[str, dict[str, object]]:
    """Say what the second pass did, and give the figures of the sentence."""
    figures: dict[str, object] = {
        "weight": second.weight,
        "recommended": taken + 1,
        "recommended_before": second.before + 1,
        "total": second.total[taken],
        "total_before": second.total[second.before],
        "counts": dict(counts[taken]),
        "counts_before": dict(counts[second.before]),
    }
    weight = f"With hard features counted too (weight {figure(second.weight, 'weight')})"
    if taken == second.before:
        return f"{weight}, the choice among the poses shown stays the same.", figures
    pair = apart(second.total[taken], second.total[second.before], "score")
    scores = f" ({pair[0]} against {pair[1]})" if pair else ""
    if row == taken:
        mine, theirs = (_hard(counts[one]) for one in (taken, second.before))
        return (
            f"{weight}, it is taken before pose {second.before + 1}{scores}: what this pose makes hard is "
            f"{mine}, there it is {theirs}."
        ), figures
    return f"{weight}, pose {taken + 1} is taken instead{scores}.", figures


def _hard(counts: Mapping[str, int]) -> str:
    hard = [
        f"{counts[verdict]} to {verdict}" for verdict, share in SHARES.items() if share and counts[verdict]
    ]
    return ", ".join(hard) or "nothing"

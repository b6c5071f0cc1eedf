"""How far a weight can move before another pose is recommended."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from orient.ranking.order import LEAST_GAIN, SAME
from orient.ranking.penalties import add_up

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WeightRange:
    """The interval of one weight, the others held, in which the recommended pose stays recommended.

    Parameters
    ----------
    name : str
        The penalty that is weighed.
    weight : float
        The weight as it is.
    low, high : float
        Ends of the interval. `low` is 0 and `high` is infinite when nothing takes over on that side.
    rival_low, rival_high : int or None
        Rank (from 1) of the pose recommended just past each end; None where nothing takes over.
        A rival with `low` at 0 wins only when the measure does not count at all: there it is level
        with the recommended pose and comes first by the order of ties.
    """

    name: str
    weight: float
    low: float
    high: float
    rival_low: int | None
    rival_high: int | None


def weight_ranges(
    penalty: Mapping[str, Array],
    weights: Mapping[str, float],
    rests_on_flat: NDArray[np.bool_],
    recommended: int,
    tie_order: NDArray[np.int64] | None = None,
) -> tuple[WeightRange, ...]:
    """Find, in closed form, how far each weight can move before another pose is recommended.

    Σw·p is linear in each weight, and dividing by Σw changes no comparison. So "R is recommended"
    is a list of linear inequalities in the weight v, one for each other pose j, Tⱼ its Σw·p:

    - R resting: Tⱼ ≥ T_R for resting j, Tⱼ ≥ 0.9·T_R for free j;
    - R free: Tⱼ ≥ T_R for free j, 0.9·Tⱼ ≥ T_R for resting j.

    Each one gives at most one bound on v, and the tightest bounds on each side are the interval.

    Parameters
    ----------
    penalty : Mapping[str, (P,) array]
        Penalties of poses in order, best first; only the names in `weights` are read.
    weights : Mapping[str, float]
        The weights that count.
    rests_on_flat : (P,) array of bool
        Whether the pose lies on a flat face.
    recommended : int
        Position (from 0) of the recommended pose R.
    tie_order : (P,) array of int, optional
        Which of two poses comes first when their totals are equal: the one with the smaller number.
        Their place in the list, unless given.

    Returns
    -------
    tuple[WeightRange, ...]
        One for each weight.
    """
    whole = sum(weights.values())
    table = np.stack([penalty[name] for name in weights])
    share = np.array(list(weights.values())) / whole
    rests = np.asarray(rests_on_flat, dtype=bool)
    ties = np.arange(len(rests)) if tie_order is None else tie_order
    # Pose j must keep theirs[j]·Tⱼ − mine[j]·T_R at zero or above.
    same_kind = rests == rests[recommended]
    handicap = np.where(same_kind, 1.0, 1.0 - LEAST_GAIN)
    mine, theirs = (
        (handicap, np.ones_like(handicap)) if rests[recommended] else (np.ones_like(handicap), handicap)
    )
    found = []
    for k, (name, weight) in enumerate(weights.items()):
        now = float(share[k])
        # Summed in one fixed order, so that the bits do not depend on a library's threads.
        others = add_up(table * np.where(np.arange(len(share)) == k, 0.0, share)[:, None])
        slope = theirs * table[k] - mine * table[k, recommended]
        margin = np.maximum(theirs * others - mine * others[recommended] + now * slope, 0.0)
        # A slope this flat is rounding: the other end of a symmetric part, which never takes over.
        rising, falling = slope > SAME, slope < -SAME
        low = now - float(np.min(margin[rising] / slope[rising], initial=inf))
        high = now + float(np.min(margin[falling] / -slope[falling], initial=inf))
        grows = table[k, recommended] > SAME >= others[recommended] + now * table[k, recommended]
        if rests[recommended] and grows and np.any(~rests & ~rising & ~falling & (margin <= SAME)):
            # Ideal, it is level with a free pose that always stands at its tenth: no longer once totals grow.
            high = now
        rival_low = rival_high = None
        if low > SAME * now:
            rival_low = 1 + _takes_over(others + low * table[k], -table[k], rests, ties)
        elif now > 0 and np.delete(share, k).any():
            low = 0.0
            level = _takes_over(others, np.zeros_like(others), rests, ties)
            rival_low = None if level == recommended else 1 + level
        if high < inf:
            rival_high = 1 + _takes_over(others + high * table[k], table[k], rests, ties)
        found.append(
            WeightRange(
                name,
                weight,
                # In exact arithmetic the present weight lies inside; keep it there in floats.
                min(low * whole, weight) if rival_low else 0.0,
                max(high * whole, weight),
                rival_low,
                rival_high,
            )
        )
    return tuple(found)


def _takes_over(at: Array, heading: Array, rests: NDArray[np.bool_], ties: NDArray[np.int64]) -> int:
    """Apply the rule of choice a vanishing step past a weight where it changes.

    There, poses are level; `heading` says which way each total goes, and so which one wins.
    """
    near = SAME * max(1.0, float(np.abs(at).max()))

    def first(kind: NDArray[np.bool_]) -> int | None:
        if not kind.any():
            return None
        level = kind & (at <= at[kind].min() + near)
        level &= heading <= heading[level].min() + SAME
        return int(min(np.flatnonzero(level), key=lambda j: ties[j]))

    resting, free = first(rests), first(~rests)
    if resting is None or free is None:
        return next(position for position in (resting, free) if position is not None)
    gap = float(at[free] - (1.0 - LEAST_GAIN) * at[resting])
    if abs(gap) <= near:
        gap = float(heading[free] - (1.0 - LEAST_GAIN) * heading[resting])
    # Two poses that are both ideal: the free one gains nothing.
    lower = at[free] < at[resting] - near or heading[free] < heading[resting] - SAME
    return free if gap <= SAME and lower else resting

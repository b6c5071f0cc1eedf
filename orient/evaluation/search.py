"""The continuous search: from the best poses of the list on to better ones between them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from orient.measure.poses import Measures
from orient.pose.candidates import Candidates
from orient.pose.refine import refine
from orient.ranking.limits import Limits, exclude
from orient.ranking.penalties import Scale, penalties, total

Floats = NDArray[np.float64]

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


def allowed(columns: Mapping[str, Floats], poses: Floats, limits: Limits) -> NDArray[np.bool_]:
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


def search_on(
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
    totals = np.where(allowed(first.columns, found.directions, limits), totals, np.inf)
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

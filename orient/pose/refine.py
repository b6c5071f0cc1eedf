"""A continuous search on the sphere from the best directions found so far."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

_POLLS = 6
# From one round to the next the spokes turn by the golden ratio of their spacing, so that no valley can
# stay between them.
_TURN = (np.sqrt(5.0) - 1.0) / 2.0


def refine(
    objective: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    starts: ArrayLike,
    step_deg: float = 2.0,
    tolerance_deg: float = 0.05,
    evaluations: int = 700,
    frame: ArrayLike | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Search downhill from several build directions at once.

    A compass search in the tangent plane (Kolda, Lewis and Torczon, Optimization by direct search, SIAM
    Review 45, 2003, 385–482): six directions a step away are looked at, and once more as far along the last
    move; the best is taken if it is better, otherwise the step is halved. It needs no slope, and totals have
    kinks. All starts move in step, so that every call of the objective is one batch. It ends when every step
    is below the tolerance; when evaluations run short, steps are halved every round, so that it always does.

    Parameters
    ----------
    objective : callable
        Takes (N, 3) unit directions, gives (N,) totals; less is better. NaN counts as the worst.
    starts : (S, 3) array_like
        Directions to begin at.
    step_deg : float
        First step.
    tolerance_deg : float
        The search ends once all steps are below this.
    evaluations : int
        Most directions evaluated in all. More are spent only if the fewest halvings ask for it.
    frame : (3, 3) array_like, optional
        Axes, as rows, that the spokes are laid out from; with the part's own frame the search turns with it.

    Returns
    -------
    directions : (S, 3) float64
        Best direction reached from each start.
    totals : (S,) float64
        Its total, never above the start's.

    Examples
    --------
    >>> target = np.array([0.6, 0.0, 0.8])
    >>> found, totals = refine(lambda d: 1.0 - d @ target, [[0.5, 0.1, 0.86]])
    >>> bool(np.degrees(np.arccos(found[0] @ target)) < 0.05)
    True
    """
    here = np.asarray(starts, dtype=np.float64).reshape(-1, 3)
    here = here / np.linalg.norm(here, axis=1)[:, None]
    count = len(here)
    if count == 0:
        return here, np.zeros(0)
    rows = np.eye(3) if frame is None else np.asarray(frame, dtype=np.float64)
    totals = _judged(objective, here)
    step = np.full(count, np.radians(step_deg))
    end = np.radians(tolerance_deg)
    drift = np.zeros((count, 3))
    spent = count
    turn = 0
    while (active := np.flatnonzero(step >= end)).size:
        polls = _spokes(here[active], step[active], rows, turn * _TURN)
        moving = np.linalg.norm(drift[active], axis=1) > 0
        ahead = _unit(here[active[moving]] + drift[active[moving]])
        batch = np.concatenate([polls.reshape(-1, 3), ahead])
        values = _judged(objective, batch)
        spent += len(batch)
        turn += 1

        table = np.full((len(active), _POLLS + 1), np.inf)
        table[:, :_POLLS] = values[: polls.shape[0] * _POLLS].reshape(-1, _POLLS)
        table[moving, _POLLS] = values[polls.shape[0] * _POLLS :]
        places = np.zeros((len(active), _POLLS + 1, 3))
        places[:, :_POLLS] = polls
        places[moving, _POLLS] = ahead
        best = table.argmin(axis=1)
        value = table[np.arange(len(active)), best]
        better = value < totals[active] - 1e-12 * np.abs(totals[active])

        gone = active[better]
        reached = places[better, best[better]]
        drift[active] = 0.0
        drift[gone] = reached - here[gone]
        here[gone] = reached
        totals[gone] = value[better]
        halvings = np.ceil(np.log2(np.maximum(step[active], end) / end)) + 1
        short = spent + (halvings + 1) @ np.full(len(active), _POLLS + 1) > evaluations
        halved = active if short else active[~better]
        step[halved] /= 2.0
        drift[halved] = 0.0
    return here, totals


def _judged(
    objective: Callable[[NDArray[np.float64]], NDArray[np.float64]], directions: NDArray[np.float64]
) -> NDArray[np.float64]:
    values = np.array(objective(directions), dtype=np.float64)
    values[np.isnan(values)] = np.inf
    return values


def _spokes(
    centres: NDArray[np.float64], steps: NDArray[np.float64], frame: NDArray[np.float64], turn: float
) -> NDArray[np.float64]:
    """Lay six directions round each centre, a step away along great circles: (S, 6, 3)."""
    away = frame[np.abs(centres @ frame.T).argmin(axis=1)]
    across = _unit(np.cross(away, centres))
    up = np.cross(centres, across)
    angle = 2.0 * np.pi * (np.arange(_POLLS) + turn % 1.0) / _POLLS
    tangent = np.cos(angle)[:, None] * across[:, None] + np.sin(angle)[:, None] * up[:, None]
    return np.cos(steps)[:, None, None] * centres[:, None] + np.sin(steps)[:, None, None] * tangent


def _unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]

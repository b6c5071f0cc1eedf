"""Safety of every pose from one stress field."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.process import Process
from orient.strength.failure import Sorted, Strengths, sort_stress, worst_places
from orient.strength.field import Field

Floats = NDArray[np.float64]

# A part that bears next to nothing is not infinitely safe.
MOST_SAFE = 1e6


@dataclass(frozen=True, eq=False)
class Safety:
    """How safe each pose is. All arrays have one row a pose.

    Attributes
    ----------
    directions : (P, 3) float64
        Build directions, part coordinates.
    factor : (P,) float64
        Robust safety factor: strength over stress, averaged over a ball, away from fixed and loaded faces.
    low, high : (P,) float64
        The same with the least and the greatest strengths of the polymer's sources; NaN where not known.
    raw : (P,) float64
        Safety factor at the worst place of all. Peaks at clamps and sharp inner corners grow as cells shrink.
    weakest_at_mm : (P, 3) float64
        Where the robust factor is found.
    case : (P,) int64
        Number of the case that governs.
    between_layers : (P,) bool
        True where layers part there, False where they tear.
    by_case : (P, C) float64
        Robust factor in each case.
    places_by_case_mm : (P, C, 3) float64
        Where each of them is found.
    between_by_case : (P, C) bool
        True where layers part there.
    retained : (P,) float64
        `factor` over what it would be if the layers held together as they hold in themselves, 0 to 1.
    """

    directions: Floats
    factor: Floats
    low: Floats
    high: Floats
    raw: Floats
    weakest_at_mm: Floats
    case: NDArray[np.int64]
    between_layers: NDArray[np.bool_]
    by_case: Floats
    places_by_case_mm: Floats
    between_by_case: NDArray[np.bool_]
    retained: Floats


@dataclass(frozen=True, eq=False)
class Ready:
    """A field sorted for judging: robust stress by nominal, least and greatest strengths, and raw stress."""

    field: Field
    nominal: tuple[Sorted, ...]
    low: tuple[Sorted, ...] | None
    high: tuple[Sorted, ...] | None
    raw: tuple[Sorted, ...]
    within: float


def make_ready(field: Field, process: Process) -> Ready:
    """Sort a field once, to judge pose after pose.

    Parameters
    ----------
    field : Field
        From `solve_field`.
    process : Process
        Strengths.

    Returns
    -------
    Ready

    Raises
    ------
    OrientError
        When the polymer has no strengths.
    """
    nominal = strengths_of(process)

    def by(strengths: Strengths, raw: bool = False) -> tuple[Sorted, ...]:
        return tuple(
            sort_stress(case.raw if raw else case.robust, strengths, case.both_ways) for case in field.cases
        )

    low, high = _spread(process, "low"), _spread(process, "high")
    robust = by(nominal)
    return Ready(
        field,
        robust,
        None if low is None else by(low),
        None if high is None else by(high),
        by(nominal, raw=True),
        max(float(one.within.max()) for one in robust),
    )


def judge(ready: Ready, directions: Floats, threads: int = 2) -> Safety:
    """Judge poses from a stress field.

    Parameters
    ----------
    ready : Ready
        From `make_ready`.
    directions : (P, 3) float64
        Build directions, part coordinates.
    threads : int
        Poses are shared among them; the answer does not depend on it.

    Returns
    -------
    Safety
    """
    field = ready.field
    b = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    b = b / np.linalg.norm(b, axis=1, keepdims=True)
    normals = b @ field.axes.T
    worst = worst_places(ready.nominal, normals, threads)
    case = worst.index.argmax(axis=1)
    rows = np.arange(len(b))
    numbers = [one.robust_at[worst.place[:, c]] for c, one in enumerate(field.cases)]
    places = field.places_mm[np.stack(numbers, axis=1)]
    factor = _factor(worst.index.max(axis=1))

    def least(fields: tuple[Sorted, ...] | None) -> Floats:
        if fields is None:
            return np.full(len(b), np.nan)
        return _factor(worst_places(fields, normals, threads).index.max(axis=1))

    return Safety(
        directions=b,
        factor=factor,
        low=least(ready.low),
        high=least(ready.high),
        # A peak is no safer than the average around it.
        raw=np.minimum(least(ready.raw), factor),
        weakest_at_mm=places[rows, case],
        case=case,
        between_layers=worst.between[rows, case],
        by_case=_factor(worst.index),
        places_by_case_mm=places,
        between_by_case=worst.between,
        retained=np.minimum(1.0, factor * ready.within),
    )


def strengths_of(process: Process) -> Strengths:
    """Take the nominal strengths of a process.

    Parameters
    ----------
    process : Process
        The process.

    Returns
    -------
    Strengths

    Raises
    ------
    OrientError
        When one is not known.
    """
    given = (process.strength_in_layer_mpa, process.strength_across_mpa, process.strength_shear_mpa)
    if any(x is None for x in given):
        raise OrientError(
            f"No strengths are known for {process.polymer}, so no safety can be told: give "
            "strength_in_layer_mpa and strength_across_mpa in [polymer]."
        )
    x, z, s = (float(value or 0.0) for value in given)
    return Strengths(x, z, s)


def _spread(process: Process, end: str) -> Strengths | None:
    given = [getattr(process, f"strength_{way}_{end}_mpa") for way in ("in_layer", "across", "shear")]
    return None if any(x is None for x in given) else Strengths(*given)


def _factor(index: Floats) -> Floats:
    return 1.0 / np.maximum(index, 1.0 / MOST_SAFE)

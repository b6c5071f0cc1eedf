"""Which pose comes before which, and which one to take."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Totals closer than this count as equal: rounding must not choose between the two ends of a symmetric part.
PLACES = 9
SAME = 10.0**-PLACES

# A pose that lies on no flat face has to earn the trouble of making it stand. This program's own choice.
LEAST_GAIN = 0.10

SOURCES = ("resting", "plane", "load", "grid", "refined", "given")


@dataclass(frozen=True)
class Choice:
    """The poses worth a name, as positions (from 0) in the order; None where there is none."""

    recommended: int
    best_resting: int | None
    best_free: int | None


def source_order(sources: Sequence[str]) -> NDArray[np.int64]:
    """Place of each source in the order that breaks ties; an unknown one comes last."""
    place = {name: i for i, name in enumerate(SOURCES)}
    return np.array([place.get(name, len(SOURCES)) for name in sources], dtype=np.int64)


def order(
    total: Array,
    rests_on_flat: NDArray[np.bool_],
    sources: Sequence[str],
    support_mm3: Array,
    height_mm: Array,
    directions: Array,
) -> NDArray[np.int64]:
    """Order poses best first, in a way that depends on the poses alone, not on how they were listed.

    The total decides, to nine decimals. Equal totals are settled by: resting on a flat face, the
    source, less support, less height, and last the components of the direction, larger z first.

    Parameters
    ----------
    total : (P,) array
        Totals of the penalties.
    rests_on_flat : (P,) array of bool
        Whether the pose lies on a flat face.
    sources : sequence of P str
        Where each pose came from.
    support_mm3, height_mm : (P,) arrays
        Measures that settle ties.
    directions : (P, 3) array
        Build directions.

    Returns
    -------
    (P,) array of int
        Positions in the input, best first.
    """
    # Rounded first, then exact, so that two directions a hair apart still have one order.
    rough = np.round(directions, 6) + 0.0
    fine = directions + 0.0
    keys = [
        np.round(total, PLACES),
        ~np.asarray(rests_on_flat, dtype=bool),
        source_order(sources),
        np.round(support_mm3, 6),
        np.round(height_mm, 6),
        *(-rough[:, axis] for axis in (2, 1, 0)),
        *(-fine[:, axis] for axis in (2, 1, 0)),
        total,
    ]
    return np.lexsort(keys[::-1])


def choose(total: Array, rests_on_flat: NDArray[np.bool_]) -> Choice:
    """Choose the best resting pose, unless the best free pose's total is at least 10 % lower.

    Parameters
    ----------
    total : (P,) array
        Totals, best first.
    rests_on_flat : (P,) array of bool
        Whether the pose lies on a flat face.

    Returns
    -------
    Choice
        Positions in the order.

    Examples
    --------
    >>> choose(np.array([0.95, 1.0]), np.array([False, True])).recommended
    1
    >>> choose(np.array([0.90, 1.0]), np.array([False, True])).recommended
    0
    """
    resting = np.flatnonzero(rests_on_flat)
    free = np.flatnonzero(~np.asarray(rests_on_flat, dtype=bool))
    best_resting = int(resting[0]) if resting.size else None
    best_free = int(free[0]) if free.size else None
    if best_resting is None or best_free is None:
        return Choice(0, best_resting, best_free)
    t_rest, t_free = np.round(total[[best_resting, best_free]], PLACES)
    free_earns_it = t_free < t_rest and t_free <= (1 - LEAST_GAIN) * t_rest + SAME
    return Choice(best_free if free_earns_it else best_resting, best_resting, best_free)

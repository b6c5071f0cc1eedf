"""Names for features by place, the same in any pose, triangulation and position of the part.

Places are taken along the part's own axes, which turn with it, so a part that is turned keeps its names.
They are compared step by step rather than rounded: places that differ by less than the step share one rank,
so the last digits of a mesh decide nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Places nearer than this along an axis are level there, mm.
STEP_MM = 0.1


def numbered(
    items: Sequence[Any],
    letter: str,
    frame: NDArray[np.float64],
    middle: NDArray[np.float64],
    at: ArrayLike,
    sizes: ArrayLike,
    before: int = 0,
) -> list[Any]:
    """Sort features by place and name them.

    Parameters
    ----------
    items : sequence of dataclass
        Features with a field ``id``.
    letter : str
        What names begin with.
    frame : (3, 3) float64
        The part's own axes, rows.
    middle : (3,) float64
        Where they are counted from, mm.
    at : (N, 3) array_like
        Where each feature is, mm.
    sizes : (N,) array_like
        Told apart by size where places agree.
    before : int
        How many have their names already: the first here is named after them.

    Returns
    -------
    list
        The same features, named ``letter1``, ``letter2`` …

    Examples
    --------
    >>> from orient.features.model import Hole
    >>> hole = Hole("", 3.0, 5.0, (0, 0, 1), (0, 0, 0), None, True, False, False, 0.0, (), None)
    >>> far, near = np.array([9.0, 0, 0]), np.array([2.0, 5, 0])
    >>> named = numbered([hole, hole], "H", np.eye(3), np.zeros(3), [far, near], [3.0, 3.0])
    >>> [one.id for one in named]
    ['H1', 'H2']
    """
    if not items:
        return []
    places = (np.asarray(at, dtype=np.float64).reshape(-1, 3) - middle) @ frame.T
    keys = [_ranks(column) for column in (*places.T, np.asarray(sizes, dtype=np.float64))]
    order = np.lexsort(keys[::-1])
    return [
        replace(items[i], id=f"{letter}{number}") for number, i in enumerate(order.tolist(), start=before + 1)
    ]


def _ranks(values: NDArray[np.float64]) -> NDArray[np.int64]:
    """Rank of each value, where values that follow one another within a step are level."""
    order = np.argsort(values, kind="stable")
    ranks = np.empty(len(values), dtype=np.int64)
    ranks[order] = np.concatenate([[0], np.cumsum(np.diff(values[order]) > STEP_MM)])
    return ranks

"""Poses that no other pose beats in everything."""

from bisect import bisect_left, bisect_right

import numpy as np
from numpy.typing import NDArray


def undominated(costs: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mark the rows that no other row beats.

    A row is beaten when another is no worse in each of the three costs and better in at least one.
    Equal rows do not beat each other.

    The sweep is that of Kung, Luccio and Preparata, "On finding the maxima of a set of vectors",
    Journal of the ACM 22(4), 1975: rows sorted by the first cost, and a staircase kept of the
    least third cost for each second cost; O(n log n) comparisons.

    Parameters
    ----------
    costs : (P, 3) array
        Finite; less is better.

    Returns
    -------
    (P,) array of bool
        True where nothing beats the row.

    Examples
    --------
    >>> undominated(np.array([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [2.0, 2.0, 0.0], [1.0, 2.0, 0.0]]))
    array([ True,  True, False,  True])
    """
    costs = np.asarray(costs, dtype=np.float64)
    if costs.ndim != 2 or costs.shape[1] != 3:
        raise ValueError("costs must have three columns")
    # Sorted by first, second, third cost; a row that beats another always comes before it.
    by_cost = np.lexsort(costs.T[::-1])
    kept = np.zeros(len(costs), dtype=bool)
    second: list[float] = []  # the staircase: second cost rising, third cost falling
    third: list[float] = []
    last_row: tuple[float, ...] | None = None
    last_kept = False
    for at, row in zip(by_cost.tolist(), costs[by_cost].tolist(), strict=True):
        _, b, c = row
        if last_row == tuple(row):
            kept[at] = last_kept
            continue
        last_row = tuple(row)
        step = bisect_right(second, b) - 1
        last_kept = step < 0 or third[step] > c
        kept[at] = last_kept
        if not last_kept:
            continue
        start = bisect_left(second, b)
        stop = start
        while stop < len(third) and third[stop] >= c:
            stop += 1
        second[start:stop] = [b]
        third[start:stop] = [c]
    return kept

"""Sorting and solving inside compiled loops, in forms that compile in a moment.

numba's own sorts, medians and solvers each cost a second or two of the first run.
"""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True, error_model="numpy")
def sort_by(keys, order, count):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Put indices 0 to count − 1 into `order`, their keys rising (D. L. Shell, Comm. ACM 2(7), 1959)."""
    for i in range(count):
        order[i] = i
    gap = 1
    while 3 * gap < count:
        gap = 3 * gap + 1
    while gap > 0:
        for i in range(gap, count):
            e = order[i]
            key = keys[e]
            j = i
            # Of equal keys the lower index first, so that the order is one whatever the gaps.
            while j >= gap and (
                keys[order[j - gap]] > key or (keys[order[j - gap]] == key and order[j - gap] > e)
            ):
                order[j] = order[j - gap]
                j -= gap
            order[j] = e
        gap //= 3


@njit(cache=True, nogil=True, error_model="numpy")
def median_of(values, room, count):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Median of the first values; `room` is an integer array at least as long."""
    sort_by(values, room, count)
    high = values[room[count // 2]]
    return high if count % 2 else 0.5 * (high + values[room[count // 2 - 1]])


@njit(cache=True, nogil=True, error_model="numpy")
def solve_in_place(matrix, right):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Solve matrix · x = right by elimination with partial pivots, x left in `right`; False when singular."""
    n = right.shape[0]
    for i in range(n):
        pivot = i
        for j in range(i + 1, n):
            if abs(matrix[j, i]) > abs(matrix[pivot, i]):
                pivot = j
        if not abs(matrix[pivot, i]) > 0.0:
            return False
        if pivot != i:
            right[i], right[pivot] = right[pivot], right[i]
            for k in range(n):
                matrix[i, k], matrix[pivot, k] = matrix[pivot, k], matrix[i, k]
        for j in range(i + 1, n):
            factor = matrix[j, i] / matrix[i, i]
            if factor != 0.0:
                right[j] -= factor * right[i]
                for k in range(i, n):
                    matrix[j, k] -= factor * matrix[i, k]
    for i in range(n - 1, -1, -1):
        for k in range(i + 1, n):
            right[i] -= matrix[i, k] * right[k]
        right[i] /= matrix[i, i]
    return True

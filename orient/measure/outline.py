"""Convex outlines in the plane, for the compiled loops of footprints and beds."""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True, error_model="numpy")
def sort_points(points):  # type: ignore[no-untyped-def]
    """Sort points (n, 2) by u, then v, in place: D. L. Shell's sort (Comm. ACM 2(7), 1959, 30–32).

    A few lines that compile in no time, where the library's sort costs seconds on a first run.
    """
    n = points.shape[0]
    gap = 1
    while gap < n // 3:
        gap = 3 * gap + 1
    while gap > 0:
        for k in range(gap, n):
            u, v = points[k, 0], points[k, 1]
            i = k
            while i >= gap and (
                points[i - gap, 0] > u or (points[i - gap, 0] == u and points[i - gap, 1] > v)
            ):
                points[i, 0] = points[i - gap, 0]
                points[i, 1] = points[i - gap, 1]
                i -= gap
            points[i, 0] = u
            points[i, 1] = v
        gap //= 3


@njit(cache=True, nogil=True, error_model="numpy")
def outline_of(points, hull):  # type: ignore[no-untyped-def]
    """Write the convex hull of points (n, 2) into `hull` (2n + 2, 2), counter-clockwise; returns its corners.

    The points are sorted in place. A. M. Andrew's monotone chain (Information Processing Letters 9,
    1979, 216–219).
    """
    sort_points(points)
    n = points.shape[0]
    m = 0
    for sweep in range(2):
        floor = m
        for step in range(n):
            k = step if sweep == 0 else n - 1 - step
            while m >= floor + 2 and (
                (hull[m - 1, 0] - hull[m - 2, 0]) * (points[k, 1] - hull[m - 2, 1])
                - (hull[m - 1, 1] - hull[m - 2, 1]) * (points[k, 0] - hull[m - 2, 0])
                <= 0
            ):
                m -= 1
            hull[m, 0] = points[k, 0]
            hull[m, 1] = points[k, 1]
            m += 1
        m -= 1
    return m


@njit(cache=True, nogil=True, error_model="numpy")
def sort_numbers(numbers):  # type: ignore[no-untyped-def]
    """Sort numbers (n,) in place, as `sort_points` does."""
    n = numbers.shape[0]
    gap = 1
    while gap < n // 3:
        gap = 3 * gap + 1
    while gap > 0:
        for k in range(gap, n):
            value = numbers[k]
            i = k
            while i >= gap and numbers[i - gap] > value:
                numbers[i] = numbers[i - gap]
                i -= gap
            numbers[i] = value
        gap //= 3

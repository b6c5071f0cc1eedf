"""Displacements under every case: conjugate gradients, preconditioned by smoothed aggregation.

PyAMG builds the coarse levels from the six rigid motions (P. Vaněk, J. Mandel and M. Brezina, Computing 56,
1996, 179–196; `smoothed_aggregation_solver`); the cycle over them runs here, in single precision and without
the interpreter's lock, so that cases share two processors. Each call into compiled code lasts milliseconds: a
person who interrupts is heard.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from threading import Event

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.linalg import eigvalsh_tridiagonal
from scipy.sparse import bsr_array, bsr_matrix

from orient.errors import OrientError

Floats = NDArray[np.float64]
Single = np.float32

# The residual at which a case counts as solved, against the load.
TOLERANCE = 1e-6
MOST_ITERATIONS = 200
# Chebyshev smoothing: its degree, and the part of the spectrum it damps, λmax down to λmax / _DAMPED.
DEGREE = 3
_DAMPED = 12.0
# Steps to find λmax, and how far above what they find the smoother reaches.
_LANCZOS = 15
_ABOVE = 1.1
# Couplings weaker than this join no aggregate: corners of cells that are all but empty stay with their own,
# so that walls with a sliver of a cell on them do not slow the rest.
_WEAK = 0.05
# Coarse levels are gone through twice (a W-cycle). They hold a tenth of the unknowns, and once is not enough
# for thin walls: cells of the sample housing cut in half twice took 29 iterations, then 43; now 27, then 19.
_VISITS = 2
# A motion of an aggregate that is stiff by less than this, against its stiffest, is none.
_ZERO = 1e-10
# The coarsest level is solved directly.
_COARSE = 300
# Entries that are worth a second thread.
_WORTH_SHARING = 1_000_000


@dataclass(frozen=True, eq=False)
class Solution:
    """What the solver found.

    Attributes
    ----------
    displacement : (C, M, 3) float64
        Displacement of every node in every case, along the grid's axes, mm.
    iterations : int
        Of the case that took most.
    residual : float
        Largest of the cases, ‖f − K u‖ / ‖f‖.
    """

    displacement: Floats
    iterations: int
    residual: float


def rigid_motions(places_mm: Floats) -> Floats:
    """Six rigid motions of nodes: three shifts and three turns about their middle, as columns.

    Parameters
    ----------
    places_mm : (M, 3) float64
        Nodes.

    Returns
    -------
    (3 M, 6) float64
        The turns are scaled so that all columns are of like size.
    """
    x = places_mm - places_mm.mean(axis=0)
    x = x / max(float(np.abs(x).max()), 1e-300)
    motions = np.zeros((len(x), 3, 6))
    for axis in range(3):
        motions[:, axis, axis] = 1.0
        spin = np.zeros(3)
        spin[axis] = 1.0
        motions[:, :, 3 + axis] = np.cross(spin, x)
    return motions.reshape(-1, 6)


def solve(
    stiffness: bsr_array,
    loads: Floats,
    places_mm: Floats,
    *,
    tolerance: float = TOLERANCE,
    threads: int = 2,
    progress: Callable[[float], None] | None = None,
) -> Solution:
    """Solve all cases with one set-up.

    Parameters
    ----------
    stiffness : bsr_array
        (3 M, 3 M), held so that no rigid motion is free, N/mm.
    loads : (C, M, 3) float64
        Forces at the nodes, N.
    places_mm : (M, 3) float64
        Nodes.
    tolerance : float
        Residual to reach, against the load.
    threads : int
        Cases at a time; a single case is shared by two.
    progress : callable, optional
        Called with the share of the work done, 0 to 1, on the way to the tolerance.

    Returns
    -------
    Solution

    Raises
    ------
    OrientError
        When a case does not settle.
    """
    cases = np.ascontiguousarray(loads.reshape(len(loads), -1))
    stopped = Event()
    with ThreadPoolExecutor(max(threads, 1)) as pool:
        inner = pool if len(cases) == 1 and threads > 1 else None
        cycle = _Cycle(stiffness, rigid_motions(places_mm), inner)
        matrix = _Blocks(stiffness, np.float64, inner)

        def run(case: Floats) -> tuple[Floats, int, float]:
            return _gradients(matrix, cycle, case, tolerance, stopped, progress)

        try:
            found = list(map(run, cases)) if inner or threads < 2 else list(pool.map(run, cases))
        except BaseException:
            # The pool waits for its threads: tell them.
            stopped.set()
            raise
    return Solution(
        np.stack([u.reshape(-1, 3) for u, _, _ in found]),
        max(iterations for _, iterations, _ in found),
        max(residual for _, _, residual in found),
    )


def _gradients(
    matrix: _Blocks,
    cycle: _Cycle,
    load: Floats,
    tolerance: float,
    stopped: Event,
    progress: Callable[[float], None] | None,
) -> tuple[Floats, int, float]:
    """Conjugate gradients of one case (Y. Saad, Iterative Methods for Sparse Linear Systems, 2003, ch. 9)."""
    u = np.zeros_like(load)
    size = float(np.linalg.norm(load))
    if size == 0.0:
        return u, 0, 0.0
    r = load.copy()
    p = np.zeros_like(load)
    q = np.empty_like(load)
    zero = np.zeros_like(load)
    room = cycle.room()
    before = 0.0
    for iteration in range(1, MOST_ITERATIONS + 1):
        z = cycle.apply(r, room)
        now = float(r @ z)
        p *= now / before if before else 0.0
        p += z
        before = now
        matrix.add(1.0, p, zero, q)
        step = now / float(p @ q)
        u += step * p
        r -= step * q
        left = float(np.linalg.norm(r)) / size
        if progress:
            progress(min(1.0, np.log(max(left, 1e-300)) / np.log(tolerance)))
        if left <= tolerance:
            matrix.add(-1.0, u, load, q)
            return u, iteration, float(np.linalg.norm(q)) / size
        if not np.isfinite(left) or stopped.is_set():
            break
    raise OrientError(
        "The loads could not be balanced: the part is all but loose, or thinner than its cells somewhere "
        "that matters; give more cells, or hold it on more of its surface."
    )


class _Blocks:
    """A matrix of blocks, of three rows or six, times a vector on one thread or two."""

    def __init__(self, matrix: bsr_array, kind: type, pool: ThreadPoolExecutor | None) -> None:
        self.first = matrix.indptr.astype(np.int32, copy=False)
        self.other = matrix.indices.astype(np.int32, copy=False)
        self.data: NDArray = np.ascontiguousarray(matrix.data, dtype=kind)
        self.rows = len(self.first) - 1
        # The length of a tuple is known when a kernel is compiled: its inner loop is then laid out straight.
        self._wide = (0,) * self.data.shape[2]
        self._kernel = _three if self.data.shape[1] == 3 else _six
        self._pool = pool if self.data.size > _WORTH_SHARING else None

    def add(self, sign: float, x: NDArray, r: NDArray, y: NDArray) -> None:
        """Let y be r + sign · A x; y may be r."""
        parts = (self.first, self.other, self.data, self._wide, self.data.dtype.type(sign), x, r, y)
        self.share(partial(self._kernel, *parts))

    def share(self, work: Callable[[int, int], None]) -> None:
        """Do something to all rows of blocks."""
        if self._pool is None:
            work(0, self.rows)
            return
        half = self.rows // 2
        other = self._pool.submit(work, 0, half)
        work(half, self.rows)
        other.result()


class _Cycle:
    """One W-cycle as an approximate inverse: symmetric, so that conjugate gradients may use it."""

    def __init__(self, matrix: bsr_array, motions: Floats, pool: ThreadPoolExecutor | None) -> None:
        from pyamg import smoothed_aggregation_solver

        # Its estimate of the largest eigenvalue starts from numpy's own random numbers: the same every time.
        state = np.random.get_state()  # noqa: NPY002
        np.random.seed(0)  # noqa: NPY002
        try:
            hierarchy = smoothed_aggregation_solver(
                bsr_matrix((matrix.data, matrix.indices, matrix.indptr), shape=matrix.shape),
                motions,
                strength=("symmetric", {"theta": _WEAK}),
                smooth=("jacobi", {"omega": 4.0 / 3.0, "weighting": "block"}),
                improve_candidates=None,
                symmetry="symmetric",
                max_coarse=_COARSE,
            )
        finally:
            np.random.set_state(state)  # noqa: NPY002
        levels = hierarchy.levels
        self._matrices = [_Blocks(level.A, Single, pool) for level in levels[:-1]]
        self._inverses = [_inverse_blocks(level.A) for level in levels[:-1]]
        self._down = [_Blocks(level.P.T, Single, pool) for level in levels[:-1]]
        self._up = [_Blocks(level.P, Single, pool) for level in levels[:-1]]
        self._zeros = np.zeros(matrix.shape[0], dtype=Single)
        self._coarsest = np.linalg.pinv(levels[-1].A.toarray(), hermitian=True)
        self.sizes = [level.A.shape[0] for level in levels]
        self._largest = [self._largest_eigenvalue(k) for k in range(len(levels) - 1)]

    def room(self) -> list[tuple[NDArray, ...]]:
        """Vectors for one thread's cycles."""
        return [tuple(np.zeros(n, dtype=Single) for _ in range(4)) for n in self.sizes]

    def apply(self, r: Floats, room: list[tuple[NDArray, ...]]) -> Floats:
        """Return an approximation of the inverse times r."""
        if len(self.sizes) == 1:
            return self._coarsest @ r
        # Single precision has not the range of a load: scale it in and out.
        scale = float(np.abs(r).max())
        room[0][0][:] = r / scale
        self._descend(0, room)
        return room[0][1].astype(np.float64) * scale

    def _descend(self, k: int, room: list[tuple[NDArray, ...]]) -> None:
        """Improve x = 0 for level k's r, leaving the result in x."""
        r, x, left, _ = room[k]
        if k == len(self.sizes) - 1:
            x[:] = self._coarsest @ r
            return
        x[:] = 0.0
        for visit in range(_VISITS if k else 1):
            self._smooth(k, room[k], fresh=visit == 0)
            self._matrices[k].add(-1.0, x, r, left)
            self._down[k].add(1.0, left, self._zeros, room[k + 1][0])
            self._descend(k + 1, room)
            self._up[k].add(1.0, room[k + 1][1], x, x)
            self._smooth(k, room[k], fresh=False)

    def _smooth(self, k: int, room: tuple[NDArray, ...], fresh: bool) -> None:
        """Chebyshev iteration on D⁻¹A over the upper part of its spectrum (Saad 2003, algorithm 12.1)."""
        r, x, left, step = room
        high = _ABOVE * self._largest[k]
        low = high / _DAMPED
        middle, half = (high + low) / 2.0, (high - low) / 2.0
        sigma = middle / half
        rho = 1.0 / sigma
        for turn in range(DEGREE):
            if turn == 0 and fresh:
                left[:] = r
            else:
                self._matrices[k].add(-1.0, x, r, left)
            if turn == 0:
                a, b = 0.0, 1.0 / middle
            else:
                after = 1.0 / (2.0 * sigma - rho)
                a, b = after * rho, 2.0 * after / half
                rho = after
            self._step(k, left, step, x, a, b)

    def _step(self, k: int, left: NDArray, step: NDArray, x: NDArray, a: float, b: float) -> None:
        self._matrices[k].share(partial(_step, self._inverses[k], left, step, x, Single(a), Single(b)))

    def _largest_eigenvalue(self, k: int) -> float:
        """Largest eigenvalue of D⁻¹A, from the tridiagonal matrix of conjugate gradients (Saad, ch. 6.7).

        It comes near from below, within a per cent or so; a smoother tuned below the true one would diverge.
        """
        n = self.sizes[k]
        r = np.random.default_rng(0).standard_normal(n)
        zero, q, z = np.zeros(n, Single), np.empty(n, Single), np.empty(n, Single)
        p = np.zeros(n)
        steps: list[float] = []
        turns: list[float] = []
        before = 0.0
        for _ in range(_LANCZOS):
            z[:] = 0.0
            self._step(k, r.astype(Single), zero, z, 0.0, 1.0)
            zero[:] = 0.0
            now = float(r @ z)
            turn = now / before if before else 0.0
            p = z + turn * p
            self._matrices[k].add(1.0, p.astype(Single), zero, q)
            step = now / float(p @ q)
            r -= step * q
            steps.append(step)
            turns.append(turn)
            before = now
            if np.linalg.norm(r) < 1e-6 * np.sqrt(n):
                break
        a, b = np.array(steps), np.array(turns)
        diagonal = 1.0 / a + np.append(0.0, b[1:] / a[:-1])
        beside = np.sqrt(b[1:]) / a[:-1]
        return float(eigvalsh_tridiagonal(diagonal, beside).max()) if len(a) > 1 else float(diagonal[0])


def _inverse_blocks(matrix: bsr_matrix) -> NDArray:
    """Inverses of the blocks on the diagonal; motions that a lone node has not stay 0."""
    row = np.repeat(np.arange(len(matrix.indptr) - 1), np.diff(matrix.indptr))
    blocks = matrix.data[row == matrix.indices].astype(np.float64)
    return np.linalg.pinv(blocks, rcond=_ZERO, hermitian=True).astype(Single)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _three(first, other, data, wide, sign, x, r, y, start, stop):  # type: ignore[no-untyped-def]
    columns, zero = len(wide), sign - sign
    for i in range(start, stop):
        a = b = c = zero
        for t in range(first[i], first[i + 1]):
            m, j = data[t], columns * other[t]
            for q in range(columns):
                v = x[j + q]
                a += m[0, q] * v
                b += m[1, q] * v
                c += m[2, q] * v
        k = 3 * i
        y[k], y[k + 1], y[k + 2] = r[k] + sign * a, r[k + 1] + sign * b, r[k + 2] + sign * c


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _six(first, other, data, wide, sign, x, r, y, start, stop):  # type: ignore[no-untyped-def]
    columns, zero = len(wide), sign - sign
    for i in range(start, stop):
        a = b = c = d = e = f = zero
        for t in range(first[i], first[i + 1]):
            m, j = data[t], columns * other[t]
            for q in range(columns):
                v = x[j + q]
                a += m[0, q] * v
                b += m[1, q] * v
                c += m[2, q] * v
                d += m[3, q] * v
                e += m[4, q] * v
                f += m[5, q] * v
        k = 6 * i
        y[k], y[k + 1], y[k + 2] = r[k] + sign * a, r[k + 1] + sign * b, r[k + 2] + sign * c
        y[k + 3], y[k + 4], y[k + 5] = r[k + 3] + sign * d, r[k + 4] + sign * e, r[k + 5] + sign * f


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _step(inverse, left, step, x, a, b, start, stop):  # type: ignore[no-untyped-def]
    """Take step ← a · step + b · D⁻¹ · left, and add it to x; D has blocks on its diagonal."""
    size = inverse.shape[1]
    for i in range(start, stop):
        for p in range(size * i, size * (i + 1)):
            s = Single(0)
            for q in range(size):
                s += inverse[i, p - size * i, q] * left[size * i + q]
            step[p] = a * step[p] + b * s
            x[p] += step[p]


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _rows_times(first, other, data, x, y):  # type: ignore[no-untyped-def]
    for i in range(y.shape[0]):
        s = Single(0)
        for t in range(first[i], first[i + 1]):
            s += data[t] * x[other[t]]
        y[i] = s


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _rows_add(first, other, data, x, y):  # type: ignore[no-untyped-def]
    for i in range(y.shape[0]):
        s = Single(0)
        for t in range(first[i], first[i + 1]):
            s += data[t] * x[other[t]]
        y[i] += s


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc"})
def _rows_left_over(first, other, data, x, r, left):  # type: ignore[no-untyped-def]
    for i in range(r.shape[0]):
        s = r[i]
        for t in range(first[i], first[i + 1]):
            s -= data[t] * x[other[t]]
        left[i] = s

"""The failure law held over every pose: one stress field, a thousand layer normals.

The law itself is `orient.measure.load.failure_index`. Here a compiled loop only finds, for each pose, the
place where it is greatest; the index that is reported is the law's own at that place.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.measure.load import failure_index, von_mises

Floats = NDArray[np.float64]

# Places looked at together; the worst come first, and the rest are left when they cannot be worse.
_BLOCK = 256


@dataclass(frozen=True, eq=False)
class Strengths:
    """Tensile strength in the layers (X) and across them (Z), shear strength between them (S), MPa."""

    X: float
    Z: float
    S: float


@dataclass(frozen=True, eq=False)
class Worst:
    """The worst place of every pose in every case.

    Attributes
    ----------
    index : (P, C) float64
        Failure index there; 1 is failure.
    place : (P, C) int64
        Number of the place.
    between : (P, C) bool
        True where layers part, False where they tear.
    """

    index: Floats
    place: NDArray[np.int64]
    between: NDArray[np.bool_]


def worst_places(
    stress: Sequence[Floats],
    normals: Floats,
    strengths: Strengths,
    both_ways: Sequence[bool] | None = None,
    threads: int = 2,
) -> Worst:
    """Find where each pose is nearest to failure.

    Parameters
    ----------
    stress : sequence of C arrays (Q, 6)
        Stress at places, MPa, in the order xx, yy, zz, yz, xz, xy.
    normals : (P, 3) float64
        Layer normals in the axes of the stress, unit vectors.
    strengths : Strengths
        Of the solid.
    both_ways : sequence of C bool, optional
        Cases whose reverse is judged too.
    threads : int
        Poses are shared among them; the answer does not depend on it.

    Returns
    -------
    Worst

    Examples
    --------
    >>> pull = np.array([[0.0, 0.0, 12.0, 0.0, 0.0, 0.0]])
    >>> worst = worst_places([pull], np.eye(3)[[2, 0]], Strengths(50.0, 30.0, 20.0))
    >>> worst.index.ravel().tolist(), worst.between.ravel().tolist()
    ([0.4, 0.24], [True, False])
    """
    n = np.ascontiguousarray(np.atleast_2d(np.asarray(normals, dtype=np.float64)))
    reverse = [False] * len(stress) if both_ways is None else list(both_ways)
    index = np.zeros((len(n), len(stress)))
    place = np.zeros((len(n), len(stress)), dtype=np.int64)
    between = np.zeros((len(n), len(stress)), dtype=bool)
    X, Z, S = strengths.X, strengths.Z, strengths.S
    for c, field in enumerate(stress):
        within = von_mises(field) / X
        # No traction is longer than the stress tensor, and no part of it counts more than by 1/min(Z, S).
        length = np.sqrt((field**2).sum(axis=1) + (field[:, 3:] ** 2).sum(axis=1))
        most = np.maximum(length / min(Z, S), within)
        order = np.argsort(-most, kind="stable")
        sorted_stress = np.ascontiguousarray(field[order].T)
        limit = most[order] ** 2 * (1.0 + 1e-12)
        squared = within[order] ** 2
        found = np.empty(len(n), dtype=np.int64)

        def run(
            some: slice, s: Floats = sorted_stress, v: Floats = squared, m: Floats = limit,
            found: NDArray = found, both: bool = reverse[c],
        ) -> None:  # fmt: skip
            _worst(s, v, m, n[some], 1.0 / Z**2, 1.0 / S**2, both, found[some])

        step = max(1, -(-len(n) // (4 * max(threads, 1))))
        parts = [slice(a, a + step) for a in range(0, len(n), step)]
        if threads > 1 and len(parts) > 1:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(run, parts))
        else:
            for some in parts:
                run(some)
        place[:, c] = order[found]
        at = field[place[:, c]]
        index[:, c] = failure_index(at, n, X, Z, S)
        if reverse[c]:
            index[:, c] = np.maximum(index[:, c], failure_index(-at, n, X, Z, S))
        between[:, c] = index[:, c] > within[place[:, c]]
    return Worst(index, place, between)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc", "nsz"})
def _worst(s, within, limit, normals, z, shear, both, found):  # type: ignore[no-untyped-def]
    """Number of the place with the greatest squared index, for each normal; the first among equals."""
    count = within.shape[0]
    value = np.empty(_BLOCK)
    sense = 0.0 if both else 1.0
    for p in range(normals.shape[0]):
        a, b, c = normals[p, 0], normals[p, 1], normals[p, 2]
        best = -1.0
        at = 0
        for start in range(0, count, _BLOCK):
            if limit[start] <= best:
                break
            stop = min(start + _BLOCK, count)
            top = -1.0
            for i in range(start, stop):
                x = s[0, i] * a + s[5, i] * b + s[4, i] * c
                y = s[5, i] * a + s[1, i] * b + s[3, i] * c
                w = s[4, i] * a + s[3, i] * b + s[2, i] * c
                opening = x * a + y * b + w * c
                slide = max(x * x + y * y + w * w - opening * opening, 0.0)
                # Compression does not open a layer, unless the case is judged both ways.
                open_ = opening if sense * opening >= 0.0 else 0.0
                v = max(open_ * open_ * z + slide * shear, within[i])
                value[i - start] = v
                top = max(top, v)
            if top > best:
                best = top
                for i in range(stop - start):
                    if value[i] == top:
                        at = start + i
                        break
        found[p] = at

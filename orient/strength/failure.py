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
# Poses that a thread judges at a time.
_POSES = 64


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


@dataclass(frozen=True, eq=False)
class Sorted:
    """The stress of one case made ready for many poses: the worst places first, the harmless ones left out.

    Attributes
    ----------
    place : (K,) int64
        Number of each place kept.
    voigt : (6, K) float64
        Stress there.
    stress : (K, 6) float64
        The same, place by place.
    within : (K,) float64
        Failure index within layers, whatever the pose.
    limit : (K,) float64
        No pose has a greater squared index there.
    strengths : Strengths
        What it was sorted for.
    both_ways : bool
        Whether the reverse is judged too.
    """

    place: NDArray[np.int64]
    voigt: Floats
    stress: Floats
    within: Floats
    limit: Floats
    strengths: Strengths
    both_ways: bool


def sort_stress(stress: Floats, strengths: Strengths, both_ways: bool = False) -> Sorted:
    """Sort the places of a stress field by how near failure they can come in any pose.

    Parameters
    ----------
    stress : (Q, 6) float64
        MPa, in the order xx, yy, zz, yz, xz, xy.
    strengths : Strengths
        Of the solid.
    both_ways : bool
        Judge the reverse too.

    Returns
    -------
    Sorted
    """
    within = von_mises(stress) / strengths.X
    # No traction is longer than the stress tensor, and no part of it counts more than by 1/min(Z, S).
    length = np.sqrt((stress**2).sum(axis=1) + (stress[:, 3:] ** 2).sum(axis=1))
    most = np.maximum(length / min(strengths.Z, strengths.S), within) ** 2 * (1.0 + 1e-12)
    # The worst place within layers is as bad in every pose: what cannot come up to it is never the worst.
    kept = np.flatnonzero(most >= within.max() ** 2)
    order = kept[np.argsort(-most[kept], kind="stable")]
    chosen = stress[order]
    return Sorted(
        order, np.ascontiguousarray(chosen.T), chosen, within[order], most[order], strengths, both_ways
    )


def worst_places(fields: Sequence[Sorted], normals: Floats, threads: int = 2) -> Worst:
    """Find where each pose is nearest to failure.

    Parameters
    ----------
    fields : sequence of C Sorted
        One for each case, from `sort_stress`.
    normals : (P, 3) float64
        Layer normals in the axes of the stress, unit vectors.
    threads : int
        Poses are shared among them; the answer does not depend on it.

    Returns
    -------
    Worst

    Examples
    --------
    >>> pull = sort_stress(np.array([[0.0, 0.0, 12.0, 0.0, 0.0, 0.0]]), Strengths(50.0, 30.0, 20.0))
    >>> worst = worst_places([pull], np.eye(3)[[2, 0]])
    >>> worst.index.ravel().tolist(), worst.between.ravel().tolist()
    ([0.4, 0.24], [True, False])
    """
    n = np.ascontiguousarray(np.atleast_2d(np.asarray(normals, dtype=np.float64)))
    index = np.zeros((len(n), len(fields)))
    place = np.zeros((len(n), len(fields)), dtype=np.int64)
    between = np.zeros((len(n), len(fields)), dtype=bool)
    for c, field in enumerate(fields):
        found = _shared_out(field, n, threads)
        place[:, c] = field.place[found]
        law = (field.strengths.X, field.strengths.Z, field.strengths.S)
        at = field.stress[found]
        index[:, c] = failure_index(at, n, *law)
        if field.both_ways:
            index[:, c] = np.maximum(index[:, c], failure_index(-at, n, *law))
        between[:, c] = index[:, c] > field.within[found]
    return Worst(index, place, between)


def _shared_out(field: Sorted, normals: Floats, threads: int) -> NDArray[np.int64]:
    found = np.empty(len(normals), dtype=np.int64)
    z, s = 1.0 / field.strengths.Z**2, 1.0 / field.strengths.S**2
    squared = field.within**2

    def run(start: int) -> None:
        some = slice(start, start + _POSES)
        _worst(field.voigt, squared, field.limit, normals[some], z, s, field.both_ways, found[some])

    starts = range(0, len(normals), _POSES)
    if threads > 1 and len(starts) > 1:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(run, starts))
    else:
        for start in starts:
            run(start)
    return found


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

"""Equal corners become one vertex.

A hash table over the bits of the coordinates: linear time, a fraction of the memory of a sort,
and vertices keep the order in which the file first names them.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree


def merge_equal(
    points: NDArray[np.float32] | NDArray[np.float64],
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Find the points that are equal, bit for bit (0.0 and −0.0 count as equal).

    Parameters
    ----------
    points : (N, 3) float32 or float64
        Finite coordinates. Negative zeros are written as zeros, in place where possible.

    Returns
    -------
    first : (V,) int32
        Index of the first of each set of equal points, ascending.
    inverse : (N,) int32
        Position in ``first`` of each point.

    Examples
    --------
    >>> import numpy as np
    >>> first, inverse = merge_equal(np.array([[0, 0, 1], [0, 0, 2], [0, 0, 1.0]]))
    >>> first.tolist(), inverse.tolist()
    ([0, 1], [0, 1, 0])
    """
    own: NDArray[np.float32 | np.float64] = np.ascontiguousarray(points)
    if not own.flags.writeable:
        own = own.copy()
    own += 0.0
    return _first_equal(own.view(np.uint32))


@njit(cache=True, nogil=True, error_model="numpy")
def _first_equal(keys):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    n, width = keys.shape
    size = 16
    while size < 2 * n:
        size *= 2
    mask = np.uint64(size - 1)
    table = np.full(size, -1, dtype=np.int32)
    first = np.empty(n, dtype=np.int32)
    inverse = np.empty(n, dtype=np.int32)
    count = 0
    for i in range(n):
        h = np.uint64(0x9E3779B97F4A7C15)
        for k in range(width):
            # Multiply and fold, after the finaliser of MurmurHash3 (A. Appleby, public domain).
            h = (h ^ np.uint64(keys[i, k])) * np.uint64(0xFF51AFD7ED558CCD)
            h ^= h >> np.uint64(33)
        slot = h & mask
        while True:
            v = table[slot]
            if v < 0:
                table[slot] = count
                first[count] = i
                inverse[i] = count
                count += 1
                break
            j = first[v]
            equal = True
            for k in range(width):
                if keys[i, k] != keys[j, k]:
                    equal = False
                    break
            if equal:
                inverse[i] = v
                break
            slot = (slot + np.uint64(1)) & mask
    return first[:count].copy(), inverse


def merge_near(points: NDArray[np.float64], distance: float) -> NDArray[np.int64]:
    """Give each point the lowest index among the points it hangs together with.

    Parameters
    ----------
    points : (N, 3) float64
        Points, mm.
    distance : float
        Points no further apart than this hang together, mm.

    Returns
    -------
    (N,) int64
        For each point the lowest index of its set.
    """
    pairs = cKDTree(points).query_pairs(distance, output_type="ndarray")
    n = len(points)
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    lowest = np.full(label.max() + 1, n, dtype=np.int64)
    np.minimum.at(lowest, label, np.arange(n))
    return lowest[label]

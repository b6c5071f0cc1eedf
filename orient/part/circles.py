"""Round edges of a mesh: the rims of its holes and bosses.

A rim is a closed loop of sharp edges whose corners lie on one circle. Enough to tell which hole
sizes a part was drawn with.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

_SHARP = np.radians(45.0)


def circle_diameters(
    vertices: NDArray[np.float64], faces: NDArray[np.int32], angles: NDArray[np.float32]
) -> NDArray[np.float64]:
    """Give the distinct diameters of the circular edges.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners, any unit.
    faces : (F, 3) int32
        Corners of each face.
    angles : (F, 3) float32
        Signed angle at each edge, radians, from ``edges.edge_angles``.

    Returns
    -------
    (C,) float64
        Diameters, ascending, those within 0.1 % of each other counted once. A loop counts as a
        circle with at least 12 corners, all at the same distance from their middle within 0.5 %
        (the corners of a faceted circle lie on the true one).
    """
    face, k = np.nonzero(np.abs(angles) > _SHARP)
    ends = np.stack([faces[face, k], faces[face, (k + 1) % 3]], axis=1)
    ends = ends[ends[:, 0] < ends[:, 1]]  # each edge is met from both its faces
    if len(ends) == 0:
        return np.empty(0)
    corner, local = np.unique(ends, return_inverse=True)
    local = local.reshape(-1, 2)
    graph = coo_array(
        (np.ones(len(local), dtype=np.int8), (local[:, 0], local[:, 1])), shape=(len(corner),) * 2
    )
    count, loop = connected_components(graph, directed=False)
    size = np.bincount(loop, minlength=count)
    degree = np.bincount(local.ravel(), minlength=len(corner))
    branched = np.bincount(loop[degree != 2], minlength=count)

    points = vertices[corner]
    totals = np.stack([np.bincount(loop, weights=points[:, i], minlength=count) for i in range(3)], axis=1)
    middle = totals / size[:, None]
    radius = np.linalg.norm(points - middle[loop], axis=1)
    low = np.full(count, np.inf)
    high = np.zeros(count)
    np.minimum.at(low, loop, radius)
    np.maximum.at(high, loop, radius)
    # Evenly spread corners only: a loop of points on a sphere, or bunched ones, has its middle elsewhere.
    round_loop = (size >= 12) & (branched == 0) & (high - low <= 0.005 * high)
    diameters = np.sort(2.0 * high[round_loop])
    if len(diameters) == 0:
        return diameters
    return diameters[np.append(True, np.diff(diameters) > 1e-3 * diameters[1:])]

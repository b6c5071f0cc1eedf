"""Build directions that put the stress in the layers."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.errors import OrientError

# Axes, and directions on the circle, nearer than this are one.
SAME_DEG = 1.0
# A direction of the part's own this near to the circle has its like on it.
NEAR_DEG = 30.0


def in_layer_directions(
    stress_axes: ArrayLike,
    like: ArrayLike | None = None,
    step_deg: float = 12.0,
    frame: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """List build directions perpendicular to the stress, so that it runs within the layers.

    For one axis they form a circle: its points nearest to the part's own directions come first, then one
    every ``step_deg``. Two axes that are not parallel share the cross product and its opposite; of more axes,
    every two do.

    Parameters
    ----------
    stress_axes : (3,) or (A, 3) array_like
        Directions of stress, of any length but zero; their sense does not matter.
    like : (R, 3) array_like, optional
        Unit vectors to have likenesses of: main planes, resting poses. Only those within 30° of the circle
        count; the first sets where the steps begin, so that they turn with the part.
    step_deg : float
        Step around the circle.
    frame : (3, 3) array_like, optional
        Axes, as rows, that the steps are laid out from where nothing else says so.

    Returns
    -------
    (L, 3) float64
        Unit vectors, no two within 1°.

    Raises
    ------
    OrientError
        If an axis has no length or is not finite.

    Examples
    --------
    >>> in_layer_directions([[1, 0, 0], [0, 2, 0]])
    array([[ 0.,  0.,  1.],
           [ 0.,  0., -1.]])
    """
    axes = _distinct_axes(stress_axes)
    if len(axes) == 0:
        return np.zeros((0, 3))
    if len(axes) > 1:
        first, second = np.triu_indices(len(axes), 1)
        both = np.cross(axes[first], axes[second])
        both /= np.linalg.norm(both, axis=1)[:, None]
        return _apart(np.stack([both, -both], axis=1).reshape(-1, 3))
    axis = axes[0]
    given = np.zeros((0, 3)) if like is None else np.asarray(like, dtype=np.float64).reshape(-1, 3)
    level, length = _levelled(given, axis)
    level = level[length >= np.cos(np.radians(NEAR_DEG))]
    if len(level):
        start = level[0]
    else:
        own = np.eye(3) if frame is None else np.asarray(frame, dtype=np.float64)
        start = _levelled(own, axis)[0][np.abs(own @ axis).argmin()]
    turn = np.radians(np.arange(0.0, 360.0, step_deg))[:, None]
    circle = np.cos(turn) * start + np.sin(turn) * np.cross(axis, start)
    return _apart(np.concatenate([level, circle]))


def _distinct_axes(stress_axes: ArrayLike) -> NDArray[np.float64]:
    axes = np.asarray(stress_axes, dtype=np.float64).reshape(-1, 3)
    length = np.linalg.norm(axes, axis=1)
    if not np.isfinite(length).all() or (length == 0).any():
        raise OrientError(
            "A stress axis needs three finite numbers, not all zero: "
            "give the direction of the load, such as 1,0,0."
        )
    axes = axes / length[:, None]
    kept: list[int] = []
    for k in range(len(axes)):
        if not kept or np.abs(axes[kept] @ axes[k]).max() < np.cos(np.radians(SAME_DEG)):
            kept.append(k)
    return axes[kept]


def _levelled(
    vectors: NDArray[np.float64], axis: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Project unit vectors to the plane across the axis: (N, 3) unit again, (N,) lengths before."""
    level = vectors - np.outer(vectors @ axis, axis)
    length = np.linalg.norm(level, axis=1)
    return level / np.where(length > 0, length, 1.0)[:, None], length


def _apart(directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Leave out directions within 1° of an earlier one."""
    kept: list[int] = []
    for k in range(len(directions)):
        if not kept or (directions[kept] @ directions[k]).max() < np.cos(np.radians(SAME_DEG)):
            kept.append(k)
    return directions[kept] + 0.0

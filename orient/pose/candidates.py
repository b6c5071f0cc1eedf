"""The build directions that are judged: four sources joined."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.part.mesh import Part
from orient.pose.frame import part_frame
from orient.pose.grid import spherical_grid
from orient.pose.load import in_layer_directions
from orient.pose.planes import main_directions
from orient.pose.resting import resting_poses

# Directions of planes and loads nearer than this to one already taken add nothing.
SAME_DEG = 1.0
# So many resting poses, the steadiest and largest, have their likeness sought among the load directions.
_LIKENESSES = 24


@dataclass(frozen=True, eq=False)
class Candidates:
    """Build directions to judge, and where each comes from.

    Attributes
    ----------
    directions : (P, 3) float64
        Unit build directions, in part coordinates.
    sources : tuple of str
        ``"resting"``, ``"plane"``, ``"load"`` or ``"grid"``, in this order.
    rests_on_flat : (P,) bool
        Whether a flat face of the hull lies on the bed: true for the resting poses.
    stable : (P,) bool
        Whether the part stands on that face by itself; false where there is none.
    contact_area_mm2 : (P,) float64
        The part's area on the bed in a resting pose; 0 for the others.
    """

    directions: NDArray[np.float64]
    sources: tuple[str, ...]
    rests_on_flat: NDArray[np.bool_]
    stable: NDArray[np.bool_]
    contact_area_mm2: NDArray[np.float64]


def candidates(part: Part, stress_axes: ArrayLike | None = None, directions: int = 1000) -> Candidates:
    """Join resting poses, the part's main directions, in-layer directions and an even grid.

    Every resting pose stays exactly as it is. A main direction or an in-layer direction within 1° of a
    resting pose, or of an earlier one of its kind, is left out. The grid is laid in the part's own frame and
    always whole. The order is the same whatever the order of the triangles.

    Parameters
    ----------
    part : Part
        The part.
    stress_axes : (A, 3) array_like, optional
        Directions of stress; none without a load.
    directions : int
        Size of the grid.

    Returns
    -------
    Candidates
        Resting poses first, then planes, load, grid.

    Raises
    ------
    OrientError
        If a stress axis has no length, or the size of the grid is negative.
    """
    frame = part_frame(part)
    resting = resting_poses(part, frame)
    main = main_directions(part, frame)
    axes = np.zeros((0, 3)) if stress_axes is None else np.asarray(stress_axes, dtype=np.float64)
    like = np.concatenate([main, resting.directions[:_LIKENESSES]])
    load = in_layer_directions(axes, like=like, frame=frame)
    grid = spherical_grid(directions, frame)

    taken = resting.directions
    sources = ["resting"] * len(taken)
    for name, found in (("plane", main), ("load", load)):
        fresh = _not_near(found, taken)
        taken = np.concatenate([taken, fresh])
        sources += [name] * len(fresh)
    sources += ["grid"] * len(grid)
    joined = np.concatenate([taken, grid])
    rests = np.arange(len(joined)) < len(resting.directions)
    none = len(joined) - len(resting.directions)
    return Candidates(
        directions=np.ascontiguousarray(joined),
        sources=tuple(sources),
        rests_on_flat=rests,
        stable=np.concatenate([resting.stable, np.zeros(none, dtype=bool)]),
        contact_area_mm2=np.concatenate([resting.contact_area_mm2, np.zeros(none)]),
    )


def _not_near(found: NDArray[np.float64], taken: NDArray[np.float64]) -> NDArray[np.float64]:
    """Keep directions that are not within 1° of one taken, nor of an earlier one kept."""
    same = np.cos(np.radians(SAME_DEG))
    kept: list[NDArray[np.float64]] = []
    for direction in found:
        beside = np.array([*taken, *kept]) if len(taken) + len(kept) else np.zeros((0, 3))
        if len(beside) == 0 or (beside @ direction).max() < same:
            kept.append(direction)
    return np.array(kept).reshape(-1, 3)

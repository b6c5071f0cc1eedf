"""From a build direction to the transform that lays the part on the bed."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from orient.errors import OrientError
from orient.part.hull import plane_axes
from orient.part.outline import extents
from orient.pose.frame import part_frame

__all__ = ["footprint_sides", "part_frame", "rotation_to_bed", "rotations_to_bed"]

# Rectangles whose areas differ by less than this share are equally good.
TIED = 1e-6
# A rectangle along the file's own axes is kept up to this share more area. Where room is so short that a
# hundredth decides, every turn is tried anyway: for the fit in a machine, and for the copies on a bed.
KEPT = 0.01
# A file in single precision lays its faces level to some 1e-7.
_IN_PLANE = 1e-6
_MANY = 500


def rotation_to_bed(direction: ArrayLike, points: ArrayLike) -> NDArray[np.float64]:
    """Give the transform from the file's coordinates to the bed.

    The build direction becomes z and the lowest point lies at 0. About z, the part is turned so that the
    longer side of a rectangle round its footprint lies along x; the rectangle is centred on 0, 0. A part
    with an axis of its file in the plane of the bed keeps it along the bed where the rectangle is then at
    most a hundredth larger than the least: nobody wants it askew by a degree for that. Otherwise the
    least-area rectangle is taken, of which one side lies along an edge of the footprint's hull (Freeman and
    Shapira, Determining the minimum-area encasing rectangle for an arbitrary closed curve, Comm. ACM 18,
    1975, 409–413). Of equal rectangles, and of the two senses of x, the one that keeps x nearest to the
    file's x is taken, then to its y.

    Parameters
    ----------
    direction : (3,) array_like
        Build direction in the file's coordinates, of any length but zero.
    points : (N, 3) array_like
        Points of the part, mm; its hull's are enough.

    Returns
    -------
    (4, 4) float64
        Rotation (determinant +1) and shift: bed = T @ [x, y, z, 1].

    Raises
    ------
    OrientError
        If the direction has no length or is not finite.

    Examples
    --------
    >>> corners = [[0, 0, 0], [0, 40, 0], [10, 0, 0], [10, 40, 0], [0, 0, 5], [10, 40, 5]]
    >>> rotation_to_bed([0, 0, 1], corners)
    array([[  0.,   1.,   0., -20.],
           [ -1.,   0.,   0.,   5.],
           [  0.,   0.,   1.,   0.],
           [  0.,   0.,   0.,   1.]])
    """
    given = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    z, across, up, rim = _seen_along(direction, given)
    span = np.ptp(rim, axis=0).max()
    # The second term is for a footprint without area, a sheet on its edge.
    no_area = (1e-6 * span) ** 2
    sides, long, short = _rectangles(rim)
    least = (long * short).min()
    own = np.column_stack([across, up])[np.abs(z) < _IN_PLANE]
    if len(own):
        own = own / np.hypot(*own.T)[:, None]
        straight = _rectangles(rim, own)
        if (straight[1] * straight[2]).min() <= least * (1 + KEPT) + no_area:
            sides, long, short = straight
            least = (long * short).min()
    best = np.flatnonzero(long * short <= least * (1 + TIED) + no_area)

    choices = []
    for k in best:
        along = sides[k, 0] * across + sides[k, 1] * up
        beside = np.cross(z, along)
        if long[k] >= short[k] * (1 - TIED):
            choices += [along, -along]
        if short[k] >= long[k] * (1 - TIED):
            choices += [beside, -beside]
    x = choices[np.lexsort(np.round(choices, 6).T[::-1])[-1]]
    y = np.cross(z, x)
    turn = np.array([x, y, z]) + 0.0
    laid = given @ turn.T
    low, high = laid.min(axis=0), laid.max(axis=0)
    transform = np.eye(4)
    transform[:3, :3] = turn
    transform[:3, 3] = -(low[0] + high[0]) / 2.0, -(low[1] + high[1]) / 2.0, -low[2]
    return transform + 0.0


def rotations_to_bed(directions: ArrayLike, points: ArrayLike) -> NDArray[np.float64]:
    """Give the transforms of many build directions onto the bed, (P, 4, 4): see `rotation_to_bed`."""
    return np.stack([rotation_to_bed(direction, points) for direction in np.atleast_2d(directions)])


def footprint_sides(
    directions: ArrayLike, points: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Measure the footprint's least-area rectangle for many build directions.

    Parameters
    ----------
    directions : (P, 3) array_like
        Build directions in the file's coordinates.
    points : (N, 3) array_like
        Points of the part, mm; its hull's are enough.

    Returns
    -------
    longer, shorter : (P,) float64
        Its sides, mm.
    """
    given = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    least = []
    for direction in np.atleast_2d(directions):
        _, long, short = _rectangles(_seen_along(direction, given)[3])
        k = int((long * short).argmin())
        least.append((max(long[k], short[k]), min(long[k], short[k])))
    found = np.array(least)
    return found[:, 0], found[:, 1]


def _seen_along(
    direction: ArrayLike, points: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """The unit direction, two axes across it, and the hull of points seen along it."""
    z = np.asarray(direction, dtype=np.float64).reshape(3)
    length = np.linalg.norm(z)
    if not np.isfinite(length) or length == 0:
        raise OrientError("A build direction needs three finite numbers, not all zero, such as 0,0,1.")
    z = z / length
    across, up = plane_axes(z)
    return z, across, up, _rim(np.column_stack([points @ across, points @ up]))


def _rectangles(
    rim: NDArray[np.float64], sides: NDArray[np.float64] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Rectangles round a hull with one side along each of its own, or of given ways: sides, extents."""
    if sides is None:
        sides = np.diff(np.concatenate([rim, rim[:1]]), axis=0)
        long_enough = np.hypot(*sides.T) > 1e-9 * np.ptp(rim, axis=0).max()
        sides = sides[long_enough] if long_enough.any() else np.array([[1.0, 0.0]])
        sides = sides / np.hypot(*sides.T)[:, None]
    crosswise = np.column_stack([-sides[:, 1], sides[:, 0]])
    return sides, extents(rim, sides), extents(rim, crosswise)


def _rim(plane: NDArray[np.float64]) -> NDArray[np.float64]:
    """Corners of the convex hull of points in the plane; it may be a line or a point."""
    for corners in (16, 64):
        if len(plane) > _MANY:
            plane = plane[_may_be_corners(plane, corners)]
    shape = shapely.convex_hull(shapely.multipoints(plane))
    rim = shapely.get_coordinates(shape)
    return rim[:-1] if shape.geom_type == "Polygon" else rim


def _may_be_corners(plane: NDArray[np.float64], count: int) -> NDArray[np.bool_]:
    """Rule out points inside the polygon of some outermost ones.

    After Akl and Toussaint, Information Processing Letters 7, 1978, 219–222; each point is held against the
    side that it lies behind, seen from the middle.
    """
    turns = np.arange(count) * (2 * np.pi / count)
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    outermost = (ways @ plane.T).argmax(axis=1)
    about = plane - plane[outermost].mean(axis=0)
    ring = about[np.unique(outermost)]
    ring = ring[np.argsort(np.arctan2(ring[:, 1], ring[:, 0]), kind="stable")]
    behind = np.searchsorted(np.arctan2(ring[:, 1], ring[:, 0]), np.arctan2(about[:, 1], about[:, 0]))
    side = ring[behind % len(ring)] - ring[behind - 1]
    normal = np.column_stack([side[:, 1], -side[:, 0]])
    beyond = np.einsum("ij,ij->i", normal, about - ring[behind - 1])
    # Those on the side stay, whatever the rounding.
    return beyond >= -1e-9 * np.abs(about).max() ** 2

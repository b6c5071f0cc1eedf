"""Poses in which a part rests on a flat face of its hull."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.pose.frame import part_frame

# A hull of many small facets, a ball say, has more faces than can be of use.
MOST_RESTS = 500
# A face lies on the bed when it is within 1° of level and no point of it is higher than this.
LEVEL_DEG = 1.0
BED_GAP_MM = 0.02


@dataclass(frozen=True, eq=False)
class Resting:
    """Build directions in which a flat face of the hull lies on the bed.

    Attributes
    ----------
    directions : (K, 3) float64
        Build directions: away from the bed, −n of the hull face.
    contact_area_mm2 : (K,) float64
        The part's own area that lies on the bed, not the hull's.
    stable : (K,) bool
        Whether the foot of the centre of mass lies inside the hull face, so that the part stands.
    margin_mm : (K,) float64
        Distance from that foot to the face's rim, mm; negative outside.
    """

    directions: NDArray[np.float64]
    contact_area_mm2: NDArray[np.float64]
    stable: NDArray[np.bool_]
    margin_mm: NDArray[np.float64]


def resting_poses(part: Part, frame: NDArray[np.float64] | None = None) -> Resting:
    """List the poses in which the part rests on a flat face of its convex hull.

    A part on a plate touches it with its hull alone, and stands if the foot of its centre of mass falls
    inside the touching face. Among more than 500 faces, those on which the part stands are kept first, then
    the largest. The order is the same: standing before toppling, then by size of the hull face, then by
    place in the part's own frame.

    Parameters
    ----------
    part : Part
        The part. Where its mesh is not closed, faces count as contact whichever way they look.
    frame : (3, 3) array, optional
        ``part_frame(part)``, if it is known.

    Returns
    -------
    Resting
        The poses.
    """
    hull = part.hull
    margins = hull.margins_mm(part.center_of_mass)
    stable = margins > hull.tolerance_mm
    own = part_frame(part) if frame is None else frame
    place = np.round(hull.normals @ own.T, 6) + 0.0
    # Equal to a thousandth is equal: noise must not settle which of many like facets are kept.
    size = np.round(np.log(hull.areas), 3)
    kept = np.lexsort((*place.T, -size, ~stable))[:MOST_RESTS]
    normals, offsets = hull.normals[kept], hull.offsets[kept]
    contact = _contact_areas(part, normals, offsets, max(BED_GAP_MM, hull.tolerance_mm))
    return Resting(-normals + 0.0, contact, stable[kept], margins[kept])


def _contact_areas(
    part: Part, normals: NDArray[np.float64], offsets: NDArray[np.float64], gap: float
) -> NDArray[np.float64]:
    order = np.argsort(normals[:, 0], kind="stable")
    areas = np.zeros(len(normals))
    _sum_contact(
        part.vertices,
        part.faces,
        part.normals,
        part.areas,
        np.ascontiguousarray(normals[order]),
        offsets[order],
        order,
        gap,
        np.cos(np.radians(LEVEL_DEG)),
        part.closed,
        areas,
    )
    return areas


@njit(cache=True, nogil=True, error_model="numpy")
def _sum_contact(  # type: ignore[no-untyped-def]
    vertices, faces, normals, areas, rests, offsets, names, gap, level, one_sided, out
):
    """Add each face to the rests (sorted by x) whose plane it lies in."""
    # Two unit vectors within an angle differ in x by no more than their chord.
    reach = np.sqrt(2.0 - 2.0 * level)
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        for side in range(1 if one_sided else 2):
            sign = 1.0 - 2.0 * side
            x, y, z = sign * normals[f, 0], sign * normals[f, 1], sign * normals[f, 2]
            k, end = 0, len(rests)
            while k < end:
                middle = (k + end) // 2
                if rests[middle, 0] < x - reach:
                    k = middle + 1
                else:
                    end = middle
            while k < len(rests) and rests[k, 0] <= x + reach:
                nx, ny, nz = rests[k, 0], rests[k, 1], rests[k, 2]
                low = offsets[k] - gap
                if (
                    nx * x + ny * y + nz * z >= level
                    and nx * vertices[a, 0] + ny * vertices[a, 1] + nz * vertices[a, 2] >= low
                    and nx * vertices[b, 0] + ny * vertices[b, 1] + nz * vertices[b, 2] >= low
                    and nx * vertices[c, 0] + ny * vertices[c, 1] + nz * vertices[c, 2] >= low
                ):
                    out[names[k]] += areas[f]
                k += 1

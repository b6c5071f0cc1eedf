"""The first layer: what stands on the bed, in how many pieces, and how steadily."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.measure.blocks import Blocks
from orient.measure.outline import outline_of
from orient.measure.sharing import available_threads, share_out
from orient.part.mesh import Part

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Footprint:
    """The section at half the first layer's height, in every pose; each array is (P,).

    Attributes
    ----------
    first_layer_mm2 : float64
        Area of the section, mm².
    islands : int64
        Separate outlines that enclose material.
    tip_margin_deg : float64
        How far the part can be tilted before the centre of mass passes the edge of the section's
        hull, degrees; negative when it already lies outside.
    """

    first_layer_mm2: Floats
    islands: NDArray[np.int64]
    tip_margin_deg: Floats


def footprint_of(
    part: Part,
    blocks: Blocks,
    neighbours: NDArray[np.int32],
    directions: Floats,
    lowest: Floats,
    layer_mm: float,
    *,
    threads: int | None = None,
) -> Footprint:
    """Cut every pose at half the first layer's height.

    The area is the line integral ½ Σ (x₁y₂ − x₂y₁) over the oriented cuts of the faces (Green's
    theorem), so no outline needs to be chained. The tip margin is
    atan(distance from the centre of mass's foot to the nearest edge of the section's hull / its height).

    Parameters
    ----------
    part : Part
        The part.
    blocks : Blocks
        Its faces sorted into blocks.
    neighbours : (F, 3) int32
        `neighbours_in_blocks(part, blocks)`.
    directions : (P, 3) float64
        Build directions.
    lowest : (P,) float64
        Lowest height of the part along each direction, mm.
    layer_mm : float
        Height of the first layer, mm.
    threads : int, optional
        Threads to cut on; the answer does not depend on it.

    Returns
    -------
    Footprint
    """
    directions = np.ascontiguousarray(directions, dtype=np.float64)
    area = np.zeros(len(directions))
    islands = np.zeros(len(directions), dtype=np.int64)
    margin = np.zeros(len(directions))
    # Cut heights are counted from the blocks' own centre.
    level = lowest + layer_mm / 2.0 - directions @ blocks.centre
    middle = np.ascontiguousarray(part.center_of_mass - blocks.centre)

    def run(start: int, stop: int) -> None:
        some = slice(start, stop)
        _cut(
            blocks.x,
            blocks.y,
            blocks.z,
            blocks.faces,
            neighbours,
            blocks.first,
            blocks.box_middle,
            blocks.box_half,
            middle,
            directions[some],
            level[some],
            layer_mm / 2.0,
            np.full(len(blocks.faces), -1, dtype=np.int32),
            np.empty(len(blocks.faces), dtype=np.int32),
            area[some],
            islands[some],
            margin[some],
        )

    share_out(run, len(directions), threads or available_threads())
    return Footprint(first_layer_mm2=area, islands=islands, tip_margin_deg=margin)


def neighbours_in_blocks(part: Part, blocks: Blocks) -> NDArray[np.int32]:
    """Faces across each edge, in block order: (F, 3) int32, −1 where there is none."""
    place = np.empty(len(blocks.original) + 1, dtype=np.int32)
    place[blocks.original] = np.arange(len(blocks.original), dtype=np.int32)
    place[-1] = -1
    return np.ascontiguousarray(place[part.neighbours[blocks.original]])


@njit(cache=True, nogil=True, error_model="numpy")
def _root(parent, i):  # type: ignore[no-untyped-def]
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@njit(cache=True, nogil=True, error_model="numpy")
def _cut(  # type: ignore[no-untyped-def]
    x, y, z, faces, neighbours, first, box_middle, box_half, com, directions, levels, above_bed, local,
    cut_face, area, islands, margin,
):  # fmt: skip
    for p in range(directions.shape[0]):
        bx, by, bz = directions[p, 0], directions[p, 1], directions[p, 2]
        level = levels[p]
        # Any two axes in the layer plane do: area, islands and margin do not depend on them.
        if abs(bx) < 0.6:
            ux, uy, uz = 0.0, bz, -by
        else:
            ux, uy, uz = -bz, 0.0, bx
        length = math.sqrt(ux * ux + uy * uy + uz * uz)
        ux, uy, uz = ux / length, uy / length, uz / length
        vx, vy, vz = by * uz - bz * uy, bz * ux - bx * uz, bx * uy - by * ux
        n = 0
        for block in range(first.shape[0] - 1):
            middle = bx * box_middle[block, 0] + by * box_middle[block, 1] + bz * box_middle[block, 2]
            reach = abs(bx) * box_half[block, 0] + abs(by) * box_half[block, 1] + abs(bz) * box_half[block, 2]
            if middle - reach > level or middle + reach < level:
                continue
            for face in range(first[block], first[block + 1]):
                above = 0
                for side in range(3):
                    i = faces[face, side]
                    above += 1 if bx * x[i] + by * y[i] + bz * z[i] > level else 0
                if above == 1 or above == 2:
                    cut_face[n] = face
                    local[face] = n
                    n += 1
        cut = np.empty((n, 4))
        parent = np.arange(n)
        for k in range(n):
            for side in range(3):
                i, j = faces[cut_face[k], side], faces[cut_face[k], (side + 1) % 3]
                hi = bx * x[i] + by * y[i] + bz * z[i]
                hj = bx * x[j] + by * y[j] + bz * z[j]
                if (hi > level) == (hj > level):
                    continue
                t = (level - hi) / (hj - hi)
                px, py, pz = x[i] + t * (x[j] - x[i]), y[i] + t * (y[j] - y[i]), z[i] + t * (z[j] - z[i])
                # Seen from outside with material below the edge: the outline of the section runs from
                # the edge that comes down through the level to the one that goes up.
                end = 0 if hi > level else 2
                cut[k, end] = px * ux + py * uy + pz * uz
                cut[k, end + 1] = px * vx + py * vy + pz * vz
                across = neighbours[cut_face[k], side]
                if across >= 0 and local[across] >= 0:
                    a, b = _root(parent, k), _root(parent, np.int64(local[across]))
                    if a != b:
                        parent[max(a, b)] = min(a, b)
        enclosed = np.zeros(n)
        for k in range(n):
            enclosed[_root(parent, k)] += 0.5 * (cut[k, 0] * cut[k, 3] - cut[k, 2] * cut[k, 1])
        total = 0.0
        count = 0
        for k in range(n):
            local[cut_face[k]] = -1
            if parent[k] == k:
                total += enclosed[k]
                count += 1 if enclosed[k] > 0.0 else 0
        area[p] = max(total, 0.0)
        islands[p] = count
        foot_u = com[0] * ux + com[1] * uy + com[2] * uz
        foot_v = com[0] * vx + com[1] * vy + com[2] * vz
        height = com[0] * bx + com[1] * by + com[2] * bz - level + above_bed
        margin[p] = math.degrees(math.atan2(_inside_by(cut, np.int64(n), foot_u, foot_v), max(height, 1e-12)))


@njit(cache=True, nogil=True, error_model="numpy")
def _inside_by(cut, n, u, v):  # type: ignore[no-untyped-def]
    """Distance from a point to the nearest edge of the hull of the cuts; negative when it lies outside."""
    if n == 0:
        return -1e30
    points = np.empty((n, 2))
    for k in range(n):
        points[k, 0] = cut[k, 0]
        points[k, 1] = cut[k, 1]
    hull = np.empty((2 * n + 2, 2))
    m = outline_of(points, hull)
    if m < 1:
        return -math.hypot(points[0, 0] - u, points[0, 1] - v)
    inside = True
    nearest = 1e300
    for k in range(m):
        ax, ay = hull[k, 0], hull[k, 1]
        bx, by = hull[(k + 1) % m, 0], hull[(k + 1) % m, 1]
        dx, dy = bx - ax, by - ay
        span = dx * dx + dy * dy
        if span == 0:
            continue
        if dx * (v - ay) - dy * (u - ax) < 0:
            inside = False
        t = min(max(((u - ax) * dx + (v - ay) * dy) / span, 0.0), 1.0)
        nearest = min(nearest, math.hypot(ax + t * dx - u, ay + t * dy - v))
    if m < 3:
        inside = False
    if nearest > 1e299:
        nearest = math.hypot(points[0, 0] - u, points[0, 1] - v)
    return nearest if inside else -nearest

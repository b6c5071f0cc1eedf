"""The space round a part that a tool of a given diameter can reach from outside, on a voxel grid.

The surface is marked on the grid. A ball of the tool's size may stand where no surface is nearer than its
radius; those places are flooded from outside, and what the balls cover is reached. (This is the opening of
the free space by a ball, of what hangs together with the outside: J. Serra, Image analysis and mathematical
morphology, 1982.) The answer is true to about one voxel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Voxels across the tool where the part is small enough, and at least where it is not.
_FINE, _COARSE = 6.0, 2.0
_MOST_VOXELS = 8e6
# More than this is never asked of the memory, however large the part: the voxels grow past the tool instead.
_LAST_VOXELS = 1e8


@dataclass(frozen=True, eq=False)
class Reached:
    """Where a tool gets to.

    Attributes
    ----------
    origin : (3,) float64
        Low corner of the grid, mm.
    voxel_mm : float
        Side of a voxel.
    cells : (nx, ny, nz) uint8
        1 where the tool reaches.
    coarse : bool
        Whether the part is so large that voxels are wider than half the tool: narrow ways are then missed.
    """

    origin: Floats
    voxel_mm: float
    cells: NDArray[np.uint8]
    coarse: bool = False


def reached_by(part: Part, tool_mm: float) -> Reached:
    """Flood the space round a part with a tool.

    Parameters
    ----------
    part : Part
        The part.
    tool_mm : float
        Diameter of the tool.

    Returns
    -------
    Reached
        Does not depend on any pose.
    """
    extents = part.extents_mm + 2 * tool_mm
    voxel = max(tool_mm / _FINE, float(np.cbrt(np.prod(extents) / _MOST_VOXELS)))
    voxel = min(voxel, tool_mm / _COARSE)
    fewest = float(np.cbrt(np.prod(extents) / _LAST_VOXELS))
    coarse = fewest > voxel
    voxel = max(voxel, fewest)
    pad = int(np.ceil(tool_mm / voxel)) + 2
    shape = tuple(int(n) for n in np.ceil(part.extents_mm / voxel) + 2 * pad + 1)
    # Off the part's own planes by a share of a voxel, so that no face lies on a border between voxels.
    origin = part.bounds[0] - (pad + 0.37) * voxel
    surface = np.zeros(shape, dtype=np.uint8)
    _mark(part.vertices, part.faces, origin, voxel, surface)
    # The surface lies anywhere in its voxel; half a voxel less makes it as often too strict as too lax.
    blocked = surface.copy()
    _grow(surface, _ball(tool_mm / 2 / voxel - 0.5), blocked)
    _flood(blocked)
    places = (blocked == 2).astype(np.uint8)
    del blocked
    cells = places.copy()
    _grow(places, _ball(tool_mm / 2 / voxel + 0.5), cells)
    return Reached(origin, voxel, cells, coarse)


def _ball(radius: float) -> NDArray[np.int64]:
    """Offsets of the cells whose centres lie within a radius, in cells."""
    reach = int(np.floor(max(radius, 0.0)))
    axis = np.arange(-reach, reach + 1)
    offsets = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    return offsets[(offsets**2).sum(axis=1) <= radius**2]


@njit(cache=True, nogil=True, error_model="numpy")
def _mark(vertices, faces, origin, voxel, grid):  # type: ignore[no-untyped-def]
    """Mark the voxels that faces pass through, by points closer together than half a voxel."""
    step = 0.5 * voxel
    for f in range(len(faces)):
        # From the corner facing the shortest edge, so that a sliver takes few points.
        sharp = 0
        shortest = np.inf
        for k in range(3):
            p, q = vertices[faces[f, (k + 1) % 3]], vertices[faces[f, (k + 2) % 3]]
            size = (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2
            if size < shortest:
                shortest = size
                sharp = k
        a = vertices[faces[f, sharp]]
        b = vertices[faces[f, (sharp + 1) % 3]]
        c = vertices[faces[f, (sharp + 2) % 3]]
        long = max(
            np.sqrt((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2 + (b[2] - a[2]) ** 2),
            np.sqrt((c[0] - a[0]) ** 2 + (c[1] - a[1]) ** 2 + (c[2] - a[2]) ** 2),
        )
        rows = int(long / step) + 1
        wide = np.sqrt(shortest)
        for i in range(rows + 1):
            s = i / rows
            columns = int(s * wide / step) + 1
            for j in range(columns + 1):
                t = j / columns
                x = a[0] + s * (b[0] - a[0] + t * (c[0] - b[0]))
                y = a[1] + s * (b[1] - a[1] + t * (c[1] - b[1]))
                z = a[2] + s * (b[2] - a[2] + t * (c[2] - b[2]))
                grid[
                    int((x - origin[0]) / voxel), int((y - origin[1]) / voxel), int((z - origin[2]) / voxel)
                ] = 1


@njit(cache=True, nogil=True, error_model="numpy")
def _grow(source, ball, target):  # type: ignore[no-untyped-def]
    """Set the target to 1 within a ball of each cell of the source that has an empty neighbour."""
    nx, ny, nz = source.shape
    for x in range(nx):
        for y in range(ny):
            for z in range(nz):
                if source[x, y, z] == 0:
                    continue
                inside = 0 < x < nx - 1 and 0 < y < ny - 1 and 0 < z < nz - 1
                if (
                    inside
                    and source[x - 1, y, z]
                    and source[x + 1, y, z]
                    and source[x, y - 1, z]
                    and source[x, y + 1, z]
                    and source[x, y, z - 1]
                    and source[x, y, z + 1]
                ):
                    continue
                for i in range(len(ball)):
                    u, v, w = x + ball[i, 0], y + ball[i, 1], z + ball[i, 2]
                    if 0 <= u < nx and 0 <= v < ny and 0 <= w < nz:
                        target[u, v, w] = 1


@njit(cache=True, nogil=True, error_model="numpy")
def _flood(grid):  # type: ignore[no-untyped-def]
    """Set to 2 the zeros that hang together with the grid's first cell over sides."""
    nx, ny, nz = grid.shape
    stack = [(0, 0, 0)]
    grid[0, 0, 0] = 2
    while len(stack) > 0:
        x, y, z = stack.pop()
        for k in range(6):
            u, v, w = x, y, z
            if k == 0:
                u += 1
            elif k == 1:
                u -= 1
            elif k == 2:
                v += 1
            elif k == 3:
                v -= 1
            elif k == 4:
                w += 1
            else:
                w -= 1
            if 0 <= u < nx and 0 <= v < ny and 0 <= w < nz and grid[u, v, w] == 0:
                grid[u, v, w] = 2
                stack.append((u, v, w))


@njit(cache=True, nogil=True, error_model="numpy")
def columns_reached(cells, origin, voxel, start, length, direction):  # type: ignore[no-untyped-def]
    """Tell which columns hanging down from points hold a cell that the tool reaches.

    Parameters
    ----------
    cells, origin, voxel
        As in `Reached`.
    start : (N, 3) float64
        Tops of the columns, mm.
    length : (N,) float64
        How long each is, mm.
    direction : (3,) float64
        Build direction: columns run against it.

    Returns
    -------
    (N,) bool
    """
    out = np.zeros(len(start), dtype=np.bool_)
    nx, ny, nz = cells.shape
    for i in range(len(start)):
        steps = int(length[i] / (0.5 * voxel)) + 1
        for k in range(steps):
            t = (k + 0.5) * length[i] / steps
            x = int((start[i, 0] - t * direction[0] - origin[0]) / voxel)
            y = int((start[i, 1] - t * direction[1] - origin[1]) / voxel)
            z = int((start[i, 2] - t * direction[2] - origin[2]) / voxel)
            # Outside the grid everything is free.
            if not (0 <= x < nx and 0 <= y < ny and 0 <= z < nz) or cells[x, y, z]:
                out[i] = True
                break
    return out

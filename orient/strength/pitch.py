"""How small the cells must be: three across the thinnest section that bears load."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.features.rays import Rays
from orient.part.mesh import Part
from orient.strength.cells import Cells, cut_into_cells
from orient.strength.grid import Grid, grid_over
from orient.strength.surface import Patches

Floats = NDArray[np.float64]

# Cells across the thinnest loaded section. Bricks with incompatible modes bend rightly with three; see
# tests/strength/test_closed_forms.py.
ACROSS = 3.0
# A section bears load when its stress is at least this share of the greatest.
LOADED = 0.25
# The thinnest section is one that this share of the loaded surface is no thicker than.
_SHARE = 0.01
# Rays that measure thickness, at most.
_RAYS = 5_000


def grid_of_cells(part: Part, cells: int, axes: Floats) -> Grid:
    """Lay a grid that a part fills with about so many cells.

    Parameters
    ----------
    part : Part
        The part.
    cells : int
        Cells wanted.
    axes : (3, 3) float64
        Directions of the grid.

    Returns
    -------
    Grid
    """
    pitch = (part.volume_mm3 / cells) ** (1 / 3)
    for _ in range(3):
        grid = grid_over(part, pitch, axes)
        count = len(cut_into_cells(part, grid).fill)
        if abs(count - cells) <= 0.05 * cells:
            break
        # Between surface and volume: thin parts gain cells as the square, thick ones as the cube.
        pitch *= (count / cells) ** 0.4
    return grid


def thinnest_loaded_mm(part: Part, cells: Cells, patches: Patches, bearing: Floats) -> float:
    """Measure the thinnest section that bears load.

    Parameters
    ----------
    part : Part
        The part.
    cells : Cells
        Cells, of any size.
    patches : Patches
        All of the surface.
    bearing : (N,) float64
        Equivalent stress of each cell, the worst of the cases.

    Returns
    -------
    float
        mm; infinite when no two surfaces that bear load lie opposite each other.

    Notes
    -----
    Thickness is measured along rays from the surface inward to a surface that looks the other way within 60°,
    so the tip of a wedge is no section. A wall that bears next to nothing, however thin, does not count.
    """
    stress = bearing[patches.cell]
    steady = float(np.quantile(bearing, 0.999)) if len(bearing) else 0.0
    loaded = np.flatnonzero(stress >= LOADED * steady)
    if not len(loaded):
        return float("inf")
    # Evenly over the area, so that neither fine facets nor small cells count more.
    along = np.cumsum(patches.area_mm2[loaded])
    wanted = (np.arange(min(_RAYS, 4 * len(loaded))) + 0.5) / min(_RAYS, 4 * len(loaded)) * along[-1]
    chosen = loaded[np.searchsorted(along, wanted)]
    normal = part.normals[patches.face[chosen]]
    size = part.size_mm
    start = cells.grid.to_part(patches.corners[chosen].mean(axis=1)) - 1e-6 * size * normal
    face, distance = Rays(part).first_hits(start, -normal, size)
    facing = (face >= 0) & (np.einsum("ij,ij->i", part.normals[face], normal) < -0.5)
    if not facing.any():
        return float("inf")
    return float(np.quantile(distance[facing], _SHARE))

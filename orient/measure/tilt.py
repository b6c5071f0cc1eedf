"""How much more support a pose needs when it is laid slightly askew."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from orient.measure.columns import LEVEL_DEG, count_columns
from orient.measure.painting import ON_BED_MM
from orient.measure.poses import Sorted
from orient.process import Process

Floats = NDArray[np.float64]

TILT_DEG = 1.0
# Ways the part can lean: enough that the worst lies within 22.5° of one of them.
WAYS = 8


def support_when_tilted(ready: Sorted, process: Process, direction: Floats) -> float:
    """Largest support volume, mm³, over tilts by `TILT_DEG` in any of `WAYS` directions.

    Only which faces pass the overhang limit is judged askew; the gaps under them are counted in the
    pose itself, and what lies on the bed is taken to stay there. So the answer is about faces close
    to the limit, not about the wedge of air under a base that was lifted.

    Parameters
    ----------
    ready : Sorted
        The part.
    process : Process
        Overhang limit.
    direction : (3,) float64
        Build direction.

    Returns
    -------
    float
        mm³.
    """
    x = np.cross(direction, np.eye(3)[int(np.abs(direction).argmin())])
    x /= np.linalg.norm(x)
    y = np.cross(direction, x)
    ways = np.arange(WAYS) * (2.0 * math.pi / WAYS)
    lean = np.outer(np.cos(ways), x) + np.outer(np.sin(ways), y)
    tilt = math.radians(TILT_DEG)
    support = count_columns(
        ready.blocks,
        np.tile(direction, (WAYS, 1)),
        ready.frame,
        ready.pitch_mm,
        process.overhang_limit_deg,
        closed=ready.part.closed,
        # What lies on the bed needs nothing, however it leans.
        free=_on_bed(ready, direction),
        judged_along=math.cos(tilt) * direction + math.sin(tilt) * lean,
    )
    return float(support.needed.max())


def _on_bed(ready: Sorted, direction: Floats) -> NDArray[np.bool_]:
    """Faces, in the part's own order, that lie on the bed."""
    blocks = ready.blocks
    heights = np.stack([blocks.x, blocks.y, blocks.z], axis=1) @ direction
    top = heights[blocks.faces].max(axis=1)
    level = -math.cos(math.radians(LEVEL_DEG))
    lies = np.empty(len(blocks.faces), dtype=np.bool_)
    lies[blocks.original] = (blocks.normals @ direction <= level) & (top <= heights.min() + ON_BED_MM)
    return lies

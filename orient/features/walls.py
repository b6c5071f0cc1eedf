"""Everything that faces something closely: walls, gaps, and the details among them.

They are looked for together, since one pair of surfaces is one of the three and never two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features import narrow_gap, thin_wall, vanishing
from orient.features.cylinders import Cylinder
from orient.features.facing import Samples, facing
from orient.features.rays import Rays
from orient.features.round_sheets import all_sheets
from orient.features.vanishing import Sorted
from orient.part.mesh import Part
from orient.process import Process

# Above this share of the surface a mesh crosses itself so much that thickness means little.
_CONFUSED = 0.005


@dataclass(frozen=True, eq=False)
class Walls:
    """What was found, and how far it can be trusted.

    Attributes
    ----------
    found : Sorted
        Walls, gaps and details.
    confused : float
        Share of the surface from which the inside of the part looks like its outside.
    """

    found: Sorted
    confused: float


def find(
    part: Part,
    angles: NDArray[np.float32],
    cylinders: Sequence[Cylinder],
    samples: Samples,
    rays: Rays,
    process: Process,
) -> Walls:
    """Find the walls, gaps and details of a part.

    Parameters
    ----------
    part : Part
        The part.
    angles : (F, 3) float32
        Signed angle at each edge, radians, from `orient.part.edges.edge_angles`.
    cylinders : sequence of Cylinder
        Its cylindrical walls.
    samples : Samples
        Samples of its surface.
    rays : Rays
        Rays cast at it.
    process : Process
        Line width and limits.

    Returns
    -------
    Walls
        Does not depend on any pose.
    """
    reach = thin_wall.reach_mm(process)
    inward = facing(part, samples, rays, "wall", reach)
    walls = all_sheets(part, inward, cylinders, rays, reach)
    confused = inward.confused
    del inward
    reach = narrow_gap.reach_mm(process)
    outward = facing(part, samples, rays, "gap", reach)
    gaps = all_sheets(part, outward, cylinders, rays, reach)
    confused = max(confused, outward.confused)
    return Walls(vanishing.sort_out(part, angles, walls, gaps, process), confused)


def doubts(part: Part, walls: Walls) -> dict[str, str]:
    """Say which kinds cannot be trusted on a mesh, and why.

    Parameters
    ----------
    part : Part
        The part.
    walls : Walls
        From `find`.

    Returns
    -------
    dict of str to str
        A sentence by kind; empty for a sound mesh.
    """
    found = {}
    if not part.closed:
        found = {
            "thin_wall": "The mesh is not closed, so walls beside its openings may be missed or invented.",
            "narrow_gap": "The mesh is not closed, so gaps beside its openings may be missed or invented.",
            "closed_void": "The mesh is not closed, so a void whose skin has an opening is not seen.",
            "trapped_support": "The mesh is not closed, so a tool may seem to get in through an opening.",
        }
    if walls.confused > _CONFUSED:
        crossing = f"Surfaces cross or look the wrong way on {walls.confused:.1%} of the part."
        found |= dict.fromkeys(("thin_wall", "narrow_gap", "vanishing"), crossing)
    return found

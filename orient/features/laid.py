"""A part laid in one pose: what the kinds that depend on the pose look at, found once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.features.bed import Bed, bed_of
from orient.features.ceilings import Ceiling, Surface, ceilings_of
from orient.features.grounded import Links, Standing, standing
from orient.features.rays import Rays
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]

# Plumb lines start this far below a ceiling, mm, or clear of the noise of a rough one.
_BELOW_MM = 1e-3
_TRIES = 4


@dataclass(frozen=True, eq=False)
class Laid:
    """A part in one pose.

    Attributes
    ----------
    part : Part
        The part.
    process : Process
        Limits.
    direction : (3,) float64
        Build direction.
    heights : (V,) float64
        Height of each vertex above the bed, mm.
    standing : Standing
        What stands and what begins in the air.
    ceilings : list of Ceiling
        What needs holding up.
    bed : Bed
        The first layer.
    rays : Rays
        Rays cast at the part.
    noise_mm : float
        How rough its mesh is.
    """

    part: Part
    process: Process
    direction: Floats
    heights: Floats
    standing: Standing
    ceilings: list[Ceiling]
    bed: Bed
    rays: Rays
    noise_mm: float

    @property
    def height_mm(self) -> float:
        """Height of the part."""
        return float(self.heights.max())

    def room_below_mm(self, points: Floats) -> Floats:
        """How far each point hangs above the next surface below it, or above the bed.

        Parameters
        ----------
        points : (N, 3) float64
            Points on ceilings, part coordinates, mm.

        Returns
        -------
        (N,) float64
            mm.
        """
        bed = float((self.part.vertices[0] @ self.direction) - self.heights[0])
        above = points @ self.direction - bed
        off = max(_BELOW_MM, 6.0 * self.noise_mm)
        room = np.full(len(points), off)
        left = np.arange(len(points))
        for _ in range(_TRIES):
            start = points[left] - room[left, None] * self.direction
            face, length = self.rays.first_hits(
                start, np.broadcast_to(-self.direction, start.shape), 2.0 * self.part.size_mm
            )
            room[left] += length
            # A place just inside a rough ceiling sees the ceiling first, from its back.
            inside = (face >= 0) & (self.part.normals[face] @ self.direction < 0)
            left = left[inside]
            room[left] += off
            if not len(left):
                break
        return np.minimum(room, np.maximum(above, 0.0))


def lay(part: Part, surface: Surface, links: Links, rays: Rays, process: Process, direction: Floats) -> Laid:
    """Lay a part.

    Parameters
    ----------
    part, surface, links, rays
        The part, and what was found of it for all poses.
    process : Process
        Limits.
    direction : (3,) float64
        Build direction, unit.

    Returns
    -------
    Laid
    """
    heights = part.vertices @ direction
    heights -= heights.min()
    stands = standing(part, links, rays, direction, heights, process.layer_height_mm / 2.0)
    return Laid(
        part=part,
        process=process,
        direction=direction,
        heights=heights,
        standing=stands,
        ceilings=ceilings_of(surface, stands, process, direction, heights),
        bed=bed_of(part, direction, heights, process.layer_height_mm),
        rays=rays,
        noise_mm=surface.noise_mm,
    )

"""Points spread evenly over a surface, the same ones every time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Steps of the additive recurrence of Roberts, The unreasonable effectiveness of quasirandom sequences, 2018:
# powers of the inverse of the plastic number fill the square evenly.
_PLASTIC = 1.32471795724474602596
_STEPS = (1.0 / _PLASTIC, 1.0 / _PLASTIC**2)


@dataclass(frozen=True, eq=False)
class Samples:
    """Points on a surface, each standing for the same area.

    Attributes
    ----------
    points, normals : (N, 3) float64
        Where they lie, and where their faces look.
    faces : (N,) int64
        Their faces.
    """

    points: Floats
    normals: Floats
    faces: NDArray[np.int64]


def samples_of(part: Part, count: int) -> Samples:
    """Spread points over a part's surface.

    Parameters
    ----------
    part : Part
        The part.
    count : int
        How many points.

    Returns
    -------
    Samples
        Faces get points by their area; within a face they follow a sequence that fills it evenly (folded
        square: Turk, Graphics Gems, 1990).
    """
    upto = np.cumsum(part.areas)
    at = (np.arange(count) + 0.5) * (upto[-1] / count)
    faces = np.minimum(np.searchsorted(upto, at), len(upto) - 1)
    number = np.arange(1, count + 1)
    u, v = (0.5 + number * _STEPS[0]) % 1.0, (0.5 + number * _STEPS[1]) % 1.0
    over = u + v > 1.0
    u[over], v[over] = 1.0 - u[over], 1.0 - v[over]
    a, b, c = np.moveaxis(part.vertices[part.faces[faces]], 1, 0)
    points = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return Samples(points, part.normals[faces], faces.astype(np.int64))

"""What a hard feature, a hole and a part's shape are to the rest of the program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

# Worst first; tables are sorted in this order.
VERDICTS = ("redesign", "support", "tune", "fine")
# Kinds of which a smaller one is harder to build; of the others it is a larger one.
SMALL_IS_HARD = frozenset(
    {
        "thin_wall",
        "narrow_gap",
        "hole",
        "slot",
        "pin",
        "first_layer",
        "vanishing",
        "thread",
        "insert_boss",
        "polygon_pocket",
    }
)

Point = tuple[float, float, float]
Number = float | int | str | bool | None


@dataclass(frozen=True, eq=False)
class Feature:
    """One entry of the list of hard features.

    Attributes
    ----------
    id : str
        Letter of the kind and number by place, such as ``B1``.
    kind : str
        ``bridge``, ``thin_wall`` …, as in `orient.features.register`.
    verdict : str
        One of `VERDICTS`.
    size_mm : float
        What is large or small about it; each kind says in its file what it is.
    limit_mm : float or None
        What the size is held against; None where no length is the limit.
    at_mm : (3,) tuple
        Place, file coordinates, mm; of what runs round, its middle.
    direction : (3,) tuple or None
        Unit vector: the lines of a bridge, the axis of a hole, the normal of a wall.
    area_mm2 : float
        Area of its faces.
    why : str
        One sentence. Every number in it is a field of the entry.
    try_first : tuple of str
        What to try, the likeliest first.
    faces : (k,) int64
        Faces of the part that belong to it.
    more : mapping of str to number
        Further figures of the kind, named as in the JSON.
    """

    id: str
    kind: str
    verdict: str
    size_mm: float
    limit_mm: float | None
    at_mm: Point
    direction: Point | None
    area_mm2: float
    why: str
    try_first: tuple[str, ...]
    faces: NDArray[np.int64]
    more: Mapping[str, Number] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Hole:
    """One entry of the inventory of cylindrical holes.

    Attributes
    ----------
    id : str
        ``H1`` …, numbered by place.
    diameter_mm, depth_mm : float
        Of the cylindrical wall; drill tip and countersink are not depth.
    axis : (3,) tuple
        Unit vector along the hole.
    centre_mm : (3,) tuple
        Middle of the wall on the axis, file coordinates, mm.
    tilt_deg : float or None
        Angle between the axis and the build direction, 0 to 90; None until a pose is given.
    through : bool
        Both ends open to free space or to another bore.
    countersunk, stepped : bool
        A conical mouth; a coaxial hole of another diameter next to it.
    residual_mm : float
        Largest distance of a wall vertex from the fitted cylinder, mm.
    fits : tuple of str
        Clearance and tap sizes that the diameter matches; of the wide step of a stepped hole the screws whose
        heads it takes come first.
    faces : (k,) int64
        Faces of the wall.
    """

    id: str
    diameter_mm: float
    depth_mm: float
    axis: Point
    centre_mm: Point
    tilt_deg: float | None
    through: bool
    countersunk: bool
    stepped: bool
    residual_mm: float
    fits: tuple[str, ...]
    faces: NDArray[np.int64]

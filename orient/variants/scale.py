"""Variants that differ so much in size that one of them was probably read in the wrong unit."""

from __future__ import annotations

import math

import numpy as np

from orient.errors import OrientError
from orient.part.mesh import Part
from orient.part.units import MM_PER, unit_word
from orient.pose.frame import principal_axes

# Ratios of units that files are mixed up in; a redesign may be this much larger or smaller besides.
_RATIOS = (10.0, 25.4, 100.0, 1000.0)
_ROOM = 1.25


def likely_slip(first: Part, second: Part) -> float | None:
    """Ratio of units by which the second is probably too large (below 1: too small); None if sizes agree.

    Parameters
    ----------
    first, second : Part
        Two variants.

    Returns
    -------
    float or None
        One of 10, 25.4, 100, 1000 or the inverse of one. Sizes are compared by the root mean square distance
        of the surface from its centroid, which does not depend on how the parts are turned.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> box = trimesh.creation.box((40, 30, 20))
    >>> likely_slip(part_from_trimesh(box), part_from_trimesh(box.copy().apply_scale(25.4)))
    25.4
    """
    ratio = _spread_mm(second) / _spread_mm(first)
    large = max(ratio, 1.0 / ratio)
    nearest = min(_RATIOS, key=lambda one: abs(math.log(large / one)))
    if not nearest / _ROOM <= large <= nearest * _ROOM:
        return None
    return nearest if ratio > 1.0 else 1.0 / nearest


def refuse_slip(first: Part, second: Part) -> None:
    """Refuse to compare variants of which one was probably read in the wrong unit.

    Raises
    ------
    OrientError
        The sentence says how many times larger it is, and which unit would mend that.
    """
    slip = likely_slip(first, second)
    if slip is None:
        return
    if slip > 1.0:
        large, small, times = second, first, slip
    else:
        large, small, times = first, second, 1.0 / slip
    units = [
        f"{unit_word(a)} read as {unit_word(b)}"
        for b in MM_PER
        for a in MM_PER
        if math.isclose(MM_PER[b] / MM_PER[a], times) and (b == large.units or a == small.units)
    ]
    likely = f" ({units[0]}?)" if units else ""
    raise OrientError(
        f"{large.name} is about {times:g} times as large as {small.name}, as a file in the wrong unit "
        f"is{likely}: export both in the same unit, or in a format that states it, such as 3MF."
    )


def _spread_mm(part: Part) -> float:
    return float(np.sqrt(principal_axes(part)[1].sum()))

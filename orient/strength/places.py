"""Names of places in a brief: the selectors of `orient.part.select`, and holes by nearness or by number."""

from __future__ import annotations

import math

import numpy as np

from orient.errors import OrientError
from orient.features.model import Hole
from orient.features.shape import inventory
from orient.part.mesh import Part
from orient.part.select import Selection, select

_NEAR_FORM = "hole-near:x,y,z"
# Two holes are equally near within this.
_EQUAL_MM = 1e-3


def select_place(part: Part, selector: str) -> Selection:
    """Find the faces that a load or a fixing names.

    Parameters
    ----------
    part : Part
        The part.
    selector : str
        One of the forms of `orient.part.select`, ``hole-near:x,y,z`` for the wall of the hole whose bore is
        nearest the point, or ``hole:H1`` for the hole of that number in the inventory.

    Returns
    -------
    Selection
        Neither empty nor the whole surface.

    Raises
    ------
    OrientError
        When the selector is malformed, or names nothing or everything.
    """
    kind, colon, rest = selector.strip().partition(":")
    match kind.strip().lower() if colon else "":
        case "hole-near":
            found = _hole_near(part, selector, rest)
        case "hole":
            found = _hole_named(part, selector, rest.strip())
        case _:
            found = select(part, selector)
    if len(found.faces) == len(part.faces) or found.area_mm2 > 0.999 * part.area_mm2:
        raise OrientError(f'selector "{selector}" selects the whole surface; name the faces that are meant.')
    return found


def _hole_near(part: Part, selector: str, rest: str) -> Selection:
    try:
        point = np.array([float(word) for word in rest.split(",")])
    except ValueError:
        point = np.empty(0)
    if len(point) != 3 or not np.isfinite(point).all():
        raise OrientError(f'selector "{selector}" does not hold three numbers; write {_NEAR_FORM}.')
    holes = _holes(part, selector)
    away = np.array([_distance(hole, point) for hole in holes])
    nearest = np.flatnonzero(away <= away.min() + _EQUAL_MM)
    if len(nearest) > 1:
        # A stepped hole is one bore after another: the point is in the one whose middle it is nearest to.
        middle = [np.linalg.norm(np.array(holes[i].centre_mm) - point) for i in nearest]
        order = np.argsort(middle)
        if middle[order[1]] - middle[order[0]] <= _EQUAL_MM:
            raise OrientError(
                f'selector "{selector}" is equally near {len(nearest)} holes; move the point into one of '
                "them."
            )
        nearest = nearest[order]
    if away.min() > part.size_mm:
        hole = holes[int(nearest[0])]
        raise OrientError(
            f'selector "{selector}" is {away.min():.1f} mm from the nearest hole, more than the part is '
            f"large; that hole is at {_said(hole)}."
        )
    return _selection(part, selector, holes[int(nearest[0])])


def _hole_named(part: Part, selector: str, name: str) -> Selection:
    holes = _holes(part, selector)
    for hole in holes:
        if hole.id.lower() == name.lower():
            return _selection(part, selector, hole)
    known = ", ".join(hole.id for hole in holes)
    raise OrientError(f'selector "{selector}" names no hole of {part.name}; it has {known}.')


def _holes(part: Part, selector: str) -> list[Hole]:
    holes = inventory(part)
    if not holes:
        raise OrientError(
            f'selector "{selector}" selects nothing: no cylindrical hole was found in {part.name}; name the '
            "faces with face-near:x,y,z."
        )
    return holes


def _distance(hole: Hole, point: np.ndarray) -> float:
    """Distance of a point from the bore, 0 inside it."""
    away = point - np.array(hole.centre_mm)
    along = float(away @ np.array(hole.axis))
    across = float(np.linalg.norm(away - along * np.array(hole.axis)))
    return math.hypot(max(abs(along) - hole.depth_mm / 2, 0.0), max(across - hole.diameter_mm / 2, 0.0))


def _selection(part: Part, selector: str, hole: Hole) -> Selection:
    faces = np.sort(np.asarray(hole.faces, dtype=np.int64))
    area = float(part.areas[faces].sum())
    return Selection(
        selector, faces, area, f"wall of hole {hole.id}, diameter {hole.diameter_mm:.2f} mm, at {_said(hole)}"
    )


def _said(hole: Hole) -> str:
    return f"({', '.join(f'{round(x, 2) + 0.0:g}' for x in hole.centre_mm)})"

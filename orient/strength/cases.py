"""Load cases: what a brief says about holding and pushing, as faces and vectors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief, LoadCase
from orient.brief import Moment as MomentWish
from orient.errors import OrientError
from orient.part.cylinder import cylinder_of
from orient.part.mesh import Part
from orient.part.select import Selection
from orient.strength.held import Held
from orient.strength.loads import Force, Loads, Moment, Pressure
from orient.strength.places import select_place

# Standard gravity (3rd CGPM, 1901).
GRAVITY_M_S2 = 9.80665


@dataclass(frozen=True, eq=False)
class Case:
    """One load case.

    Attributes
    ----------
    name : str
        For people.
    both_ways : bool
        Judge the reverse too.
    held : tuple of Held
        Where the part is held.
    loads : Loads
        What acts on it.
    selected : tuple of Selection
        What the selectors found, fixings first.
    """

    name: str
    both_ways: bool
    held: tuple[Held, ...]
    loads: Loads
    selected: tuple[Selection, ...] = ()


def cases_of(part: Part, brief: Brief) -> tuple[Case, ...]:
    """Read the load cases of a brief.

    Parameters
    ----------
    part : Part
        The part whose faces they name.
    brief : Brief
        With at least one ``[[load.case]]``.

    Returns
    -------
    tuple of Case

    Raises
    ------
    OrientError
        For a case that holds nothing, loads nothing, loads what it holds, or names faces that are not there.
    """
    if not brief.load.case:
        raise OrientError(
            "The brief has no [[load.case]]: say where the part is held and where it is pushed, to have its "
            "strength judged."
        )
    known: dict[str, Selection] = {}
    cases = []
    for number, wish in enumerate(brief.load.case, start=1):
        cases.append(_case(part, wish, wish.name or f"case {number}", known))
    names = [case.name for case in cases]
    if twice := next((name for name in names if names.count(name) > 1), None):
        raise OrientError(f'Two load cases are called "{twice}": give each [[load.case]] a name of its own.')
    return tuple(cases)


def _case(part: Part, wish: LoadCase, name: str, known: dict[str, Selection]) -> Case:
    def found(selector: str) -> Selection:
        if selector not in known:
            try:
                known[selector] = select_place(part, selector)
            except OrientError as error:
                raise OrientError(f'In load case "{name}": {error}') from None
        return known[selector]

    if not wish.fixed:
        raise OrientError(
            f'Load case "{name}" holds the part nowhere: name its fixings, such as '
            'fixed = ["hole-near:0,0,3"].'
        )
    fixings = [found(selector) for selector in wish.fixed]
    loads = Loads(
        tuple(Force(found(f.on).faces, np.array(f.newtons)) for f in wish.force),
        tuple(Pressure(found(p.on).faces, p.mpa) for p in wish.pressure),
        tuple(_moment(part, m, found(m.on), name) for m in wish.moment),
        _body(wish, name),
    )
    loaded = {f.on: np.any(f.newtons) for f in wish.force} | {p.on: np.any(p.mpa) for p in wish.pressure}
    loaded |= {m.on: np.any(m.newton_mm) for m in wish.moment}
    if not any(loaded.values()) and not np.any(loads.body_m_s2):
        raise OrientError(
            f'Load case "{name}" loads nothing: give it a force, a pressure, a moment or gravity.'
        )
    held = np.unique(np.concatenate([one.faces for one in fixings]))
    for selector in loaded:
        both = np.intersect1d(found(selector).faces, held)
        if part.areas[both].sum() > 1e-6 * found(selector).area_mm2:
            raise OrientError(
                f'In load case "{name}" the load on "{selector}" acts on a face that is held: take one of '
                "the two off it."
            )
    selectors = dict.fromkeys([*wish.fixed, *loaded])
    return Case(
        name,
        wish.both_ways,
        (Held(held),),
        loads,
        tuple(found(selector) for selector in selectors),
    )


def _moment(part: Part, wish: MomentWish, found: Selection, name: str) -> Moment:
    if isinstance(wish.newton_mm, tuple):
        return Moment(found.faces, np.array(wish.newton_mm))
    if wish.about is not None:
        axis = np.array(wish.about)
    else:
        round_wall = cylinder_of(part, found.faces)
        if round_wall is None:
            raise OrientError(
                f'In load case "{name}" the moment on "{wish.on}" is one number, but those faces are no '
                "round wall with an axis: give newton_mm as three numbers."
            )
        axis = round_wall.direction
    if np.linalg.norm(axis) < 1e-9:
        raise OrientError(f'In load case "{name}" the axis of the moment on "{wish.on}" has no length.')
    return Moment(found.faces, wish.newton_mm * axis / np.linalg.norm(axis))


def _body(wish: LoadCase, name: str) -> NDArray[np.float64]:
    pull = np.zeros(3)
    if wish.gravity is not None:
        down = np.array(wish.gravity)
        if np.linalg.norm(down) < 1e-9:
            raise OrientError(f'In load case "{name}" gravity has no length: give the direction it pulls in.')
        pull += GRAVITY_M_S2 * down / np.linalg.norm(down)
    if wish.acceleration_m_s2 is not None:
        # A part that is sped up is drawn the other way.
        pull -= np.array(wish.acceleration_m_s2)
    return pull

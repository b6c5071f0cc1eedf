"""The brief of the first variant in another variant's frame: axes, forces, selectors.

A selector that named a face of the first variant must name the same face of the other, where that still has
it: near the old one and looking the same way. If it does not, the selector is refused by name, for a load on
the wrong face would be judged without a word.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief
from orient.errors import OrientError
from orient.features.hole import find
from orient.features.model import Hole
from orient.part.mesh import Part
from orient.part.select import select
from orient.strength.places import select_place
from orient.variants.nearest import surface_of
from orient.variants.register import Registration

Floats = NDArray[np.float64]

# A face is the same face while it is this near, in mm or as a share of the part, and turned no further.
NEAR_MM, NEAR_SHARE = 1.0, 0.02
TURNED_DEG = 20.0
# A hole is the same hole while its middle moved no further than this many diameters, and it grew or shrank no
# more than this.
HOLE_MOVED, HOLE_GREW = 2.0, 1.5


@dataclass(frozen=True)
class _Job:
    """Two variants, how they lie, and what they are called."""

    first: Part
    other: Part
    placed: Registration
    names: tuple[str, str]


def carried(brief: Brief, first: Part, other: Part, placed: Registration, names: tuple[str, str]) -> Brief:
    """Carry a brief from the first variant's frame to another's.

    Parameters
    ----------
    brief : Brief
        In the first variant's coordinates.
    first, other : Part
        The variants.
    placed : Registration
        How the other lies on the first.
    names : (str, str)
        What the two are called in sentences.

    Returns
    -------
    Brief
        The same load on the same faces. Moments turn with the sense of the frame: in a mirror image they are
        mirrored as well.

    Raises
    ------
    OrientError
        For a selector that no longer finds its face, or that cannot be turned.
    """
    job = _Job(first, other, placed, names)
    load: dict[str, Any] = {}
    if brief.load.stress_axis:
        load["stress_axis"] = tuple(_vector(placed, axis) for axis in brief.load.stress_axis)
    cases = []
    for case in brief.load.case:
        forces = [
            one.model_copy(update={"on": _place(job, one.on), "newtons": _vector(placed, one.newtons)})
            for one in case.force
        ]
        pressures = [one.model_copy(update={"on": _place(job, one.on)}) for one in case.pressure]
        moments = []
        for one in case.moment:
            moment: dict[str, Any] = {"on": _place(job, one.on)}
            if isinstance(one.newton_mm, tuple):
                sense = np.sign(np.linalg.det(placed.rotation))
                moment["newton_mm"] = _triple(sense * np.array(_vector(placed, one.newton_mm)))
            if one.about is not None:
                moment["about"] = _triple(placed.points_in_second(np.array(one.about)))
            moments.append(one.model_copy(update=moment))
        changed: dict[str, Any] = {
            "fixed": tuple(_place(job, on) for on in case.fixed),
            "force": tuple(forces),
            "pressure": tuple(pressures),
            "moment": tuple(moments),
        }
        for name in ("gravity", "acceleration_m_s2"):
            if (vector := getattr(case, name)) is not None:
                changed[name] = _vector(placed, vector)
        cases.append(case.model_copy(update=changed))
    if cases:
        load["case"] = tuple(cases)
    faces = tuple(one.model_copy(update={"on": _face(job, one.on)}) for one in brief.faces)
    part = brief.part.model_copy(update={"file": None, "body": None})
    return brief.model_copy(
        update={
            "part": part,
            "faces": faces,
            "load": brief.load.model_copy(update=load) if load else brief.load,
        }
    )


def without_places(brief: Brief) -> Brief:
    """The brief without what speaks of faces: for parts that have no faces in common."""
    return brief.model_copy(update={"faces": (), "load": brief.load.model_copy(update={"case": ()})})


def _vector(placed: Registration, vector: tuple[float, float, float]) -> tuple[float, float, float]:
    if placed.same_frame:
        return vector
    return _triple(placed.vectors_in_second(np.array(vector)))


def _triple(values: Floats) -> tuple[float, float, float]:
    # Adding zero turns −0 into 0.
    x, y, z = (round(float(v), 12) + 0.0 for v in values)
    return x, y, z


def _face(job: _Job, selector: str) -> str:
    return _checked(job, selector, select)


def _place(job: _Job, selector: str) -> str:
    """A selector of the load cases, which may name holes as well."""
    kind = selector.partition(":")[0].strip().lower()
    if kind in ("hole", "hole-near"):
        return _hole(job, selector)
    return _checked(job, selector, select_place)


def _checked(job: _Job, selector: str, find_faces: Callable[[Part, str], Any]) -> str:
    """Carry a selector, and see that it finds the same face."""
    own = find_faces(job.first, selector)
    moved = _moved(job, selector)
    try:
        there = find_faces(job.other, moved)
    except OrientError as error:
        raise _lost(job, selector, str(error)) from None
    gap = _gap_mm(job, own.faces, there.faces)
    if gap > max(NEAR_MM, NEAR_SHARE * job.first.size_mm):
        raise _lost(job, selector, f"the face that is nearest there lies {gap:.1f} mm away")
    mean, mean_there = _mean(job.first, own.faces), job.placed.vectors_in_first(_mean(job.other, there.faces))
    lengths = float(np.linalg.norm(mean)), float(np.linalg.norm(mean_there))
    # Only a face that looks one way can be seen to look another.
    if min(lengths) > 0.9:
        angle = float(np.degrees(np.arccos(np.clip(mean @ mean_there / (lengths[0] * lengths[1]), -1, 1))))
        if angle > TURNED_DEG:
            raise _lost(job, selector, f"the face that is nearest there is turned by {angle:.0f}°")
    return moved


def _gap_mm(job: _Job, own: NDArray[np.int64], there: NDArray[np.int64]) -> float:
    """Least distance between two sets of faces, from corners and middles of either."""
    first, other = job.first, job.other
    face, face_there = np.asarray(first.faces)[own], np.asarray(other.faces)[there]
    vertices = job.placed.points_in_first(other.vertices)
    to = surface_of(first.vertices, face)
    back = surface_of(vertices, face_there)
    points = np.vstack([vertices[np.unique(face_there)], vertices[face_there].mean(axis=1)])
    mine = np.vstack([first.vertices[np.unique(face)], first.centroids[own]])
    return float(min(np.abs(to.nearest(points)[2]).min(), np.abs(back.nearest(mine)[2]).min()))


def _mean(part: Part, faces: NDArray[np.int64]) -> Floats:
    areas = part.areas[faces]
    return areas @ part.normals[faces] / areas.sum()


def _moved(job: _Job, selector: str) -> str:
    """Write a selector in the other variant's coordinates."""
    kind, _, rest = selector.partition(":")
    kind = kind.strip().lower()
    if job.placed.same_frame or kind == "group":
        return selector
    numbers = np.array([float(word) for word in rest.split(",")])
    placed = job.placed
    match kind:
        case "face-near":
            values = placed.points_in_second(numbers)
        case "plane":
            # n·x = d with x = R·y + t is (Rᵀn)·y = d − n·t.
            normal, offset = numbers[:3], numbers[3]
            values = np.append(placed.vectors_in_second(normal), offset - normal @ placed.shift)
        case "cylinder":
            point, axis = placed.points_in_second(numbers[:3]), placed.vectors_in_second(numbers[3:6])
            values = np.concatenate([point, axis, numbers[6:]])
        case _:
            square = np.abs(placed.rotation)
            if np.abs(square - np.round(square)).max() > 1e-6:
                raise OrientError(
                    f'Selector "{selector}" is a box along the axes of {job.names[0]}, and {job.names[1]} is '
                    "turned against them: name the faces with face-near, plane or cylinder."
                )
            corners = placed.points_in_second(numbers.reshape(2, 3))
            values = np.concatenate([corners.min(axis=0), corners.max(axis=0)])
    return f"{kind}:{_numbers(values)}"


def _numbers(values: Floats) -> str:
    return ",".join(f"{round(float(v), 9) + 0.0:.12g}" for v in values)


def _hole(job: _Job, selector: str) -> str:
    """Carry a hole by its middle: its number may be another's in the other variant."""
    own_faces = select_place(job.first, selector).faces
    own = next(hole for hole in find(job.first) if set(hole.faces.tolist()) == set(own_faces.tolist()))
    centre = np.array(own.centre_mm)
    there = find(job.other)
    if not there:
        raise _lost(job, selector, "there is no hole")
    placed = job.placed

    def away(hole: Hole) -> float:
        return float(np.linalg.norm(placed.points_in_first(np.array(hole.centre_mm)) - centre))

    near = min(there, key=away)
    turned = abs(float(placed.vectors_in_first(np.array(near.axis)) @ np.array(own.axis)))
    ratio = near.diameter_mm / own.diameter_mm
    if away(near) > HOLE_MOVED * own.diameter_mm:
        raise _lost(job, selector, f"the hole that is nearest there lies {away(near):.1f} mm away")
    if turned < np.cos(np.radians(TURNED_DEG)):
        raise _lost(job, selector, "the hole that is nearest there runs another way")
    if not 1.0 / HOLE_GREW <= ratio <= HOLE_GREW:
        raise _lost(
            job,
            selector,
            f"the hole that is nearest there has a diameter of {near.diameter_mm:.2f} mm, not "
            f"{own.diameter_mm:.2f} mm",
        )
    return f"hole-near:{_numbers(np.array(near.centre_mm))}"


def _lost(job: _Job, selector: str, why: str) -> OrientError:
    return OrientError(
        f'Selector "{selector}" finds its face in {job.names[0]} but not in {job.names[1]} '
        f"({why.rstrip('.')}): name a face that both have."
    )

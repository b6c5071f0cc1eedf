"""What a click on the part stands for: a selector, and the faces that it selects."""

from __future__ import annotations

import numpy as np
import trimesh
from numpy.typing import NDArray

from orient.desk.answers import Picked, Vector
from orient.desk.jobs.held import Held, Say
from orient.errors import OrientError
from orient.part.mesh import Part
from orient.part.regions import regions_of
from orient.part.select import cylinder_axis, select
from orient.strength.places import select_place

Floats = NDArray[np.float64]

# A face that turns no further than this from its mean is flat.
_FLAT = 0.9998
# Of so many of its largest triangles the middles are looked at.
_PLACES = 64
# Of a longer rim not every edge is held against them.
_RIM = 5000
# A place so near a face lies on it, mm.
_ON_MM = 1e-4


def pick(held: Held, say: Say, *, point: Vector, face: int, kind: str) -> Picked:
    """Name the face or the hole under a click.

    Parameters
    ----------
    held : Held
        The part.
    say : callable
        Not used: it is done at once.
    point : (3,) tuple
        Where the part was clicked, in its own coordinates.
    face : int
        The triangle there.
    kind : str
        ``face`` for the smooth face, ``hole`` for the hole whose wall it is.

    Returns
    -------
    Picked

    Raises
    ------
    OrientError
        Where nothing can be named.
    """
    known = held.at_hand
    part = known.part
    if not 0 <= face < len(part.faces):
        raise OrientError("That click met no face of the part: click on the part itself.")
    if kind == "hole":
        one = next((one for one in known.holes if face in one.faces), None)
        if one is None:
            raise OrientError("That face belongs to no hole: click on the wall of one, or take the face.")
        selector = _selector("hole-near", np.array(one.centre_mm))
        found = select_place(part, selector)
        return _picked(part, found.selector, found.description, found.faces, one.centre_mm, one.axis)
    for place in (*_inside(part, face), part.centroids[face], np.array(point)):
        try:
            found = select(part, _selector("face-near", place))
        except OrientError:
            continue  # equally near to two faces, as on their edge
        if face in found.faces:
            x, y, z = np.round(place, 2).tolist()
            return _picked(part, found.selector, found.description, found.faces, (x, y, z), None)
    raise OrientError("That face is too small to be named by a point: click on a larger one beside it.")


def named(held: Held, say: Say, *, selectors: list[str]) -> list[Picked | str]:
    """Find what the selectors of a brief name, to show it; a sentence for one that names nothing.

    Parameters
    ----------
    held : Held
        The part.
    say : callable
        Not used.
    selectors : list of str
        As a brief writes them.

    Returns
    -------
    list of Picked or str
        In the same order.
    """
    part = held.at_hand.part
    answers: list[Picked | str] = []
    for selector in selectors:
        try:
            found = select_place(part, selector)
        except OrientError as error:
            answers.append(str(error))
            continue
        centre = np.average(part.centroids[found.faces], axis=0, weights=part.areas[found.faces] + 1e-12)
        x, y, z = centre.tolist()
        answers.append(_picked(part, selector, found.description, found.faces, (x, y, z), None))
    return answers


def _selector(kind: str, place: Floats) -> str:
    return f"{kind}:" + ",".join(f"{round(float(x), 2) + 0.0:g}" for x in place)


def _inside(part: Part, face: int) -> list[Floats]:
    """Places on a smooth face, the farthest from its edge first.

    Not the place that was clicked: on a part that was designed anew, what lies in the middle of a face is the
    likeliest to lie on it still.
    """
    region = regions_of(part).region
    own = np.flatnonzero(region == region[face])
    largest = own[np.argsort(-part.areas[own])[:_PLACES]]
    places = part.centroids[largest]
    weights = part.areas[own]
    if weights.sum() > 0 and (part.normals[own][weights > 0] @ part.normals[face]).min(initial=1.0) > _FLAT:
        middle = np.average(part.centroids[own], axis=0, weights=weights)
        near = trimesh.triangles.closest_point(
            part.vertices[part.faces[own]], np.broadcast_to(middle, (len(own), 3))
        )
        # What goes round a hole has its middle there.
        if np.linalg.norm(near - middle, axis=1).min() < _ON_MM:
            places = np.vstack([places, middle])
    # Edges beyond which another face begins, or none.
    beyond = part.neighbours[own]
    rim = np.stack([part.faces[own], np.roll(part.faces[own], -1, axis=1)], axis=2)[
        (beyond < 0) | (region[beyond] != region[face])
    ]
    ends = part.vertices[rim[:: len(rim) // _RIM + 1]]
    if not len(ends):
        return list(places)
    way = ends[:, 1] - ends[:, 0]
    along = np.einsum("pej,ej->pe", places[:, None] - ends[:, 0], way) / (way**2).sum(axis=1)
    nearest = ends[:, 0] + np.clip(along, 0.0, 1.0)[..., None] * way
    clear = np.linalg.norm(places[:, None] - nearest, axis=2).min(axis=1)
    return list(places[np.argsort(-np.round(clear, 6), kind="stable")])


def _picked(
    part: Part, selector: str, words: str, faces: NDArray[np.int64], at: Vector, axis: Vector | None
) -> Picked:
    areas = part.areas[faces]
    mean = areas @ part.normals[faces]
    length = float(np.linalg.norm(mean))
    outward = mean / length if length > 1e-9 * max(float(areas.sum()), 1e-300) else np.array([0.0, 0.0, 1.0])
    along: Floats | None = None if axis is None else np.array(axis)
    if along is None and (part.normals[faces][areas > 0] @ outward).min(initial=1.0) > _FLAT:
        along = outward
    if along is None:
        along = cylinder_axis(part, faces)
    return Picked(
        selector,
        words,
        at,
        None if along is None else _tidy(along),
        _tidy(outward),
        float(areas.sum()),
        faces.astype(np.int32),
    )


def _tidy(vector: Floats) -> Vector:
    """A direction to six decimals, so that an axis of the file is written as one."""
    x, y, z = (np.round(vector, 6) + 0.0).tolist()
    return x, y, z

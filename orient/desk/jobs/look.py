"""How a pose looks: where it lies, its support, its hard features, its colours, its small picture."""

from __future__ import annotations

import numpy as np

from orient.desk.answers import Colours, Pose, Vector
from orient.desk.jobs.held import Held, Say
from orient.features.model import VERDICTS, Feature
from orient.features.register import Inspection
from orient.features.sharp_corner import SHARP_DEG
from orient.part.mesh import Part
from orient.show.page.page import feature_rows
from orient.show.picture.paint import Paint
from orient.show.viewer.finer import levels_of
from orient.show.viewer.payload import finer_data, key_data, lying_data, owners
from orient.show.words import direction_words

# Faces that look all round, as those of a hole do, leave less than this share of their area to look one way.
_ONE_WAY = 0.05
# Pixels of the small pictures, as wide as high times four thirds.
SMALL = (224, 168)
# More edges of a corner than this are not drawn.
_MOST_LINES = 400


def pose(held: Held, say: Say, *, direction: Vector, number: int, features: bool = False) -> Pose:
    """Lay the part for the viewer.

    Parameters
    ----------
    held : Held
        The part and the last evaluation.
    say : callable
        Is told what is being done.
    direction : (3,) tuple
        Build direction.
    number : int
        What the viewer calls the pose.
    features : bool
        Whether hard features are wanted even where the ranking counted none.

    Returns
    -------
    Pose
    """
    if features:
        say("Looking for hard features", None)
    subject = held.subject(np.array(direction), features=features)
    found = subject.found
    lying, columns = lying_data(subject, number)
    return Pose(
        lying=lying,
        columns=columns.astype("<f4").tobytes(),
        overhang=_colours(subject.paint("overhang")),
        features=None if found is None else tuple(_features(found)),
        hard=None if found is None else _colours(subject.paint("features")),
        owner=b"" if found is None else owners(subject.part, found.features).tobytes(),
        said=() if found is None else tuple(dict.fromkeys(found.unreliable.values())),
    )


def colours(held: Held, say: Say, *, kind: str, direction: Vector) -> Colours:
    """Colour the part in one way.

    Parameters
    ----------
    held : Held
        The part and the last evaluation.
    say : callable
        Not used.
    kind : str
        One of `orient.show.picture.subject.COLOURS`.
    direction : (3,) tuple
        Build direction.

    Returns
    -------
    Colours
    """
    subject = held.subject(np.array(direction), features=kind == "features")
    if kind == "safety" and subject.field is not None:
        key, code = finer_data(subject.part, subject.safety, levels_of(subject.part))
        return Colours(key, code.tobytes())
    return _colours(subject.paint(kind))


def picture(held: Held, say: Say, *, direction: Vector) -> tuple[bytes, str]:
    """Draw the small picture of a pose.

    Parameters
    ----------
    held : Held
        The part and the last evaluation.
    say : callable
        Not used.
    direction : (3,) tuple
        Build direction.

    Returns
    -------
    png : bytes
    alt : str
        What it shows, in words.
    """
    drawn = held.subject(np.array(direction)).draw("overhang", "corner", SMALL, legend=False, words=False)
    return drawn.png, drawn.alt


def _colours(paint: Paint) -> Colours:
    return Colours(key_data(paint), paint.code.tobytes())


def _lines(part: Part, one: Feature) -> list[float]:
    """The edges of an inner corner, six coordinates each; no more than the viewer draws well."""
    if one.kind != "sharp_corner" or "corners" in one.more:
        return []
    beside = np.zeros(len(part.faces), dtype=np.bool_)
    beside[one.faces] = True
    face, side = np.nonzero(beside[:, None] & (part.neighbours > np.arange(len(part.faces))[:, None]))
    over = part.neighbours[face, side]
    # Inner: what lies across the edge rises from the plane of the face.
    start, end = part.faces[face, side], part.faces[face, (side + 1) % 3]
    far = part.vertices[part.faces[over]].mean(axis=1) - part.vertices[start]
    inner = (far * part.normals[face]).sum(axis=1) > 0.0
    # A hair more than the finder's own limit, whose digits are its own.
    bent = (part.normals[face] * part.normals[over]).sum(axis=1) < np.cos(np.radians(SHARP_DEG - 1.0))
    kept = beside[over] & inner & bent
    lines = np.concatenate([part.vertices[start[kept]], part.vertices[end[kept]]], axis=1)
    return lines[:_MOST_LINES].round(3).ravel().tolist()


def _features(found: Inspection) -> list[dict[str, object]]:
    """Hard features as the page words them, worst first, each with its number in `owner` and its place."""
    rows = []
    for number, (one, row) in enumerate(zip(found.features, feature_rows(found), strict=True), start=1):
        centre = np.array(one.at_mm)
        if len(one.faces):
            spots = found.part.vertices[found.part.faces[one.faces]].reshape(-1, 3)
            reach = float(np.linalg.norm(spots - centre, axis=1).max())
            areas = found.part.areas[one.faces]
            looks = areas @ found.part.normals[one.faces]
            if np.linalg.norm(looks) < _ONE_WAY * areas.sum():
                looks = np.zeros(3)
            # The middle of faces about a hole or a corner lies on none of them: one that can be seen is.
            middles = found.part.centroids[one.faces]
            sight = middles[np.linalg.norm(middles - centre, axis=1).argmin()]
        else:
            reach, looks, sight = 0.1 * found.part.size_mm, np.zeros(3), centre
        rows.append(
            row
            | {
                "number": number,
                "place": list(one.at_mm),
                "reach": reach,
                "looks": looks.tolist(),
                "sight": sight.tolist(),
                "lines": _lines(found.part, one),
                "along": "" if one.direction is None else direction_words(np.array(one.direction)),
            }
        )
    return sorted(rows, key=lambda row: VERDICTS.index(str(row["verdict"])))

"""Variants beside each other, coloured by what was added and removed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from trimesh.remesh import subdivide_to_size

from orient.part.mesh import Part
from orient.show.picture.colours import BLUE, ORANGE, PLAIN
from orient.show.picture.draw import Picture, angles_for, draw_picture
from orient.show.picture.paint import Kind, KindPaint
from orient.show.picture.seen import scene_of
from orient.variants.changes import Change
from orient.variants.compare import Pair
from orient.variants.nearest import surface_of

Floats = NDArray[np.float64]

UNCHANGED = Kind("unchanged", PLAIN)
REMOVED = Kind("removed", ORANGE, "lines")
ADDED = Kind("added", BLUE, "dots")
# Faces beside a change are split to this share of the part, so that the colour ends where the change does.
_FINE = 80.0
# A face belongs to a change when its middle is this near to the piece, as a share of the part.
_ON = 1e-4


def marked(
    part: Part, groups: Sequence[Sequence[Change]], kind: Kind, to_part: Floats
) -> tuple[Part, list[KindPaint]]:
    """Split a part's faces beside changes, and colour those that changed.

    Parameters
    ----------
    part : Part
        The variant.
    groups : sequence of sequence of Change
        Changes that it takes part in, a group for each pair.
    kind : Kind
        What to call and colour them.
    to_part : (4, 4) float64
        From the coordinates of the changes to the part's own.

    Returns
    -------
    part : Part
        The same surface with more faces.
    paints : list of KindPaint
        One for each group.
    """
    pieces = [[one.vertices @ to_part[:3, :3].T + to_part[:3, 3] for one in group] for group in groups]
    corners = part.vertices[part.faces]
    low, high = corners.min(axis=1), corners.max(axis=1)
    margin = _ON * part.size_mm
    near = np.zeros(len(part.faces), dtype=bool)
    for piece in (piece for group in pieces for piece in group):
        near |= ((low <= piece.max(axis=0) + margin) & (high >= piece.min(axis=0) - margin)).all(axis=1)
    vertices, faces = np.asarray(part.vertices), np.asarray(part.faces)
    if near.any():
        used, own = np.unique(faces[near], return_inverse=True)
        fine, split = subdivide_to_size(
            np.array(vertices[used]), own.reshape(-1, 3), part.size_mm / _FINE, max_iter=12
        )[:2]
        faces = np.vstack([faces[~near], split + len(vertices)]).astype(np.int32)
        vertices = np.vstack([vertices, fine])
    finer = replace(part, vertices=vertices, faces=faces, groups={})
    middles = finer.centroids
    paints = []
    for group, moved in zip(groups, pieces, strict=True):
        code = np.zeros(len(faces), dtype=np.uint8)
        for one, piece in zip(group, moved, strict=True):
            reach = (middles >= piece.min(axis=0) - margin) & (middles <= piece.max(axis=0) + margin)
            rows = np.flatnonzero(reach.all(axis=1))
            away = surface_of(piece, one.faces).nearest(middles[rows], margin)[2]
            code[rows[np.abs(away) <= margin]] = 1
        paints.append(KindPaint("what changed", (UNCHANGED, kind), code))
    return finer, paints


def marked_pair(pair: Pair) -> tuple[tuple[Part, KindPaint], tuple[Part, KindPaint]]:
    """Colour both variants of a pair: what was removed on the first, what was added on the second."""
    removed = [one for one in pair.changes.pieces if one.what == "removed"]
    added = [one for one in pair.changes.pieces if one.what == "added"]
    first, paints = marked(pair.first.part, [removed], REMOVED, np.eye(4))
    back = pair.second.placed.reversed().transform
    second, others = marked(pair.second.part, [added], ADDED, back)
    return (first, paints[0]), (second, others[0])


def draw_pair(
    pair: Pair, transforms: tuple[Floats, Floats], view: str = "corner", size: tuple[int, int] = (640, 480)
) -> tuple[Picture, Picture]:
    """Draw both variants of a pair on the bed, coloured by what changed, seen from one place.

    Parameters
    ----------
    pair : Pair
        The variants.
    transforms : ((4, 4) float64, (4, 4) float64)
        From the coordinates of either to the bed's.
    view : str
        As `orient.show.picture.draw.angles_for` knows it.
    size : (int, int)
        Pixels of either.

    Returns
    -------
    (Picture, Picture)
    """
    pictures = []
    angles = None
    for one, (part, paint), transform, word in zip(
        (pair.first, pair.second), marked_pair(pair), transforms, ("removed", "added"), strict=True
    ):
        scene = scene_of(part)
        angles = angles or angles_for(scene, transform, view)
        count = sum(piece.what == word for piece in pair.changes.pieces)
        alt = f"{one.name} on the bed; {count} pieces {word} are coloured."
        pictures.append(draw_picture(scene, transform, paint, angles=angles, size=size, alt=alt))
    return pictures[0], pictures[1]

"""The edges at which some faces of a part bend, as lines in space."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part

# Cosine of a bend that is an edge: 26°.
_BENT = 0.9


def bent_edges(part: Part, faces: NDArray[np.int64], *, rim: bool = False) -> NDArray[np.float64]:
    """Give the edges at which some faces of a part bend against each other.

    Parameters
    ----------
    part : Part
        The part.
    faces : (k,) int64
        Some of its faces.
    rim : bool
        The edges to all other faces instead.

    Returns
    -------
    (E, 2, 3) float64
        Both ends of each, each edge once, mm.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> cube = part_from_trimesh(trimesh.creation.box((2, 2, 2)))
    >>> bent_edges(cube, np.arange(12)).shape, bent_edges(cube, np.arange(12), rim=True).shape
    ((12, 2, 3), (0, 2, 3))
    """
    own = np.zeros(len(part.faces), dtype=bool)
    own[faces] = True
    beside = part.neighbours[faces]
    other = np.where(beside >= 0, beside, 0)
    inner = (beside >= 0) & own[other]
    if rim:
        chosen = ~inner
    else:
        turned = np.einsum("fi,fki->fk", part.normals[faces], part.normals[other]) < _BENT
        chosen = inner & turned & (beside > np.asarray(faces)[:, None])
    row, side = np.nonzero(chosen)
    corners = part.faces[np.asarray(faces)[row]]
    step = np.arange(len(row))
    ends = np.stack([corners[step, side], corners[step, (side + 1) % 3]], axis=1)
    found: NDArray[np.float64] = part.vertices[ends]
    return found

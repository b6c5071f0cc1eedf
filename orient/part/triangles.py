"""``Triangles``: what every reader hands on, in the file's own numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Triangles:
    """Triangles as a file holds them.

    Attributes
    ----------
    points : (N, 3) float32 or float64
        Corners, in the file's numbers.
    corners : (F, 3) int or None
        Rows of ``points`` for each face; None when every three points are a face.
    unit : str or None
        Canonical unit that the file states, None where the format carries none.
    groups : mapping of str to (k,) int64
        Named groups of faces.
    notes : tuple of str
        Sentences on what was met in the file.
    """

    points: NDArray[Any]
    corners: NDArray[Any] | None
    unit: str | None = None
    groups: Mapping[str, NDArray[Any]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

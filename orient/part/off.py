"""OFF: counts, corners, and faces of any number of sides.

Format after the Object File Format of Geomview (manual, section on OFF; from memory): the word
``OFF`` with letters before it for what else each corner carries, the counts of corners, faces and
edges, then a line for each corner and face. Read here so that a file cut short is told from a
whole one.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from orient.errors import OrientError
from orient.part.gate import refuse_many
from orient.part.triangles import Triangles

_HEADERS = {"OFF", "COFF", "NOFF", "CNOFF", "STOFF"}


def is_off(word: bytes) -> bool:
    """Tell an OFF file by its first word.

    Parameters
    ----------
    word : bytes
        First word that is no comment.

    Returns
    -------
    bool
        True for ``OFF`` and its kin in three dimensions.
    """
    return word.decode("latin-1") in _HEADERS


def read_off(path: Path) -> Triangles:
    """Read the polygons of an OFF file, split into triangles.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Triangles
        A polygon becomes a fan from its first corner, which is right for convex ones.

    Raises
    ------
    OrientError
        If the file ends before its counts do, or a line cannot be read.
    """
    with path.open("r", encoding="utf-8", errors="replace") as file:
        lines = _lines(file)
        try:
            header = next(lines)[1:] or next(lines)
            corners, faces = int(header[0]), int(header[1])
            # A line takes six bytes or more, such as a corner "0 0 0".
            if 6 * (corners + faces) > path.stat().st_size:
                raise StopIteration
            refuse_many(max(corners // 3, faces))
            points = [next(lines)[:3] for _ in range(corners)]
            triangles = []
            for _ in range(faces):
                line = next(lines)
                if int(line[0]) < 0:
                    raise ValueError
                polygon = [int(word) for word in line[1 : int(line[0]) + 1]]
                if len(polygon) < int(line[0]):
                    raise StopIteration
                triangles += [(polygon[0], polygon[i - 1], polygon[i]) for i in range(2, len(polygon))]
            array = np.array(points, dtype=np.float64).reshape(corners, 3)
        except StopIteration:
            raise OrientError(
                "is an OFF cut short (fewer lines than its counts): export or copy it again."
            ) from None
        except (ValueError, IndexError):
            raise OrientError("is an OFF with a line that cannot be read: export it again.") from None
    return Triangles(array, np.array(triangles, dtype=np.int64).reshape(-1, 3))


def _lines(file: Iterator[str]) -> Iterator[list[str]]:
    """Give the words of each line that holds any, comments left out."""
    for line in file:
        words = line.partition("#")[0].split()
        if words:
            yield words

"""Wavefront OBJ: corners, faces of any number of sides, and named groups.

Format after "Object Files (.obj)", Alias|Wavefront Advanced Visualizer manual, appendix B1 (from
memory). Read here rather than by a library because the names after ``g`` and ``usemtl`` are what
a brief selects faces by.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from orient.errors import OrientError
from orient.part.gate import MOST_FACES, refuse_many
from orient.part.triangles import Triangles


def read_obj(path: Path) -> Triangles:
    """Read the polygons of an OBJ, split into triangles, with their groups.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Triangles
        ``groups`` holds the faces of each name after ``g`` and ``usemtl``. A polygon becomes a fan
        from its first corner, which is right for convex ones.

    Raises
    ------
    OrientError
        If a line cannot be read; the line's number is given.
    """
    points: list[str] = []
    corners: list[tuple[int, int, int]] = []
    groups: dict[str, list[int]] = {}
    named: list[str] = []
    grouped = 0
    material: list[str] = []
    with path.open("r", encoding="utf-8", errors="replace") as file:
        for number, line in _whole_lines(file):
            word, _, rest = line.strip().replace("\t", " ").partition(" ")
            if word == "v":
                points.append(" ".join(rest.split()[:3]))
            elif word == "f":
                try:
                    polygon = [_row(corner, len(points)) for corner in rest.split()]
                except ValueError:
                    raise OrientError(
                        f"has a face that cannot be read in line {number}: export it again."
                    ) from None
                rows = range(len(corners), len(corners) + max(0, len(polygon) - 2))
                refuse_many(rows.stop)
                corners += [(polygon[0], polygon[i - 1], polygon[i]) for i in range(2, len(polygon))]
                names = dict.fromkeys(named + material)
                grouped += len(names) * len(rows)
                if grouped > MOST_FACES:
                    raise OrientError(
                        f"puts its faces under more than {MOST_FACES:,} names between them: export it with "
                        "fewer groups."
                    )
                for name in names:
                    groups.setdefault(name, []).extend(rows)
            elif word == "g":
                named = rest.split()
            elif word == "usemtl":
                material = [rest.strip()] if rest.strip() else []
    try:
        array = np.array(" ".join(points).split(), dtype=np.float64).reshape(len(points), 3)
    except ValueError:
        raise OrientError("has a corner that is not three numbers: export it again.") from None
    return Triangles(
        array,
        np.array(corners, dtype=np.int64).reshape(-1, 3),
        groups={name: np.array(rows, dtype=np.int64) for name, rows in groups.items()},
    )


def _whole_lines(lines: Iterable[str]) -> Iterator[tuple[int, str]]:
    """Join lines that end in a backslash with the next; number each by its last line."""
    held = ""
    for number, line in enumerate(lines, start=1):
        line = line.rstrip("\r\n")
        if line.endswith("\\"):
            held += line[:-1] + " "
            continue
        yield number, held + line
        held = ""


def _row(corner: str, count: int) -> int:
    """Give the row of a corner such as ``7``, ``7/1/2`` or ``-1`` (counted back from the last)."""
    index = int(corner.split("/", 1)[0])
    # No file that is read holds half as many corners as an index has room for.
    if index == 0 or abs(index) >= 1 << 31:
        raise ValueError
    return index - 1 if index > 0 else count + index

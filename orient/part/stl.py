"""STL, binary and ASCII: triangles that each carry their own corners.

The layout is that of the Stereolithography Interface Specification (3D Systems, 1989; from
memory): binary is 80 bytes of header, a count as a little-endian 32-bit number, and 50 bytes a
facet: normal, three corners (all 32-bit floats) and two bytes of attribute. Normals are ignored;
the order of the corners says which way a facet looks.
"""

from __future__ import annotations

import re
import struct
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.part.gate import refuse_many
from orient.part.triangles import Triangles

_HEAD = 84
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_CORNER = re.compile(rb"^\s*vertex\s+(\S+\s+\S+\s+\S+)", re.IGNORECASE | re.MULTILINE)
_LOOP = re.compile(rb"\bendloop\b", re.IGNORECASE)
_BLOCK = 1 << 24


def is_ascii_stl(head: bytes) -> bool:
    """Tell an ASCII STL by its beginning; a binary header may begin with ``solid`` too.

    Parameters
    ----------
    head : bytes
        The first bytes of a file.

    Returns
    -------
    bool
        True for text that begins ``solid`` and goes on to a facet or to its end.
    """
    text = head.lstrip().lower()
    return text.startswith(b"solid") and b"\0" not in head and (b"facet" in text or b"endsolid" in text)


def is_binary_stl(head: bytes, size: int) -> bool:
    """Tell a binary STL by its size, which its count foretells to the byte.

    Parameters
    ----------
    head : bytes
        The first 84 bytes or more.
    size : int
        Length of the file.

    Returns
    -------
    bool
        True where header and facets fill the file.
    """
    return size >= _HEAD and size == _HEAD + _FACET.itemsize * struct.unpack_from("<I", head, 80)[0]


def read_binary_stl(path: Path) -> Triangles:
    """Read a binary STL; what the header claims is held against the file's size first.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Triangles
        Three points a facet, float32.

    Raises
    ------
    OrientError
        If the file is shorter than its header says.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        count = struct.unpack("<I", file.read(_HEAD)[80:])[0] if size >= _HEAD else 0
    held = max(0, size - _HEAD) // _FACET.itemsize
    if size < _HEAD or count > held:
        raise OrientError(
            f"is cut short (its header promises {count:,} facets and {held:,} are there), or is no STL: "
            "export or copy it again."
        )
    refuse_many(count)
    notes: tuple[str, ...] = ()
    surplus = size - _HEAD - count * _FACET.itemsize
    if surplus:
        notes = (f"{surplus:,} bytes after the last facet were ignored.",)
    if count == 0:
        return Triangles(np.empty((0, 3), dtype=np.float32), None, notes=notes)
    facets = np.memmap(path, dtype=_FACET, mode="r", offset=_HEAD, shape=(count,))
    points = np.empty((count, 3, 3), dtype=np.float32)
    points[...] = facets["corners"]
    return Triangles(points.reshape(-1, 3), None, notes=notes)


def read_ascii_stl(path: Path) -> Triangles:
    """Read an ASCII STL of one or more solids, a block at a time.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Triangles
        Three points a facet, float64.

    Raises
    ------
    OrientError
        If a facet lacks corners or a corner lacks numbers.
    """
    blocks = []
    rest = b""
    loops = 0
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            text = rest + block
            # Cut after a whole line, so that no corner is split.
            cut = text.rfind(b"\n") + 1
            rest = text[cut:]
            blocks.append(_corners(text[:cut]))
            loops += len(_LOOP.findall(text[:cut]))
            refuse_many(loops)
    blocks.append(_corners(rest))
    loops += len(_LOOP.findall(rest))
    points = np.concatenate(blocks)
    if loops and len(points) != 3 * loops:
        raise OrientError(
            f"has {loops:,} facets with {len(points):,} corners between them, and a facet has three: export "
            "it again as triangles."
        )
    if len(points) % 3 or (b"endsolid" not in rest.lower() and b"endsolid" not in _tail(path)):
        raise OrientError("is cut short (its last facet or solid does not end): export or copy it again.")
    return Triangles(points, None)


def _corners(text: bytes) -> NDArray[np.float64]:
    found = _CORNER.findall(text)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)  # numbers that cannot be read
            numbers = np.fromstring(b" ".join(found).decode("latin-1"), dtype=np.float64, sep=" ")
    except (DeprecationWarning, ValueError):
        numbers = np.empty(0)
    if numbers.size != 3 * len(found):
        raise OrientError("has a corner that is not three numbers: export it again.")
    return numbers.reshape(-1, 3)


def _tail(path: Path) -> bytes:
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 4096))
        return file.read().lower()

"""How a file arrives: under a name of our own, its own name only to be shown."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from orient.errors import OrientError
from orient.part.kind import KIND_OF_SUFFIX, told_by_content

_HEAD = 4096
_SUFFIX_OF = {
    "binary STL": ".stl",
    "ASCII STL": ".stl",
    "OBJ": ".obj",
    "PLY": ".ply",
    "OFF": ".off",
    "3MF": ".3mf",
    "GLB": ".glb",
    "STEP": ".step",
}
# Letters of a name that are shown.
_LONGEST = 120


class Upload(Protocol):
    """A file as NiceGUI hands it over."""

    name: str

    def iterate(self, *, chunk_size: int = ...) -> AsyncIterator[bytes]:
        """Give its bytes a piece at a time."""
        ...


@dataclass(frozen=True)
class Arrival:
    """A file that arrived.

    Attributes
    ----------
    path : Path
        Where it lies, under a name that nobody chose.
    name : str
        What its owner calls it: one line of text to be shown, escaped like any other, never a path.
    """

    path: Path
    name: str


async def receive(upload: Upload, folder: Path) -> Arrival:
    """Lay an uploaded file into a folder; the guard has counted its bytes.

    Parameters
    ----------
    upload : Upload
        The file.
    folder : Path
        Private folder.

    Returns
    -------
    Arrival

    Raises
    ------
    OrientError
        For a file that is empty, or no mesh by its content nor by its name; nothing of it is left.
    """
    name = shown_name(upload.name)
    path = folder / secrets.token_hex(8)
    size, head = 0, b""
    try:
        with path.open("xb") as file:
            async for piece in upload.iterate():
                size += len(piece)
                head += piece[: _HEAD - len(head)]
                file.write(piece)
        if size == 0:
            raise OrientError(f"The file '{name}' is empty: export the part again.")
        suffix = suffix_for(name, head, size)
        if suffix is None:
            raise OrientError(
                f"The file '{name}' holds no mesh that is recognised: bring the part as STL, OBJ, PLY, OFF, "
                "3MF, GLB or STEP."
            )
        return Arrival(path.rename(path.with_suffix(suffix)), name)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def shown_name(name: str) -> str:
    """What to show of a name that came with a file: one line, no folder, no letter that hides others.

    Examples
    --------
    >>> shown_name("../../etc/passwd"), shown_name(chr(92).join(["C:", "parts", "lug.stl"]))
    ('passwd', 'lug.stl')
    >>> shown_name("a" + chr(0x202E) + "lts.exe" + chr(10))
    'a?lts.exe?'
    >>> shown_name("..")
    'part'
    """
    text = name.encode("utf-8", "replace").decode("utf-8").replace("\\", "/").rpartition("/")[2]
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    return text[:_LONGEST].lstrip(".") or "part"


def suffix_for(name: str, head: bytes, size: int) -> str | None:
    """The ending to store a file under: that of its name where it is a mesh's, else by its content."""
    suffix = Path(name).suffix.lower()
    if suffix in KIND_OF_SUFFIX:
        return suffix
    told = told_by_content(head, size)
    return None if told is None else _SUFFIX_OF[told]

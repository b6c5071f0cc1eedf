"""The gate that every file passes before it is read: what it is, how large, what its archive holds.

Readers may then allocate by what is there, never by what a file says of itself.
"""

from __future__ import annotations

import itertools
import os
import stat
import zipfile
from dataclasses import dataclass
from pathlib import Path

from orient.errors import OrientError

# Larger than any mesh within `MOST_FACES` in any of the formats, ASCII with long numbers included.
MOST_BYTES = 2 << 30
# What stays under two gigabytes from reading to ranking: measured 0.79 GB at one million, 2.5 GB at four.
MOST_FACES = 3_000_000
# A package of a part holds a model, its parts, a picture: dozens of entries, not thousands.
MOST_ENTRIES = 4096
# XML of triangles shrinks ten- to thirtyfold; deflate ends at 1,032-fold (zlib's technical notes).
MOST_GROWTH = 200
# Growth is asked only of what is worth unpacking slowly.
SMALL_BYTES = 16 << 20


@dataclass(frozen=True)
class Admitted:
    """A file as it stood when it was let in.

    Attributes
    ----------
    path : Path
        The file.
    size : int
        Bytes.
    changed_ns : int
        When it was last written to.
    """

    path: Path
    size: int
    changed_ns: int


def admit(path: Path) -> Admitted:
    """Let a file in, if it is one and of a size that can be read.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Admitted
        To be held against the file when it has been read.

    Raises
    ------
    OrientError
        For a folder, a pipe or device, an empty or an enormous file; a predicate.
    OSError
        Where the system refuses.
    """
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise OrientError("is a folder: name a mesh file in it.")
    if not stat.S_ISREG(found.st_mode):
        raise OrientError("is a pipe or a device: save the part as a file first.")
    if found.st_size == 0:
        raise OrientError("is empty: export the part again.")
    if found.st_size > MOST_BYTES:
        raise OrientError(
            f"has {found.st_size / 1e9:,.1f} GB, more than any mesh that is read here "
            f"({MOST_BYTES / 1e9:.1f} GB): export it coarser."
        )
    return Admitted(path, found.st_size, found.st_mtime_ns)


def refuse_changed(admitted: Admitted) -> None:
    """Refuse what was read from a file that was written to meanwhile."""
    found = os.stat(admitted.path)
    if (found.st_size, found.st_mtime_ns) != (admitted.size, admitted.changed_ns):
        raise OrientError("was changed while it was read: wait until it is written, then try again.")


def refuse_many(faces: int) -> None:
    """Refuse more faces than can be reckoned with, before room is made for them."""
    if faces > MOST_FACES:
        raise OrientError(
            f"has {faces:,} faces, more than are read here ({MOST_FACES:,}): export it coarser, or reduce "
            "the mesh."
        )


def check_archive(package: zipfile.ZipFile) -> None:
    """Refuse an archive that unpacks to more than a package of a part, before any of it is unpacked.

    Nothing is ever written where an entry's name points, so a name cannot lead outside. An archive inside is
    never opened as one. What an entry unpacks to is held against the size that it states by the
    library, which stops there.

    Parameters
    ----------
    package : ZipFile
        The archive.

    Raises
    ------
    OrientError
        For too many entries, entries that lie over each other, or growth past what XML of triangles makes.
    """
    entries = package.infolist()
    if len(entries) > MOST_ENTRIES:
        raise OrientError(
            f"is an archive of {len(entries):,} entries, and a part has no more than {MOST_ENTRIES:,}: "
            "export it again."
        )
    packed = sum(entry.compress_size for entry in entries)
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > MOST_BYTES or unpacked > max(SMALL_BYTES, MOST_GROWTH * packed):
        raise OrientError(
            f"is an archive that would unpack to {unpacked / 1e6:,.0f} MB from {packed / 1e6:.3g} MB, as no "
            "model of a part does: export it again."
        )
    places = sorted((entry.header_offset, entry.compress_size) for entry in entries)
    for (start, size), (following, _) in itertools.pairwise(places):
        if start + size > following:
            raise OrientError("is an archive whose entries lie over each other: export it again.")

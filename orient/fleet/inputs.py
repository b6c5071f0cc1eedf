"""Which files a run is asked for: folders, patterns, files and lists of them, one at a time."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from orient.errors import OrientError
from orient.part.read import SUFFIXES


def find_inputs(asked: Iterable[str], lists: Iterable[str] = ()) -> Iterator[str]:
    """Give the absolute path of every input; one named twice may come twice.

    Nothing is gathered, so a folder of a million files takes no more memory than one of ten.

    Parameters
    ----------
    asked : iterable of str
        Folders, whose meshes are found at any depth; files; patterns such as ``archive/**/*.stl``.
    lists : iterable of str
        Text files with a path a line.

    Yields
    ------
    str
        A file that is named by itself or in a list need not be there: that is for its evaluation to say.

    Raises
    ------
    OrientError
        For a folder or a pattern without a mesh, or a list that cannot be read.
    """
    for name in asked:
        if os.path.isdir(name):
            yield from _some(_below(name), f"No mesh lies below {name}: it may end in {_ENDINGS}.")
        elif not os.path.lexists(name) and glob.has_magic(name):
            found = (path for path in glob.iglob(name, recursive=True) if os.path.isfile(path))
            yield from _some(map(os.path.abspath, found), f"No file matches {name}: check the pattern.")
        elif not os.path.lexists(name) and not os.path.splitext(name)[1]:
            raise OrientError(f"There is no folder {name}: check the name.")
        else:
            yield os.path.abspath(name)
    for name in lists:
        try:
            # Names of files are bytes: what is no text in them comes through as it is.
            with Path(name).open(encoding="utf-8", errors="surrogateescape") as lines:
                for line in lines:
                    if line := line.rstrip("\r\n"):
                        yield os.path.abspath(line)
        except OSError as error:
            raise OrientError(f"The list {name} cannot be read ({error.strerror}): check the name.") from None


_ENDINGS = ", ".join(SUFFIXES)


def _below(folder: str) -> Iterator[str]:
    """Meshes below a folder in order of their names; links to folders are not followed."""

    def refuse(error: OSError) -> None:
        raise OrientError(
            f"The folder {error.filename} cannot be read ({error.strerror}): change its permissions."
        ) from None

    for here, folders, files in os.walk(os.path.abspath(folder), onerror=refuse):
        folders.sort()
        for name in sorted(files):
            if os.path.splitext(name)[1].lower() in SUFFIXES:
                yield os.path.join(here, name)


def _some(found: Iterator[str], otherwise: str) -> Iterator[str]:
    first = next(found, None)
    if first is None:
        raise OrientError(otherwise)
    yield first
    yield from found

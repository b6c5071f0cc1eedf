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
            found = (path for path in glob.iglob(name, recursive=True) if _is_meant(path, name))
            yield from _some(map(os.path.abspath, found), f"No file matches {name}: check the pattern.")
        elif not os.path.lexists(name) and not os.path.splitext(name)[1]:
            raise OrientError(f"There is no folder {name}: check the name.")
        else:
            yield os.path.abspath(name)
    for name in lists:
        try:
            # Names of files are bytes: what is no text in them comes through as it is.
            with Path(name).open(encoding="utf-8", errors="surrogateescape") as lines:
                yield from _some(_named(lines), f"The list {name} names no file: give a path a line.")
        except OSError as error:
            raise OrientError(f"The list {name} cannot be read ({error.strerror}): check the name.") from None


def _named(lines: Iterable[str]) -> Iterator[str]:
    """What a list names: a path a line, folders with all below; a line that begins with # is a remark."""
    for line in lines:
        path = line.strip()
        if not path or path.startswith("#"):
            continue
        if os.path.isdir(path):
            yield from _below(path)
        else:
            yield os.path.abspath(path)


def _is_meant(path: str, pattern: str) -> bool:
    """Whether a match is a file that is reached through no link to a folder, which may lead in circles."""
    here = os.path.dirname(path)
    fixed = pattern
    while glob.has_magic(fixed):
        fixed = os.path.dirname(fixed)
    while len(here) > len(fixed):
        if os.path.islink(here):
            return False
        here = os.path.dirname(here)
    return os.path.isfile(path)


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
            # Some systems lay a file of remarks beside each file on a foreign disk.
            if os.path.splitext(name)[1].lower() in SUFFIXES and not name.startswith("._"):
                yield os.path.join(here, name)


def _some(found: Iterator[str], otherwise: str) -> Iterator[str]:
    first = next(found, None)
    if first is None:
        raise OrientError(otherwise)
    yield first
    yield from found

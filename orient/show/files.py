"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from orient.errors import OrientError

# Temporary files that stand at this moment: an end by Ctrl-C waits until there is none.
writing: list[str] = []


def write_whole(path: Path, data: bytes) -> None:
    """Write a file under a temporary name beside its place, then rename it.

    Parameters
    ----------
    path : Path
        Where it goes; a file that stood there is replaced, a link to one is followed. What is no file,
        such as a pipe, is written to as it stands.
    data : bytes
        What it holds.

    Raises
    ------
    OrientError
        When the folder is missing or cannot be written to; nothing is left behind.
    """
    refuse_unwritable(path)
    temporary = ""
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        path = path.resolve()
        writing.append(path.name)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        # mkstemp makes files private; a written result is as readable as any other.
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)
        os.replace(temporary, path)
    except BaseException as error:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            raise OrientError(
                f"{path} cannot be written ({error.strerror}): choose another place or free some room."
            ) from None
        raise
    finally:
        writing.clear()


def refuse_unwritable(path: Path) -> None:
    """Complain about an output path before any work is done for it."""
    if path.is_dir():
        raise OrientError(f"{path} is a folder: give the name of a file to write.")
    if not path.parent.is_dir():
        raise OrientError(f"The folder {path.parent} does not exist: make it, or write elsewhere.")
    if not os.access(path.parent, os.W_OK):
        raise OrientError(f"The folder {path.parent} cannot be written to: write elsewhere.")


def refuse_outputs(outputs: Mapping[str, str | None], inputs: Iterable[str | None]) -> None:
    """Complain about outputs that would be lost, or that would overwrite what is read.

    Parameters
    ----------
    outputs : Mapping[str, str or None]
        File name by flag; ``-`` is standard output, None a flag that was not given.
    inputs : iterable of str or None
        Files that are read.

    Raises
    ------
    OrientError
        For an empty name, two outputs in one place, an input as output, or a place that cannot be
        written to.
    """
    read = {Path(name).resolve() for name in inputs if name}
    taken: dict[Path | str, str] = {}
    for flag, name in outputs.items():
        if name is None:
            continue
        if not name.strip():
            raise OrientError(f"{flag} has no file name: give one after it.")
        place: Path | str = name if name == "-" else Path(name).resolve()
        if place in read:
            raise OrientError(f"{flag} would overwrite {name}, which is being read: give another name.")
        if place in taken:
            where = "standard output" if name == "-" else name
            raise OrientError(f"{taken[place]} and {flag} cannot both go to {where}: give each its own file.")
        taken[place] = flag
        if name != "-":
            refuse_unwritable(Path(name))

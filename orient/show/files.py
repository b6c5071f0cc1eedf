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
    if path.exists() and not path.is_file():
        try:
            path.write_bytes(data)
        except BrokenPipeError:
            raise
        except OSError as error:
            raise _unwritten(path, error) from None
        return
    write_together({path: data})


def write_together(files: Mapping[Path, bytes]) -> None:
    """Write several files of which none appears unless all of them could be written.

    Parameters
    ----------
    files : Mapping of Path to bytes
        What each holds.

    Raises
    ------
    OrientError
        When one of them cannot be written; none is left behind, and what stood there stands.
    """
    temporaries: dict[Path, str] = {}
    path = Path()
    try:
        for path, data in files.items():
            refuse_unwritable(path)
            place = path.resolve()
            writing.append(place.name)
            handle, temporary = tempfile.mkstemp(
                dir=place.parent, prefix=f".{place.name[:40]}.", suffix=".part"
            )
            temporaries[place] = temporary
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            # mkstemp makes files private; a written result is as readable as any other.
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(temporary, 0o666 & ~mask)
        for place, temporary in temporaries.items():
            os.replace(temporary, place)
    except BaseException as error:
        for temporary in temporaries.values():
            if os.path.exists(temporary):
                os.unlink(temporary)
        if isinstance(error, OSError) and not isinstance(error, BrokenPipeError):
            raise _unwritten(path, error) from None
        raise
    finally:
        writing.clear()


def _unwritten(path: Path, error: OSError) -> OrientError:
    return OrientError(
        f"{path} cannot be written ({error.strerror}): choose another place or free some room."
    )


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

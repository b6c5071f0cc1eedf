"""Files that appear whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from orient.errors import OrientError


def write_whole(path: Path, data: bytes) -> None:
    """Write a file under a temporary name beside its place, then rename it.

    Parameters
    ----------
    path : Path
        Where it goes; a file that stood there is replaced.
    data : bytes
        What it holds.

    Raises
    ------
    OrientError
        When the folder is missing or cannot be written to; nothing is left behind.
    """
    refuse_unwritable(path)
    handle, temporary = -1, ""
    try:
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
        if isinstance(error, OSError):
            raise OrientError(
                f"{path} cannot be written ({error.strerror}): choose another place or free some room."
            ) from None
        raise


def refuse_unwritable(path: Path) -> None:
    """Complain about an output path before any work is done for it."""
    if path.is_dir():
        raise OrientError(f"{path} is a folder: give the name of a file to write.")
    if not path.parent.is_dir():
        raise OrientError(f"The folder {path.parent} does not exist: make it, or write elsewhere.")
    if not os.access(path.parent, os.W_OK):
        raise OrientError(f"The folder {path.parent} cannot be written to: write elsewhere.")

"""One folder to hand over: the part in its pose, the page, test prints, tuning sheet, brief and manifest."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from rich.console import Console, Group

from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.evaluation.chosen import inspection_at, with_pose
from orient.handover.oriented import (
    SCHEMA,
    brief_hash,
    metadata_of,
    oriented_bytes,
    oriented_document,
    resolved_text,
)
from orient.handover.test_print import MINUTES
from orient.handover.tray import Tray, print_document, tray_bytes, tray_of
from orient.show.files import writing
from orient.show.page.brief_text import brief_toml, data_version
from orient.show.page.page import program_version, report
from orient.show.save import pose_row
from orient.show.shop import shop_view

MANIFEST = "manifest.json"
# Columns of the tuning sheet, which is plain text.
_WIDTH = 100


def refuse_folder(folder: Path) -> None:
    """Complain about a folder that cannot be made, before any work is done.

    Raises
    ------
    OrientError
        When something stands there already, or its own folder is missing or cannot be written to.
    """
    if folder.is_file():
        raise OrientError(f"{folder} is a file: give the name of a folder to make.")
    if folder.is_dir() and any(folder.iterdir()):
        raise OrientError(f"The folder {folder} is not empty: give a new name, or empty it first.")
    above = folder.resolve().parent
    if not above.is_dir():
        raise OrientError(f"The folder {above} does not exist: make it, or write elsewhere.")
    if not os.access(above, os.W_OK):
        raise OrientError(f"The folder {above} cannot be written to: write elsewhere.")


def package_files(
    evaluation: Evaluation,
    pose: int | None = None,
    *,
    minutes: float = MINUTES,
    source: tuple[str, bytes] | None = None,
) -> dict[str, bytes]:
    """Make every file of the folder.

    Parameters
    ----------
    evaluation : Evaluation
        What was found, hard features counted.
    pose : int, optional
        Rank of the pose; the recommended one when left out.
    minutes : float
        How long each test print may take.
    source : tuple of str and bytes, optional
        Name and content of the part's own file, so that the brief can be run again where the folder goes.

    Returns
    -------
    dict of str to bytes
        By name; the manifest last, with the checksum of each of the others.

    Raises
    ------
    OrientError
        Where the part's file or the shop's machines have the name of a file that the folder holds.
    """
    # Page, tuning sheet and test prints are of the pose that the file is of.
    evaluation = with_pose(evaluation, pose_row(evaluation, pose) + 1)
    name = evaluation.part.name
    beside = dict([source] if source is not None else [])
    if evaluation.brief.process.machines is not None:
        # The brief names it beside itself.
        machines = Path(evaluation.brief.process.machines)
        beside[machines.name] = machines.read_bytes()
    # A part that came as a 3MF keeps its name.
    laid = f"{name}.3mf" if f"{name}.3mf" not in beside else f"{name}-laid.3mf"
    made: dict[str, bytes] = {laid: oriented_bytes(evaluation, "3mf")}
    made["page.html"] = report(evaluation).encode()
    prints: list[dict[str, Any]] = []
    tray = _tray(evaluation, minutes)
    if tray is not None:
        bed = evaluation.shop.shop.machine.envelope_mm[:2]
        for one in tray.prints:
            path = f"test-{one.feature.id}.3mf"
            made[path] = tray_bytes([one], "3mf", bed, metadata_of(evaluation))
            prints.append(print_document(one, path, tray.alike.get(one.feature.id, ())))
        prints += [print_document(one, None, tray.alike.get(one.feature.id, ())) for one in tray.too_long]
    made["tuning.txt"] = _tuning(evaluation).encode()
    made["brief.toml"] = (brief_toml(evaluation.brief) + "\n").encode()
    made["brief_resolved.json"] = resolved_text(evaluation).encode()
    for path in beside:
        if path in made or path == MANIFEST:
            raise OrientError(
                f"{path} is the name of a file that the package holds itself: rename yours first."
            )
    made |= beside
    told = manifest(evaluation, laid, made, prints)
    made[MANIFEST] = (json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()
    return made


def manifest(
    evaluation: Evaluation,
    laid: str,
    made: dict[str, bytes],
    prints: list[dict[str, Any]],
) -> dict[str, Any]:
    """Say what is in the folder, with checksums and the versions of program and data."""
    told = oriented_document(evaluation, laid)
    return told | {
        "schema": SCHEMA,
        "what": "package",
        "program": program_version(),
        "data": data_version(),
        "brief_sha256": brief_hash(evaluation),
        "test_prints": prints,
        "files": [
            {"path": path, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            for path, data in made.items()
        ],
    }


def write_package(folder: Path, made: dict[str, bytes]) -> None:
    """Write the folder whole or not at all.

    Raises
    ------
    OrientError
        When it cannot be written; nothing is left behind.
    """
    refuse_folder(folder)
    target = folder.resolve()
    temporary = ""
    try:
        writing.append(target.name)
        temporary = tempfile.mkdtemp(dir=target.parent, prefix=f".{target.name[:40]}.", suffix=".part")
        for path, data in made.items():
            (Path(temporary) / path).write_bytes(data)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o777 & ~mask)
        if target.is_dir():
            target.rmdir()
        os.replace(temporary, target)
    except BaseException as error:
        if temporary and os.path.isdir(temporary):
            shutil.rmtree(temporary, ignore_errors=True)
        if isinstance(error, OSError):
            raise OrientError(
                f"{folder} cannot be written ({error.strerror}): choose another place or free some room."
            ) from None
        raise
    finally:
        writing.clear()


def _tray(evaluation: Evaluation, minutes: float) -> Tray | None:
    """Test prints of what is hard; None where nothing is, or the mesh is not closed."""
    found = inspection_at(evaluation, pose_row(evaluation, None))
    if not evaluation.part.closed or all(one.verdict == "fine" for one in found.features):
        return None
    return tray_of(found, evaluation.process, evaluation.shop.shop.plan, minutes=minutes)


def _tuning(evaluation: Evaluation) -> str:
    written = io.StringIO()
    Console(file=written, width=_WIDTH, color_system=None, highlight=False).print(
        Group(shop_view(evaluation, tuning=True))
    )
    return "\n".join(line.rstrip() for line in written.getvalue().splitlines()) + "\n"

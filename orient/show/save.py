"""The part turned and set down on the bed, as a mesh file."""

from __future__ import annotations

from pathlib import Path

from orient.evaluation import Evaluation
from orient.handover.meshfile import FORMATS
from orient.handover.oriented import format_of, oriented_bytes, pose_row
from orient.show.files import refuse_unwritable, write_whole

__all__ = ["FORMATS", "pose_row", "refuse_unsavable", "save_pose"]


def refuse_unsavable(path: Path) -> None:
    """Complain about a format or a folder before any work is done.

    Raises
    ------
    OrientError
        For an ending that cannot be written or a place that is not there.
    """
    format_of(path)
    refuse_unwritable(path)


def save_pose(evaluation: Evaluation, path: Path, rank: int | None = None) -> None:
    """Write the part in one pose: layers along z, lowest point at 0, longer side along the bed's longer.

    It is scaled along x, y and z where the brief asks to make up for shrinkage. What is written has been
    read back and compared.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    path : Path
        File to write; its ending says the format.
    rank : int, optional
        Rank of the pose, from 1; the recommended one when left out.

    Raises
    ------
    OrientError
        For an ending that cannot be written, a place that cannot be written to, or a pose that is not there.
    """
    refuse_unsavable(path)
    write_whole(path, oriented_bytes(evaluation, format_of(path), rank))

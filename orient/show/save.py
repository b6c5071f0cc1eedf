"""The part turned and set down on the bed, as a mesh file."""

from __future__ import annotations

from pathlib import Path

from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.pose.rotation import rotation_to_bed
from orient.show.files import refuse_unwritable, write_whole

# Formats without a unit are written in millimetres, as everything here is.
FORMATS = ("stl", "obj", "ply", "off", "3mf")


def refuse_unsavable(path: Path) -> None:
    """Complain about a format or a folder before any work is done.

    Raises
    ------
    OrientError
        For an ending that cannot be written or a place that is not there.
    """
    if path.suffix.lower().lstrip(".") not in FORMATS:
        raise OrientError(f"{path} has an ending that cannot be written: use one of .{', .'.join(FORMATS)}.")
    refuse_unwritable(path)


def save_pose(evaluation: Evaluation, path: Path, rank: int | None = None) -> None:
    """Write the part in one pose: layers along z, lowest point at 0, longer side along x, centred.

    It is scaled along x, y and z where the brief asks to make up for shrinkage.

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
    import trimesh

    part = evaluation.part
    row = pose_row(evaluation, rank)
    transform = rotation_to_bed(evaluation.ranking.directions[row], part.hull.points)
    vertices = part.vertices @ transform[:3, :3].T + transform[:3, 3]
    # What rests on the bed lies at exactly 0, not at a rounding error above or below it.
    vertices[abs(vertices[:, 2]) < 1e-9 * max(1.0, part.size_mm), 2] = 0.0
    if (scale := evaluation.shop.shop.scale_xyz) is not None:
        vertices = vertices * scale
    mesh = trimesh.Trimesh(vertices, part.faces, process=False)
    kind = path.suffix.lower().lstrip(".")
    if kind == "3mf":
        mesh.units = "millimeter"
    data = mesh.export(file_type=kind)
    write_whole(path, data.encode() if isinstance(data, str) else data)


def pose_row(evaluation: Evaluation, rank: int | None) -> int:
    """Row of the pose of a rank, from 1; of the recommended one when it is left out.

    Raises
    ------
    OrientError
        For a pose that is not there.
    """
    row = (rank or evaluation.ranking.recommended) - 1
    if not 0 <= row < len(evaluation.ranking.directions):
        raise OrientError(
            f"There is no pose {rank}: the ranking has poses 1 to {len(evaluation.ranking.directions)}."
        )
    return row

"""The part turned and set down on the bed, as a mesh file that says where it is from."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.cost.envelope import MARGIN_MM, SLACK_MM, fit_in
from orient.cost.shop import Shop
from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.handover.meshfile import FORMATS, mesh_bytes
from orient.handover.threemf import Item
from orient.part.mesh import Part
from orient.pose.rotation import rotation_to_bed

Floats = NDArray[np.float64]

SCHEMA = "orient/handover/1"
STRENGTH_CAUTION = (
    "Any strength figure is an estimate for choosing an orientation; where failure can hurt, load-test the "
    "part and have qualified people judge."
)


@dataclass(frozen=True, eq=False)
class Laid:
    """A part as it lies on the bed in one pose.

    Attributes
    ----------
    part : Part
        The part as read.
    transform : (4, 4) float64
        From the file's coordinates to the bed's, before any scaling; the middle of its footprint at 0, 0.
    vertices : (V, 3) float64
        Corners on the bed, scaled where the brief asks for it, mm.
    """

    part: Part
    transform: Floats
    vertices: Floats

    @cached_property
    def size_mm(self) -> Floats:
        """Extents along x, y and z."""
        return np.ptp(self.vertices, axis=0)


def lay_part(
    part: Part,
    direction: NDArray,
    envelope_mm: tuple[float, float, float] | None = None,
    scale_xyz: tuple[float, float, float] | None = None,
) -> Laid:
    """Lay a part: layers along z, lowest point at 0, its longer side along the bed's longer side.

    Where it does not fit the bed so, it is turned about the vertical until it does, if that helps.

    Parameters
    ----------
    part : Part
        The part.
    direction : (3,) array_like
        Build direction.
    envelope_mm : (3,) tuple, optional
        Room to build in.
    scale_xyz : (3,) tuple, optional
        Scale along x, y and z, to make up for shrinkage.

    Returns
    -------
    Laid
    """
    transform = rotation_to_bed(direction, part.hull.points)
    if envelope_mm is not None:
        transform = _turned_to_fit(transform, part.hull.points, envelope_mm)
    vertices = part.vertices @ transform[:3, :3].T + transform[:3, 3]
    # What rests on the bed lies at exactly 0, not at a rounding error above or below it.
    vertices[abs(vertices[:, 2]) < 1e-9 * max(1.0, part.size_mm), 2] = 0.0
    if scale_xyz is not None:
        vertices = vertices * scale_xyz
    return Laid(part, transform, vertices)


def _turned_to_fit(transform: Floats, points: Floats, envelope: tuple[float, float, float]) -> Floats:
    laid = points @ transform[:3, :3].T + transform[:3, 3]
    long, short = np.ptp(laid[:, :2], axis=0)
    turns = [90.0, 0.0] if envelope[1] > envelope[0] and long > short else [0.0, 90.0]
    found = fit_in([[0.0, 0.0, 1.0]], laid, envelope).turn_deg[0]
    if np.isfinite(found):
        turns += [float(sign * found + quarter) for sign in (1.0, -1.0) for quarter in (0.0, 90.0)]
    room = np.array(envelope[:2]) - 10.0
    best, over = transform, np.inf
    for turn in turns:
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        if turn % 90.0 == 0.0:
            c, s = round(c), round(s)
        about = np.eye(4)
        about[:2, :2] = [[c, -s], [s, c]]
        flat = laid[:, :2] @ about[:2, :2].T
        about[:2, 3] = -(flat.min(axis=0) + flat.max(axis=0)) / 2.0
        missing = float((np.ptp(flat, axis=0) - room).max())
        if max(missing, 0.0) < over - 1e-6:
            best, over = about @ transform, max(missing, 0.0)
    return best


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


def laid_pose(evaluation: Evaluation, rank: int | None = None) -> Laid:
    """Lay the part of an evaluation in the pose of a rank, the recommended one when left out."""
    shop = evaluation.shop.shop
    direction = evaluation.ranking.directions[pose_row(evaluation, rank)]
    return lay_part(evaluation.part, direction, shop.machine.envelope_mm, shop.scale_xyz)


def room_words(laid: Laid, shop: Shop, free_mm: float) -> str:
    """Hold the size of a part as it lies against the room of the machine, which may only be assumed."""
    size = " × ".join(f"{side:.1f}" for side in laid.size_mm)
    room = " × ".join(f"{side:g}" for side in shop.machine.envelope_mm)
    name = shop.machine.name
    machine = name if shop.machine_named else f"a machine of the {name} class, as none was named,"
    around = f" with {free_mm:g} mm free at every side" if free_mm > 0 else ""
    return f"it measures {size} mm, and {machine} has {room} mm{around}"


def too_large_words(evaluation: Evaluation, rank: int | None = None) -> str:
    """Say that the part in a pose has no room on the machine, by both sizes; empty where it has."""
    shop, laid = evaluation.shop.shop, laid_pose(evaluation, rank)
    room = np.array(shop.machine.envelope_mm) - [2 * MARGIN_MM, 2 * MARGIN_MM, 0.0]
    over = laid.size_mm - room
    if (over <= SLACK_MM).all():
        return ""
    way = "tall" if over[2] > SLACK_MM else "wide"
    most = float(over[2] if way == "tall" else over[:2].max())
    return (
        f"{evaluation.part.name} in pose {pose_row(evaluation, rank) + 1} is {most:.1f} mm too {way}: "
        f"{room_words(laid, shop, MARGIN_MM)}."
    )


def resolved_text(evaluation: Evaluation) -> str:
    """Write the brief with every default filled in, as JSON with sorted keys."""
    return json.dumps(evaluation.resolved_brief(), sort_keys=True, default=str)


def brief_hash(evaluation: Evaluation) -> str:
    """SHA-256 of `resolved_text`, hexadecimal: equal jobs agree, however their briefs are written."""
    return hashlib.sha256(resolved_text(evaluation).encode()).hexdigest()


def metadata_of(evaluation: Evaluation, rank: int | None = None) -> dict[str, str]:
    """Say in a 3MF where it is from: job, revision, hashes, pose and the caution on strength."""
    row = pose_row(evaluation, rank)
    brief, priced = evaluation.brief, evaluation.shop.poses
    direction = evaluation.ranking.directions[row]
    said = {"Title": evaluation.part.name, "Application": "orient"}
    for key in ("number", "revision", "quantity", "due"):
        value = getattr(brief.job, key, None)
        if value is not None:
            said["job" if key == "number" else key] = str(value)
    said["part_sha256"] = evaluation.part.content_hash
    said["brief_sha256"] = brief_hash(evaluation)
    said["pose"] = str(row + 1)
    said["build_direction"] = " ".join(f"{value:.9g}" for value in direction)
    said["polymer"] = evaluation.process.polymer
    said["layer_height_mm"] = f"{evaluation.process.layer_height_mm:g}"
    said["infill"] = f"{evaluation.shop.shop.plan.infill:g}"
    said["hours"] = f"{priced.hours[row]:.4g}"
    if np.isfinite(priced.part_g[row]):
        said["grams"] = f"{priced.part_g[row] + priced.support_g[row]:.4g}"
    said["caution"] = STRENGTH_CAUTION
    return said


def oriented_bytes(evaluation: Evaluation, kind: str, rank: int | None = None) -> bytes:
    """Write the part in one pose; a 3MF stands in the middle of the bed and says where it is from.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    kind : str
        One of ``stl``, ``obj``, ``ply``, ``off``, ``3mf``.
    rank : int, optional
        Rank of the pose, from 1; the recommended one when left out.

    Returns
    -------
    bytes
        Read back and compared.
    """
    laid = laid_pose(evaluation, rank)
    place = np.eye(4)
    if kind == "3mf":
        place[:2, 3] = np.array(evaluation.shop.shop.machine.envelope_mm[:2]) / 2.0
    item = Item(evaluation.part.name, laid.vertices, evaluation.part.faces, evaluation.part.closed, (place,))
    return mesh_bytes([item], kind, metadata_of(evaluation, rank))


def oriented_document(evaluation: Evaluation, path: str, rank: int | None = None) -> dict[str, Any]:
    """Say what was written, as plain values ready for JSON.

    Returns
    -------
    dict
        Schema ``orient/handover/1``.
    """
    row, laid = pose_row(evaluation, rank), laid_pose(evaluation, rank)
    priced = evaluation.shop.poses
    grams = float(priced.part_g[row] + priced.support_g[row])
    scale = evaluation.shop.shop.scale_xyz or (1.0, 1.0, 1.0)
    return {
        "schema": SCHEMA,
        "what": "part",
        "path": path,
        "part": evaluation.part.name,
        "pose": row + 1,
        "build_direction": [round(float(value), 9) for value in evaluation.ranking.directions[row]],
        "transform": [[round(float(value), 9) for value in line] for line in laid.transform],
        "size_mm": [round(float(side), 6) for side in laid.size_mm],
        "volume_mm3": round(evaluation.part.volume_mm3 * float(np.prod(scale)), 6),
        "minutes": round(60.0 * float(priced.hours[row]), 3),
        "heat_up_minutes": round(evaluation.shop.shop.plan.heat_up_min, 3),
        "grams": round(grams, 3) if np.isfinite(grams) else None,
        "part_sha256": evaluation.part.content_hash,
        "brief_sha256": brief_hash(evaluation),
        "fits": None if priced.fits is None else bool(priced.fits[row]),
        "machine": evaluation.shop.shop.machine.name,
        "machine_named": evaluation.shop.shop.machine_named,
        "room_mm": list(evaluation.shop.shop.machine.envelope_mm),
        "warnings": list(evaluation.warnings),
        "caution": STRENGTH_CAUTION,
    }


def format_of(path: Path) -> str:
    """Format by the ending of a file's name.

    Raises
    ------
    OrientError
        For an ending that cannot be written.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind not in FORMATS:
        raise OrientError(f"{path} has an ending that cannot be written: use one of .{', .'.join(FORMATS)}.")
    return kind

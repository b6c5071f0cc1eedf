"""Meshes as files: encoded, read back by another reader, compared, and only then handed out."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

import numpy as np
import trimesh
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.handover.threemf import Item, threemf_bytes
from orient.part.faces import signed_volumes

Floats = NDArray[np.float64]

# Formats without a unit are written in millimetres, as everything here is.
FORMATS = ("stl", "obj", "ply", "off", "3mf")
# What the numbers of a format may lose, as a share of the size: single precision in STL, eight digits else.
_LOSS = 2e-7


def mesh_bytes(items: Sequence[Item], kind: str, metadata: Mapping[str, str] | None = None) -> bytes:
    """Encode objects at their places, and read them back to be sure.

    Parameters
    ----------
    items : sequence of Item
        What to write.
    kind : str
        One of `FORMATS`; only 3MF keeps objects and metadata apart.
    metadata : Mapping of str to str, optional
        For 3MF.

    Returns
    -------
    bytes

    Raises
    ------
    OrientError
        When what is read back is not what was written.
    """
    joined = joined_mesh(items)
    if kind == "3mf":
        data = threemf_bytes(items, metadata or {})
    else:
        written = trimesh.Trimesh(*joined, process=False).export(
            file_type=kind, **({"digits": 9} if kind in ("obj", "off") else {})
        )
        data = written.encode() if isinstance(written, str) else written
    refuse_unlike(data, kind, *joined)
    return data


def joined_mesh(items: Sequence[Item]) -> tuple[Floats, NDArray[np.int64]]:
    """All objects at all their places as one list of triangles."""
    vertices, faces, count = [], [], 0
    for item in items:
        for place in item.places:
            points = np.asarray(item.vertices, dtype=np.float64) @ place[:3, :3].T + place[:3, 3]
            vertices.append(points)
            faces.append(np.asarray(item.faces, dtype=np.int64) + count)
            count += len(points)
    return np.concatenate(vertices), np.concatenate(faces)


def refuse_unlike(data: bytes, kind: str, vertices: Floats, faces: NDArray) -> None:
    """Read a file and complain unless it holds these triangles: number, bounds, area and volume.

    Raises
    ------
    OrientError
        When they differ by more than the format's digits.
    """
    read = trimesh.load(io.BytesIO(data), file_type=kind, process=False, force="mesh")
    corners, found = np.asarray(read.vertices), np.asarray(read.faces)
    middle = vertices.mean(axis=0)
    size = float(np.linalg.norm(np.ptp(vertices, axis=0))) + float(np.abs(vertices).max())
    wanted = _sums(vertices, faces, middle)
    same = len(found) == len(faces) and np.allclose(
        np.concatenate([corners.min(axis=0), corners.max(axis=0)]),
        np.concatenate([vertices.min(axis=0), vertices.max(axis=0)]),
        rtol=0.0,
        atol=_LOSS * size,
    )
    if same:
        got = _sums(corners, found, middle)
        area = wanted[0]
        same = abs(got[0] - area) <= 1e-6 * area + _LOSS * size * size
        same = same and abs(got[1] - wanted[1]) <= 2 * _LOSS * size * area
    if not same:
        raise OrientError(
            f"The {kind.upper()} that was made does not read back as it was: nothing is written."
        )


def _sums(vertices: Floats, faces: NDArray, middle: Floats) -> tuple[float, float]:
    edges = vertices[faces[:, 1:]] - vertices[faces[:, :1]]
    area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1).sum() / 2.0
    return float(area), float(signed_volumes(vertices, faces, middle).sum())

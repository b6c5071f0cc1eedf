"""What a GLB promises, held against what is there, before any of it is laid out (glTF 2.0, Khronos Group)."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from orient.errors import OrientError
from orient.part.gate import MOST_BYTES, MOST_GROWTH, SMALL_BYTES, refuse_many

# Bytes of a component and components of an element: glTF 2.0, section 3.6.2.2.
_BYTES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
_PIECES = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_LYING = "is a GLB whose {} do not agree with what it holds: export it again."


def check_glb(path: Path) -> None:
    """Refuse a GLB that would be laid out larger than it is.

    An accessor without a buffer view stands for as many zeros as it says; two nodes may share a third, and
    so on down, until a small file is a million bodies. Neither is what an exporter writes for a part, and the
    standard wants nodes to be trees (section 3.5.2).

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    OrientError
        For a damaged file or one that promises more than there is; a predicate.
    """
    document, size = _document(path)
    try:
        if packed := [
            str(one) for one in document.get("extensionsRequired", ()) if "compression" in str(one)
        ]:
            raise OrientError(
                f"is a GLB packed by {packed[0]}, which is not read here: export it without compression."
            )
        accessors = [_accessor(one) for one in document.get("accessors", ())]
        if max((held for _, held in accessors), default=0) > size:
            raise OrientError(_LYING.format("accessors"))
        if sum(held for _, held in accessors) > min(MOST_BYTES, max(SMALL_BYTES, MOST_GROWTH * size)):
            raise OrientError(_LYING.format("accessors"))
        nodes = document.get("nodes", [])
        _refuse_shared(nodes, document.get("scenes", ()))
        faces = [_faces(mesh, accessors) for mesh in document.get("meshes", ())]
        refuse_many(sum(faces[node["mesh"]] for node in nodes if "mesh" in node))
    except (KeyError, IndexError, TypeError, ValueError, AttributeError):
        raise OrientError("cannot be read as GLB (its parts do not fit together): export it again.") from None


def _document(path: Path) -> tuple[dict[str, Any], int]:
    """Read the JSON chunk, the first one (section 4.4), and the size of the file."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(20)
        length, kind = struct.unpack("<I4s", head[12:]) if len(head) == 20 else (0, b"")
        text = file.read(min(length, size))
    if kind != b"JSON" or len(text) < length:
        raise OrientError("is cut short, or no GLB of version 2: export or copy it again.")
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        raise OrientError("is a GLB whose description cannot be read: export it again.") from None
    if not isinstance(document, dict):
        raise OrientError("is a GLB whose description cannot be read: export it again.")
    return document, size


def _accessor(one: Mapping[str, Any]) -> tuple[int, int]:
    """Elements and bytes."""
    count = int(one["count"])
    if count < 0:
        raise ValueError
    return count, count * _BYTES[one["componentType"]] * _PIECES[one["type"]]


def _refuse_shared(nodes: Sequence[Mapping[str, Any]], scenes: Sequence[Mapping[str, Any]]) -> None:
    """Refuse nodes that hang at two places, below themselves, or are both root and child."""
    children = [int(child) for node in nodes for child in node.get("children", ())]
    roots = {int(root) for scene in scenes for root in scene.get("nodes", ())}
    if len(children) != len(set(children)) or roots & set(children):
        raise OrientError(_LYING.format("nodes"))


def _faces(mesh: Mapping[str, Any], accessors: Sequence[tuple[int, int]]) -> int:
    """Triangles of a mesh: a third of its indices, or of its corners where it has none."""
    faces = 0
    for one in mesh["primitives"]:
        corners = one["indices"] if "indices" in one else one["attributes"]["POSITION"]
        faces += accessors[corners][0] // 3
    return faces

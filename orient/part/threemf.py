"""3MF: a zipped package whose build lists what is made, how often and where.

After the 3MF Core Specification v1.4.0 (3MF Consortium, 2025), and the ``path`` attribute of its
Production Extension, by which a part of the model stands in a file of its own. Read here rather
than by a library so that units, copies, components, transforms and object types are all honoured.
"""

from __future__ import annotations

import lzma
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.part.gate import MOST_FACES, check_archive, refuse_many
from orient.part.triangles import Triangles
from orient.part.units import canonical_unit

_MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
# Extensions that change no triangle: production (read here) and materials.
_UNDERSTOOD = {_PRODUCTION, "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"}
_MADE = {"model", "surface", "other"}
_DEEPEST = 32
# More than any real build, and few enough to walk; a file can name thousands of millions in a few lines.
_MOST_COPIES = 20_000
_MOST_CORNERS = 50_000_000
_DAMAGED = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error)


@dataclass(eq=False)
class _Object:
    """An object of the resources: a mesh, or components with their transforms."""

    kind: str
    points: NDArray[np.float64] | None = None
    corners: NDArray[np.int64] | None = None
    components: list[tuple[str, str, NDArray[np.float64]]] = field(default_factory=list)


@dataclass(eq=False)
class _Model:
    """One model file: its unit, its objects by number and what it builds."""

    unit: str
    objects: dict[str, _Object]
    items: list[tuple[str, str, NDArray[np.float64]]]


def read_3mf(path: Path) -> Triangles:
    """Read what a 3MF builds, every copy in its place.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Triangles
        In the unit the file states. A copy whose transform mirrors it is wound the other way, so
        that it still looks outward (core specification, section on transforms). Support objects
        are left out and noted.

    Raises
    ------
    OrientError
        If the package holds no model, needs an extension not known here, or refers to what is
        not there.
    """
    try:
        with zipfile.ZipFile(path) as package:
            check_archive(package)
            with np.errstate(all="ignore"):  # what a wild transform makes of a corner is refused with it
                return _read_package(package)
    # What the archive's library lets through of a damaged directory differs from release to release.
    except (*_DAMAGED, EOFError, NotImplementedError, RuntimeError, ValueError, OverflowError):
        raise OrientError(
            "is no whole 3MF package (its archive cannot be opened): export or copy it again."
        ) from None
    except etree.XMLSyntaxError as error:
        raise OrientError(
            f"has a model that is not well-formed XML (line {error.lineno}): export it again."
        ) from None


def _read_package(package: zipfile.ZipFile) -> Triangles:
    root = _root_model(package)
    models = {root: _read_model(package, root)}
    unit = models[root].unit
    points: list[NDArray[np.float64]] = []
    corners: list[NDArray[np.int64]] = []
    count = 0
    left_out = 0
    copies = 0
    for item_path, number, transform in models[root].items:
        for thing, placed in _placed(package, models, item_path or root, number, transform, 0):
            copies += 1
            if copies > _MOST_COPIES or count > _MOST_CORNERS:
                raise OrientError("builds more copies than can be reckoned with: export fewer.")
            if thing.kind not in _MADE:
                left_out += 1
                continue
            if thing.points is None or thing.corners is None:
                continue
            if len(thing.corners) and not 0 <= thing.corners.min() <= thing.corners.max() < len(thing.points):
                raise OrientError("has a face that names a corner which is not there: export it again.")
            mirrored = np.linalg.det(placed[:3]) < 0
            points.append(thing.points @ placed[:3] + placed[3])
            corners.append((thing.corners[:, ::-1] if mirrored else thing.corners) + count)
            count += len(thing.points)
    notes = (f"Support objects in the file were left out ({left_out:,}).",) if left_out else ()
    if not points:
        return Triangles(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64), unit=unit, notes=notes)
    return Triangles(np.concatenate(points), np.concatenate(corners), unit=unit, notes=notes)


def _root_model(package: zipfile.ZipFile) -> str:
    """Find the model through the package's relationships, or by its recommended name."""
    names = {name.lower(): name for name in package.namelist()}
    if "_rels/.rels" in names:
        with package.open(names["_rels/.rels"]) as file:
            for relation in etree.parse(file, _parser()).getroot():
                if relation.get("Type") == _MODEL_TYPE:
                    target = relation.get("Target", "").strip("/").lower()
                    if target in names:
                        return names[target]
    if "3d/3dmodel.model" in names:
        return names["3d/3dmodel.model"]
    raise OrientError("holds no 3D model: export it as a 3MF again.")


def _parser() -> Any:
    # No entities and no network: a part's file is data from outside.
    return etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)


def _read_model(package: zipfile.ZipFile, name: str) -> _Model:
    """Read one model file element by element, so that its XML never stands in memory whole."""
    unit = "millimeter"
    objects: dict[str, _Object] = {}
    items: list[tuple[str, str, NDArray[np.float64]]] = []
    current = _Object("model")
    points: list[float] = []
    corners: list[int] = []
    with package.open(name) as file:
        steps = etree.iterparse(
            file, events=("start", "end"), resolve_entities=False, no_network=True, huge_tree=True
        )
        for event, element in steps:
            tag = etree.QName(element).localname if isinstance(element.tag, str) else ""
            if event == "start":
                if tag == "model":
                    unit = element.get("unit", unit)
                    _refuse_unknown_extensions(element)
                elif tag == "object":
                    current = _Object(element.get("type", "model"))
                    points, corners = [], []
                continue
            try:
                if tag == "vertex":
                    points += (
                        float(element.attrib["x"]),
                        float(element.attrib["y"]),
                        float(element.attrib["z"]),
                    )
                elif tag == "triangle":
                    if len(corners) > 3 * MOST_FACES:
                        refuse_many(len(corners) // 3)
                    corners += (
                        int(element.attrib["v1"]),
                        int(element.attrib["v2"]),
                        int(element.attrib["v3"]),
                    )
                elif tag == "component":
                    current.components.append(_reference(element))
                elif tag == "item":
                    items.append(_reference(element))
                elif tag == "object":
                    if points or corners:
                        current.points = np.array(points).reshape(-1, 3)
                        current.corners = np.array(corners, dtype=np.int64).reshape(-1, 3)
                    objects[element.attrib["id"]] = current
                    points, corners = [], []
            except (KeyError, ValueError, OverflowError):
                raise OrientError(
                    f"has a {tag} that cannot be read (line {element.sourceline}): export it again."
                ) from None
            if tag in {"vertex", "triangle", "object"}:
                element.clear()
                while element.getprevious() is not None:
                    del element.getparent()[0]
    try:
        return _Model(canonical_unit(unit), objects, items)
    except OrientError:
        raise OrientError(
            f"states the unit '{unit[:40]}', which 3MF does not know: export it again."
        ) from None


def _refuse_unknown_extensions(model: Any) -> None:
    for prefix in model.get("requiredextensions", "").split():
        if model.nsmap.get(prefix) not in _UNDERSTOOD:
            raise OrientError(
                f"needs the 3MF extension '{prefix}', which is not read here: export it as plain triangles."
            )


def _reference(element: Any) -> tuple[str, str, NDArray[np.float64]]:
    """Read a component or build item: path ("" for the same file), object number, transform."""
    path = element.get(f"{{{_PRODUCTION}}}path", "").strip("/")
    text = element.get("transform")
    matrix = np.eye(4)[:, :3] if text is None else np.array(text.split(), dtype=np.float64).reshape(4, 3)
    if not np.isfinite(matrix).all():
        raise ValueError
    return path, element.attrib["objectid"], matrix


def _placed(
    package: zipfile.ZipFile,
    models: dict[str, _Model],
    path: str,
    number: str,
    transform: NDArray[np.float64],
    depth: int,
) -> Iterator[tuple[_Object, NDArray[np.float64]]]:
    """Walk an object and its components, each with its transform to the build's space.

    Points are row vectors, p' = [x y z 1]·M with M of four rows and three columns, so a component
    goes through its own transform first and then through its parent's.
    """
    if depth > _DEEPEST:
        raise OrientError("has components that hold themselves: export it again.")
    path = posixpath.normpath(path)
    if path not in models:
        names = {name.lower(): name for name in package.namelist()}
        if path.lower() not in names:
            raise OrientError(f"refers to '{path}', which is not in the package: export it again.")
        models[path] = _read_model(package, names[path.lower()])
    thing = models[path].objects.get(number)
    if thing is None:
        raise OrientError(f"refers to object {number}, which is not there: export it again.")
    yield thing, transform
    if thing.kind not in _MADE:
        return
    for inner_path, inner, own in thing.components:
        both = np.vstack([own[:3] @ transform[:3], own[3] @ transform[:3] + transform[3]])
        yield from _placed(package, models, inner_path or path, inner, both, depth + 1)

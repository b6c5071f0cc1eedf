"""Write 3MF by the open core specification (3MF Consortium, version 1.4.0, BSD-licensed text)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
# Names that the specification does not define need a namespace of their own.
OWN = "urn:orient:handover:1"
_KNOWN = ("Title", "Designer", "Description", "Copyright", "LicenseTerms", "Application")
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>"
)
_RELS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
# ZIP holds no time that would differ between two runs.
_TIME = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, eq=False)
class Item:
    """An object that is built: once, or at several places.

    Attributes
    ----------
    name : str
        What it is called.
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int
        Corners of each face, counter-clockwise seen from outside.
    closed : bool
        Whether every edge joins two faces; only closed objects may be of the type "model".
    places : tuple of (4, 4) float64
        Where it is built: columns transform, p' = M·p.
    """

    name: str
    vertices: Floats
    faces: NDArray
    closed: bool = True
    places: tuple[Floats, ...] = field(default_factory=lambda: (np.eye(4),))


def threemf_bytes(items: Sequence[Item], metadata: Mapping[str, str]) -> bytes:
    """Write objects and where they are built as a 3MF package in millimetres.

    Parameters
    ----------
    items : sequence of Item
        Objects.
    metadata : Mapping of str to str
        Names of the specification, such as ``Title``; others are put in a namespace of our own.

    Returns
    -------
    bytes
        The same for the same input, to the bit.
    """
    said = "".join(
        f' <metadata name="{name if name in _KNOWN else "o:" + name}">{escape(text)}</metadata>\n'
        for name, text in metadata.items()
    )
    objects = "".join(_object(k + 1, item) for k, item in enumerate(items))
    build = "".join(
        f'  <item objectid="{k + 1}" transform="{_transform(place)}"/>\n'
        for k, item in enumerate(items)
        for place in item.places
    )
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns="{CORE}" xmlns:o="{OWN}">\n'
        f"{said} <resources>\n{objects} </resources>\n <build>\n{build} </build>\n</model>\n"
    )
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELS),
            ("3D/3dmodel.model", model),
        ):
            entry = zipfile.ZipInfo(name, _TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text.encode())
    return held.getvalue()


def _object(number: int, item: Item) -> str:
    # An open mesh may only be a surface; the specification lets "model" be closed meshes alone.
    kind = "model" if item.closed else "surface"
    corners = "\n".join(
        f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in np.asarray(item.vertices, float).tolist()
    )
    faces = "\n".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in np.asarray(item.faces).tolist()
    )
    return (
        f'  <object id="{number}" type="{kind}" name={quoteattr(item.name)}><mesh>\n'
        f"<vertices>\n{corners}\n</vertices>\n<triangles>\n{faces}\n</triangles>\n</mesh></object>\n"
    )


def _transform(place: Floats) -> str:
    """Twelve numbers, a column of the matrix after another, the shift last; points are rows."""
    return " ".join(repr(float(value)) for value in place[:3].T.ravel())

"""Reading a part, and saying in plain words what it is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.desk.answers import Body, Brought, Doubt, Holes
from orient.desk.jobs.held import Held, Known, Say
from orient.part.mesh import Part, SeveralBodies
from orient.part.read import read_part
from orient.part.regions import regions_of
from orient.part.units import MM_PER
from orient.pose.rotation import rotation_to_bed
from orient.show.picture.bed import bed_for
from orient.show.picture.colours import PLAIN
from orient.show.viewer.payload import base64_text, mesh_data, packed_text

_TINT = 0x1C2024


def bring(
    held: Held,
    say: Say,
    *,
    path: str,
    name: str,
    units: str | None = None,
    body: int | None = None,
    together: bool = False,
) -> Brought:
    """Read a part and keep it.

    Parameters
    ----------
    held : Held
        Gets the part.
    say : callable
        Is told how far it has come.
    path : str
        File to read.
    name : str
        What to call the part.
    units, body, together
        As for `orient.part.read.read_part`.

    Returns
    -------
    Brought
        With nothing but ``bodies`` where the file holds several and none was chosen.
    """
    say("Reading the part", None)
    try:
        part = read_part(Path(path), units, body, together, name=name)
    except SeveralBodies as several:
        listed = zip(several.extents_mm.tolist(), several.volume_mm3.tolist(), strict=True)
        bodies = tuple(Body(k, (x, y, z), v) for k, ((x, y, z), v) in enumerate(listed, start=1))
        return Brought(name, bodies=bodies)
    asked = {"units": units, "body": body, "together": together or None}
    held.take(part, Path(path), {key: value for key, value in asked.items() if value is not None})
    say("Looking at its surface", None)
    x, y, z = part.extents_mm.tolist()
    return Brought(
        name=name,
        units=part.units,
        faces=len(part.faces),
        extents_mm=(x, y, z),
        volume_mm3=part.volume_mm3,
        area_mm2=part.area_mm2,
        closed=part.closed,
        repairs=part.health.repairs,
        warnings=part.health.warnings,
        doubt=None if units is not None else _doubt(part),
        scene=json.dumps(scene_data(part), separators=(",", ":"), allow_nan=False).encode(),
    )


def holes(held: Held, say: Say) -> Holes:
    """Find the holes of the part, so that a hand can point at them."""
    known: Known = held.at_hand
    of_face = np.zeros(len(known.part.faces), dtype="<u2")
    for number, one in enumerate(known.holes, start=1):
        of_face[one.faces] = number
    return Holes(
        of_face.tobytes(),
        tuple(
            {
                "id": one.id,
                "diameter": one.diameter_mm,
                "depth": one.depth_mm,
                "at": list(one.centre_mm),
                "axis": list(one.axis),
            }
            for one in known.holes
        ),
    )


def scene_data(part: Part) -> dict[str, Any]:
    """The part for the viewer, lying as the file has it, with the faces that a hand can point at.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    dict
        Plain values, ready for JSON.
    """
    region: NDArray[np.int32] = regions_of(part).region
    plain = {
        "name": "The part",
        "code": packed_text(np.zeros(len(part.faces), dtype=np.uint8)),
        "palette": [[*PLAIN, 255]],
        "said": ["the part as it was read"],
    }
    return {
        **mesh_data(part),
        "size": part.size_mm,
        "tint": _TINT,
        "paints": {"plain": plain},
        "poses": [as_filed(part)],
        "arrows": [],
        "regions": base64_text(region.astype("<u4" if int(region.max()) > 65535 else "<u2")),
        "many": int(region.max()) > 65535,
        "hull": base64_text(part.hull.points.astype("<f4")),
    }


def as_filed(part: Part) -> dict[str, Any]:
    """The pose in which the file has the part."""
    transform = rotation_to_bed((0.0, 0.0, 1.0), part.hull.points)
    laid = part.hull.points @ transform[:3, :3].T + transform[:3, 3]
    bed = bed_for(np.ptp(laid, axis=0))
    return {
        "number": 0,
        "matrix": transform.T.ravel().tolist(),
        "height": bed.height_mm,
        "bed": bed.half_mm.tolist(),
        "square": bed.square_mm,
        "azimuth": -60.0,
        "columns": "",
        "owner": packed_text(np.zeros(len(part.faces), dtype=np.uint8)),
        "names": [],
        "labels": [],
    }


def _doubt(part: Part) -> Doubt | None:
    """Another unit that the file was probably drawn in, with the size both ways."""
    if part.health.unit_doubt is None:
        return None
    unit, reason = part.health.unit_doubt
    x, y, z = part.extents_mm.tolist()
    a, b, c = (part.extents_mm / MM_PER[part.units] * MM_PER[unit]).tolist()
    return Doubt(unit, reason, (x, y, z), (a, b, c))

"""Test prints of a part's hard features, one by one or side by side in a tray."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from orient.cost.plan import Plan
from orient.errors import OrientError
from orient.features.model import Feature
from orient.features.register import Inspection
from orient.handover.beds import Room, lay_beds
from orient.handover.gauges import Gauge
from orient.handover.meshfile import mesh_bytes
from orient.handover.oriented import SCHEMA
from orient.handover.silhouette import silhouette_of, turned
from orient.handover.test_print import MINUTES, TestPrint, feature_named, is_like, print_feature
from orient.handover.threemf import Item
from orient.process import Process

# Between test prints in a tray, mm. Common practice, no source.
TRAY_GAP_MM = 4.0


@dataclass(frozen=True, eq=False)
class Tray:
    """Test prints that are built together.

    Attributes
    ----------
    part : str
        The part's name.
    prints : tuple of TestPrint
        Those that keep to the time.
    too_long : tuple of TestPrint
        Those of features that cannot be shown in the time: how long each takes.
    minutes : float
        What was asked for.
    alike : Mapping of str to tuple of str
        Features that one test print stands for beside its own, by the id of that.
    """

    part: str
    prints: tuple[TestPrint, ...]
    too_long: tuple[TestPrint, ...]
    minutes: float
    alike: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def tray_of(
    found: Inspection,
    process: Process,
    plan: Plan,
    idents: Sequence[str] | None = None,
    *,
    minutes: float = MINUTES,
) -> Tray:
    """Cut test prints of features; unless some are named, of all hard ones, one for those that are alike.

    Parameters
    ----------
    found : Inspection
        The part in its pose.
    process, plan : Process, Plan
        Limits, and how it is printed.
    idents : sequence of str, optional
        Ids of features.
    minutes : float
        How long each may take.

    Returns
    -------
    Tray

    Raises
    ------
    OrientError
        For an id that there is not, or where there is nothing hard to print.
    """
    alike: dict[str, tuple[str, ...]] = {}
    if idents is None:
        features = [one for one in found.features if one.verdict != "fine"]
        if not features:
            raise OrientError(
                f"{found.part.name} has no hard features in this pose: there is nothing to test."
            )
        features, alike = _one_of_each(features)
    else:
        features = [feature_named(found, ident) for ident in idents]
    made = [print_feature(found, one, process, plan, minutes=minutes) for one in features]
    short = tuple(one for one in made if fits_time(one, minutes))
    late = tuple(one for one in made if not fits_time(one, minutes))
    return Tray(found.part.name, short, late, minutes, alike)


def _one_of_each(features: Sequence[Feature]) -> tuple[list[Feature], dict[str, tuple[str, ...]]]:
    """The first of every lot of like features, and the ids of the others of its lot."""
    first: list[Feature] = []
    others: dict[str, tuple[str, ...]] = {}
    for one in features:
        like = next((known for known in first if is_like(known, one)), None)
        if like is None:
            first.append(one)
        else:
            others[like.id] = (*others.get(like.id, ()), one.id)
    return first, others


def fits_time(one: TestPrint, minutes: float) -> bool:
    """Whether a test print shows its feature in about the time asked for: up to a tenth more."""
    return one.same and one.minutes <= 1.1 * minutes


def tray_bytes(
    prints: Sequence[TestPrint], kind: str, bed_mm: tuple[float, float], said: Mapping[str, str] | None = None
) -> bytes:
    """Write test prints side by side; the pose about the vertical is kept.

    Parameters
    ----------
    prints : sequence of TestPrint
        What to write.
    kind : str
        Format.
    bed_mm : (2,) tuple
        Room there is.
    said : Mapping of str to str, optional
        What a 3MF says of where the part is from, `orient.handover.oriented.metadata_of`.

    Raises
    ------
    OrientError
        When they do not fit one bed.
    """
    items = []
    if len(prints) == 1:
        (one,) = prints
        # In the middle of the bed, as a part that is laid alone.
        middle = (one.vertices.min(axis=0) + one.vertices.max(axis=0)) / 2.0
        shift = np.array([bed_mm[0] / 2.0 - middle[0], bed_mm[1] / 2.0 - middle[1], 0.0])
        items = [Item(one.feature.id, one.vertices + shift, one.faces)]
    else:
        shapes = [silhouette_of(one.vertices, one.faces) for one in prints]
        beds = lay_beds(shapes, [1] * len(shapes), Room(*bed_mm, 5.0, TRAY_GAP_MM))
        if len(beds) > 1:
            raise OrientError("The test prints do not fit one bed: name fewer features.")
        for spot in beds[0].placements:
            place = np.eye(4)
            place[:2, :2] = turned(spot.turn_deg)
            place[:2, 3] = spot.x_mm, spot.y_mm
            one = prints[spot.kind]
            items.append(Item(one.feature.id, one.vertices, one.faces, True, (place,)))
    title = {"Title": "test prints " + ", ".join(item.name for item in items)}
    # Hours and grams are of the whole part.
    kept = {name: value for name, value in (said or {}).items() if name not in ("hours", "grams")}
    return mesh_bytes(items, kind, kept | title)


def print_document(one: TestPrint, path: str | None, alike: Sequence[str] = ()) -> dict[str, Any]:
    """Say what a test print is, and which like features it stands for too, as plain values for JSON."""
    return {
        "schema": SCHEMA,
        "what": "test print",
        "path": path,
        "id": one.feature.id,
        "kind": one.feature.kind,
        "verdict": one.feature.verdict,
        "feature_size_mm": round(one.feature.size_mm, 4),
        "found_size_mm": None if one.found_mm is None else round(one.found_mm, 4),
        "same": one.same,
        "shown_mm": None if one.shown_mm is None else [round(length, 3) for length in one.shown_mm],
        "labelled": one.labelled,
        "size_mm": [round(float(side), 4) for side in one.size_mm],
        "volume_mm3": round(one.volume_mm3, 4),
        "added_mm3": round(one.added_mm3, 4),
        "minutes": round(one.minutes, 3),
        "grams": None if one.grams is None else round(one.grams, 3),
        "stands_for": list(alike),
    }


def tray_document(tray: Tray, path: str | None) -> dict[str, Any]:
    """Say what a tray holds, and what takes longer than was asked for."""
    if len(tray.prints) == 1 and not tray.too_long:
        return print_document(tray.prints[0], path, tray.alike.get(tray.prints[0].feature.id, ()))
    grams = [one.grams for one in tray.prints]
    return {
        "schema": SCHEMA,
        "what": "tray",
        "path": path,
        "part": tray.part,
        "asked_minutes": tray.minutes,
        "minutes": round(sum(one.minutes for one in tray.prints), 3),
        "grams": None if None in grams else round(sum(g for g in grams if g is not None), 3),
        "prints": [print_document(one, path, tray.alike.get(one.feature.id, ())) for one in tray.prints],
        "too_long": [print_document(one, None, tray.alike.get(one.feature.id, ())) for one in tray.too_long],
    }


def gauge_document(one: Gauge, path: str, minutes: float, grams: float | None) -> dict[str, Any]:
    """Say what a coupon of the material is."""
    corners = one.vertices[one.faces]
    volume = float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6.0)
    return {
        "schema": SCHEMA,
        "what": "coupon",
        "path": path,
        "coupon": one.name,
        "title": one.title,
        "size_mm": [round(float(side), 4) for side in np.ptp(one.vertices, axis=0)],
        "volume_mm3": round(volume, 4),
        "steps": list(one.steps_mm),
        "measures": one.measures,
        "minutes": round(minutes, 3),
        "grams": None if grams is None else round(grams, 3),
    }


def gauge_bytes(one: Gauge, kind: str) -> bytes:
    """Write a coupon of the material."""
    return mesh_bytes(
        [Item(one.name, one.vertices, one.faces)], kind, {"Title": one.title, "measure": one.measures}
    )

"""What the viewer draws: a mesh in few bytes, and one byte a face for every way of colouring it."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.evaluation import Evaluation
from orient.features.model import Feature
from orient.features.register import BY_NAME
from orient.part.mesh import Part
from orient.show.picture.bed import bed_for
from orient.show.picture.paint import NO_VALUE, KindPaint, Paint, ValuePaint
from orient.show.picture.subject import MOST_LETTERS, Subject
from orient.show.viewer.finer import finer, levels_of
from orient.strength.judge import MOST_SAFE
from orient.strength.places import select_place

# The fourth byte of a colour: how the viewer hatches a face.
_HATCH = {"none": 255, "dots": 170, "lines": 85, "cross": 0}
# More columns of support than this are thinned out.
_MOST_COLUMNS = 1600
# Features that a byte can name; the worst come first.
_MOST_NAMED = 255
_BUILD, _LOAD, _HELD = 0x1C2024, 0x0072B2, 0x009E73


def viewer_data(evaluation: Evaluation, subjects: Mapping[int, Subject]) -> dict[str, Any]:
    """Make an evaluation ready for the viewer.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    subjects : Mapping[int, Subject]
        Poses to switch between, by row of the ranking; the first is shown first.

    Returns
    -------
    dict
        Plain values, ready for JSON.
    """
    part = evaluation.part
    first = next(iter(subjects.values()))
    paints: dict[str, Any] = {
        "overhang": _by_pose({row + 1: one.paint("overhang") for row, one in subjects.items()}),
        "thickness": paint_data(first.paint("thickness")),
    }
    if first.found is not None:
        paints["features"] = _by_pose({row + 1: one.paint("features") for row, one in subjects.items()})
    if first.field is not None:
        levels = levels_of(part)
        paints["safety"] = {"poses": {row + 1: _safety(part, one, levels) for row, one in subjects.items()}}
    return {
        **mesh_data(part),
        "size": part.size_mm,
        "tint": _BUILD,
        "paints": paints,
        "poses": [_pose(one, row) for row, one in subjects.items()],
        "arrows": _loads(evaluation),
    }


def mesh_data(part: Part) -> dict[str, Any]:
    """Corners as 16-bit steps of the part's box, faces as indices: about 12 bytes a face, then base64.

    A step is at most the box's side / 65535, 3 µm on 200 mm.
    """
    low = part.bounds[0]
    step = np.maximum(part.extents_mm, 1e-9) / 65535.0
    steps = np.rint((part.vertices - low) / step).astype("<u2")
    wide = len(part.vertices) > 65536
    return {
        "low": low.tolist(),
        "step": step.tolist(),
        "corners": base64_text(steps),
        "faces": base64_text(part.faces.astype("<u4" if wide else "<u2")),
        "wide": wide,
    }


def _by_pose(paints: Mapping[int, Paint]) -> dict[str, Any]:
    return {"poses": {number: paint_data(paint) for number, paint in paints.items()}}


def paint_data(paint: Paint) -> dict[str, Any]:
    """A way of colouring: a byte a face, and what the bytes stand for."""
    return key_data(paint) | {"code": packed_text(paint.code)}


def finer_data(
    part: Part, paint: ValuePaint, levels: NDArray[np.uint8]
) -> tuple[dict[str, Any], NDArray[np.uint8]]:
    """A way of colouring in small triangles: what its bytes stand for, how each face is cut, and the bytes.

    A part whose faces are small is coloured by them.
    """
    if levels.max(initial=1) == 1:
        return key_data(paint), paint.code
    code = finer(part, paint, levels)
    # Where every spot has its own colour there is nothing to know of whole triangles.
    key = {"levels": packed_text(levels), "told": "", "unread": bool((code == NO_VALUE).any())}
    return key_data(paint) | key, code


def key_data(paint: Paint) -> dict[str, Any]:
    """What the bytes of a way of colouring stand for."""
    if isinstance(paint, KindPaint):
        return {
            "name": paint.name,
            "palette": [[*kind.colour, _HATCH[kind.hatch]] for kind in paint.kinds],
            "said": [kind.said for kind in paint.kinds],
        }
    palette = paint.palette
    shares = np.arange(254) / 253.0
    values = (
        paint.high * (paint.low / paint.high) ** shares
        if paint.logarithmic
        else paint.high + (paint.low - paint.high) * shares
    )
    watched = -np.inf if paint.watch is None else paint.watch
    watch = np.r_[values < watched, False, False]
    # All that lies beyond the low end has its colour.
    watch[253] = values[253] <= watched
    hatch = np.where(watch, _HATCH["lines"], _HATCH["none"])
    hatch[-1] = _HATCH["dots"]
    return {
        "name": paint.name,
        "unit": paint.unit,
        "palette": np.column_stack([palette, hatch]).tolist(),
        "values": [round(float(value), 2) for value in values],
        "high": paint.high,
        "unread": bool((paint.code == NO_VALUE).any()),
        "unread_said": paint.unread_said,
        "told": paint.told,
    }


def _safety(part: Part, subject: Subject, levels: NDArray[np.uint8]) -> dict[str, Any]:
    key, code = finer_data(part, subject.safety, levels)
    return key | {"code": packed_text(code)}


def _pose(subject: Subject, row: int) -> dict[str, Any]:
    features = () if subject.found is None else subject.found.features
    lying, columns = lying_data(subject, row + 1)
    return lying | {
        "columns": base64_text(columns.astype("<f4")),
        "owner": packed_text(owners(subject.part, features)),
    }


def lying_data(subject: Subject, number: int) -> tuple[dict[str, Any], NDArray[np.float64]]:
    """How a pose lies on the bed.

    Parameters
    ----------
    subject : Subject
        The pose.
    number : int
        What to call it.

    Returns
    -------
    lying : dict
        Matrix onto the bed, the bed's squares, features by name, what is written on the part and by which
        way of colouring: plain values.
    columns : (N, 2, 3) float64
        Columns of support, thinned out where there are many.
    """
    part, transform = subject.part, subject.transform
    laid = part.hull.points @ transform[:3, :3].T + transform[:3, 3]
    bed = bed_for(np.ptp(laid, axis=0))
    columns = subject.columns
    columns = columns[:: max(1, -(-len(columns) // _MOST_COLUMNS))]
    features = () if subject.found is None else subject.found.features
    hard = [one for one in features if one.verdict != "fine"][:MOST_LETTERS]
    labels = [{"id": one.id, "at": list(one.at_mm), "paint": "features"} for one in hard]
    if subject.weakest is not None and subject.weakest[1] < MOST_SAFE:
        at, factor = subject.weakest
        labels.append({"id": f"weakest: {factor:.2f}", "at": at.tolist(), "paint": "safety"})
    lying = {
        "number": number,
        # three.js keeps matrices by column.
        "matrix": transform.T.ravel().tolist(),
        "height": bed.height_mm,
        "bed": bed.half_mm.tolist(),
        "square": bed.square_mm,
        "azimuth": subject.angles("corner")[0],
        "names": [f"{one.id} {BY_NAME[one.kind].title}: {one.verdict}" for one in features[:_MOST_NAMED]],
        "labels": labels,
    }
    return lying, columns


def owners(part: Part, features: Sequence[Feature]) -> NDArray[np.uint8]:
    """Feature of every face, counted from 1, 0 for none: of several the smallest, which says most."""
    owner = np.zeros(len(part.faces), dtype=np.uint8)
    named = list(enumerate(features[:_MOST_NAMED], start=1))
    for number, one in sorted(named, key=lambda entry: -entry[1].area_mm2):
        owner[one.faces] = number
    return owner


def _loads(evaluation: Evaluation) -> list[dict[str, Any]]:
    """Arrows for stress axes and forces, balls where the part is held, in the part's own coordinates."""
    part, load = evaluation.part, evaluation.brief.load
    middle = part.bounds.mean(axis=0)
    long = 0.42 * part.size_mm
    arrows = []
    if evaluation.strength is None:
        for axis in load.stress_axis or ():
            for sense in (1.0, -1.0):
                said = "load axis" if sense > 0 else ""
                # Away from the part where it is pulled, else towards it.
                off, way = (0.8, -sense) if load.kind == "tension" else (1.3, sense)
                unit = np.array(axis) / np.linalg.norm(axis)
                arrows.append(_arrow(middle - off * long * sense * unit, way * unit, 0.5 * long, said))
        return arrows
    for case in load.case:
        for force in case.force:
            faces = select_place(part, force.on).faces
            at = np.average(part.centroids[faces], axis=0, weights=part.areas[faces])
            along = np.array(force.newtons, dtype=np.float64)
            if along.any():
                said = f"{case.name or 'load'}, {np.linalg.norm(along):,.4g} N"
                arrows.append(_arrow(at - long * along / np.linalg.norm(along), along, long, said))
    return arrows + _fixings(evaluation)


def _fixings(evaluation: Evaluation) -> list[dict[str, Any]]:
    """A ball for every place where the part is held in some case, in the middle of its faces."""
    part = evaluation.part
    held = dict.fromkeys(place for case in evaluation.brief.load.case for place in case.fixed)
    balls = []
    for place in held:
        faces = select_place(part, place).faces
        at = np.average(part.centroids[faces], axis=0, weights=part.areas[faces])
        balls.append(
            {"at": at.tolist(), "along": [0.0, 0.0, 1.0], "length": 0.0, "colour": _HELD, "said": "held"}
        )
    return balls


def _arrow(at: NDArray[np.float64], along: NDArray[np.float64], long: float, said: str) -> dict[str, Any]:
    """An arrow from a place along a direction; its words stand at its tail."""
    return {"at": at.tolist(), "along": along.tolist(), "length": long, "colour": _LOAD, "said": said}


def base64_text(array: NDArray[Any]) -> str:
    """The bytes of an array as text."""
    return base64.b64encode(np.ascontiguousarray(array).tobytes()).decode()


def packed_text(codes: NDArray[np.uint8]) -> str:
    """Bytes as base64, as runs where that is shorter: a ``~``, then pairs of a length and a value.

    >>> packed_text(np.zeros(600, dtype=np.uint8)), packed_text(np.arange(3, dtype=np.uint8))
    ('~/wD/AFoA', 'AAEC')
    """
    starts = np.flatnonzero(np.r_[True, codes[1:] != codes[:-1]])
    lengths = np.diff(np.r_[starts, len(codes)])
    # A run longer than a byte can say is told in pieces.
    pieces = -(-lengths // 255)
    told = np.full(int(pieces.sum()), 255)
    told[np.cumsum(pieces) - 1] = lengths - 255 * (pieces - 1)
    runs = np.column_stack([told, np.repeat(codes[starts], pieces)]).astype(np.uint8)
    return "~" + base64_text(runs) if runs.size < codes.size else base64_text(codes)

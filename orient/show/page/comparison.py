"""The page of a comparison: variants side by side, turned together, and what changed on them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.evaluation import LOAD_CAUTION
from orient.features.register import BY_NAME as KINDS
from orient.part.mesh import Part
from orient.pose.rotation import rotation_to_bed
from orient.ranking.figures import figure
from orient.show.comparison import (
    LOOPS_SAID,
    THICK_SAID,
    difference_words,
    has_strength,
    other_length,
    percent_words,
    range_words,
    titled,
    written,
)
from orient.show.files import write_whole
from orient.show.page.brief_text import brief_toml
from orient.show.page.page import NO_SCRIPT, environment, image, json_text, page_text, policy, program_version
from orient.show.picture.bed import bed_for
from orient.show.picture.change import ADDED, REMOVED, draw_pair, marked
from orient.show.picture.draw import angles_for
from orient.show.picture.seen import scene_of
from orient.show.viewer.library import INSTALL, viewer_script
from orient.show.viewer.payload import base64_text, mesh_data, paint_data
from orient.show.words import direction_words, fill_words
from orient.variants.compare import WAYS, Comparison, Pair, Variant
from orient.variants.features import Match
from orient.variants.measures import BY_NAME, Delta

Floats = NDArray[np.float64]

_TINT = 0x1C2024
# Edges that turn by more are drawn.
_SHARP_DEG = 24.0
_WAYS = {
    "own": "Each in its own best pose",
    "first": "Both in the pose of the first",
    "shared": "Both in the pose that is best for all",
}


def write_comparison(found: Comparison, path: Path) -> None:
    """Write the page of a comparison; a page that stood there is replaced whole or not at all.

    Raises
    ------
    OrientError
        When the folder is missing or cannot be written to.
    """
    write_whole(path, comparison_page(found).encode())


def comparison_page(found: Comparison) -> str:
    """Make the page of a comparison.

    Parameters
    ----------
    found : Comparison
        What was compared.

    Returns
    -------
    str
        HTML with pictures, styles and scripts in it.
    """
    library = viewer_script()
    script = NO_SCRIPT if library is None else f"{library}\n{page_text('comparison.js')}"
    style = f"{page_text('page.css')}\n{page_text('comparison.css')}"
    return (
        environment()
        .get_template("comparison.html")
        .render(
            names=[one.name for one in found.variants],
            job=found.variants[0].evaluation.brief.job,
            revision=None,  # variants have one each
            ranked=_ranked(found) if len(found.variants) > 2 else (),
            pairs=[_pair(pair, k) for k, pair in enumerate(found.pairs, start=1)],
            warnings=[f"{one.name}: {said}" for one in found.variants for said in one.evaluation.warnings],
            data=None if library is None else json_text(sides_data(found)),
            install=INSTALL,
            load_caution=LOAD_CAUTION if any(has_strength(one) for one in found.variants) else None,
            brief=brief_toml(found.variants[0].evaluation.brief),
            program=program_version(),
            style=style,
            script=script,
            policy=policy(style, script),
        )
    )


def laid(found: Sequence[Variant], row: int) -> list[Floats]:
    """Transforms that lay the variants on the bed in one way, turned about the vertical alike.

    Each variant is set down as the first is, as far as its own build direction allows.
    """
    first = found[0]
    base = rotation_to_bed(first.figures.directions[row], first.part.hull.points)
    transforms = []
    for one in found:
        turn = base[:3, :3] @ one.placed.rotation
        up = turn @ one.figures.directions[row]
        if up[2] < 1.0 - 1e-9:
            # Its own pose is another: laid by itself.
            transforms.append(rotation_to_bed(one.figures.directions[row], one.part.hull.points))
            continue
        points = one.part.hull.points @ turn.T
        middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
        matrix = np.eye(4)
        matrix[:3, :3] = turn
        matrix[:3, 3] = [-middle[0], -middle[1], -points[:, 2].min()]
        transforms.append(matrix)
    return transforms


def _pair(pair: Pair, number: int) -> dict[str, Any]:
    pictures = draw_pair(pair, tuple(laid((pair.first, pair.second), 1)))  # type: ignore[arg-type]
    return pair_section(pair, number) | {"pictures": [image(one) for one in pictures]}


def pair_section(pair: Pair, number: int) -> dict[str, Any]:
    """A pair in words: the verdict, what changed, features and figures side by side."""
    return {
        "number": number,
        "first": pair.first.name,
        "second": pair.second.name,
        "word": {True: "better", False: "worse", None: "tie"}[pair.better],
        "verdict": pair.verdict,
        "notes": pair.notes,
        "share": f"{100 * pair.second.placed.unchanged_fraction:.1f} %",
        "common": pair.second.placed.common,
        "approximate": pair.changes.approximate,
        "changes": [
            {
                "id": one.id,
                "what": one.what,
                "volume": figure(one.volume_mm3, "mm³"),
                "area": figure(one.area_mm2, "mm²"),
                "thickness": f"{one.thickness_mm:.2f}",
                "at": ", ".join(f"{round(float(x), 1) + 0.0:.1f}".replace("-", "−") for x in one.at_mm),
            }
            for one in pair.changes.pieces
        ],
        "features": [
            {
                "state": one.state,
                "tone": _tone(one),
                "kind": KINDS[one.kind].title,
                "sides": [
                    None
                    if feature is None
                    else f"{feature.id}: {figure(feature.size_mm, 'mm')} mm, {feature.verdict}"
                    for feature in (one.first, one.second)
                ],
            }
            for one in pair.features
            if one.state != "same" or other_length(one)
        ],
        "loops": LOOPS_SAID if any(other_length(one) for one in pair.features) else "",
        "thick": THICK_SAID,
        "fill": fill_words(pair.first.evaluation),
        "same": sum(one.state == "same" and not other_length(one) for one in pair.features),
        "ways": [
            {
                "title": _WAYS[way],
                "along": [direction_words(one.figures.directions[row]) for one in (pair.first, pair.second)],
                "rows": [_row(one, pair) for one in pair.measures[way].values()],
            }
            for row, way in enumerate(WAYS)
        ],
        "ranges": range_words(pair),
    }


def _tone(one: Match) -> str:
    """Whether it matters that a feature went, came or changed: not where it prints as it is."""
    if all(feature is None or feature.verdict == "fine" for feature in (one.first, one.second)):
        return "tie"
    return {"gone": "better", "easier": "better", "same": "tie"}.get(one.state, "worse")


def _row(one: Delta, pair: Pair) -> dict[str, str]:
    measure = BY_NAME[one.name]
    return {
        "title": titled(measure, pair.first),
        "first": written(measure, one.first.nominal),
        "second": written(measure, one.second.nominal),
        "change": difference_words(measure, one),
        "percent": percent_words(measure, one),
        "word": one.word,
    }


def _ranked(found: Comparison) -> list[dict[str, Any]]:
    shown = ("cost", "hours", "support_needed_mm3", "safety_factor", "features_support", "score")
    values = [one.values["own"] for one in found.variants]
    names = [name for name in shown if all(name in one for one in values)]
    return [
        {
            "name": found.variants[k].name,
            "undominated": found.undominated[k],
            "broken": found.variants[k].broken,
            "figures": [
                (titled(BY_NAME[name], found.variants[0]), written(BY_NAME[name], values[k][name].nominal))
                for name in names
            ],
        }
        for k in found.order
    ]


def sides_data(found: Comparison) -> dict[str, Any]:
    """What the viewers draw: a mesh a variant, with a colouring for each pair that it is in.

    Poses are 1, both as the first lies best; 2, each as it lies best; 3, both as is best for all.
    """
    poses = {1: laid(found.variants, 1), 2: laid(found.variants, 0), 3: laid(found.variants, 2)}
    size = max(one.part.size_mm for one in found.variants)
    first, paints = marked(
        found.variants[0].part,
        [[one for one in pair.changes.pieces if one.what == "removed"] for pair in found.pairs],
        REMOVED,
        np.eye(4),
    )
    parts: list[tuple[Part, dict[str, Any]]] = [
        (first, {f"pair{k}": paint_data(paint) for k, paint in enumerate(paints, start=1)})
    ]
    for k, pair in enumerate(found.pairs, start=1):
        added = [one for one in pair.changes.pieces if one.what == "added"]
        back = pair.second.placed.reversed().transform
        part, own = marked(pair.second.part, [added], ADDED, back)
        parts.append((part, {f"pair{k}": paint_data(own[0])}))
    azimuth = angles_for(scene_of(found.variants[0].part), poses[1][0], "corner")[0]
    return {
        "variants": [
            {
                **mesh_data(part),
                "edges": base64_text(_edges(found.variants[k].part)),
                "size": size,
                "tint": _TINT,
                "arrows": [],
                "paints": paints,
                "poses": [
                    _pose(part, number, transforms[k], azimuth) for number, transforms in poses.items()
                ],
            }
            for k, (part, paints) in enumerate(parts)
        ]
    }


def _edges(part: Part) -> NDArray[np.float32]:
    """Edges to draw: the sharp ones and the rims, (N, 2, 3)."""
    faces, normals, beside = np.asarray(part.faces), part.normals, part.neighbours
    other = np.where(beside >= 0, beside, 0)
    turned = np.einsum("fi,fki->fk", normals, normals[other]) < np.cos(np.radians(_SHARP_DEG))
    own = np.arange(len(faces))[:, None]
    row, side = np.nonzero((beside < 0) | (turned & (beside > own)))
    ends = np.stack([faces[row, side], faces[row, (side + 1) % 3]], axis=1)
    return part.vertices[ends].astype("<f4")


def _pose(part: Part, number: int, transform: Floats, azimuth: float) -> dict[str, Any]:
    points = part.hull.points @ transform[:3, :3].T
    bed = bed_for(np.ptp(points, axis=0))
    return {
        "number": number,
        "matrix": transform.T.ravel().tolist(),
        "height": bed.height_mm,
        "bed": bed.half_mm.tolist(),
        "square": bed.square_mm,
        "azimuth": azimuth,
        "columns": "",
        "owner": base64_text(np.zeros(len(part.faces), dtype=np.uint8)),
        "names": [],
        "labels": [],
    }

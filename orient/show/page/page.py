"""The page: one HTML file that needs nothing else, and asks nothing of the network."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from pathlib import Path
from typing import Any

import jinja2

from orient.cost.tuning import tuning_sheet
from orient.evaluation import Evaluation
from orient.evaluation.safety import failing
from orient.features.model import VERDICTS, Feature
from orient.features.register import BY_NAME, Inspection
from orient.handover.oriented import brief_hash
from orient.process import service_words
from orient.show.features import limit_words
from orient.show.files import write_whole
from orient.show.page.brief_text import brief_toml, data_version
from orient.show.page.chart import HEIGHT, WIDTH, trade_off
from orient.show.page.facts import answer, compared, pose_facts, rests
from orient.show.picture.draw import Picture, draw_close_up
from orient.show.picture.seen import scene_of
from orient.show.picture.subject import COLOURS, Subject, subject_of
from orient.show.shop import NO_DATA, order_words
from orient.show.viewer.library import INSTALL, viewer_script
from orient.show.viewer.payload import viewer_data
from orient.show.words import direction_words, fill_words
from orient.strength.judge import MOST_SAFE
from orient.strength.section import CAUTION

# Poses beside each other, and in the 3D part.
MOST_POSES = 6
# Close-ups; the worst features come first, and what is fine has none.
MOST_CLOSE_UPS = 40
# Pixels of the pictures; a phone gets its own, with letters that are legible when it is made small.
_LARGE = (900, 640)
_PHONE, _PHONE_PX = (560, 520), 21
_CARD = (420, 320)
_CLOSE = (300, 225)
_PRINT = (760, 520)
_TITLES = {
    "overhang": "what needs holding up",
    "thickness": "wall thickness",
    "features": "hard features",
    "safety": "safety factor",
}


def write_report(evaluation: Evaluation, path: Path) -> None:
    """Write the page of an evaluation; a page that stood there is replaced whole or not at all.

    Raises
    ------
    OrientError
        When the folder is missing or cannot be written to.
    """
    write_whole(path, report(evaluation).encode())


def report(evaluation: Evaluation) -> str:
    """Make the page of an evaluation.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.

    Returns
    -------
    str
        HTML with pictures, styles and scripts in it. Its content policy lets nothing else in.
    """
    ranking = evaluation.ranking
    features = evaluation.features
    scene = scene_of(evaluation.part, None if features is None else features.shape.rays)
    rows = _rows(evaluation)
    subjects = {row: subject_of(evaluation, row, scene) for row in rows}
    taken = subjects[rows[0]]
    facts = compared([pose_facts(evaluation, row) for row in sorted(rows)])
    head, sentence = answer(evaluation)
    script, data = _viewer(evaluation, subjects)
    style = page_text("page.css")
    found = None if features is None else features.recommended
    text = (
        environment()
        .get_template("page.html")
        .render(
            part=evaluation.part,
            job=evaluation.brief.job,
            revision=evaluation.brief.job.revision,
            head=head,
            sentence=sentence,
            failing=failing(evaluation.ranking),
            why=ranking.why[rows[0]] or (NOT_EXPLAINED,),
            warnings=evaluation.warnings,
            taken=ranking.recommended,
            facts=next(own for row, own in zip(sorted(rows), facts, strict=True) if row == rows[0]),
            above=image(taken.draw("overhang", "corner", _LARGE)),
            above_small=image(taken.draw("overhang", "corner", _PHONE, letter_px=_PHONE_PX)),
            below=image(taken.draw("overhang", "under", _LARGE)),
            below_small=image(taken.draw("overhang", "under", _PHONE, letter_px=_PHONE_PX)),
            poses=[
                {
                    "number": row + 1,
                    "along": direction_words(ranking.directions[row]),
                    "rests": rests(evaluation, row),
                    "facts": own,
                    "undominated": bool(ranking.undominated[row]),
                    "picture": image(subjects[row].draw("overhang", "corner", _CARD, legend=False)),
                }
                for row, own in zip(sorted(rows), facts, strict=True)
            ],
            hours_note=hours_note(evaluation),
            fill_note=fill_words(evaluation),
            chart=trade_off(evaluation),
            chart_size=(WIDTH, HEIGHT),
            features=None if found is None else _features(taken, found),
            unreliable=() if found is None else tuple(dict.fromkeys(found.unreliable.values())),
            prints=[image(taken.draw(colour, "corner", _PRINT)) for colour in _colours(taken)],
            switches=[(colour, _TITLES[colour]) for colour in _colours(taken)],
            viewer=script is not None,
            install=INSTALL,
            data=None if data is None else json_text(data),
            strength=strength_section(evaluation),
            load_axes=evaluation.brief.load.stress_axis or (),
            load_caution=CAUTION if _loaded(evaluation) else None,
            order=order_words(evaluation),
            tuning=_tuning(evaluation, found),
            cautions=evaluation.cautions,
            approximate=_approximate(evaluation),
            notes=evaluation.notes,
            excluded=_excluded(evaluation),
            brief=brief_toml(evaluation.brief),
            brief_hash=brief_hash(evaluation),
            data_version=data_version(),
            program=program_version(),
            style=style,
            script=script or NO_SCRIPT,
            policy=policy(style, script or NO_SCRIPT),
        )
    )
    return text


def _rows(evaluation: Evaluation) -> list[int]:
    """Rows of the poses on the page: the one to take first."""
    taken = evaluation.ranking.recommended - 1
    others = [row for row in evaluation.ranking.shown if row != taken]
    return [taken, *others[: MOST_POSES - 1]]


def _colours(subject: Subject) -> list[str]:
    there = {"features": subject.found is not None, "safety": subject.field is not None}
    return [colour for colour in COLOURS if there.get(colour, True)]


def image(picture: Picture) -> dict[str, Any]:
    """A picture as a template takes it, its bytes in it."""
    data = base64.b64encode(picture.png).decode()
    return {
        "src": f"data:image/png;base64,{data}",
        "alt": picture.alt,
        "width": picture.width,
        "height": picture.height,
    }


def feature_rows(found: Inspection) -> list[dict[str, Any]]:
    """Hard features in words, in the inspection's order."""
    return [
        {
            "id": one.id,
            "kind": BY_NAME[one.kind].title,
            "verdict": one.verdict,
            "size": _size(one),
            "at": _at(one.at_mm),
            "why": one.why,
            "try_first": one.try_first,
        }
        for one in found.features
    ]


def _features(subject: Subject, found: Inspection) -> list[dict[str, Any]]:
    """The same with close-ups, worst verdicts first."""
    paint = subject.paint("features")
    rows = feature_rows(found)
    for number, (one, row) in enumerate(zip(found.features, rows, strict=True)):
        row["picture"] = None
        if one.verdict != "fine" and number < MOST_CLOSE_UPS and len(one.faces):
            alt = f"Close-up of {one.id}, {row['kind']} of {one.size_mm:.3g} mm: {one.verdict}."
            close = draw_close_up(subject.scene, subject.transform, paint, one, size=_CLOSE, alt=alt)
            row["picture"] = image(close)
    return sorted(rows, key=lambda row: VERDICTS.index(row["verdict"]))


def _size(one: Feature) -> str:
    """The size of a feature, and what it is held against.

    An overhang's is told as an area; among the measures it is the side of a square as large.
    """
    if BY_NAME[one.kind].size == "area":
        limit = limit_words(one, lambda side: f"{side**2:,.3g}")
        return f"area {one.size_mm**2:,.3g} mm²{limit and f' ({limit})'}"
    limit = limit_words(one, lambda size: f"{size:.3g}")
    # A corner of the outline is hard by the run that ends at it.
    name = "run on the bed" if "corners" in one.more else BY_NAME[one.kind].size
    return f"{name} {one.size_mm:.3g} mm{limit and f' ({limit})'}"


def _at(place: tuple[float, float, float]) -> str:
    return ", ".join(f"{x:.1f}".replace("-0.0", "0.0").replace("-", "−") for x in place)


def hours_note(evaluation: Evaluation) -> str:
    """Say which machine the hours are for."""
    shop = evaluation.shop.shop
    if shop.machine_named:
        return f"Hours and material are for {shop.machine.name}, one part built alone with its support."
    return (
        f"No machine was named: hours and material are for one of the {shop.machine.name} class, one part "
        "built alone with its support."
    )


def _loaded(evaluation: Evaluation) -> bool:
    return evaluation.strength is not None or "load" in evaluation.ranking.penalty


def strength_section(evaluation: Evaluation) -> dict[str, Any] | None:
    """Safety of the poses shown, the load cases, and what was assumed; None without cases."""
    strength = evaluation.strength
    if strength is None:
        return None
    safety = strength.safety
    rows = list(evaluation.ranking.shown)[:MOST_POSES]
    return {
        "cases": [
            {
                "name": f"{case.name}, both ways" if case.both_ways else case.name,
                "faces": [f"{one.selector}: {one.description}" for one in case.selected],
                "sag": NO_DATA if case.max_deflection_mm is None else f"{case.max_deflection_mm:.3g} mm",
            }
            for case in strength.field.cases
        ],
        "poses": [
            {
                "number": row + 1,
                "factor": _factor(safety.factor[row]),
                "low": _factor(safety.low[row]),
                "high": _factor(safety.high[row]),
                "raw": _factor(safety.raw[row]),
                "at": _at(tuple(safety.weakest_at_mm[row].tolist())),
                "case": strength.case(row),
                "fails": strength.fails_by(row),
                "short": _short(float(safety.factor[row]), float(safety.low[row])),
                "place": safety.weakest_at_mm[row].tolist(),
            }
            for row in rows
        ],
        "notes": (*strength.field.notes, *strength.assumptions),
        "service": tuple(service_words(evaluation.brief)),
        "ball": f"{strength.field.ball_mm:.2f}",
        "cells": f"{strength.field.cells:,}",
        "pitch": f"{strength.field.pitch_mm:.2f}",
    }


def _factor(value: float) -> str:
    if not math.isfinite(value):
        return NO_DATA
    return "no load" if value >= MOST_SAFE else f"{value:.2f}"


def _short(factor: float, low: float) -> str:
    """That a pose falls short of its load, or may; empty where it bears it."""
    return "fails" if factor < 1.0 else "may fail" if low < 1.0 else ""


def _tuning(evaluation: Evaluation, found: Inspection | None) -> Any:
    """The tuning sheet, what the part's features call for first."""
    flagged = [] if found is None else [(one.kind, one.id) for one in found.features if one.verdict != "fine"]
    return tuning_sheet(evaluation.shop.shop.polymer, flagged)


def _approximate(evaluation: Evaluation) -> str:
    if not evaluation.approximate:
        return ""
    named = ", ".join(name.rsplit("_", 1)[0].replace("_", " ") for name in evaluation.approximate)
    return (
        "The mesh is not closed, so inside and outside cannot be told apart everywhere. What is counted "
        f"between them is approximate: {named}."
    )


def _excluded(evaluation: Evaluation) -> str:
    left_out = evaluation.ranking.excluded
    if not left_out:
        return ""
    count = f"{len(left_out):,} poses were" if len(left_out) > 1 else "One pose was"
    return f"{count} left out, such as {direction_words(left_out[0].direction)}: {left_out[0].reason}"


def _viewer(evaluation: Evaluation, subjects: dict[int, Subject]) -> tuple[str | None, dict[str, Any] | None]:
    """Script and data of the 3D part; nothing of them where three.js is not installed."""
    library = viewer_script()
    if library is None:
        return None, None
    return f"{library}\n{page_text('page.js')}", viewer_data(evaluation, subjects)


# Of poses that somebody chose beyond the best ones.
NOT_EXPLAINED = "It is none of the best poses that lie apart, so nothing more is told of it than its figures."
# Without the viewer there is still nothing to load.
NO_SCRIPT = '"use strict";'


def policy(style: str, script: str) -> str:
    """Content policy that lets in these very texts and nothing else."""

    def digest(text: str) -> str:
        return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    return (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest(style)}'; "
        f"script-src 'sha256-{digest(script)}'; base-uri 'none'; form-action 'none'"
    )


def json_text(data: dict[str, Any]) -> str:
    """JSON that can stand inside a script element, whatever its strings hold."""
    text = json.dumps(data, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def page_text(name: str) -> str:
    """A file of this folder."""
    return files("orient.show.page").joinpath(name).read_text(encoding="utf-8")


@cache
def environment() -> jinja2.Environment:
    """The templates of pages: what is put in is escaped, and nothing may be missing."""
    return jinja2.Environment(
        loader=jinja2.PackageLoader("orient.show.page", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def program_version() -> str:
    """Version of this program."""
    try:
        return version("orient")
    except PackageNotFoundError:
        return "from source"

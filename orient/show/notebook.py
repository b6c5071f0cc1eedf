"""What a notebook shows of an evaluation and of its sections: the page's words and pictures, in short."""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

from orient.cost.shop import ShopSection
from orient.evaluation import Evaluation
from orient.evaluation.features import Features
from orient.features.register import BY_NAME
from orient.process import Process
from orient.ranking.ranked import Ranking
from orient.show.page.facts import answer, pose_facts
from orient.show.picture.draw import Picture
from orient.show.picture.seen import scene_of
from orient.show.picture.subject import Subject, subject_of
from orient.show.words import direction_words
from orient.strength.judge import MOST_SAFE
from orient.strength.section import Strength

_SIZE = (480, 360)
# Poses of a section that does not know which are shown.
_MOST = 5


def html_of(shown: Any) -> str:
    """Give the HTML of an evaluation or of one of its sections.

    Parameters
    ----------
    shown : Evaluation, Ranking, Features, Strength or ShopSection
        What a cell of a notebook ends with.

    Returns
    -------
    str
        HTML without scripts; pictures are in it.
    """
    if isinstance(shown, Evaluation):
        return _evaluation(shown)
    if isinstance(shown, Ranking):
        return _ranking(shown)
    if isinstance(shown, Features):
        return _features(shown)
    if isinstance(shown, Strength):
        return _strength(shown)
    assert isinstance(shown, ShopSection)
    return _shop(shown)


def _evaluation(evaluation: Evaluation) -> str:
    ranking = evaluation.ranking
    taken = ranking.recommended - 1
    head, sentence = answer(evaluation)
    subject = subject_of(evaluation, taken)
    facts = {row: pose_facts(evaluation, row) for row in ranking.shown}
    table = _table(
        ["pose", "along", *(fact.name for fact in facts[taken])],
        (
            [_number(row, taken), direction_words(ranking.directions[row]), *(fact.said for fact in own)]
            for row, own in facts.items()
        ),
    )
    return "".join(
        [
            f"<h3>{escape(evaluation.part.name)}: {escape(head)}</h3><p>{escape(sentence)}</p>",
            _image(subject.draw("overhang", "corner", _SIZE)),
            _image(subject.draw("overhang", "under", _SIZE)),
            table,
            _points(evaluation.warnings),
            _points(ranking.why[taken]),
            _points(evaluation.cautions),
        ]
    )


def _ranking(ranking: Ranking) -> str:
    taken = ranking.recommended - 1
    names = [name for name in ranking.penalty if name != "total"]
    return _table(
        ["pose", "along", *(f"{name.replace('_', ' ')} penalty" for name in names), "score"],
        (
            [
                _number(row, taken),
                direction_words(ranking.directions[row]),
                *(f"{ranking.penalty[name][row]:.3f}" for name in names),
                f"{ranking.penalty['total'][row]:.3f}",
            ]
            for row in ranking.shown
        ),
    ) + _points(ranking.why[taken])


def _features(features: Features) -> str:
    found = features.recommended
    # Colours and letters of hard features ask nothing of the process.
    subject = Subject(scene_of(found.part, features.shape.rays), Process(), found.direction, found)
    rows = (
        [one.id, BY_NAME[one.kind].title, one.verdict, f"{one.size_mm:.3g}", one.why]
        for one in found.features
    )
    if not found.features:
        return "<p>No hard features.</p>"
    return _image(subject.draw("features", "corner", _SIZE)) + _table(
        ["id", "kind", "verdict", "size, mm", "why"], rows
    )


def _strength(strength: Strength) -> str:
    safety = strength.safety
    rows = (
        [
            str(row + 1),
            direction_words(safety.directions[row]),
            _factor(safety.factor[row]),
            f"{_factor(safety.low[row])} to {_factor(safety.high[row])}",
            strength.case(row),
            strength.fails_by(row),
        ]
        for row in range(min(_MOST, len(safety.factor)))
    )
    table = _table(["pose", "along", "safety factor", "low to high", "case", "fails"], rows)
    return table + _points(strength.cautions)


def _shop(section: ShopSection) -> str:
    machines = _table(
        ["machine", "verdict", "why"],
        (
            [
                one.machine.name,
                one.verdict,
                " ".join(part.reason for part in one.requirements if part.verdict != "runs"),
            ]
            for one in section.shop.machines
        ),
    )
    batch = section.order.batch
    return f"{machines}<p>{batch.quantity} wanted: {batch.hours:.1f} h from start to end.</p>"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _points(said: Iterable[str]) -> str:
    points = "".join(f"<li>{escape(one)}</li>" for one in said)
    return f"<ul>{points}</ul>" if points else ""


def _image(picture: Picture) -> str:
    data = base64.b64encode(picture.png).decode()
    return (
        f'<img alt="{escape(picture.alt)}" width="{picture.width}" height="{picture.height}" '
        f'src="data:image/png;base64,{data}">'
    )


def _number(row: int, taken: int) -> str:
    return f"{row + 1} ◀" if row == taken else f"{row + 1}"


def _factor(value: float) -> str:
    if not math.isfinite(value):
        return "no data"
    return "no load" if value >= MOST_SAFE else f"{value:.2f}"

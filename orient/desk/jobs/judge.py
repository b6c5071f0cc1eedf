"""Ranking the poses of the part under a brief, and figures of a pose that a hand turned to."""

from __future__ import annotations

import math

import numpy as np

from orient.cost.bands import surface_pieces
from orient.cost.shop import cost_floor
from orient.desk.answers import Judged, Scored, Vector
from orient.desk.edits import brief_of
from orient.desk.jobs.held import Held, Say
from orient.evaluation import LOAD_CAUTION, Evaluation
from orient.evaluation.safety import failing
from orient.evaluation.scale import scale_of
from orient.show.page.facts import lying_words, pose_facts, rests
from orient.show.page.page import hours_note, strength_section
from orient.show.words import direction_words, fill_words


def evaluate_brief(held: Held, say: Say, *, toml: str) -> Judged:
    """Rank the poses under a brief, without the load cases: stress is found in the background.

    Parameters
    ----------
    held : Held
        The part; keeps the evaluation.
    say : callable
        Is told how far it has come.
    toml : str
        The brief.

    Returns
    -------
    Judged
    """
    return _judged(held.evaluated(brief_of(toml), toml, say, forces=False), toml)


def strength(held: Held, say: Say, *, toml: str) -> Judged:
    """Rank the poses under a brief, its load cases solved.

    Parameters
    ----------
    held, say, toml
        As for `evaluate_brief`.

    Returns
    -------
    Judged
    """
    return _judged(held.evaluated(brief_of(toml), toml, say), toml)


def score(held: Held, say: Say, *, direction: Vector) -> Scored:
    """Say what a pose would score that a hand turned to.

    Parameters
    ----------
    held : Held
        The part and the last evaluation.
    say : callable
        Not used.
    direction : (3,) tuple
        Build direction, file coordinates.

    Returns
    -------
    Scored
    """
    evaluation = held.judged
    up = np.array(direction) / np.linalg.norm(direction)
    figures = held.figures(up)
    columns = {name: float(column[0]) for name, column in figures.columns.items()}
    ranking = evaluation.ranking
    total = float(figures.score[0])
    near = ranking.directions @ up
    nearest = int(near.argmax())
    told = [
        ("along", direction_words(up)),
        ("support", f"{columns['support_needed_mm3']:,.0f} mm³"),
        ("height", f"{columns['height_mm']:.1f} mm"),
        ("first layer", f"{columns['first_layer_mm2']:,.0f} mm²"),
    ]
    if evaluation.strength is not None:
        told.append(("safety factor", f"{columns['safety_factor']:.2f}"))
    elif "load" in ranking.penalty:
        told.append(("strength kept", f"{columns['strength_retained']:.0%}".replace("%", " %")))
    if not bool(figures.allowed[0]):
        told.append(("limits", "breaks one of the brief's"))
    x, y, z = up.tolist()
    return Scored(
        facts=tuple(told),
        score=total,
        better=int((ranking.penalty["total"] < total - 1e-9).sum()),
        of=len(ranking.directions),
        nearest=nearest + 1,
        off_deg=math.degrees(math.acos(min(1.0, float(near[nearest])))),
        direction=(x, y, z),
    )


def _suits(evaluation: Evaluation) -> tuple[tuple[str, str], ...]:
    """What polymer and machine make of the job; a machine that nobody named is told too."""
    shop = evaluation.shop.shop
    said = [(one.verdict, one.reason) for one in shop.service]
    if not shop.machine_named:
        said.append(("fine", f"hours and beds are for the {shop.machine.name} class: no machine is named."))
    said += [(one.verdict, one.reason) for one in shop.chosen.requirements if one.verdict != "runs"]
    return tuple((verdict, f"{words[:1].upper()}{words[1:]}") for verdict, words in said)


def _judged(evaluation: Evaluation, toml: str) -> Judged:
    part, ranking = evaluation.part, evaluation.ranking
    rows = range(len(ranking.directions))
    counted = evaluation.features
    by_cost = "cost" in ranking.penalty
    floor = cost_floor(evaluation.shop.shop, surface_pieces(part)) if by_cost else 1.0
    loaded = evaluation.strength is not None or "load" in ranking.penalty
    return Judged(
        toml=toml,
        ranking=ranking,
        scale=scale_of(part, evaluation.process, floor),
        facts=tuple(tuple(pose_facts(evaluation, row)) for row in rows),
        rests=tuple(rests(evaluation, row) for row in rows),
        lies=tuple(lying_words(evaluation, row) for row in rows),
        counts={} if counted is None else {row: dict(one.counts) for row, one in counted.poses.items()},
        warnings=evaluation.warnings,
        cautions=evaluation.cautions,
        notes=evaluation.notes,
        approximate=bool(evaluation.approximate),
        hours_note=hours_note(evaluation),
        strength=strength_section(evaluation),
        failing=failing(ranking),
        infill=evaluation.shop.shop.plan.infill,
        fill=fill_words(evaluation),
        suits=_suits(evaluation),
        load_caution=LOAD_CAUTION if loaded else None,
        file_name=part.name,
    )

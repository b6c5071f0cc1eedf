"""A revision held against the part, under the same brief."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from orient.desk.answers import Compared
from orient.desk.edits import brief_of
from orient.desk.jobs.held import Held, Say
from orient.part.read import read_part
from orient.process import service_words
from orient.show.page.comparison import comparison_page, pair_section, sides_data
from orient.show.page.facts import lying_words
from orient.show.words import direction_words, lean_words
from orient.variants.compare import Pair, Variant, compare, distinct
from orient.variants.measures import BY_NAME as MEASURES


def variant(held: Held, say: Say, *, toml: str, path: str, name: str, units: str | None = None) -> Compared:
    """Hold another mesh against the part, under the same brief.

    Parameters
    ----------
    held, say, toml
        As for `orient.desk.jobs.hand.save`.
    path, name, units
        The other mesh, what to call it, and its unit.

    Returns
    -------
    Compared
    """
    say(f"Reading {name}", None)
    first = held.at_hand.part
    second = read_part(Path(path), units or first.units, None, True, name=name)
    names = distinct([first.name, second.name])

    def evaluating(one: str):  # type: ignore[no-untyped-def]
        say(f"Evaluating {one}", None)
        return lambda step, done, of: say(f"Evaluating {one}", done / of if of and step != "refine" else None)

    found = compare([first, second], brief_of(toml), names=names, progress=evaluating)
    say("Drawing the comparison", None)
    pair = found.pairs[0]
    told = pair_section(pair, 1)
    changes = tuple(
        f"{one['what'].capitalize()}: {one['volume']} mm³ at {one['at']} mm" for one in told["changes"]
    )
    rows: tuple[dict[str, str], ...] = tuple(told["ways"][0]["rows"])
    service: tuple[str, ...] = ()
    if "safety_factor" in pair.measures["own"]:
        service = tuple(service_words(pair.first.evaluation.brief))
        # The safety says it better, of the forces themselves.
        rows = tuple(row for row in rows if row["title"] != MEASURES["strength_retained"].title)
    before, after = (_scene(one) for one in sides_data(found)["variants"])
    return Compared(
        (names[0], names[1]),
        _which(names, pair),
        pair.verdict,
        " ".join(_lying(name, one) for name, one in zip(names, (pair.first, pair.second), strict=True)),
        service,
        rows,
        changes,
        comparison_page(found).encode(),
        (before, after),
    )


def _lying(name: str, one: Variant) -> str:
    """Along what a variant is built, and whether it lies or stands."""
    way = one.figures.directions[0]
    leans = lean_words(way)
    row = one.evaluation.ranking.recommended - 1
    lies = lying_words(one.evaluation, row)
    return f"{name} is built along {direction_words(way)}{f', {leans}' if leans else ''}, {lies}."


def _which(names: Sequence[str], pair: Pair) -> str:
    """Which of two to build."""
    safety = pair.measures["own"].get("safety_factor")
    if safety is not None and max(safety.first.nominal, safety.second.nominal) < 1.0:
        return "Build neither as it is: both are expected to fail under the load."
    return "Build either." if pair.better is None else f"Build {names[1 if pair.better else 0]}."


def _scene(one: dict[str, Any]) -> bytes:
    """A side of a comparison for the viewer: what changed is coloured, lying as the first lies best."""
    shown = one | {"first": {"paint": "pair1", "pose": 1}}
    return json.dumps(shown, separators=(",", ":"), allow_nan=False).encode()

"""The tuning sheet: for a polymer and a part's flagged features, what to tune first and how to judge it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from orient.materials.properties import Properties

SOURCE = "common practice, no source"
# Tuned for every job, whatever the part's features are.
ALWAYS = ("first_layer", "surface", "stringing")


@dataclass(frozen=True)
class TuningStep:
    """One thing to change: what, which way, how much at a time, and how to judge it."""

    knob: str
    turn: str
    step: str
    judge: str


@dataclass(frozen=True)
class TuningTopic:
    """One kind of trouble, its steps in the order to try them, and the part's features that call for it."""

    name: str
    title: str
    steps: tuple[TuningStep, ...]
    features: tuple[str, ...] = ()


@dataclass(frozen=True)
class TuningSheet:
    """What to tune for a job.

    Attributes
    ----------
    polymer : str
        Its short name.
    start : tuple of (str, str, str)
        What to start from: setting, figure with unit, source.
    checks : tuple of str
        The machine, before any setting.
    topics : tuple of TuningTopic
        What the part's features call for comes first.
    source : str
        Who says so.
    """

    polymer: str
    start: tuple[tuple[str, str, str], ...]
    checks: tuple[str, ...]
    topics: tuple[TuningTopic, ...]
    source: str = SOURCE


def tuning_sheet(polymer: Properties, features: Iterable[tuple[str, str]] = ()) -> TuningSheet:
    """Put a tuning sheet together.

    Parameters
    ----------
    polymer : Properties
        The polymer.
    features : iterable of (str, str)
        Kind and id of the features that want tuning, such as ``("bridge", "B1")``.

    Returns
    -------
    TuningSheet

    Examples
    --------
    >>> from orient.materials.properties import properties_of
    >>> sheet = tuning_sheet(properties_of("PETG"), [("bridge", "B1"), ("bridge", "B2")])
    >>> sheet.topics[0].title, sheet.topics[0].features
    ('Bridges', ('B1', 'B2'))
    """
    data = _data()
    flagged = list(features)
    # Polymers that need warm air are laid with little or no cooling; so are those slow to set.
    hot = polymer.surroundings.word in ("warm", "hot", "enclosed")
    topics = []
    for name, entry in data.items():
        if name == "machine":
            continue
        called_by = tuple(dict.fromkeys(ident for kind, ident in flagged if kind in entry["kinds"]))
        if called_by or name in ALWAYS:
            steps = tuple(
                _step(one) for one in entry["step"] if one.get("where") != ("cooled" if hot else "hot")
            )
            topics.append(TuningTopic(name, entry["title"], steps, called_by))
    topics.sort(key=lambda topic: not topic.features)
    return TuningSheet(polymer.key, _start(polymer), tuple(data["machine"]["checks"]), tuple(topics))


def _start(polymer: Properties) -> tuple[tuple[str, str, str], ...]:
    start = [
        (
            "nozzle",
            f"{polymer.nozzle_c.nominal:g} °C ({polymer.nozzle_c.low:g}–{polymer.nozzle_c.high:g})",
            polymer.nozzle_c.source,
        ),
        (
            "bed",
            f"{polymer.bed_c.nominal:g} °C ({polymer.bed_c.low:g}–{polymer.bed_c.high:g})",
            polymer.bed_c.source,
        ),
    ]
    if polymer.chamber_c is not None:
        chamber = polymer.chamber_c
        start.append(
            ("chamber", f"{chamber.nominal:g} °C ({chamber.low:g}–{chamber.high:g})", chamber.source)
        )
    start += [
        ("speed", f"{polymer.speed_mm_s.nominal:g} mm/s", polymer.speed_mm_s.source),
        ("drying", f"{polymer.dry_h.nominal:g} h at {polymer.dry_c.nominal:g} °C", polymer.dry_c.source),
    ]
    return tuple(start)


def _step(entry: dict[str, Any]) -> TuningStep:
    return TuningStep(entry["knob"], entry["turn"], entry["step"], entry["judge"])


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(files("orient.cost").joinpath("tuning.toml").read_text(encoding="utf-8"))

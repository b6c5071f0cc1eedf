"""One file into plain rows: what the database keeps of its evaluation."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from orient.brief import Brief
from orient.errors import OrientError
from orient.evaluation import Evaluation, evaluate
from orient.features.model import VERDICTS
from orient.part.gate import Admitted, refuse_changed
from orient.part.read import printable, read_part
from orient.show.document import MEASURES, SHOP, WHOLE
from orient.show.part import number, numbers
from orient.show.shop import pose_shop

Row = dict[str, Any]


@dataclass(frozen=True)
class Request:
    """One file to evaluate, in values that any pipe carries.

    Attributes
    ----------
    path : str
        The file.
    size_bytes, changed_ns : int or None
        As it stood when its content was hashed; None for one that could not be read.
    brief : str
        The brief as JSON.
    directions : int
        Build directions to try.
    voxels : int or None
        Cells for load cases.
    """

    path: str
    size_bytes: int | None
    changed_ns: int | None
    brief: str
    directions: int
    voxels: int | None = None


def rows_of(request: Request) -> Row:
    """Evaluate a file on one thread and give what is kept of it.

    Parameters
    ----------
    request : Request
        The file and the brief.

    Returns
    -------
    dict
        ``outcome`` (``ok``, ``refused``, ``set aside``), ``sentence``, ``seconds``; for ``ok`` also ``part``,
        ``poses`` and ``features``: rows of the tables of those names.

    Raises
    ------
    MemoryError
        When there is not enough.
    """
    began = time.perf_counter()
    rows: Row = {}
    try:
        brief = _brief(request.brief)
        asked = brief.part
        part = read_part(request.path, asked.units, asked.body, bool(asked.together))
        if request.size_bytes is not None and request.changed_ns is not None:
            _refuse_another(request)
        found = evaluate(
            part, brief, directions=request.directions, voxels=request.voxels, features=True, threads=1
        )
        rows = {"part": part_row(found), "poses": pose_rows(found), "features": feature_rows(found)}
        outcome, sentence = "ok", None
    except OrientError as error:
        outcome, sentence = "refused", str(error)
    except MemoryError:
        raise
    except Exception as error:
        said = str(error).partition("\n")[0]
        outcome, sentence = "set aside", f"Its evaluation failed with {type(error).__name__}: {said}"
    return {
        "outcome": outcome,
        "sentence": sentence,
        "seconds": round(time.perf_counter() - began, 4),
        **rows,
    }


@lru_cache(maxsize=4)
def _brief(text: str) -> Brief:
    return Brief.model_validate_json(text)


def _refuse_another(request: Request) -> None:
    """Refuse what was written to since its content was hashed."""
    path = Path(request.path)
    try:
        refuse_changed(Admitted(path, request.size_bytes or 0, request.changed_ns or 0))
    except OrientError as error:
        raise OrientError(f"The file '{printable(path)}' {error}") from None


def part_row(found: Evaluation) -> Row:
    """What the table of parts holds of an evaluation: the part, its verdict, machine, hours and grams.

    The verdict is the worst of its hard features in the pose to take. The machine is the first that runs the
    polymer and has room for that pose: the shop's own before the classes.
    """
    part, ranking = found.part, found.ranking
    assert found.features is not None
    counts = found.features.recommended.counts
    machine = next((one for one in found.shop.shop.machines if one.verdict != "no"), None)
    row = ranking.recommended - 1
    length, width, height = numbers(part.extents_mm)
    return {
        "verdict": next((name for name in VERDICTS if counts[name]), VERDICTS[-1]),
        **{name: counts[name] for name in VERDICTS},
        "machine": None if machine is None else machine.machine.name,
        "machine_verdict": "no" if machine is None else machine.verdict,
        "polymer": found.process.polymer,
        "faces": len(part.faces),
        "bodies": part.bodies,
        "units": part.units,
        "unit_doubt": None if part.health.unit_doubt is None else part.health.unit_doubt[0],
        "closed": int(part.closed),
        "volume_mm3": number(part.volume_mm3),
        "area_mm2": number(part.area_mm2),
        "x_mm": length,
        "y_mm": width,
        "z_mm": height,
        "pose": ranking.recommended,
        "hours": number(found.shop.poses.hours[row]),
        "part_g": number(found.shop.poses.part_g[row]),
        "support_g": number(found.shop.poses.support_g[row]),
        "cost": number(found.shop.poses.unit_cost[row]),
        "warnings": _lines(found.warnings),
        "cautions": _lines((*_no_machine(found), *found.cautions)),
        "notes": _lines(found.notes),
    }


def _no_machine(found: Evaluation) -> tuple[str, ...]:
    """Why no machine runs it, machine by machine; nothing where one does."""
    machines = found.shop.shop.machines
    if any(one.verdict != "no" for one in machines):
        return ()
    said = []
    for one in machines:
        reasons = [part.reason.rstrip(".") for part in one.requirements if part.verdict == "no"]
        said.append(f"{one.machine.name}: {'; '.join(reasons)}")
    return (f"No machine. {'. '.join(said)}.",)


def pose_rows(found: Evaluation) -> list[Row]:
    """The poses that a ranking shows, best first."""
    ranking, features = found.ranking, found.features
    assert features is not None
    rows = []
    for row in sorted({*ranking.shown, ranking.recommended - 1}):
        x, y, z = numbers(ranking.directions[row])
        counts: Mapping[str, int | None] = dict.fromkeys(VERDICTS)
        if row in features.poses:
            counts = features.poses[row].counts
        rows.append(
            {
                "rank": row + 1,
                "recommended": int(row + 1 == ranking.recommended),
                "x": x,
                "y": y,
                "z": z,
                "source": ranking.sources[row],
                "rests_on_flat": int(ranking.rests_on_flat[row]),
                "score": number(ranking.penalty["total"][row]),
                **{name: _measure(found, name, row) for name in MEASURES},
                **_shop(found, row),
                **{name: counts[name] for name in VERDICTS},
                "why": _lines(ranking.why[row]),
            }
        )
    return rows


def feature_rows(found: Evaluation) -> list[Row]:
    """The hard features of the pose to take, worst first."""
    assert found.features is not None
    rows = []
    for one in found.features.recommended.features:
        x, y, z = numbers(one.at_mm)
        rows.append(
            {
                "id": one.id,
                "kind": one.kind,
                "verdict": one.verdict,
                "size_mm": number(one.size_mm),
                "limit_mm": None if one.limit_mm is None else number(one.limit_mm),
                "x_mm": x,
                "y_mm": y,
                "z_mm": z,
                "area_mm2": number(one.area_mm2),
                "why": one.why,
                "try_first": _lines(one.try_first),
            }
        )
    return rows


def _measure(found: Evaluation, name: str, row: int) -> float | int | None:
    columns = found.ranking.columns
    value = number(columns[name][row]) if name in columns else None
    return round(value) if value is not None and name in WHOLE else value


def _shop(found: Evaluation, row: int) -> Row:
    told = pose_shop(found.shop.poses, row)
    return {name: int(told[name]) if isinstance(told[name], bool) else told[name] for name in SHOP}


def _lines(said: tuple[str, ...]) -> str | None:
    return "\n".join(said) or None

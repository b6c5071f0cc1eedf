"""What leaves the desk: the part in its pose, the page, test prints, the package; and a variant beside it."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.brief import PartFile
from orient.desk.answers import Compared, File, Vector
from orient.desk.edits import brief_of
from orient.desk.jobs.held import Held, Say
from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.evaluation.chosen import inspection_at
from orient.handover.oriented import metadata_of, oriented_bytes, oriented_document
from orient.handover.tray import tray_bytes, tray_of
from orient.package import package_files
from orient.part.read import read_part
from orient.show.handover import oriented_sentence, time_words
from orient.show.page.comparison import comparison_page, pair_section, sides_data
from orient.show.page.page import report
from orient.variants.compare import Pair, compare, distinct

Floats = NDArray[np.float64]

# Directions whose cosine is above this are the same.
_SAME = 1.0 - 1e-12
_MEDIA = {"3mf": "model/3mf", "stl": "model/stl"}


def save(held: Held, say: Say, *, toml: str, forces: bool, direction: Vector, kind: str) -> File:
    """The part in one pose as a mesh file.

    Parameters
    ----------
    held : Held
        The part and the last evaluation.
    say : callable
        Is told what is being done.
    toml : str
        The brief.
    forces : bool
        Whether the list that is shown counts the load cases.
    direction : (3,) tuple
        Build direction.
    kind : str
        ``3mf`` or ``stl``.

    Returns
    -------
    File

    Raises
    ------
    OrientError
        Where a limit of the brief leaves the pose out.
    """
    evaluation, rank = _judged(held, say, toml, forces, direction)
    say("Writing and reading back", None)
    name = f"{evaluation.part.name}.{kind}"
    body = oriented_bytes(evaluation, kind, rank)
    told = oriented_document(evaluation, name, rank)
    return File(name, body, _MEDIA[kind], oriented_sentence(told))


def page(held: Held, say: Say, *, toml: str, forces: bool, direction: Vector) -> File:
    """The one-file page; a pose that a hand has turned to stands among the others.

    Parameters
    ----------
    held, say, toml, forces, direction
        As for `save`.

    Returns
    -------
    File
    """
    evaluation, _ = _judged(held, say, toml, forces, direction, features=True)
    say("Drawing the page", None)
    body = report(evaluation).encode()
    return File(f"{evaluation.part.name}.html", body, "text/html; charset=utf-8")


def trial_prints(
    held: Held,
    say: Say,
    *,
    toml: str,
    forces: bool,
    direction: Vector,
    minutes: float,
    ids: list[str] | None = None,
) -> File:
    """Short test prints of the hard features, side by side in one tray.

    Parameters
    ----------
    held, say, toml, forces, direction
        As for `save`.
    minutes : float
        How long each may take.
    ids : list of str, optional
        Features; all hard ones if left out.

    Returns
    -------
    File
    """
    evaluation, rank = _judged(held, say, toml, forces, direction, features=True)
    say("Cutting test prints", None)
    shop = evaluation.shop.shop
    tray = tray_of(
        inspection_at(evaluation, rank - 1), evaluation.process, shop.plan, ids or None, minutes=minutes
    )
    late = ", ".join(f"{one.feature.id} takes {time_words(one.minutes)}" for one in tray.too_long)
    if not tray.prints:
        raise OrientError(f"Nothing can be shown in {minutes:g} minutes: {late}; allow more.")
    wide, deep, _ = shop.machine.envelope_mm
    total = time_words(sum(one.minutes for one in tray.prints))
    names = ", ".join(one.feature.id for one in tray.prints)
    count = f"{len(tray.prints)} test prints" if len(tray.prints) > 1 else "1 test print"
    said = f"{count} ({names}), {total} in all." + (
        f" Left out: {late}; allow more minutes each." if late else ""
    )
    return File(
        f"{evaluation.part.name}-test-prints.3mf",
        tray_bytes(tray.prints, "3mf", (wide, deep), metadata_of(evaluation, rank)),
        _MEDIA["3mf"],
        said,
    )


def package(held: Held, say: Say, *, toml: str, forces: bool, direction: Vector, minutes: float) -> File:
    """The folder to hand over, as one archive.

    Parameters
    ----------
    held, say, toml, forces, direction, minutes
        As for `trial_prints`.

    Returns
    -------
    File
    """
    evaluation, rank = _judged(held, say, toml, forces, direction, features=True)
    say("Making the files of the package", None)
    name, known = evaluation.part.name, held.at_hand
    source = f"{name}{known.file.suffix}", known.file.read_bytes()
    # The brief of the folder names the part beside it.
    named = PartFile.model_validate({"file": source[0], **known.asked})
    evaluation = replace(evaluation, brief=evaluation.brief.model_copy(update={"part": named}))
    made = package_files(evaluation, rank, minutes=minutes, source=source)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in made.items():
            archive.writestr(f"{name}/{path}", data)
    listed = tuple((path, len(data)) for path, data in made.items())
    return File(f"{name}.zip", packed.getvalue(), "application/zip", f"It holds {len(made)} files.", listed)


def variant(held: Held, say: Say, *, toml: str, path: str, name: str, units: str | None = None) -> Compared:
    """Hold another mesh against the part, under the same brief.

    Parameters
    ----------
    held, say, toml
        As for `save`.
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
        f"{one['id']} {one['what']}: {one['volume']} mm³ at {one['at']} mm" for one in told["changes"]
    )
    rows = tuple(told["ways"][0]["rows"])
    before, after = (_scene(one) for one in sides_data(found)["variants"])
    return Compared(
        (names[0], names[1]),
        _which(names, pair),
        pair.verdict,
        told["word"],
        rows,
        changes,
        comparison_page(found).encode(),
        (before, after),
    )


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


def _judged(
    held: Held, say: Say, toml: str, forces: bool, direction: Vector, *, features: bool | None = None
) -> tuple[Evaluation, int]:
    """The part under a brief, and the rank of one pose; one of the hand is judged among the others.

    Raises
    ------
    OrientError
        Where a limit of the brief leaves the pose out.
    """
    brief, up = brief_of(toml), np.array(direction)
    evaluation = held.evaluated(brief, toml, say, features=features, forces=forces)
    rank = _rank(evaluation, up)
    if rank is None:
        evaluation = held.evaluated_with(direction, brief, toml, say, features=features, forces=forces)
        rank = _rank(evaluation, up)
    if rank is None:
        left_out = evaluation.ranking.excluded
        reason = next(
            (one.reason for one in left_out if one.direction @ up > _SAME), "a limit leaves it out."
        )
        raise OrientError(
            f"This pose cannot be taken under the job's limits: {reason} Turn the part further, choose a "
            "pose of the list, or loosen the limit."
        )
    return evaluation, rank


def _rank(evaluation: Evaluation, up: Floats) -> int | None:
    """Rank of the pose along a direction, from 1; None where there is none."""
    near = evaluation.ranking.directions @ up
    row = int(near.argmax())
    return row + 1 if near[row] > _SAME else None

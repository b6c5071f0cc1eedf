"""What leaves the desk: the part in its pose, beds of it, the page, test prints, the package."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from orient.brief import PartFile
from orient.desk.answers import File, Vector
from orient.desk.edits import brief_of
from orient.desk.jobs.held import Held, Say
from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.evaluation.chosen import inspection_at
from orient.handover.batch import Order, bed_bytes, order_parts
from orient.handover.oriented import metadata_of, oriented_bytes, oriented_document
from orient.handover.tray import tray_bytes, tray_of
from orient.package import package_files
from orient.show.handover import oriented_sentence, time_words
from orient.show.page.page import report

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
    by_hand = "" if evaluation is held.evaluation else "the pose of your hand"
    return File(name, body, _MEDIA[kind], oriented_sentence(told, by_hand))


def beds(held: Held, say: Say, *, toml: str, forces: bool, direction: Vector) -> File:
    """All parts that are wanted, laid out on beds: one file, or an archive where layouts differ.

    Parameters
    ----------
    held, say, toml, forces, direction
        As for `save`.

    Returns
    -------
    File

    Raises
    ------
    OrientError
        Where no bed has room for the part.
    """
    evaluation, rank = _judged(held, say, toml, forces, direction)
    say("Laying the parts out", None)
    wanted = evaluation.brief.job.quantity or 1
    order = order_parts([evaluation], [wanted], spares=True, pose=rank)
    made = [bed_bytes(order, bed, "3mf") for bed in order.beds]
    name, said = f"{evaluation.part.name}-beds", _order_words(order)
    if len(made) == 1:
        return File(f"{name}.3mf", made[0], _MEDIA["3mf"], said)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, (bed, body) in enumerate(zip(order.beds, made, strict=True), start=1):
            archive.writestr(f"{name}/{name}-{number}-run-{bed.times}-times.3mf", body)
    return File(f"{name}.zip", packed.getvalue(), "application/zip", said)


def _order_words(order: Order) -> str:
    """How many parts on how many beds, and what they take."""
    part, shop = order.parts[0], order.parts[0].evaluation.shop.shop
    spare = f", {part.spares:,} of them to spare," if part.spares else ""
    count = "one bed" if order.bed_count == 1 else f"{order.bed_count:,} beds"
    wide, deep, _ = shop.machine.envelope_mm
    machines = f"{order.machines} machines" if order.machines > 1 else "one machine"
    weight = "" if order.grams is None else f", {order.grams:,.0f} g"
    parts = "1 part" if part.copies == 1 else f"{part.copies:,} parts"
    named = "" if shop.machine_named else f", as the {shop.machine.name} class has"
    where = f"{count} of {wide:g} × {deep:g} mm{named}"
    return f"{parts}{spare} on {where}: {order.hours:,.1f} h on {machines}{weight}."


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
    names = ", ".join(f"{one.feature.id}{_like(tray.alike.get(one.feature.id, ()))}" for one in tray.prints)
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


def _like(others: Sequence[str]) -> str:
    """Which others a test print stands for."""
    return f" for {', '.join(others)} too" if others else ""


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

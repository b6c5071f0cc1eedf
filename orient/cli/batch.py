"""`orient batch`: parts laid out on beds for production."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_parts
from orient.cli.options import Json, PoseNumber
from orient.cli.say import hand_over, say, warn


@takes_parts(1)
def batch(
    job: Job,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="File to write: .3mf, .stl, .obj, .ply, .off; a number is added for each layout.",
        ),
    ] = None,
    copies: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=10_000_000,
            metavar="N",
            help="Copies of each part to lay; else the brief's quantity and its spares.",
        ),
    ] = None,
    pose: PoseNumber = None,
    gap: Annotated[
        float, typer.Option(min=0.0, metavar="MM", help="Between parts, or between their brims.")
    ] = 5.0,
    margin: Annotated[
        float, typer.Option(min=0.0, metavar="MM", help="Free at every side of the bed.")
    ] = 5.0,
    json: Json = None,
) -> None:
    """Lay copies of one or more parts out on beds: how many fit, hours, grams and cost of each bed."""
    job.begin({"--output": output, "--json": json})

    from orient.show.save import refuse_unsavable

    if output is not None:
        refuse_unsavable(Path(output))
    from orient.variants.carry import without_places

    first, *others = job.each()
    placed = bool(job.brief.faces or job.brief.load.case)
    if placed and others:
        say(f"What the brief says of faces and forces is about {first.brief.part.file} alone.")
    others = [replace(one, brief=without_places(one.brief)) for one in others]
    found = [one.evaluate(one.read(), features=False) for one in (first, *others)]
    many = copies or job.brief.job.quantity or 1

    from orient.handover.batch import bed_bytes, order_document, order_parts
    from orient.handover.oriented import format_of
    from orient.show.files import write_together
    from orient.show.handover import handover_json, order_view

    start = datetime.now() if job.brief.job.due else None
    order = order_parts(
        found,
        [many] * len(found),
        spares=copies is None and job.brief.job.quantity is not None,
        pose=pose,
        gap_mm=gap,
        margin_mm=margin,
        start=start,
    )
    paths: list[str] = []
    if output is not None:
        path = Path(output)
        several = len(order.beds) > 1
        names = [path.with_stem(f"{path.stem}-{k + 1}") if several else path for k in range(len(order.beds))]
        made = [bed_bytes(order, bed, format_of(path)) for bed in order.beds]
        write_together(dict(zip(names, made, strict=True)))
        paths = [str(name) for name in names]
    told = order_document(order, paths)
    hand_over(json, lambda: handover_json(told), lambda _: order_view(told))
    for one in found:
        warn(f"{one.part.name}: {said}" for said in one.warnings)
    for written in paths:
        say(f"Wrote {written}, read back and the same.")

"""`orient inspect`: what will be hard to print in a pose, and what to do about it."""

from __future__ import annotations

from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.options import Json
from orient.cli.say import hand_over
from orient.errors import OrientError


@takes_job
def inspect(
    job: Job,
    build_direction: Annotated[
        str | None,
        typer.Option(metavar="X,Y,Z", help="Look at this pose; else at the recommended one."),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Tell every entry in full, those that are fine too.")
    ] = False,
    faces: Annotated[
        bool, typer.Option("--faces", help="List the faces of every entry in the JSON.")
    ] = False,
    json: Json = None,
) -> None:
    """List bridges, overhangs, small holes, thin walls and whatever else is hard in one pose, worst first."""
    from orient.brief import vector_from_text

    direction = None if build_direction is None else vector_from_text(build_direction)
    if direction is not None and not any(direction):
        raise OrientError("--build-direction has no length: give the direction in which layers are stacked.")
    if faces and json is None:
        raise OrientError("--faces lists faces in the JSON: give --json a file name, or - to print it.")
    job.begin({"--json": json})

    part = job.read(features=True)
    if direction is not None:
        from orient.evaluation import inspect as inspect_in

        found = inspect_in(part, job.brief, direction)
    else:
        features = job.evaluate(part, features=True).features
        assert features is not None
        found = features.recommended

    from orient.show.features import features_json, features_view

    hand_over(json, lambda: features_json(found, faces=faces), lambda _: features_view(found, every=every))

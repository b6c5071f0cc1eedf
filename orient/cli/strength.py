"""`orient strength`: how safe each pose is under load cases."""

from __future__ import annotations

from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.options import Json
from orient.cli.say import hand_over
from orient.errors import OrientError


@takes_job
def strength(
    job: Job,
    build_direction: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,Z", help="Judge this pose only; may be repeated. Else all are ranked."),
    ] = None,
    top: Annotated[int, typer.Option(min=1, metavar="N", help="How many poses to show.")] = 5,
    json: Json = None,
) -> None:
    """Find the stress under the load cases once, and say how safe every pose is, where and why."""
    from orient.brief import vector_from_text

    poses = [vector_from_text(text) for text in build_direction or ()]
    if not all(map(any, poses)):
        raise OrientError("--build-direction has no length: give the direction in which layers are stacked.")
    if not job.brief.load.case:
        raise OrientError(
            "No load case was given: say in a brief where the part is held and where it is pushed, under "
            "[[load.case]], and name it with --brief."
        )
    job.begin({"--json": json})

    from orient.evaluation import check_judged, strength_of
    from orient.show.progress import following

    part = job.read()
    check_judged(part, job.brief)
    ranked, found = None, None
    if poses:
        with following(len(part.faces)) as progress:
            found = strength_of(
                part, job.brief, poses, voxels=job.voxels, threads=job.threads, progress=progress
            )
    else:
        ranked = job.evaluate(part, explained=top)
        found = ranked.strength

    from orient.show.strength import strength_json, strength_view

    assert found is not None
    hand_over(json, lambda: strength_json(found), lambda width: strength_view(part, found, ranked))

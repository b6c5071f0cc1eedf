"""`orient picture`: a picture of a pose."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.options import PoseNumber
from orient.cli.say import say, warn
from orient.errors import OrientError

if TYPE_CHECKING:
    from orient.show.picture.subject import Subject


@takes_job
def picture(
    job: Job,
    output: Annotated[str, typer.Option("--output", "-o", metavar="FILE", help="PNG file to write.")],
    pose: PoseNumber = None,
    build_direction: Annotated[
        str | None, typer.Option(metavar="X,Y,Z", help="Any pose, by its build direction; nothing is ranked.")
    ] = None,
    colour: Annotated[
        str, typer.Option(metavar="WHAT", help="Colour by overhang, thickness, features or safety.")
    ] = "overhang",
    view: Annotated[
        str,
        typer.Option(
            metavar="VIEW",
            help="corner, under, front, back, left, right, above, below, or azimuth,elevation in degrees.",
        ),
    ] = "corner",
    width: Annotated[int, typer.Option(min=200, max=6000, metavar="PX", help="Width.")] = 800,
    height: Annotated[int, typer.Option(min=150, max=6000, metavar="PX", help="Height.")] = 600,
) -> None:
    """Draw a part on the bed in a pose, without a display: what needs holding up, and more."""
    from orient.show.picture.camera import view_angles

    view_angles(view)
    if pose is not None and build_direction is not None:
        raise OrientError("--pose and --build-direction each name a pose: give one of them.")
    if not output.lower().endswith(".png"):
        raise OrientError(f"{output} is no PNG: give a file name that ends in .png.")
    job.begin({"--output": output})

    from orient.show.files import write_whole

    subject, warnings = _given(job, build_direction) if build_direction is not None else _ranked(job, pose)
    drawn = subject.draw(colour, view, (width, height))
    write_whole(Path(output), drawn.png)
    say(drawn.alt)
    warn(warnings)
    say(f"Wrote {output}.")


def _ranked(job: Job, pose: int | None) -> tuple[Subject, tuple[str, ...]]:
    """The pose of a number in the ranking, or the one to take."""
    from orient.show.picture.subject import subject_of
    from orient.show.save import pose_row

    found = job.evaluate(job.read())
    return subject_of(found, pose_row(found, pose)), found.warnings


def _given(job: Job, build_direction: str) -> tuple[Subject, tuple[str, ...]]:
    """Any pose."""
    import numpy as np

    from orient.brief import vector_from_text
    from orient.cost.shop import with_machine
    from orient.process import process_from
    from orient.show.picture.seen import scene_of
    from orient.show.picture.subject import Subject
    from orient.strength.section import field_for

    direction = np.array(vector_from_text(build_direction), dtype=np.float64)
    if not direction.any():
        raise OrientError("--build-direction has no length: give the direction in which layers are stacked.")
    part, brief = job.read(), with_machine(job.brief)
    process = process_from(brief)
    solve = bool(brief.load.case) and part.closed and process.strengths_known
    field = field_for(part, brief, process, voxels=job.voxels, threads=job.threads) if solve else None
    subject = Subject(
        scene_of(part),
        process,
        direction / np.linalg.norm(direction),
        field=field,
        least_safety=brief.limits.min_safety_factor,
    )
    return subject, tuple(part.health.warnings)

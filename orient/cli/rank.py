"""`orient rank`: which way up to build a part, and why."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.say import say
from orient.errors import OrientError


@takes_job
def rank(
    job: Job,
    by: Annotated[
        str,
        typer.Option(metavar="WHAT", help="Order by score, or by cost, which takes [rates] in the brief."),
    ] = "score",
    features: Annotated[
        bool | None,
        typer.Option(
            "--features/--no-features",
            help="Count the hard features of the poses shown; else unless the mesh is very large.",
            show_default=False,
        ),
    ] = None,
    top: Annotated[int, typer.Option(min=1, metavar="N", help="How many poses to show and explain.")] = 5,
    why: Annotated[
        bool, typer.Option("--why", help="Explain every pose shown, not only the one to take.")
    ] = False,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the ranking as JSON; - for standard output.")
    ] = None,
    csv: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the ranking as CSV; - for standard output.")
    ] = None,
    save: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Write the part, laid as advised: .stl, .obj, .ply, .off or .3mf."),
    ] = None,
    pose: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="With --save: the pose to write, by its number.")
    ] = None,
) -> None:
    """Rank the ways up a part can be built, and say which to take and why."""
    if by not in ("score", "cost"):
        raise OrientError(f'--by is "{by}": poses are ordered by score or by cost.')
    outputs = {"--json": json, "--csv": csv, "--save": save}
    if pose is not None and save is None:
        raise OrientError("--pose says which pose to write: give --save a file name as well.")

    job.begin(outputs)

    from orient.show.files import write_whole
    from orient.show.save import refuse_unsavable, save_pose

    if save is not None:
        refuse_unsavable(Path(save))
    found = job.evaluate(job.read(features), by=by, explained=top, features=features)

    from orient.show.document import ranking_csv, ranking_json
    from orient.show.table import print_ranking

    for name, write in ((json, ranking_json), (csv, ranking_csv)):
        if name == "-":
            sys.stdout.write(write(found))
        elif name is not None:
            write_whole(Path(name), write(found).encode(errors="replace"))
    if save is not None:
        save_pose(found, Path(save), pose)
    if "-" not in (json, csv):
        print_ranking(found, why=why)
    sys.stdout.flush()
    for name in outputs.values():
        if name not in (None, "-"):
            say(f"Wrote {name}.")

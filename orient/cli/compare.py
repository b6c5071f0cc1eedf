"""`orient compare`: variants of a part under one brief."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_parts
from orient.cli.options import Json
from orient.cli.say import hand_over, say
from orient.errors import OrientError


@takes_parts(2)
def compare(
    job: Job,
    fail_if_worse: Annotated[
        bool,
        typer.Option("--fail-if-worse", help="Exit with 1 when a variant is worse than the first."),
    ] = False,
    json: Json = None,
    report: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Write it as one HTML file: side by side, turned together."),
    ] = None,
) -> None:
    """Hold variants of a part against the first of them: what changed, what got easier, which to build."""
    if report is not None and not report.lower().endswith((".html", ".htm")):
        raise OrientError(f"{report} is no page: give --report a file name that ends in .html.")
    job.begin({"--json": json, "--report": report})
    parts = [one.read(features=True) for one in job.each()]

    from orient.show.comparison import comparison_json, comparison_view
    from orient.show.progress import following
    from orient.variants.compare import Comparison, compare, distinct

    names = distinct([part.name for part in parts])
    most = max(len(part.faces) for part in parts)
    with following(most) as progress:

        def evaluating(name: str):  # type: ignore[no-untyped-def]
            say(f"Evaluating {name} …")
            return progress

        found: Comparison = compare(
            parts,
            job.brief,
            names=names,
            directions=job.directions,
            voxels=job.voxels,
            threads=job.threads,
            progress=evaluating,
        )
    hand_over(json, lambda: comparison_json(found), lambda width: comparison_view(found, width))
    if report is not None:
        from orient.show.page.comparison import write_comparison

        write_comparison(found, Path(report))
        say(f"Wrote {report}.")
    if fail_if_worse and (worse := [pair.second.name for pair in found.pairs if pair.better is False]):
        say(f"Worse than {found.variants[0].name}: {', '.join(worse)}.")
        raise typer.Exit(1)

"""`orient report`: the one-file page of a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.say import say, warn
from orient.errors import OrientError


@takes_job
def report(
    job: Job,
    output: Annotated[str, typer.Option("--output", "-o", metavar="FILE", help="HTML file to write.")],
    top: Annotated[
        int, typer.Option(min=1, max=6, metavar="N", help="How many of the best poses to set side by side.")
    ] = 4,
) -> None:
    """Write one HTML file that needs nothing else: answer, pictures, the part in 3D, and the brief."""
    if not output.lower().endswith((".html", ".htm")):
        raise OrientError(f"{output} is no page: give a file name that ends in .html.")
    job.begin({"--output": output})
    found = job.evaluate(job.read(features=True), explained=top, features=True)

    from orient.show.page.page import write_report
    from orient.show.viewer.library import INSTALL, bundle_path

    write_report(found, Path(output))
    warn(found.warnings)
    say(f"Wrote {output}.")
    if bundle_path() is None:
        say(f"Its part cannot be turned, since three.js is not installed: {INSTALL} brings it.")

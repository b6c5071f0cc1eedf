"""`orient package`: one folder with all that leaves the program."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.options import Json, Minutes, PoseNumber
from orient.cli.say import hand_over, say, warn


@takes_job
def package(
    job: Job,
    output: Annotated[str, typer.Option("--output", "-o", metavar="FOLDER", help="Folder to make.")],
    pose: PoseNumber = None,
    minutes: Minutes = None,
    json: Json = None,
) -> None:
    """Write one folder: the 3MF, the page, test prints, tuning sheet, brief and a manifest with checksums."""
    from orient.handover.test_print import MINUTES
    from orient.package import MANIFEST, package_files, refuse_folder, write_package

    refuse_folder(Path(output))
    job.begin({"--json": json})
    found = job.evaluate(job.read(features=True), features=True)
    source = Path(job.brief.part.file or "")
    made = package_files(found, pose, minutes=minutes or MINUTES, source=(source.name, source.read_bytes()))
    write_package(Path(output), made)

    from rich.text import Text

    listed = "\n".join(f"{len(data):>10,}  {path}" for path, data in made.items())
    hand_over(json, lambda: made[MANIFEST].decode(), lambda _: Text(listed))
    warn(found.warnings)
    say(f"Wrote {output}.")

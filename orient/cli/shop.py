"""`orient shop`: which machine can run the part, and what it takes."""

from __future__ import annotations

from typing import Annotated

import typer

from orient.cli.job import Job, takes_job
from orient.cli.options import Json
from orient.cli.say import hand_over


@takes_job
def shop(
    job: Job,
    tuning: Annotated[
        bool, typer.Option("--tuning", help="Add the tuning sheet: what to tune first, and how to judge it.")
    ] = False,
    json: Json = None,
) -> None:
    """Say which machines can run the polymer, and what the part takes in the pose to choose."""
    job.begin({"--json": json})
    # The tuning sheet goes by hard features, on the first run as on any other.
    found = job.evaluate(job.read(features=True))

    from orient.show.shop import shop_json, shop_view

    hand_over(json, lambda: shop_json(found), lambda width: shop_view(found, tuning=tuning))

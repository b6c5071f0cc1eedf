"""`orient fleet`: many parts under one brief into a database, and `orient fleet show`: what is in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from orient.cli.job import Job, takes_brief
from orient.cli.options import Json
from orient.cli.say import hand_over, if_stopped, say
from orient.errors import OrientError


class _RunUnlessNamed(TyperGroup):
    """Takes what is no verb of its own for what to evaluate."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if not args or args[0] not in self.commands:
            args = ["run", *args]
        return super().parse_args(ctx, args)


fleet = typer.Typer(cls=_RunUnlessNamed, help="Evaluate folders of parts, and show what was found.")


@takes_brief
def run(
    job: Job,
    inputs: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[FOLDER]...", help="Folders, searched at any depth; meshes; patterns in quotes."
        ),
    ] = None,
    out: Annotated[
        str, typer.Option("--out", "-o", metavar="FILE", help="Database to write or go on with.")
    ] = "results.db",
    listed: Annotated[
        list[str] | None, typer.Option("--list", metavar="FILE", help="Text file with a path a line.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Dask scheduler to use, such as tcp://10.0.0.7:8786."),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Workers to start here; else one a processor."),
    ] = None,
    seconds: Annotated[
        float, typer.Option(min=0.1, metavar="S", help="Longest that one part may take.")
    ] = 600.0,
    memory: Annotated[
        float, typer.Option(min=0.1, metavar="GB", help="Most memory that one part may take.")
    ] = 4.0,
    again: Annotated[
        bool, typer.Option("--again", help="Try again what was set aside by an earlier run.")
    ] = False,
) -> None:
    """Evaluate every mesh below folders into a database; the same command again goes on where it ended.

    `orient fleet show FILE` shows what was found.
    """
    if not inputs and not listed:
        raise OrientError("No part was named: give a folder, as in `orient fleet archive`, or --list a file.")
    from orient.show.files import refuse_outputs

    refuse_outputs({"--out": out}, inputs=(*(inputs or ()), *(listed or ()), job.brief_file))

    from orient.cost.shop import shop_for, with_machine
    from orient.fleet.inputs import find_inputs
    from orient.fleet.limited import Limits
    from orient.fleet.run import Settings, run_fleet
    from orient.fleet.table import outcome_words
    from orient.fleet.told import telling
    from orient.measure.sharing import available_threads
    from orient.process import process_from
    from orient.show.progress import prepare

    # A brief that fits no part at all is refused before any is read.
    brief = with_machine(job.brief)
    shop_for(brief, process_from(brief))
    count = workers or available_threads()
    if scheduler is None:
        # Workers that compile at once would each compile everything.
        prepare(True)()
    settings = Settings(
        job.brief, job.directions, job.voxels, Limits(seconds=seconds, memory_bytes=int(memory * 1e9))
    )
    if_stopped.append(f"Stopped; what is done stays in {out}, and the same command goes on from there.")
    with telling() as report:
        counts = run_fleet(
            find_inputs(inputs or (), listed or ()),
            Path(out),
            settings,
            scheduler=scheduler,
            count=count,
            again=again,
            report=report,
        )
    print(outcome_words(counts))
    say(f"Wrote {out}; `orient fleet show {out}` shows it.")


@fleet.command(short_help="What a database of results holds.")
def show(
    database: Annotated[str, typer.Argument(metavar="FILE", help="Database that `orient fleet` wrote.")],
    verdict: Annotated[
        str | None,
        typer.Option(
            metavar="WORD",
            help="Only these: fine, support, tune, doubtful, redesign, no-machine, refused, set-aside, "
            "waiting.",
        ),
    ] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="NAME", help="Only parts for this machine; none: those for none.")
    ] = None,
    top: Annotated[int, typer.Option(min=1, metavar="N", help="How many parts to list.")] = 30,
    report: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the overview as one HTML file.")
    ] = None,
    json: Json = None,
) -> None:
    """Show which parts print as they are, which need supports, tuning or a redesign, and on which machine."""
    if report is not None and not report.lower().endswith((".html", ".htm")):
        raise OrientError(f"{report} is no page: give --report a file name that ends in .html.")
    from orient.fleet.overview import Asked, overview_of
    from orient.fleet.results import reading
    from orient.fleet.table import overview_json, overview_view
    from orient.show.files import refuse_outputs

    refuse_outputs({"--report": report, "--json": json}, inputs=(database,))
    asked = Asked(verdict, machine, top)
    with reading(Path(database)) as base:
        found = overview_of(base, asked)
        hand_over(json, lambda: overview_json(found), lambda width: overview_view(found, width))
        if report is not None:
            from orient.fleet.page import write_overview

            write_overview(base, Path(database).name, Path(report))
            say(f"Wrote {report}.")


fleet.command(short_help="Evaluate folders of parts into a database.")(run)

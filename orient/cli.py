"""The shell: flags into a `Brief`, an `Evaluation` into words and files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from orient.errors import OrientError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Which way up a part is built in material extrusion, and why.",
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _verbs() -> None:
    """Keep `rank` a verb of its own while it is the only one."""


@app.command()
def rank(
    part: Annotated[
        str | None,
        typer.Argument(help="Mesh to lay: STL, OBJ, PLY, OFF, 3MF, GLB or STEP. The brief may name it."),
    ] = None,
    brief: Annotated[str | None, typer.Option(help="Job brief, TOML. Flags win over it.")] = None,
    stress_axis: Annotated[
        list[str] | None,
        typer.Option(help="Direction x,y,z along which the part is stressed; may be repeated."),
    ] = None,
    kind: Annotated[str | None, typer.Option(help="How: tension, compression or bending.")] = None,
    polymer: Annotated[str | None, typer.Option(help="Polymer, such as PETG.")] = None,
    layer: Annotated[float | None, typer.Option(help="Layer height, mm.")] = None,
    overhang_limit: Annotated[
        float | None, typer.Option(help="Largest angle from the wall that holds itself up, degrees.")
    ] = None,
    weights: Annotated[
        str | None,
        typer.Option(help="What counts how much, such as support=1,height=0.5,load=2, or a preset."),
    ] = None,
    max_height: Annotated[float | None, typer.Option(help="Leave out taller poses, mm.")] = None,
    min_strength: Annotated[
        float | None, typer.Option(help="Leave out poses that keep less of the strength, 0 to 1.")
    ] = None,
    units: Annotated[str | None, typer.Option(help="Unit of an STL or OBJ: mm, cm, m, in, ft, um.")] = None,
    body: Annotated[int | None, typer.Option(help="Which body, when the file holds several.")] = None,
    together: Annotated[
        bool, typer.Option("--together", help="Lay all bodies as they are arranged.")
    ] = False,
    directions: Annotated[int, typer.Option(min=1, help="Size of the even grid of directions.")] = 1000,
    top: Annotated[int, typer.Option(min=1, help="How many poses to show and explain.")] = 5,
    threads: Annotated[
        int | None, typer.Option(min=1, help="Threads to measure on; same answer on any.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(help="Write the ranking as JSON; - for standard output.")
    ] = None,
    csv: Annotated[str | None, typer.Option(help="Write the ranking as CSV; - for standard output.")] = None,
    save: Annotated[
        str | None, typer.Option(help="Write the part in the pose to take: .stl, .obj, .ply, .off, .3mf.")
    ] = None,
) -> None:
    """Rank the ways up a part can be built, and say which to take and why."""
    flags: dict[str, Any] = {
        "part.file": part,
        "part.units": units,
        "part.body": body,
        "part.together": together or None,
        "process.polymer": polymer,
        "process.layer_height_mm": layer,
        "process.overhang_limit_deg": overhang_limit,
        "load.kind": kind,
        "limits.max_height_mm": max_height,
        "limits.min_strength_retained": min_strength,
    }
    from orient.brief import Brief, read_brief, vector_from_text, weights_from_text, with_flags

    if stress_axis:
        flags["load.stress_axis"] = [vector_from_text(text) for text in stress_axis]
    if weights:
        flags.update(weights_from_text(weights))
    job = with_flags(read_brief(brief) if brief else Brief(), flags)
    if job.part.file is None:
        raise OrientError("No part was named: give a mesh file, or a brief whose [part] names one.")
    outputs = [Path(name) for name in (json, csv, save) if name and name != "-"]
    if [json, csv].count("-") == 2:
        raise OrientError("JSON and CSV cannot both go to standard output: give one of them a file name.")
    _say(f"Reading {job.part.file} …")

    from orient.show.files import refuse_unwritable, write_whole
    from orient.show.progress import following
    from orient.show.save import refuse_unsavable, save_pose

    for path in outputs:
        refuse_unwritable(path)
    if save:
        refuse_unsavable(Path(save))

    from orient.evaluation import evaluate
    from orient.part.read import read_part

    mesh = read_part(job.part.file, job.part.units or "mm", job.part.body, bool(job.part.together))
    with following(len(mesh.faces)) as progress:
        found = evaluate(mesh, job, directions=directions, explained=top, threads=threads, progress=progress)

    from orient.show.document import ranking_csv, ranking_json
    from orient.show.table import print_ranking

    for name, write in ((json, ranking_json), (csv, ranking_csv)):
        if name == "-":
            sys.stdout.write(write(found))
        elif name:
            write_whole(Path(name), write(found).encode())
    if save:
        save_pose(found, Path(save))
    if "-" not in (json, csv):
        print_ranking(found)
    for path in outputs:
        _say(f"Wrote {path}.")


def _say(line: str) -> None:
    """Tell how the work goes, where it does not mix with results."""
    print(line, file=sys.stderr, flush=True)


def main() -> None:
    """Run the shell; what a user can mend ends in one sentence and exit code 2."""
    try:
        app()
    except OrientError as error:
        _say(f"orient: {error}")
        sys.exit(2)
    except KeyboardInterrupt:
        _say("orient: stopped.")
        sys.exit(130)
    except BrokenPipeError:
        # The reader of our output went away, such as `orient … | head`.
        sys.stderr.close()
        sys.exit(0)

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


# What a slip in a flag is called by.
_FLAGS = {
    "part.file": "PART",
    "part.units": "--units",
    "part.body": "--body",
    "part.together": "--together",
    "process.polymer": "--polymer",
    "process.layer_height_mm": "--layer",
    "process.overhang_limit_deg": "--overhang-limit",
    "load.stress_axis": "--stress-axis",
    "load.kind": "--kind",
    "limits.max_height_mm": "--max-height",
    "limits.min_strength_retained": "--min-strength",
}


@app.callback()
def _verbs() -> None:
    """Keep `rank` a verb of its own while it is the only one."""


@app.command()
def rank(
    part: Annotated[
        Path | None,
        typer.Argument(
            metavar="PART",
            help="Mesh to lay: STL, OBJ, PLY, OFF, 3MF, GLB or STEP; the brief may name it instead.",
        ),
    ] = None,
    brief: Annotated[
        str | None, typer.Option(metavar="FILE", help="Job brief, TOML; flags win over it.")
    ] = None,
    stress_axis: Annotated[
        list[str] | None,
        typer.Option(
            metavar="X,Y,Z",
            help="Direction in which the part is pulled or bent, in the file's coordinates; may be repeated.",
        ),
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(metavar="KIND", help="What the load does: tension (the default), compression, bending."),
    ] = None,
    polymer: Annotated[str | None, typer.Option(metavar="NAME", help="Polymer, such as PETG.")] = None,
    layer: Annotated[float | None, typer.Option(metavar="MM", help="Layer height.")] = None,
    overhang_limit: Annotated[
        float | None,
        typer.Option(
            metavar="DEG", help="Steepest overhang that holds itself up; 0 is a wall, 90 a ceiling."
        ),
    ] = None,
    weights: Annotated[
        str | None,
        typer.Option(
            metavar="WEIGHTS",
            help="What counts how much, such as support=1,height=0.5,load=2; a preset: all-round, "
            "least-support, low-and-quick, strong, smooth, sure-footed; or both: strong,finish=1.",
        ),
    ] = None,
    max_height: Annotated[float | None, typer.Option(metavar="MM", help="Leave out taller poses.")] = None,
    min_strength: Annotated[
        float | None,
        typer.Option(metavar="SHARE", help="Leave out poses that keep less of the strength, 0 to 1."),
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(metavar="UNIT", help="Unit of a file that carries none: mm, cm, m, in, ft, um."),
    ] = None,
    body: Annotated[
        int | None, typer.Option(metavar="N", help="Which body to lay, when the file holds several.")
    ] = None,
    together: Annotated[
        bool, typer.Option("--together", help="Lay all bodies as they are arranged.")
    ] = False,
    directions: Annotated[
        int, typer.Option(min=1, metavar="N", help="Build directions to try, beside the part's own.")
    ] = 1000,
    top: Annotated[int, typer.Option(min=1, metavar="N", help="How many poses to show and explain.")] = 5,
    threads: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Threads to measure on; the answer is the same on any."),
    ] = None,
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
) -> None:
    """Rank the ways up a part can be built, and say which to take and why."""
    flags: dict[str, Any] = {
        "part.file": None if part is None else str(part),
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
    from orient.brief import Brief, read_brief, vector_from_text, with_flags
    from orient.ranking.weights import read_weights

    if stress_axis:
        flags["load.stress_axis"] = [vector_from_text(text) for text in stress_axis]
    if weights is not None:
        preset, single = read_weights(weights)
        flags["weights.preset"] = preset
        flags |= {f"weights.{name}": weight for name, weight in single.items()}
    job = with_flags(read_brief(brief) if brief is not None else Brief(), flags, _FLAGS)
    if job.part.file is None:
        raise OrientError(
            "No part was named: give a mesh file, as in `orient rank part.stl`, or a brief whose [part] "
            "names one."
        )
    outputs = {"--json": json, "--csv": csv, "--save": save}
    _say(f"Reading {job.part.file} …")

    from orient.show.files import refuse_outputs, write_whole
    from orient.show.progress import following
    from orient.show.save import refuse_unsavable, save_pose

    refuse_outputs(outputs, inputs=(job.part.file, brief))
    if save is not None:
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
        elif name is not None:
            write_whole(Path(name), write(found).encode())
    if save is not None:
        save_pose(found, Path(save))
    if "-" not in (json, csv):
        print_ranking(found)
    sys.stdout.flush()
    for name in outputs.values():
        if name not in (None, "-"):
            _say(f"Wrote {name}.")


def _say(line: str) -> None:
    """Tell how the work goes, where it does not mix with results."""
    print(line, file=sys.stderr, flush=True)


def main() -> None:
    """Run the shell; what a user can mend ends in one sentence and exit code 2.

    Ctrl-C (exit code 130) and a reader of the output that goes away are typer's to end quietly.
    """
    try:
        app(prog_name="orient")
    except OrientError as error:
        _say(f"orient: {error}")
        sys.exit(2)

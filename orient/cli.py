"""The shell: flags into a `Brief`, an `Evaluation` into words and files."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from datetime import datetime
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
    "process.machine": "--machine",
    "process.machines": "--machines",
    "process.support": "--support",
    "process.layer_height_mm": "--layer",
    "process.overhang_limit_deg": "--overhang-limit",
    "load.stress_axis": "--stress-axis",
    "load.kind": "--kind",
    "limits.max_height_mm": "--max-height",
    "limits.min_strength_retained": "--min-strength",
}


@app.command(short_help="Which way up to build a part, and why.")
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
    machine: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Machine: entry, engineering, high-temperature, or one of --machines; leaves out poses that "
            "it has no room for.",
        ),
    ] = None,
    machines: Annotated[
        str | None, typer.Option(metavar="FILE", help="The shop's own machines, TOML.")
    ] = None,
    support: Annotated[
        str | None, typer.Option(metavar="NAME", help="Support material, such as PVA; else the part's own.")
    ] = None,
    by: Annotated[
        str,
        typer.Option(metavar="WHAT", help="Order by score, or by cost, which takes [rates] in the brief."),
    ] = "score",
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
    voxels: Annotated[
        int | None,
        typer.Option(min=100, metavar="N", help="Cells for the load cases; else as many as the part needs."),
    ] = None,
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
    pose: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="With --save: the pose to write, by its number.")
    ] = None,
) -> None:
    """Rank the ways up a part can be built, and say which to take and why."""
    flags: dict[str, Any] = {
        "part.file": None if part is None else str(part),
        "part.units": units,
        "part.body": body,
        "part.together": together or None,
        "process.polymer": polymer,
        "process.machine": machine,
        "process.machines": machines,
        "process.support": support,
        "process.layer_height_mm": layer,
        "process.overhang_limit_deg": overhang_limit,
        "load.kind": kind,
        "limits.max_height_mm": max_height,
        "limits.min_strength_retained": min_strength,
    }
    from orient.brief import Brief, read_brief, vector_from_text, with_flags
    from orient.ranking.weights import read_weights

    if by not in ("score", "cost"):
        raise OrientError(f'--by is "{by}": poses are ordered by score or by cost.')
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
    if pose is not None and save is None:
        raise OrientError("--pose says which pose to write: give --save a file name as well.")
    _say(f"Reading {job.part.file} …")

    from orient.show.files import refuse_outputs, write_whole
    from orient.show.progress import following, prepare
    from orient.show.save import refuse_unsavable, save_pose

    refuse_outputs(outputs, inputs=(job.part.file, brief, job.process.machines))
    if save is not None:
        refuse_unsavable(Path(save))

    from orient.evaluation import evaluate
    from orient.part.read import read_part

    ready = prepare()
    mesh = read_part(job.part.file, job.part.units or "mm", job.part.body, bool(job.part.together))
    _ = mesh.hull  # found, and its loops compiled, while the others compile
    ready()
    with following(len(mesh.faces)) as progress:
        found = evaluate(
            mesh,
            job,
            directions=directions,
            by="cost" if by == "cost" else "score",
            explained=top,
            start=datetime.now() if job.job.due else None,
            voxels=voxels,
            threads=threads,
            progress=progress,
        )

    from orient.show.document import ranking_csv, ranking_json
    from orient.show.table import print_ranking

    for name, write in ((json, ranking_json), (csv, ranking_csv)):
        if name == "-":
            sys.stdout.write(write(found))
        elif name is not None:
            write_whole(Path(name), write(found).encode())
    if save is not None:
        save_pose(found, Path(save), pose)
    if "-" not in (json, csv):
        print_ranking(found)
    sys.stdout.flush()
    for name in outputs.values():
        if name not in (None, "-"):
            _say(f"Wrote {name}.")


@app.command(short_help="Which machine, and hours, grams and cost.")
def shop(
    part: Annotated[
        Path | None, typer.Argument(metavar="PART", help="Mesh of the part; the brief may name it instead.")
    ] = None,
    brief: Annotated[
        str | None, typer.Option(metavar="FILE", help="Job brief, TOML; flags win over it.")
    ] = None,
    polymer: Annotated[str | None, typer.Option(metavar="NAME", help="Polymer, such as PEEK.")] = None,
    machine: Annotated[
        str | None, typer.Option(metavar="NAME", help="Machine to estimate for, one of `orient machines`.")
    ] = None,
    machines: Annotated[
        str | None, typer.Option(metavar="FILE", help="The shop's own machines, TOML.")
    ] = None,
    support: Annotated[
        str | None, typer.Option(metavar="NAME", help="Support material, such as PVA; else the part's own.")
    ] = None,
    tuning: Annotated[
        bool, typer.Option("--tuning", help="Add the tuning sheet: what to tune first, and how to judge it.")
    ] = False,
    units: Annotated[
        str | None,
        typer.Option(metavar="UNIT", help="Unit of a file that carries none: mm, cm, m, in, ft, um."),
    ] = None,
    body: Annotated[
        int | None, typer.Option(metavar="N", help="Which body, when the file holds several.")
    ] = None,
    together: Annotated[bool, typer.Option("--together", help="All bodies as they are arranged.")] = False,
    directions: Annotated[
        int, typer.Option(min=1, metavar="N", help="Build directions to try, beside the part's own.")
    ] = 1000,
    threads: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Threads to measure on; the answer is the same on any."),
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write it as JSON; - for standard output.")
    ] = None,
) -> None:
    """Say which machines can run the polymer, and what the part takes in the pose to choose."""
    flags: dict[str, Any] = {
        "part.file": None if part is None else str(part),
        "part.units": units,
        "part.body": body,
        "part.together": together or None,
        "process.polymer": polymer,
        "process.machine": machine,
        "process.machines": machines,
        "process.support": support,
    }
    from orient.brief import Brief, read_brief, with_flags

    job = with_flags(read_brief(brief) if brief is not None else Brief(), flags, _FLAGS)
    if job.part.file is None:
        raise OrientError(
            "No part was named: give a mesh file, as in `orient shop part.stl --polymer PEEK`, or a brief "
            "whose [part] names one."
        )
    _say(f"Reading {job.part.file} …")

    from orient.show.files import refuse_outputs, write_whole
    from orient.show.progress import following, prepare

    refuse_outputs({"--json": json}, inputs=(job.part.file, brief, machines))

    from orient.evaluation import evaluate
    from orient.part.read import read_part

    ready = prepare()
    mesh = read_part(job.part.file, job.part.units or "mm", job.part.body, bool(job.part.together))
    _ = mesh.hull  # found, and its loops compiled, while the others compile
    ready()
    with following(len(mesh.faces)) as progress:
        found = evaluate(
            mesh,
            job,
            directions=directions,
            start=datetime.now() if job.job.due else None,
            threads=threads,
            progress=progress,
        )

    from orient.show.shop import shop_json, shop_view
    from orient.show.terminal import print_view

    if json == "-":
        sys.stdout.write(shop_json(found))
    else:
        print_view(lambda width: shop_view(found, tuning=tuning))
    if json not in (None, "-"):
        write_whole(Path(str(json)), shop_json(found).encode())
        _say(f"Wrote {json}.")
    sys.stdout.flush()


@app.command(short_help="How safe each pose is under load cases.")
def strength(
    part: Annotated[
        Path | None, typer.Argument(metavar="PART", help="Mesh of the part; the brief may name it instead.")
    ] = None,
    brief: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Job brief, TOML; its load cases say where the part is held."),
    ] = None,
    polymer: Annotated[str | None, typer.Option(metavar="NAME", help="Polymer, such as PETG.")] = None,
    build_direction: Annotated[
        list[str] | None,
        typer.Option(metavar="X,Y,Z", help="Judge this pose only; may be repeated. Else all are ranked."),
    ] = None,
    voxels: Annotated[
        int | None,
        typer.Option(min=100, metavar="N", help="Cells to cut the part into; else as many as it needs."),
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(metavar="UNIT", help="Unit of a file that carries none: mm, cm, m, in, ft, um."),
    ] = None,
    body: Annotated[
        int | None, typer.Option(metavar="N", help="Which body, when the file holds several.")
    ] = None,
    together: Annotated[bool, typer.Option("--together", help="All bodies as they are arranged.")] = False,
    directions: Annotated[
        int, typer.Option(min=1, metavar="N", help="Build directions to try, beside the part's own.")
    ] = 1000,
    top: Annotated[int, typer.Option(min=1, metavar="N", help="How many poses to show.")] = 5,
    threads: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="Threads to use; the answer is the same on any."),
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write it as JSON; - for standard output.")
    ] = None,
) -> None:
    """Find the stress under the load cases once, and say how safe every pose is, where and why."""
    flags: dict[str, Any] = {
        "part.file": None if part is None else str(part),
        "part.units": units,
        "part.body": body,
        "part.together": together or None,
        "process.polymer": polymer,
    }
    from orient.brief import Brief, read_brief, vector_from_text, with_flags

    poses = [vector_from_text(text) for text in build_direction or ()]
    if not all(map(any, poses)):
        raise OrientError("--build-direction has no length: give the direction in which layers are stacked.")
    job = with_flags(read_brief(brief) if brief is not None else Brief(), flags, _FLAGS)
    if job.part.file is None:
        raise OrientError(
            "No part was named: give a mesh file, as in `orient strength part.stl --brief job.toml`, or a "
            "brief whose [part] names one."
        )
    if not job.load.case:
        raise OrientError(
            "No load case was given: say in a brief where the part is held and where it is pushed, under "
            "[[load.case]], and name it with --brief."
        )
    _say(f"Reading {job.part.file} …")

    from orient.show.files import refuse_outputs, write_whole
    from orient.show.progress import following, prepare

    refuse_outputs({"--json": json}, inputs=(job.part.file, brief, job.process.machines))

    from orient.evaluation import check_judged, evaluate, strength_of
    from orient.part.read import read_part

    ready = prepare()
    mesh = read_part(job.part.file, job.part.units or "mm", job.part.body, bool(job.part.together))
    _ = mesh.hull  # found, and its loops compiled, while the others compile
    ready()
    check_judged(mesh, job)
    ranked, found = None, None
    with following(len(mesh.faces)) as progress:
        if poses:
            found = strength_of(mesh, job, poses, voxels=voxels, threads=threads, progress=progress)
        else:
            ranked = evaluate(
                mesh,
                job,
                directions=directions,
                explained=top,
                voxels=voxels,
                threads=threads,
                progress=progress,
            )
            found = ranked.strength

    from orient.show.strength import strength_json, strength_view
    from orient.show.terminal import print_view

    assert found is not None
    if json == "-":
        sys.stdout.write(strength_json(found))
    else:
        print_view(lambda width: strength_view(mesh, found, ranked))
    if json not in (None, "-"):
        write_whole(Path(str(json)), strength_json(found).encode())
        _say(f"Wrote {json}.")
    sys.stdout.flush()


@app.command(short_help="The polymers, their settings and strengths.")
def polymers(
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all figures with their sources as JSON; or -.")
    ] = None,
) -> None:
    """List the polymers: settings, strengths, and where there is no data."""
    from orient.show.shop import polymers_json, polymers_view

    _list(json, polymers_json, polymers_view)


@app.command(short_help="The machines an estimate can be made for.")
def machines(
    own: Annotated[
        str | None, typer.Option("--machines", metavar="FILE", help="The shop's own machines, TOML.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write them as JSON; - for standard output.")
    ] = None,
) -> None:
    """List the classes of machine, and the shop's own."""
    from orient.materials.machines import read_machines

    found = read_machines(own) if own is not None else ()

    from orient.show.shop import machines_json, machines_view

    _list(json, lambda: machines_json(found), lambda: machines_view(found))


def _list(json: str | None, text: Callable[[], str], view: Callable[[], Any]) -> None:
    """Print a list as a table, or write it as JSON."""
    from orient.show.files import refuse_outputs, write_whole
    from orient.show.terminal import print_view

    if json == "-":
        sys.stdout.write(text())
    elif json is not None:
        refuse_outputs({"--json": json}, inputs=())
        write_whole(Path(json), text().encode())
        _say(f"Wrote {json}.")
    else:
        print_view(lambda width: view())
    sys.stdout.flush()


def _say(line: str) -> None:
    """Tell how the work goes, where it does not mix with results."""
    print(line, file=sys.stderr, flush=True)


def main() -> None:
    """Run the shell; what a user can mend ends in one sentence and exit code 2.

    Ctrl-C (exit code 130) and a reader of the output that goes away are typer's to end quietly.
    """
    try:
        for stream in (sys.stdout, sys.stderr):
            # A terminal that knows fewer characters gets question marks, not a traceback.
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        app(prog_name="orient")
    except OrientError as error:
        _say(f"orient: {error}")
        sys.exit(2)

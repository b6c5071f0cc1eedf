"""The flags that more than one verb takes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

PartFile = Annotated[
    Path | None,
    typer.Argument(
        metavar="PART", help="Mesh: STL, OBJ, PLY, OFF, 3MF, GLB or STEP; the brief may name it instead."
    ),
]
PartFiles = Annotated[
    list[Path] | None,
    typer.Argument(metavar="PART", help="Meshes, the first one first; the brief may name that one instead."),
]
BriefFile = Annotated[str | None, typer.Option(metavar="FILE", help="Job brief, TOML; flags win over it.")]
StressAxis = Annotated[
    list[str] | None,
    typer.Option(
        metavar="X,Y,Z",
        help="Direction in which the part is pulled or bent, in the file's coordinates; may be repeated.",
    ),
]
Kind = Annotated[
    str | None,
    typer.Option(metavar="KIND", help="What the load does: tension (the default), compression, bending."),
]
Polymer = Annotated[str | None, typer.Option(metavar="NAME", help="Polymer, such as PETG.")]
Machine = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Machine: entry, engineering, high-temperature, or one of --machines; leaves out poses that "
        "it has no room for.",
    ),
]
Machines = Annotated[str | None, typer.Option(metavar="FILE", help="The shop's own machines, TOML.")]
Support = Annotated[
    str | None, typer.Option(metavar="NAME", help="Support material, such as PVA; else the part's own.")
]
Layer = Annotated[float | None, typer.Option(metavar="MM", help="Layer height.")]
OverhangLimit = Annotated[
    float | None,
    typer.Option(metavar="DEG", help="Steepest overhang that holds itself up; 0 is a wall, 90 a ceiling."),
]
Weights = Annotated[
    str | None,
    typer.Option(
        metavar="WEIGHTS",
        help="What counts how much, such as support=1,height=0.5,load=2; a preset: all-round, "
        "least-support, low-and-quick, strong, smooth, sure-footed; or both: strong,finish=1.",
    ),
]
MaxHeight = Annotated[float | None, typer.Option(metavar="MM", help="Leave out taller poses.")]
MinStrength = Annotated[
    float | None,
    typer.Option(metavar="SHARE", help="Leave out poses that keep less of the strength, 0 to 1."),
]
Units = Annotated[
    str | None,
    typer.Option(metavar="UNIT", help="Unit of a file that carries none: mm, cm, m, in, ft, um."),
]
Body = Annotated[
    int | None, typer.Option(metavar="N", help="Which body to lay, when the file holds several.")
]
Together = Annotated[bool, typer.Option("--together", help="Lay all bodies as they are arranged.")]
Directions = Annotated[
    int, typer.Option(min=1, metavar="N", help="Build directions to try, beside the part's own.")
]
Voxels = Annotated[
    int | None,
    typer.Option(min=100, metavar="N", help="Cells for the load cases; else as many as the part needs."),
]
Threads = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Threads to measure on; the answer is the same on any."),
]
Json = Annotated[str | None, typer.Option(metavar="FILE", help="Write it as JSON; - for standard output.")]
PoseNumber = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Pose by its number in `orient rank`; else the recommended."),
]
MeshOutput = Annotated[
    str,
    typer.Option("--output", "-o", metavar="FILE", help="File to write: .3mf, .stl, .obj, .ply, .off."),
]
Minutes = Annotated[
    float | None,
    typer.Option(
        min=0.5, metavar="MIN", help="How long each test print may take, heat-up apart; 5 when left out."
    ),
]

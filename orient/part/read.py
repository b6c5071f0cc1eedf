"""A file into a ``Part``: the format told by content, every length in millimetres."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from orient.errors import OrientError
from orient.part.gate import admit, refuse_changed, refuse_many
from orient.part.glb import check_glb
from orient.part.kind import KIND_OF_SUFFIX, told_by_content
from orient.part.mesh import Part, SeveralBodies, assemble
from orient.part.obj import read_obj
from orient.part.off import read_off
from orient.part.stl import read_ascii_stl, read_binary_stl
from orient.part.threemf import read_3mf
from orient.part.triangles import Triangles
from orient.part.units import canonical_unit, unit_word

# Temporary folders that stand at this moment: who ends the process at once removes them.
unpacking: list[str] = []

# How the names of files end that are read here.
SUFFIXES = tuple(KIND_OF_SUFFIX)
# Chord tolerance that STEP solids are cut into triangles with: half of what is called coarse.
_STEP_TOLERANCE_MM = 0.05
_STEP_TOLERANCE_RAD = 0.2
_STEP_SECONDS = 50
_STEP_TO_GLB = (
    "import sys, cascadio; step, glb, mm, rad = sys.argv[1:]; "
    "cascadio.step_to_glb(step, glb, tol_linear=float(mm), tol_angular=float(rad))"
)


def read_part(
    path: str | Path,
    units: str | None = None,
    body: int | None = None,
    together: bool = False,
    *,
    name: str | None = None,
) -> Part:
    """Read a part from a file.

    Parameters
    ----------
    path : str or Path
        An STL (binary or ASCII), OBJ, PLY, OFF, 3MF, GLB or, with the ``step`` extra, STEP file.
    units : str, optional
        Unit of the numbers in an STL, OBJ, PLY or OFF file: mm, cm, m, in, ft or um; mm when None.
        3MF and STEP state their unit; there another one asked for is noted and not used. GLB is in
        metres (glTF 2.0 specification, section 3.4) unless another unit is asked for: many a file
        is drawn in millimetres all the same.
    body : int, optional
        Where the file holds separate bodies, keep this one, counted from 1, largest first.
    together : bool
        Keep separate bodies in their arrangement.
    name : str, optional
        What to call the part and, in messages, the file, where it lies under another name than its own.

    Returns
    -------
    Part
        Millimetres, mended, bodies that touch joined; ``health`` says what was found.

    Raises
    ------
    OrientError
        One sentence that names the file and the fix.
    """
    path = Path(path)
    named = printable(path) if name is None else name
    try:
        asked = None if units is None else canonical_unit(units)
    except OrientError as error:
        raise OrientError(f"The file '{named}' cannot be read in that unit: {_lowered(str(error))}") from None
    if body is not None and together:
        raise OrientError("Both one body and all together were asked for: choose --body N or --together.")
    try:
        admitted = admit(path)
        kind, note = _kind(path, admitted.size)
        triangles = _READERS[kind](path)
        refuse_changed(admitted)
        refuse_many(len(triangles.points) // 3 if triangles.corners is None else len(triangles.corners))
    except FileNotFoundError:
        raise OrientError(f"There is no file '{named}': check the name and the folder.") from None
    except MemoryError:
        raise OrientError(f"The file '{named}' needs more memory than there is: export it coarser.") from None
    except PermissionError:
        raise OrientError(f"The file '{named}' may not be read: change its permissions or copy it.") from None
    except OSError as error:
        reason = error.strerror or "the system gave no reason"
        raise OrientError(f"The file '{named}' cannot be read ({reason}): copy it and try again.") from None
    except OrientError as error:
        raise OrientError(f"The file '{named}' {error}") from None

    notes = (*note, *triangles.notes)
    unit = triangles.unit or asked or "mm"
    if kind == "GLB" and asked not in (None, unit):
        notes += (
            f"Read in {unit_word(asked)} as asked, though GLB is in {unit_word(unit)} by its standard.",
        )
        unit = asked
    elif kind == "STEP" and asked not in (None, "mm"):
        notes += (f"The unit {asked} was not used: STEP carries its own.",)
    elif asked not in (None, unit):
        notes += (f"The unit {asked} was not used: {kind} carries its own, here {unit_word(unit)}.",)
    # A GLB is doubted by its size as a bare number is: it cannot say that it holds millimetres.
    doubt_units = triangles.unit is None or kind == "GLB"
    points, corners, groups = triangles.points, triangles.corners, triangles.groups
    del triangles  # the raw corners are the largest array of all: let them go as soon as they are merged
    try:
        return assemble(
            points,
            corners,
            name=printable(Path(path.stem)) if name is None else name,
            unit=unit,
            groups=groups,
            body=body,
            together=together,
            doubt_units=doubt_units,
            notes=notes,
        )
    except SeveralBodies as error:
        raise SeveralBodies(f"The file '{named}' {error}", error.extents_mm, error.volume_mm3) from None
    except OrientError as error:
        raise OrientError(f"The file '{named}' {error}") from None


def printable(path: Path) -> str:
    """Give a path as text on one line; bytes that are no characters become question marks.

    Parameters
    ----------
    path : Path
        Any path the system may hold.

    Returns
    -------
    str
    """
    text = str(path).encode("utf-8", "replace").decode("utf-8")
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _kind(path: Path, size: int) -> tuple[str, tuple[str, ...]]:
    """Tell a file's format by its content, and note where its name says another."""
    with path.open("rb") as file:
        head = file.read(4096)
    named = KIND_OF_SUFFIX.get(path.suffix.lower())
    if named is None:
        raise OrientError(
            f"has a name that ends in '{path.suffix}', which is not read here: export the part as STL, OBJ, "
            "PLY, OFF, 3MF, GLB or STEP."
            if path.suffix
            else "has a name without an ending: name it after its format, such as part.stl."
        )
    told = told_by_content(head, size)
    if told is None:
        # A cut binary STL has no mark of its own; any other format would have shown its own by now.
        if named == "STL" and b"\0" in head:
            return "binary STL", ()
        raise OrientError(f"holds no mesh that is recognised ({named} by its name): export the part again.")
    if not told.endswith(named):
        return told, (f"The file's name says {named}, but it holds {told} and was read as that.",)
    return told, ()


def _by_trimesh(kind: str, unit: str | None) -> Callable[[Path], Triangles]:
    """Make a reader of a format that trimesh reads well."""

    def read(path: Path) -> Triangles:
        import trimesh

        if kind == "GLB":
            check_glb(path)
        try:
            with path.open("rb") as file:
                scene = trimesh.load_scene(file, file_type=kind.lower(), process=False)
            with np.errstate(all="ignore"):  # what a wild transform makes of a corner is refused with it
                mesh = scene.to_mesh()
        except OSError:
            raise
        # Whatever a damaged file makes a foreign reader stumble over is the file's fault, not a crash.
        except Exception as error:
            reason = " ".join(str(error).split())[:100] or type(error).__name__
            raise OrientError(f"cannot be read as {kind} ({reason}): export it again.") from None
        if kind == "PLY" and len(mesh.faces) < (promised := _ply_faces(path)):
            raise OrientError(
                f"is cut short (its header promises {promised:,} faces and {len(mesh.faces):,} are there): "
                "export or copy it again."
            )
        return Triangles(np.array(mesh.vertices), np.array(mesh.faces), unit=unit)

    return read


def _ply_faces(path: Path) -> int:
    """Read how many faces the header of a PLY promises; a text that ends early is read in silence else."""
    with path.open("rb") as file:
        for line in iter(file.readline, b""):
            words = line.split()
            if words[:2] == [b"element", b"face"] and words[2:] and words[2][:18].isdigit():
                return int(words[2][:18])
            if words[:1] == [b"end_header"]:
                break
    return 0


@contextmanager
def _noted(folder: str) -> Iterator[None]:
    unpacking.append(folder)
    try:
        yield
    finally:
        unpacking.remove(folder)


def _read_step(path: Path) -> Triangles:
    """Cut STEP solids into triangles; the kernel hands them over in metres."""
    if importlib.util.find_spec("cascadio") is None:
        raise OrientError("is a STEP file, which needs one more package: run pip install cascadio.")
    with tempfile.TemporaryDirectory() as folder, _noted(folder):
        between = Path(folder) / "part.glb"
        # In a process of its own: the kernel prints what it thinks of a file, and some damaged ones end it.
        tolerances = (str(_STEP_TOLERANCE_MM), str(_STEP_TOLERANCE_RAD))
        try:
            subprocess.run(
                [sys.executable, "-P", "-c", _STEP_TO_GLB, str(path), str(between), *tolerances],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                check=False,
                timeout=_STEP_SECONDS,
            )
        except subprocess.TimeoutExpired:
            raise OrientError(
                f"is a STEP file that takes over {_STEP_SECONDS} s to cut into triangles: export it as STL."
            ) from None
        except OSError:
            raise OrientError(
                "is a STEP file, and Python cannot be started to read it: export STL."
            ) from None
        if not between.exists() or not between.stat().st_size:
            raise OrientError("cannot be read as STEP (it is damaged or holds no solid): export it again.")
        return _by_trimesh("GLB", "m")(between)


_READERS: dict[str, Callable[[Path], Triangles]] = {
    "binary STL": read_binary_stl,
    "ASCII STL": read_ascii_stl,
    "OBJ": read_obj,
    "PLY": _by_trimesh("PLY", None),
    "OFF": read_off,
    "3MF": read_3mf,
    "GLB": _by_trimesh("GLB", "m"),
    "STEP": _read_step,
}

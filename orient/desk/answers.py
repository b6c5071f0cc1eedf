"""What a child process answers: plain values that pickle, and that the page is drawn from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.ranking.penalties import Scale
from orient.ranking.ranked import Ranking
from orient.show.page.facts import Fact

Floats = NDArray[np.float64]
Vector = tuple[float, float, float]


@dataclass(frozen=True)
class Body:
    """One of several bodies in a file: its number, size and volume."""

    number: int
    extents_mm: Vector
    volume_mm3: float


@dataclass(frozen=True)
class Doubt:
    """Another unit that a file was probably drawn in.

    Attributes
    ----------
    unit : str
        The likelier one.
    reason : str
        Why, as a clause.
    as_read_mm, as_doubted_mm : (3,) tuple
        Size either way.
    """

    unit: str
    reason: str
    as_read_mm: Vector
    as_doubted_mm: Vector


@dataclass(frozen=True, eq=False)
class Brought:
    """A part that was read.

    Attributes
    ----------
    name : str
        What to call it.
    units : str
        Unit that it was read in.
    faces : int
        How many triangles.
    extents_mm : (3,) tuple
        Its box.
    volume_mm3, area_mm2 : float
        Of the solid and of its surface.
    closed : bool
        Whether it has an inside.
    repairs, warnings : tuple of str
        The health record, a sentence each.
    doubt : Doubt or None
        Another unit that is likelier.
    bodies : tuple of Body
        Several bodies of which none was chosen: then there is nothing else here.
    scene : bytes
        JSON for the viewer.
    """

    name: str
    units: str = "mm"
    faces: int = 0
    extents_mm: Vector = (0.0, 0.0, 0.0)
    volume_mm3: float = 0.0
    area_mm2: float = 0.0
    closed: bool = True
    repairs: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    doubt: Doubt | None = None
    bodies: tuple[Body, ...] = ()
    scene: bytes = b""


@dataclass(frozen=True, eq=False)
class Holes:
    """The holes of a part, for a hand that points at them.

    Attributes
    ----------
    of_face : bytes
        Hole of every face, counted from 1, 0 for none; two bytes a face, little-endian.
    holes : tuple of dict
        Id, diameter, depth, centre and axis of each.
    """

    of_face: bytes
    holes: tuple[dict[str, Any], ...]


@dataclass(frozen=True, eq=False)
class Picked:
    """What a click on the part stands for.

    Attributes
    ----------
    selector : str
        As a brief writes it.
    words : str
        What it selects.
    at_mm : (3,) tuple
        A place on it.
    along : (3,) tuple or None
        Normal of a flat face, axis of a hole or a round wall; None for any other.
    outward : (3,) tuple
        Mean normal of the faces.
    area_mm2 : float
        Their area.
    faces : (k,) int32
        The faces.
    """

    selector: str
    words: str
    at_mm: Vector
    along: Vector | None
    outward: Vector
    area_mm2: float
    faces: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Judged:
    """An evaluation, as far as the page needs it.

    Attributes
    ----------
    toml : str
        The brief that it answers.
    ranking : Ranking
        Poses, best first.
    scale : Scale
        The part's own sizes, to rank anew with other weights.
    facts : tuple of P tuples of Fact
        Figures of every pose.
    rests, lies : tuple of P str
        What every pose rests on, and how it is held on the bed, in words.
    counts : dict of int to dict
        Hard features by verdict, by row, where they were counted; poses that are looked at join them.
    warnings, cautions, notes : tuple of str
        As an evaluation has them.
    approximate : bool
        Whether the mesh is open and some figures are approximate.
    hours_note : str
        What the hours are for.
    strength : dict or None
        What the load cases do, as the page tells it; None where they were not counted.
    failing : tuple of str
        That the pose to take fails under the load cases, or may; empty where it does not.
    infill : float
        The share of the inside that hours and material are of.
    fill : str
        Which inside the safety is of, and which hours and material are of; empty where all are solid.
    suits : tuple of (str, str)
        What polymer and machine make of what is asked for: ``fine``, ``care`` or ``no``, and a sentence.
    load_caution : str or None
        The line that stands wherever a figure of strength does.
    file_name : str
        What to call files of the part.
    """

    toml: str
    ranking: Ranking
    scale: Scale
    facts: tuple[tuple[Fact, ...], ...]
    rests: tuple[str, ...]
    lies: tuple[str, ...]
    counts: dict[int, dict[str, int]]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    approximate: bool
    hours_note: str
    strength: dict[str, Any] | None
    failing: tuple[str, ...]
    infill: float
    fill: str
    suits: tuple[tuple[str, str], ...]
    load_caution: str | None
    file_name: str


@dataclass(frozen=True, eq=False)
class Colours:
    """One way of colouring: what its bytes stand for, and a byte a face."""

    key: dict[str, Any]
    code: bytes


@dataclass(frozen=True, eq=False)
class Pose:
    """A pose as the viewer draws it.

    Attributes
    ----------
    lying : dict
        Matrix, bed, heights, labels: plain values.
    columns : bytes
        Columns of support, six floats each.
    overhang : Colours
        What needs holding up.
    features : tuple of dict
        Hard features, worst first, where they were looked for.
    hard : Colours or None
        Faces by hard feature.
    owner : bytes
        Feature of every face, counted from 1.
    said : tuple of str
        What cannot be relied on.
    """

    lying: dict[str, Any]
    columns: bytes
    overhang: Colours
    features: tuple[dict[str, Any], ...] | None = None
    hard: Colours | None = None
    owner: bytes = b""
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Scored:
    """What a pose that a hand turned to would score.

    Attributes
    ----------
    facts : tuple of (str, str)
        Figures with their names.
    score : float
        Weighted penalties; the lower the better.
    better : int
        Poses of the list with a better score.
    of : int
        Poses in the list.
    nearest : int
        Number of the nearest pose of the list.
    off_deg : float
        How far away that is.
    direction : (3,) tuple
        The build direction.
    """

    facts: tuple[tuple[str, str], ...]
    score: float
    better: int
    of: int
    nearest: int
    off_deg: float
    direction: Vector


@dataclass(frozen=True)
class Compared:
    """A variant held against the first.

    Attributes
    ----------
    build : str
        Which to build, in a few words.
    verdict : str
        Which is better and why.
    lying : str
        Along what each is built, in its own best pose.
    service : tuple of str
        What of the service no safety factor counts; empty where none was found.
    rows : tuple of dict
        Measures side by side, each in its own best pose.
    changes : tuple of str
        What was added and removed.
    page : bytes
        The whole comparison as a page.
    names : tuple of str
        What the two are called.
    scenes : tuple of bytes
        JSON of either for the viewer, coloured by what changed.
    """

    names: tuple[str, str]
    build: str
    verdict: str
    lying: str
    service: tuple[str, ...]
    rows: tuple[dict[str, str], ...]
    changes: tuple[str, ...]
    page: bytes
    scenes: tuple[bytes, bytes]


@dataclass(frozen=True)
class File:
    """A file to take away: its name, its bytes, and a sentence about it."""

    name: str
    body: bytes
    media_type: str
    said: str = ""
    listed: tuple[tuple[str, int], ...] = field(default=())

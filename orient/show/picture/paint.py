"""What the faces of a part are coloured by: what needs holding up, thickness, hard features, safety."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from orient.features.model import Feature
from orient.measure.columns import LEVEL_DEG, LIMIT_TOLERANCE_DEG
from orient.measure.load import failure_index
from orient.measure.painting import ON_BED_MM
from orient.part.mesh import Part
from orient.process import Process
from orient.show.picture.colours import BLANK, BLUE, ORANGE, PLAIN, PURPLE, RGB, SKY, cividis, viridis
from orient.show.picture.seen import Scene
from orient.strength.failure import Strengths
from orient.strength.field import Field

Floats = NDArray[np.float64]

# A value is coloured in so many steps; two more bytes say that it is beyond the scale, or that there is none.
STEPS = 254
BEYOND = 254
NO_VALUE = 255
# Of the places of a piece of surface the one that stands for its area.
_MIDDLE = 1


@dataclass(frozen=True)
class Kind:
    """One kind of face: its words, its colour, and the hatch that tells it in black and white."""

    said: str
    colour: RGB
    hatch: str = "none"


@dataclass(frozen=True, eq=False)
class KindPaint:
    """Faces by kind.

    Attributes
    ----------
    name : str
        What is coloured by.
    kinds : tuple of Kind
        What a face can be.
    code : (F,) uint8
        Kind of every face.
    """

    name: str
    kinds: tuple[Kind, ...]
    code: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class ValuePaint:
    """Faces by value.

    Attributes
    ----------
    name, unit : str
        What is coloured by, and in which unit.
    low, high : float
        Ends of the scale; what lies above is plain, for there is nothing to say of it.
    logarithmic : bool
        Whether equal ratios take equal steps of colour.
    watch : float or None
        Values below are hatched.
    watch_said : str
        What a hatch says.
    face_values : (F,) float64
        Value of every face, the least that was read on it; NaN where there is none.
    watched_mm2 : float
        Area whose value is below `watch`.
    least, most : float
        Least and greatest value of all; NaN where there is none.
    unread : bool
        Whether there is somewhere no value.
    at : callable
        Gives values at points: faces (N,), points in the part's coordinates (N, 3).
    ramp : callable
        Gives colours, from 0 at the high end of the scale to 1 at the low end.
    told : str
        What to know where whole faces are coloured.
    unread_said : str
        Where there is no value, in words.
    read : (faces, points, values) or None
        Places at which values were read, with the face of each; None where `at` reads everywhere alike.
    """

    name: str
    unit: str
    low: float
    high: float
    logarithmic: bool
    watch: float | None
    watch_said: str
    face_values: Floats
    watched_mm2: float
    least: float
    most: float
    unread: bool
    at: Callable[[NDArray[np.int32], Floats], Floats]
    ramp: Callable[[Floats], NDArray[np.uint8]] = cividis
    told: str = ""
    unread_said: str = "not known here"
    read: tuple[NDArray[np.int32], Floats, Floats] | None = None

    def share(self, values: Floats) -> Floats:
        """Where values lie on the scale: 1 at its low end, which is to be seen first, 0 at its high end."""
        with np.errstate(invalid="ignore", divide="ignore"):
            if self.logarithmic:
                at = np.log(np.maximum(values, 1e-12) / self.low) / math.log(self.high / self.low)
            else:
                at = (values - self.low) / (self.high - self.low)
        share: Floats = 1.0 - np.clip(at, 0.0, 1.0)
        return share

    def steps(self, values: Floats) -> NDArray[np.uint8]:
        """Give the step of values: 0 at the high end, `BEYOND` above it, `NO_VALUE` for NaN."""
        known = np.isfinite(values)
        steps = np.rint(np.where(known, self.share(values), 0.0) * (STEPS - 1)).astype(np.uint8)
        steps[known & (values > self.high)] = BEYOND
        steps[~known] = NO_VALUE
        return steps

    @property
    def code(self) -> NDArray[np.uint8]:
        """Step of every face's value."""
        return self.steps(self.face_values)

    @property
    def palette(self) -> NDArray[np.uint8]:
        """Colours of the steps, (256, 3)."""
        return np.vstack([self.ramp(np.linspace(0.0, 1.0, STEPS)), np.array([PLAIN, BLANK], dtype=np.uint8)])


Paint = KindPaint | ValuePaint

HELD, NOT_HELD, ON_BED, SPARED = 1, 0, 2, 3


def holding(part: Part, direction: Floats, limit_deg: float) -> NDArray[np.uint8]:
    """Say of every face whether it needs holding up in a pose.

    A face does when n·b < −sin(limit + 0.1°), unless it lies on the bed: within 1° of level, its highest
    point at most 0.02 mm above the lowest of the part.

    Parameters
    ----------
    part : Part
        The part.
    direction : (3,) float64
        Build direction, unit.
    limit_deg : float
        Overhang limit from the vertical wall.

    Returns
    -------
    (F,) uint8
        `NOT_HELD`, `HELD` or `ON_BED`.
    """
    along = part.normals @ direction
    heights = part.vertices @ direction
    tops = heights[part.faces].max(axis=1) - heights.min()
    bed = (along <= -math.cos(math.radians(LEVEL_DEG))) & (tops <= ON_BED_MM)
    held = along < -math.sin(math.radians(limit_deg + LIMIT_TOLERANCE_DEG))
    return np.where(bed, ON_BED, np.where(held, HELD, NOT_HELD)).astype(np.uint8)


def overhang_paint(
    part: Part, direction: Floats, process: Process, needs_nothing: NDArray[np.int64] | None = None
) -> KindPaint:
    """Colour by what needs holding up in a pose.

    Parameters
    ----------
    part : Part
        The part.
    direction : (3,) float64
        Build direction, unit.
    process : Process
        Overhang limit.
    needs_nothing : (k,) int64, optional
        Ceilings that hold themselves up after all, such as those of small holes.

    Returns
    -------
    KindPaint
    """
    code = holding(part, direction, process.overhang_limit_deg)
    kinds = [
        Kind("holds itself up", PLAIN),
        Kind(f"needs holding up: over {process.overhang_limit_deg:g}° from the vertical", ORANGE, "lines"),
        Kind("lies on the bed", BLUE, "dots"),
    ]
    if needs_nothing is not None and len(needs_nothing):
        spared = np.zeros(len(code), dtype=bool)
        spared[needs_nothing] = True
        spared &= code == HELD
        code[spared] = SPARED
        if spared.any():
            kinds.append(Kind("short or narrow enough to need nothing", SKY))
    return KindPaint("What needs holding up", tuple(kinds), code)


# What these name is an edge, a run or the whole part: a letter shows it, colour would drown the rest.
UNCOLOURED = ("sharp_corner", "curl", "slender", "first_layer")
# Redesign stands out most, fine least; the hatch goes with the same order.
OF_VERDICT = {
    "redesign": Kind("redesign", PURPLE, "cross"),
    "support": Kind("support", ORANGE, "lines"),
    "tune": Kind("tune", SKY, "dots"),
}


def feature_paint(part: Part, features: Sequence[Feature]) -> KindPaint:
    """Colour by hard feature: each face by the worst verdict of the features that it belongs to.

    What is fine stays plain, and so do the faces beside an edge: they have a letter in their colour.
    """
    code = np.zeros(len(part.faces), dtype=np.uint8)
    for number, verdict in reversed(list(enumerate(OF_VERDICT, start=1))):
        for one in features:
            if one.verdict == verdict and one.kind not in UNCOLOURED:
                code[one.faces] = number
    kinds = (Kind("nothing to do", PLAIN), *OF_VERDICT.values())
    return KindPaint("Hard features", kinds, code)


def thickness_paint(scene: Scene, process: Process) -> ValuePaint:
    """Colour by wall thickness: along the inward normal to where the wall ends.

    Parameters
    ----------
    scene : Scene
        The part.
    process : Process
        Thinnest wall that prints reliably, and the width of a line.

    Returns
    -------
    ValuePaint
        A face's value is the least of four points on it.
    """
    part = scene.part
    off = 1e-5 * part.size_mm

    def at(faces: NDArray[np.int32], points: Floats) -> Floats:
        inward = -part.normals[faces]
        hit, far = scene.rays.first_hits(points + off * inward, inward, 1.1 * part.size_mm)
        # A wall ends where the ray leaves the solid; what it meets from outside is another surface.
        leaves = (hit >= 0) & (np.einsum("ij,ij->i", part.normals[hit], inward) > 0)
        return np.where(leaves, far + off, np.nan)

    corners = part.vertices[part.faces]
    every = np.arange(len(part.faces), dtype=np.int32)
    middle = part.centroids
    places = [middle, *(0.15 * middle + 0.85 * corners[:, k] for k in range(3))]
    found = np.stack([at(every, place) for place in places])
    least = np.where(np.isfinite(found), found, np.inf).min(axis=0)
    known = np.isfinite(least)
    thick = max(8.0 * process.line_width_mm, 3.0 * process.wall_limit_mm)
    return ValuePaint(
        "Wall thickness",
        "mm",
        0.0,
        thick,
        False,
        process.wall_limit_mm,
        f"thinner than {process.wall_limit_mm:.2g} mm",
        np.where(known, least, np.nan),
        watched_mm2=float(part.areas[least < process.wall_limit_mm].sum()),
        least=float(least[known].min()) if known.any() else math.nan,
        most=float(found[np.isfinite(found)].max()) if known.any() else math.nan,
        unread=not bool(known.all()),
        at=at,
    )


def safety_paint(
    part: Part, field: Field, strengths: Strengths, direction: Floats, least: float | None = None
) -> ValuePaint:
    """Colour by safety factor in a pose, from the stress that was found once.

    Parameters
    ----------
    part : Part
        The part.
    field : Field
        The stress under the load cases.
    strengths : Strengths
        Of the polymer.
    direction : (3,) float64
        Build direction, unit.
    least : float, optional
        Safety factor that is asked for; 1 otherwise.

    Returns
    -------
    ValuePaint
        A face's value is the least of all places on it and in the cells behind it, so that the weakest place
        is seen however large its triangle. No value beside fixed and loaded faces, where the stress is not
        read.
    """
    normal = field.axes @ direction
    law = (strengths.X, strengths.Z, strengths.S)
    index = np.full(len(field.places_mm), np.nan)
    for case in field.cases:
        worst = failure_index(case.robust, normal, *law)
        if case.both_ways:
            worst = np.maximum(worst, failure_index(-case.robust, normal, *law))
        index[case.robust_at] = np.fmax(index[case.robust_at], worst)
    known = np.flatnonzero(np.isfinite(index))
    tree = cKDTree(field.places_mm[known])
    factor = 1.0 / np.maximum(index[known], 1e-6)

    def at(faces: NDArray[np.int32], points: Floats) -> Floats:
        far, nearest = tree.query(points, distance_upper_bound=1.8 * field.pitch_mm, workers=-1)
        return np.where(np.isfinite(far), factor[np.minimum(nearest, len(factor) - 1)], np.nan)

    skin = field.skin
    values = np.full(len(part.faces), np.nan)
    read = None
    if len(skin.face):
        starts = np.flatnonzero(np.diff(skin.face, prepend=-1))
        pieces = np.fmax.reduce(index[skin.places], axis=1)
        worst = np.fmax.reduceat(pieces, starts)
        values[skin.face[starts]] = 1.0 / np.maximum(worst, 1e-6)
        middles = field.places_mm[skin.places[:, _MIDDLE + 1 :]].mean(axis=1)
        read = skin.face, middles, 1.0 / np.maximum(pieces, 1e-6)
    # Too small for a place of its own, or beside what is fixed or loaded: as the picture reads it there.
    bare = np.flatnonzero(np.isnan(values)).astype(np.int32)
    values[bare] = at(bare, part.centroids[bare])
    watch = 1.0 if least is None else least
    low = max(1.0, 10.0 ** math.floor(math.log10(watch)))
    middle = index[skin.places[:, _MIDDLE]]
    with np.errstate(invalid="ignore"):
        weak = middle > 1.0 / watch
    away = skin.places[np.isnan(middle), _MIDDLE]
    return ValuePaint(
        "Safety factor",
        "",
        low,
        10.0 * low,
        True,
        watch,
        f"below {watch:g}",
        values,
        watched_mm2=float(skin.area_mm2[weak].sum(dtype=np.float64)),
        least=float(factor.min()) if len(factor) else math.nan,
        most=float(factor.max()) if len(factor) else math.nan,
        unread=bool(np.isnan(values).any() or np.isnan(at(away, field.places_mm[away])).any()),
        at=at,
        ramp=viridis,
        told="Each triangle has the colour of its weakest place on the skin.",
        unread_said="left out, beside what holds or pushes",
        read=read,
    )

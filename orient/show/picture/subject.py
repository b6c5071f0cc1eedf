"""A part in one pose, with all that a picture of it can be coloured by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.features.register import BY_NAME, Inspection, inspect_part
from orient.part.mesh import Part
from orient.pose.rotation import rotation_to_bed
from orient.process import Process
from orient.show.picture.camera import VIEWS
from orient.show.picture.draw import Picture, angles_for, draw_picture
from orient.show.picture.paint import (
    HELD,
    ON_BED,
    UNCOLOURED,
    KindPaint,
    Paint,
    ValuePaint,
    feature_paint,
    overhang_paint,
    safety_paint,
    thickness_paint,
)
from orient.show.picture.seen import Scene, scene_of
from orient.show.picture.supports import support_columns
from orient.show.words import direction_words
from orient.strength.field import Field
from orient.strength.judge import judge, make_ready, strengths_of

Floats = NDArray[np.float64]

COLOURS = ("overhang", "thickness", "features", "safety")
# More letters than this hide what they name; the worst keep theirs.
MOST_LETTERS = 18
_MOST_TOLD = 8


@dataclass(frozen=True, eq=False)
class Subject:
    """What a picture shows.

    Attributes
    ----------
    scene : Scene
        The part.
    process : Process
        Limits.
    direction : (3,) float64
        Build direction.
    found : Inspection or None
        Hard features, where they were looked for.
    field : Field or None
        Stress, where there are load cases.
    least_safety : float or None
        Safety factor that is asked for.
    """

    scene: Scene
    process: Process
    direction: Floats
    found: Inspection | None = None
    field: Field | None = None
    least_safety: float | None = None

    @property
    def part(self) -> Part:
        """The part."""
        return self.scene.part

    @cached_property
    def transform(self) -> Floats:
        """From the part's coordinates to the bed's."""
        return rotation_to_bed(self.direction, self.part.hull.points)

    @cached_property
    def overhang(self) -> KindPaint:
        """What needs holding up."""
        spared = None if self.found is None else self.found.needs_nothing
        return overhang_paint(self.part, self.direction, self.process, spared)

    @cached_property
    def columns(self) -> Floats:
        """Columns of support, (N, 2, 3), bed coordinates, mm."""
        return support_columns(self.scene, self.transform, self.overhang.code)

    @cached_property
    def inspection(self) -> Inspection:
        """Hard features of the pose."""
        return self.found or inspect_part(self.part, self.process, self.direction)

    def paint(self, colour: str) -> Paint:
        """Colours by one of `COLOURS`.

        Raises
        ------
        OrientError
            For another name, or for safety without load cases.
        """
        if colour == "overhang":
            return self.overhang
        if colour == "thickness":
            return self._thickness
        if colour == "features":
            return feature_paint(self.part, self.inspection.features)
        if colour == "safety":
            if self.field is None:
                raise OrientError(
                    "There is no safety factor to colour by: say in a brief where the part is held and "
                    "pushed, under [[load.case]], and name a polymer whose strength is known."
                )
            return self.safety
        raise OrientError(f'Nothing is coloured by "{colour}": take {", ".join(COLOURS)}.')

    @cached_property
    def weakest(self) -> tuple[Floats, float] | None:
        """Where it is weakest under the load cases, and the safety factor there; None without them."""
        if self.field is None:
            return None
        found = judge(make_ready(self.field, self.process), self.direction[None], 1)
        return found.weakest_at_mm[0], float(found.factor[0])

    @cached_property
    def safety(self) -> ValuePaint:
        """Colours by safety factor; there are load cases."""
        assert self.field is not None
        strengths = strengths_of(self.process)
        return safety_paint(self.part, self.field, strengths, self.direction, self.least_safety)

    @cached_property
    def _thickness(self) -> ValuePaint:
        return thickness_paint(self.scene, self.process)

    def draw(
        self,
        colour: str,
        view: str = "corner",
        size: tuple[int, int] = (800, 600),
        legend: bool = True,
        words: bool = True,
        letter_px: int | None = None,
    ) -> Picture:
        """Draw the pose.

        Parameters
        ----------
        colour : str
            One of `COLOURS`.
        view : str
            From where it is seen, as in `view_angles`.
        size : (2,) tuple of int
            Width and height in pixels.
        legend : bool
            Whether colours are explained below the part.
        words : bool
            Whether the arrow and the edges of the bed are named.
        letter_px : int, optional
            Size of the letters, by the size of the picture otherwise.

        Returns
        -------
        Picture
        """
        paint = self.paint(colour)
        features = self.inspection.features if colour == "features" else ()
        letters = [one for one in features if one.verdict != "fine"]
        return draw_picture(
            self.scene,
            self.transform,
            paint,
            angles=self.angles(view),
            size=size,
            columns=self.columns if colour == "overhang" else None,
            letters=[one for one in letters if one.kind not in UNCOLOURED],
            marks_at=[one for one in letters if one.kind in UNCOLOURED],
            most=MOST_LETTERS,
            alt=self.alt(colour, view),
            legend=legend,
            words=words,
            letter_px=letter_px,
        )

    def angles(self, view: str) -> tuple[float, float]:
        """Azimuth and elevation of a view; a corner is sought once."""
        if view not in self._angles:
            self._angles[view] = angles_for(self.scene, self.transform, view)
        return self._angles[view]

    @cached_property
    def _angles(self) -> dict[str, tuple[float, float]]:
        return {}

    def alt(self, colour: str, view: str) -> str:
        """Say what a picture shows, with its numbers, for those who cannot see it."""
        part, tall = self.part, float(np.ptp(part_heights(self.part, self.direction)))
        seen = {"corner": "from a corner above", "under": "from a corner below"}.get(
            view, f"from the {view}" if view in ("front", "back", "left", "right") else f"from {view}"
        )
        if view not in VIEWS:
            seen = f"from azimuth and elevation {view}°"
        lead = f"{part.name} built along {direction_words(self.direction)}, {tall:.1f} mm tall, seen {seen}. "
        return lead + _numbers(self, colour)


def part_heights(part: Part, direction: Floats) -> Floats:
    """Heights of the hull's points along a direction, mm."""
    heights: Floats = part.hull.points @ direction
    return heights


def subject_of(evaluation: Evaluation, row: int, scene: Scene | None = None) -> Subject:
    """Make a pose of an evaluation the subject of pictures.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    row : int
        Row of the ranking, from 0.
    scene : Scene, optional
        The part made ready, to share it between poses.

    Returns
    -------
    Subject
    """
    features, strength = evaluation.features, evaluation.strength
    direction = evaluation.ranking.directions[row]
    found = None
    if features is not None:
        found = features.poses.get(row) or inspect_part(
            evaluation.part, evaluation.process, direction, features.shape
        )
    return Subject(
        scene or scene_of(evaluation.part, None if features is None else features.shape.rays),
        evaluation.process,
        direction,
        found,
        None if strength is None else strength.field,
        evaluation.brief.limits.min_safety_factor,
    )


def _numbers(subject: Subject, colour: str) -> str:
    areas = subject.part.areas
    if colour == "overhang":
        code = subject.overhang.code
        held, bed = areas[code == HELD].sum(), areas[code == ON_BED].sum()
        return (
            f"{held:,.0f} mm² of {areas.sum():,.0f} mm² needs holding up, hatched; {bed:,.0f} mm² lies on "
            "the bed, dotted."
        )
    if colour == "features":
        found = subject.inspection
        counts = ", ".join(f"{count} {verdict}" for verdict, count in found.counts.items() if count)
        if not found.features:
            return "No hard features."
        hard = [one for one in found.features if one.verdict != "fine"]
        named = [
            f"{one.id} {BY_NAME[one.kind].title} of {one.size_mm:.3g} mm: {one.verdict}"
            for one in hard[:_MOST_TOLD]
        ]
        if len(hard) > _MOST_TOLD:
            named.append(f"{len(hard) - _MOST_TOLD} more")
        return f"Hard features: {counts}." + (f" {'; '.join(named)}." if named else "")
    paint = subject.paint(colour)
    assert isinstance(paint, ValuePaint)
    if not math.isfinite(paint.least):
        return f"{paint.name}: no value anywhere."
    unit = f" {paint.unit}" if paint.unit else ""
    said = f"{paint.name} from {paint.least:.2f}{unit}"
    if paint.watch is not None:
        said += f"; {paint.watched_mm2:,.0f} mm² {paint.watch_said}, hatched"
    return said + "."

"""What a child process keeps between jobs, so that nothing is read or computed twice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief
from orient.desk.answers import Vector
from orient.errors import OrientError
from orient.evaluation import Evaluation, evaluate
from orient.evaluation.given import Figures, meter
from orient.features.register import Inspection, inspect_part
from orient.features.shape import Shape, inventory, shape_of
from orient.part.mesh import Part
from orient.show.picture.seen import Scene, scene_of
from orient.show.picture.subject import Subject

Floats = NDArray[np.float64]
Say = Callable[[str, float | None], None]

# Poses kept with their pictures' colours.
_MOST_SUBJECTS = 24
_STEPS = {
    "measure": "Measuring poses",
    "refine": "Searching on from the best poses",
    "features": "Looking for hard features",
    "first look": "Finding what bears the load",
    "solve": "Solving for the stress",
}


@dataclass(eq=False)
class Known:
    """A part and what was found of it that no brief changes.

    Attributes
    ----------
    part : Part
        The part.
    file : Path
        Where its file lies.
    asked : Mapping
        Unit and body that were asked for, as a brief's ``[part]`` has them.
    """

    part: Part
    file: Path
    asked: Mapping[str, Any] = field(default_factory=dict)
    shapes: dict[Any, Shape] = field(default_factory=dict)

    @cached_property
    def scene(self) -> Scene:
        """The part made ready for pictures."""
        return scene_of(self.part)

    @cached_property
    def holes(self) -> list[Any]:
        """Its holes."""
        return inventory(self.part)


@dataclass(eq=False)
class Held:
    """What the last jobs left.

    Attributes
    ----------
    known : Known or None
        The part.
    key : tuple
        Which evaluation is held: brief and what was counted.
    evaluation : Evaluation or None
        The last one.
    by_hand : tuple or None
        The last one that judged a pose of the hand besides: which one, and what was found.
    """

    known: Known | None = None
    key: tuple[Any, ...] = ()
    evaluation: Evaluation | None = None
    by_hand: tuple[tuple[Any, ...], Evaluation] | None = None
    subjects: dict[tuple[float, ...], Subject] = field(default_factory=dict)
    measure: Callable[[Floats, bool], Figures] | None = None

    def take(self, part: Part, file: Path, asked: Mapping[str, Any]) -> Known:
        """Begin with another part: what was found of the last one goes."""
        self.known, self.key, self.evaluation = Known(part, file, asked), (), None
        self.by_hand = None
        self.subjects.clear()
        self.measure = None
        return self.known

    @property
    def at_hand(self) -> Known:
        """The part.

        Raises
        ------
        OrientError
            When none was brought.
        """
        if self.known is None:
            raise OrientError("There is no part yet: bring one first.")
        return self.known

    def evaluated(
        self, brief: Brief, toml: str, say: Say, *, features: bool | None = None, forces: bool = True
    ) -> Evaluation:
        """The part under a brief; computed unless it is the one that is held.

        Parameters
        ----------
        brief : Brief
            The brief.
        toml : str
            The same as text, to know it again.
        say : callable
            Is told how far it has come.
        features : bool, optional
            As for `evaluate`.
        forces : bool
            Whether load cases are solved; without them only the stress axis tells the load.
        """
        asked = features or (features is None and self.key[:2] == (toml, forces) and self.key[2:] == (True,))
        key = (toml, forces, bool(asked))
        if self.evaluation is None or self.key != key:
            self.evaluation = self._evaluate(brief, say, features, forces)
            self.key = key
            self.subjects.clear()
            self.measure = None
        return self.evaluation

    def evaluated_with(
        self, given: Vector, brief: Brief, toml: str, say: Say, *, features: bool | None = None, forces: bool
    ) -> Evaluation:
        """The part under a brief, with a pose of the hand among those that were judged.

        What is held for the list stays as it is: poses keep their numbers there.
        """
        key = (toml, forces, features, given)
        if self.by_hand is None or self.by_hand[0] != key:
            self.by_hand = key, self._evaluate(brief, say, features, forces, given)
        return self.by_hand[1]

    def _evaluate(
        self, brief: Brief, say: Say, features: bool | None, forces: bool, given: Vector | None = None
    ) -> Evaluation:
        if not forces:
            # A least safety factor, and how far the part may give way, are asked for once they are known.
            load = brief.load.model_copy(update={"case": ()})
            limits = brief.limits.model_copy(update={"min_safety_factor": None, "max_deflection_mm": None})
            brief = brief.model_copy(update={"load": load, "limits": limits})
        return evaluate(
            self.at_hand.part,
            brief,
            features=features,
            given=given,
            progress=lambda *step: _tell(say, *step),
        )

    @property
    def judged(self) -> Evaluation:
        """The evaluation that is held.

        Raises
        ------
        OrientError
            When the part has not been judged.
        """
        if self.evaluation is None:
            raise OrientError("The poses have not been ranked yet: wait for the list.")
        return self.evaluation

    def figures(self, direction: Floats) -> Figures:
        """Figures of a pose that is not in the list."""
        if self.measure is None:
            self.measure = meter(self.judged)
        return self.measure(direction[None], False)

    def subject(self, direction: Floats, *, features: bool = False) -> Subject:
        """A pose as pictures show it.

        Parameters
        ----------
        direction : (3,) float64
            Build direction.
        features : bool
            Whether its hard features are wanted even where the ranking counted none.
        """
        spot = tuple(np.round(direction, 9).tolist())
        kept = self.subjects.get(spot)
        if kept is not None and (kept.found is not None or not features):
            return kept
        found = self._inspected(direction, features)
        evaluation = self.evaluation
        strength = None if evaluation is None else evaluation.strength
        made = Subject(
            self.at_hand.scene,
            self.judged.process,
            direction,
            found,
            None if strength is None else strength.field,
            None if evaluation is None else evaluation.brief.limits.min_safety_factor,
        )
        while len(self.subjects) >= _MOST_SUBJECTS:
            self.subjects.pop(next(iter(self.subjects)))
        self.subjects[spot] = made
        return made

    def _inspected(self, direction: Floats, features: bool) -> Inspection | None:
        evaluation = self.judged
        counted = evaluation.features
        if counted is not None:
            at = evaluation.ranking.directions @ direction
            row = int(at.argmax())
            if at[row] > 1.0 - 1e-12 and row in counted.poses:
                return counted.poses[row]
            return inspect_part(evaluation.part, evaluation.process, direction, counted.shape)
        if not features:
            return None
        shapes, process = self.at_hand.shapes, evaluation.process
        if id(process) not in shapes:
            shapes.clear()
            shapes[id(process)] = shape_of(evaluation.part, process)
        return inspect_part(evaluation.part, process, direction, shapes[id(process)])


def _tell(say: Say, step: str, done: int, of: int) -> None:
    # How far the search goes on is not known beforehand.
    say(_STEPS.get(step, step), None if step == "refine" or not of else done / of)

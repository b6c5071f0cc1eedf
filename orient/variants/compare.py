"""Variants of one part held against the first of them, under one brief: the whole comparison."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief, Limits
from orient.clock import Clock, Progress
from orient.errors import OrientError
from orient.evaluation import Evaluation, evaluate
from orient.evaluation.given import Figures, meter
from orient.features.register import Inspection
from orient.measure.sharing import available_threads
from orient.part.mesh import Part
from orient.ranking.order import choose
from orient.variants.carry import carried, without_places
from orient.variants.changes import Changes, changes_between
from orient.variants.features import Match, match_features
from orient.variants.measures import Delta, Value, deltas, values_of
from orient.variants.nearest import surface_of
from orient.variants.register import Registration, at_home, register
from orient.variants.scale import refuse_slip
from orient.variants.verdict import judge

Floats = NDArray[np.float64]

# Best poses of each variant that may be best for all.
_SHARED_FROM = 12
# Poses this near are one.
_ONE_DEG = 0.5
WAYS = ("own", "first", "shared")
# What variants are traded by where there are several: no other is better in one and as good in the rest.
TRADED = (
    "cost",
    "hours",
    "support_needed_mm3",
    "features_redesign",
    "features_support",
    "features_tune",
    "strength_retained",
    "safety_factor",
)


@dataclass(frozen=True, eq=False)
class Variant:
    """One variant, evaluated.

    Attributes
    ----------
    name : str
        What it is called: the file's stem, with its folder where two are alike.
    evaluation : Evaluation
        Under the brief, carried to its frame.
    placed : Registration
        How it lies on the first variant.
    broken : str or None
        The limit that no pose of it keeps; it was then evaluated without limits.
    figures : Figures
        Its own best pose, the first's best, and the one that is best for all, in this order.
    values : Mapping of str to Mapping of str to Value
        Figures by way (`WAYS`) and measure.
    allowed : Mapping of str to bool
        Whether the pose keeps the limits, by way.
    """

    name: str
    evaluation: Evaluation
    placed: Registration
    broken: str | None
    figures: Figures
    values: Mapping[str, Mapping[str, Value]]
    allowed: Mapping[str, bool]

    @property
    def part(self) -> Part:
        """The part."""
        return self.evaluation.part

    @property
    def inspection(self) -> Inspection:
        """Hard features in its own best pose."""
        assert self.figures.inspected is not None
        return self.figures.inspected[0]


@dataclass(frozen=True, eq=False)
class Pair:
    """A variant against the first.

    Attributes
    ----------
    first, second : Variant
        The two.
    changes : Changes
        What was added and removed.
    features : tuple of Match
        Hard features of both, each in its own best pose.
    measures : Mapping of str to Mapping of str to Delta
        Figures side by side, by way (`WAYS`) and measure.
    better : bool or None
        Whether the second is better; None where neither is.
    verdict : str
        Why, in one sentence.
    notes : tuple of str
        What to know of the comparison.
    """

    first: Variant
    second: Variant
    changes: Changes
    features: tuple[Match, ...]
    measures: Mapping[str, Mapping[str, Delta]]
    better: bool | None
    verdict: str
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Variants of one part, the first against each other one.

    Attributes
    ----------
    variants : tuple of Variant
        As given.
    pairs : tuple of Pair
        One for each variant but the first.
    order : tuple of int
        Variants, best first.
    undominated : tuple of bool
        Whether no other variant is better in one thing and as good in all that variants are traded by.
    timing_s : Mapping of str to float
        Seconds by step.
    """

    variants: tuple[Variant, ...]
    pairs: tuple[Pair, ...]
    order: tuple[int, ...]
    undominated: tuple[bool, ...]
    timing_s: Mapping[str, float]


def compare(
    parts: Sequence[Part],
    brief: Brief | None = None,
    *,
    names: Sequence[str] | None = None,
    directions: int = 1000,
    voxels: int | None = None,
    threads: int | None = None,
    progress: Callable[[str], Progress | None] | None = None,
) -> Comparison:
    """Compare variants of a part under one brief.

    Parameters
    ----------
    parts : sequence of Part
        Two or more; all but the first are held against the first.
    brief : Brief, optional
        In the first variant's coordinates; what it says of places is carried to the others.
    names : sequence of str, optional
        What to call the variants; the parts' names otherwise.
    directions, voxels, threads
        As for `orient.evaluate`.
    progress : callable, optional
        Called with a variant's name before it is evaluated; gives what `orient.evaluate` reports to.

    Returns
    -------
    Comparison

    Raises
    ------
    OrientError
        For fewer than two parts, a part in another unit, a selector that no longer finds its face, and all
        that `orient.evaluate` raises.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> a = part_from_trimesh(trimesh.creation.box((40, 30, 20)), name="a")
    >>> b = part_from_trimesh(trimesh.creation.box((40, 30, 18)), name="b")
    >>> pair = compare([a, b], directions=20).pairs[0]
    >>> [(one.what, round(one.volume_mm3)) for one in pair.changes.pieces]
    [('removed', 1200), ('removed', 1200)]
    """
    if len(parts) < 2:
        raise OrientError("There is nothing to compare: give two parts or more, the first one first.")
    brief = brief or Brief()
    threads = threads or available_threads()
    called = distinct(names or [part.name for part in parts])
    clock = Clock()
    for part in parts[1:]:
        refuse_slip(parts[0], part)
    placed = [at_home(parts[0]), *(register(parts[0], part, threads) for part in parts[1:])]
    strangers = [not one.common for one in placed]
    if any(strangers):
        brief = without_places(brief)
    briefs = [brief] + [
        carried(brief, parts[0], part, one, (called[0], name))
        for part, one, name in zip(parts[1:], placed[1:], called[1:], strict=True)
    ]
    clock.lap("register")
    # Changes and variants do not wait for each other, and much of either keeps one thread busy.
    with ThreadPoolExecutor(threads) as pool:
        changes = [
            pool.submit(_changed, parts[0], part, one, 1)
            for part, one in zip(parts[1:], placed[1:], strict=True)
        ]
        evaluations, broken = [], []
        for part, own, name in zip(parts, briefs, called, strict=True):
            report = progress(name) if progress else None
            found, limit = _evaluated(part, own, directions, voxels, threads, report)
            evaluations.append(found)
            broken.append(limit)
            clock.lap(f"evaluate {name}")
        meters = list(pool.map(lambda one: meter(one, threads), evaluations))
        shared = _best_for_all(evaluations, placed, meters)
        clock.lap("shared pose")
        first_pose = evaluations[0].ranking.directions[evaluations[0].ranking.recommended - 1]

        def measured(k: int) -> Variant:
            found, one = evaluations[k], placed[k]
            own_pose = found.ranking.directions[found.ranking.recommended - 1]
            poses = np.array([own_pose, *one.vectors_in_second(np.array([first_pose, shared]))])
            figures = _each_once(meters[k], poses)
            return Variant(
                called[k],
                found,
                one,
                broken[k],
                figures,
                {way: values_of(found, figures, row) for row, way in enumerate(WAYS)},
                {way: bool(figures.allowed[row]) for row, way in enumerate(WAYS)},
            )

        variants = list(pool.map(measured, range(len(parts))))
        clock.lap("measure")
        pairs = tuple(
            _pair(variants[0], other, one.result(), brief)
            for other, one in zip(variants[1:], changes, strict=True)
        )
        clock.lap("changes")
    order, best = _ranked(variants)
    return Comparison(tuple(variants), pairs, order, best, clock.laps)


def distinct(names: Sequence[str]) -> list[str]:
    """Number names that are alike, so that each is one variant's.

    >>> distinct(["a", "b", "a"])
    ['a (1)', 'b', 'a (3)']
    """
    return [
        f"{name} ({place})" if list(names).count(name) > 1 else name
        for place, name in enumerate(names, start=1)
    ]


def _evaluated(
    part: Part,
    brief: Brief,
    directions: int,
    voxels: int | None,
    threads: int,
    progress: Progress | None,
) -> tuple[Evaluation, str | None]:
    """Evaluate a variant; where its limits leave no pose, without them, and say which."""

    def evaluated(brief: Brief) -> Evaluation:
        return evaluate(
            part, brief, directions=directions, voxels=voxels, threads=threads, progress=progress, explained=3
        )

    try:
        return evaluated(brief), None
    except OrientError as error:
        if brief.limits == Limits():
            raise
        found = evaluated(brief.model_copy(update={"limits": Limits()}))
        return found, str(error)


def _each_once(measured: Callable[[Floats, bool], Figures], poses: Floats) -> Figures:
    """Measure poses of which some may be one, each once."""
    row: list[int] = []
    for k, pose in enumerate(poses):
        alike = [j for j in range(k) if row[j] == j and pose @ poses[j] > 1.0 - 1e-12]
        row.append(alike[0] if alike else k)
    once = sorted(set(row))
    return measured(poses[once], True).rows([once.index(k) for k in row])


def _best_for_all(
    evaluations: Sequence[Evaluation],
    placed: Sequence[Registration],
    meters: Sequence[Callable[[Floats, bool], Figures]],
) -> Floats:
    """Build direction with the least mean score over all variants, in the first's coordinates.

    Each variant's best poses are tried in all of them. As in a ranking, a pose that rests on a flat face
    of every variant goes before one that does not, unless that is a tenth better.
    """
    tried: list[Floats] = []
    for found, one in zip(evaluations, placed, strict=True):
        rows = sorted({*found.ranking.shown, *range(min(_SHARED_FROM, len(found.ranking.directions)))})
        for pose in one.vectors_in_first(found.ranking.directions[rows]):
            if all(pose @ other < np.cos(np.radians(_ONE_DEG)) for other in tried):
                tried.append(pose)
    poses = np.array(tried)
    score, rests, fits = (
        np.zeros(len(poses)),
        np.ones(len(poses), dtype=bool),
        np.ones(len(poses), dtype=bool),
    )
    for found, one, measured in zip(evaluations, placed, meters, strict=True):
        own = one.vectors_in_second(poses)
        figures = measured(own, False)
        score += figures.score / len(evaluations)
        fits &= figures.allowed
        flat = found.ranking.directions[found.ranking.rests_on_flat]
        near = (own @ flat.T).max(axis=1) if len(flat) else np.full(len(own), -1.0)
        rests &= near > 1.0 - 1e-8
    if not fits.any():
        fits[:] = True
    # Rounded, so that rounding settles no tie.
    order = np.lexsort((np.arange(len(poses)), np.round(score, 9), ~fits))[: int(fits.sum())]
    return poses[order[choose(score[order], rests[order]).recommended]]


def _changed(first: Part, second: Part, placed: Registration, threads: int) -> Changes:
    """What changed; nothing can be said for parts that have nothing in common."""
    if not placed.common:
        return Changes((), False)
    surfaces = surface_of(first.vertices, first.faces), surface_of(second.vertices, second.faces)
    return changes_between(first, second, placed, surfaces, threads)


def _pair(first: Variant, second: Variant, changes: Changes, brief: Brief) -> Pair:
    placed = second.placed
    notes = list(_notes(first, second))
    features: tuple[Match, ...] = ()
    if placed.common:
        features = match_features(
            first.inspection.features,
            second.inspection.features,
            placed,
            first.part.size_mm,
            (first.part, second.part),
        )
    if changes.approximate:
        open_ones = [one.name for one in (first, second) if not one.part.closed]
        notes.append(
            f"Volumes of changes are approximate: {' and '.join(open_ones) or 'a mesh'} is not closed, "
            "so only distances between the surfaces were compared."
        )
    measures = {way: deltas(first.values[way], second.values[way]) for way in WAYS}
    verdict = judge(
        (first.name, second.name),
        measures["own"],
        features,
        broken=(first.broken, second.broken),
        least_safety=brief.limits.min_safety_factor,
        unchanged=placed.common and not changes.pieces,
    )
    return Pair(first, second, changes, features, measures, verdict.better, verdict.sentence, tuple(notes))


def _notes(first: Variant, second: Variant) -> list[str]:
    placed = second.placed
    share = f"{100 * placed.unchanged_fraction:.1f} %"
    said = []
    if not placed.common:
        said.append(
            f"{second.name} has next to nothing in common with {first.name} ({share} of the surface at the "
            "best): only the measures were compared, and what the brief says of faces was left out."
        )
    elif placed.mirrored:
        said.append(f"{second.name} is a mirror image of {first.name}; {share} of the surface matches.")
    elif not placed.same_frame:
        said.append(
            f"{second.name} was turned or moved against {first.name}, and was laid back on it; {share} of "
            f"the surface matches, within {1000 * placed.residual_mm:.1f} µm."
        )
    for one in (first, second):
        if one.broken is not None:
            said.append(f"{one.name} was evaluated without limits: {one.broken[:1].lower()}{one.broken[1:]}")
        said += [
            f"The pose that is best for all breaks a limit with {one.name}."
            for _ in range(one.broken is None and not one.allowed["shared"])
        ]
        said += [
            f"The best pose of {first.name} breaks a limit with {one.name}."
            for _ in range(one is second and one.broken is None and not one.allowed["first"])
        ]
    return said


def _ranked(variants: Sequence[Variant]) -> tuple[tuple[int, ...], tuple[bool, ...]]:
    """Put variants in order: those that keep the limits first, then by cost, or else by score."""
    values = [one.values["own"] for one in variants]
    by = "cost" if all("cost" in one for one in values) else "score"
    order = sorted(
        range(len(variants)),
        key=lambda k: (variants[k].broken is not None, round(values[k][by].nominal, 9), k),
    )
    return tuple(order), tuple(not any(_beats(b, a) for b in variants) for a in variants)


def _beats(one: Variant, other: Variant) -> bool:
    """Whether a variant is better in something and worse in nothing that variants are traded by."""
    found = deltas(other.values["own"], one.values["own"])
    votes = [found[name].better for name in TRADED if name in found]
    votes.append(None if (one.broken is None) == (other.broken is None) else one.broken is None)
    told = [vote for vote in votes if vote is not None]
    return bool(told) and all(told)

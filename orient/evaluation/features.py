"""The hard features of an evaluation: holes before any pose is measured, the rest for the poses shown."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.clock import Progress
from orient.features import hole
from orient.features.register import BY_NAME, Inspection, hole_faces, inspect_part
from orient.features.shape import Shape, shape_of
from orient.measure.poses import Sorted, measure_poses
from orient.part.mesh import Part
from orient.process import Process
from orient.ranking.ranked import Ranking
from orient.ranking.second import SecondPass, second_pass

Floats = NDArray[np.float64]

# A part of more faces keeps its features for `orient inspect`, unless they are asked for: they would add
# half as long again to the ranking.
MOST_FACES = 50_000


@dataclass(frozen=True, eq=False)
class Features:
    """The hard features of the poses shown.

    Attributes
    ----------
    shape : Shape
        What does not depend on the pose, to inspect further poses with.
    poses : Mapping[int, Inspection]
        By row of the ranking.
    taken : int
        Row of the pose to take.
    second : SecondPass or None
        The poses shown in the order of the second pass, where a weight asked for one.
    """

    shape: Shape
    poses: Mapping[int, Inspection]
    taken: int
    second: SecondPass | None = None

    @property
    def recommended(self) -> Inspection:
        """The features of the pose to take."""
        return self.poses[self.taken]

    @property
    def walls_mm(self) -> Floats:
        """Thicknesses of the part's walls that were looked at."""
        return np.array([one.size_mm for one in self.recommended.features if one.kind == "thin_wall"])

    def flagged(self) -> list[tuple[str, str]]:
        """Kind and id of what is hard in the pose to take, worst first: what there is to tune."""
        return [(one.kind, one.id) for one in self.recommended.features if one.verdict != "fine"]


def is_very_large(part: Part) -> bool:
    """Tell whether a part has so many faces that its features are left alone unless they are asked for."""
    return len(part.faces) > MOST_FACES


def held_by_holes(part: Part, process: Process) -> NDArray[np.bool_]:
    """Find the faces that need no support in any pose: walls of small holes.

    Parameters
    ----------
    part : Part
        The part.
    process : Process
        Largest lying hole whose ceiling needs nothing.

    Returns
    -------
    (F,) bool
    """
    return _marked(part, hole_faces(hole.find(part), process))


def rank_without_bridges(
    rank: Callable[[Mapping[str, Floats]], Ranking],
    columns: Mapping[str, Floats],
    poses: Floats,
    ready: Sorted,
    process: Process,
    *,
    price: Callable[[Floats, Mapping[str, Floats]], Floats] | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> tuple[Ranking, Shape, dict[int, Inspection]]:
    """Rank, find the features of the poses shown, and rank again without the support that bridges spare.

    Short bridges can be found for a few poses only. Those that come to be shown once others have lost
    support are inspected in their turn, until all that are shown have been.

    Parameters
    ----------
    rank : callable
        Ranks the poses by their columns.
    columns : Mapping[str, (P,) float64]
        Measures.
    poses : (P, 3) float64
        Build directions.
    ready : Sorted
        The part.
    process : Process
        Limits.
    price : callable, optional
        Gives the cost of poses from their columns, where the ranking counts it.
    threads : int, optional
        Threads to measure on.
    progress : callable, optional
        Called with the step's name, poses done, poses in all.

    Returns
    -------
    ranking : Ranking
    shape : Shape
        What does not depend on the pose.
    inspected : dict of int to Inspection
        By position in `poses`.
    """
    columns = {name: column.copy() for name, column in columns.items()}
    ranking = rank(columns)
    shape = shape_of(ready.part, process)
    inspected: dict[int, Inspection] = {}
    while new := [i for i in ranking.index[list(ranking.shown)].tolist() if i not in inspected]:
        before = len(inspected)
        for i in new:
            found = inspect_part(ready.part, process, poses[i], shape)
            inspected[i] = found
            free = _marked(ready.part, found.needs_nothing)
            spared = measure_poses(ready, process, poses[i], free=free, threads=threads).columns
            for name in ("support_needed_mm3", "support_weighted_mm3"):
                columns[name][i] = min(columns[name][i], spared[name][0])
            if progress:
                progress("features", len(inspected), before + len(new))
        if price is not None:
            columns["unit_cost"][new] = price(poses[new], {k: column[new] for k, column in columns.items()})
        ranking = rank(columns)
    return ranking, shape, inspected


def features_of(
    ranking: Ranking, shape: Shape, inspected: Mapping[int, Inspection], process: Process, weight: float
) -> tuple[Ranking, Features]:
    """Put the features of the poses shown beside their ranking, and choose again where asked for.

    Parameters
    ----------
    ranking : Ranking
        The ranking.
    shape : Shape
        What does not depend on the pose.
    inspected : Mapping[int, Inspection]
        What was found, by position in the list that was ranked.
    process : Process
        Limits.
    weight : float
        Weight of a second pass; 0 for none.

    Returns
    -------
    ranking : Ranking
        With the choice of the second pass, if there is one.
    features : Features
    """
    poses = {
        row: inspected.get(int(ranking.index[row]))
        or inspect_part(shape.part, process, ranking.directions[row], shape)
        for row in ranking.shown
    }
    second = None
    if weight > 0:
        ranking, second = second_pass(ranking, {r: counts_of_pose(f) for r, f in poses.items()}, weight)
    return ranking, Features(shape, poses, ranking.recommended - 1, second)


def counts_of_pose(found: Inspection) -> dict[str, int]:
    """Count by verdict the features whose verdict the pose decides: the others tell no poses apart."""
    own = [one.verdict for one in found.features if BY_NAME[one.kind].by_pose]
    return {verdict: own.count(verdict) for verdict in found.counts}


def _marked(part: Part, faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    marked = np.zeros(len(part.faces), dtype=np.bool_)
    marked[faces] = True
    return marked

"""Strength as the rest of the program asks for it: the field of a brief, and the columns of poses."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief
from orient.materials.properties import properties_of
from orient.measure.load import von_mises
from orient.part.mesh import Part
from orient.process import Process
from orient.strength.cases import cases_of
from orient.strength.field import Field, Progress, solve_field
from orient.strength.judge import Ready, Safety, judge

Floats = NDArray[np.float64]

CAUTION = (
    "Strength figures are an estimate for choosing an orientation; where failure can hurt, load-test the "
    "printed part and have qualified people judge."
)
# How a place fails, by whether layers part there.
FAILS = {True: "between layers", False: "within layers"}
# Fields are kept, so that asking again with other weights or limits does not solve again.
_KEPT = 4
_FIELDS: OrderedDict[Hashable, Field] = OrderedDict()
_LOCK = Lock()


@dataclass(frozen=True, eq=False)
class Strength:
    """What the load cases do to a part, and how safe its poses are.

    Attributes
    ----------
    field : Field
        The stress, found once.
    safety : Safety
        Poses in the order in which they are shown.
    by_axis : int or None
        Row of the pose that would be taken if the stress axis of the brief alone told the load; None where
        the brief has none.
    unseen : int or None
        Row of the pose whose weakness the stress axis sees least of; None where it overrates none.
    words : mapping of int to tuple of str
        What is to be said of the poses shown, by row.
    assumptions : tuple of str
        What was assumed about the polymer.
    breaks : mapping of int to str
        Limits of the brief that a pose breaks, by row, in one sentence. A ranking leaves such poses out; a
        pose that was asked for is judged all the same.
    timing_s : mapping of str to float
        Seconds by step.
    """

    field: Field
    safety: Safety
    by_axis: int | None = None
    unseen: int | None = None
    words: Mapping[int, tuple[str, ...]] = dataclass_field(default_factory=dict)
    assumptions: tuple[str, ...] = ()
    breaks: Mapping[int, str] = dataclass_field(default_factory=dict)
    timing_s: Mapping[str, float] = dataclass_field(default_factory=dict)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind, and what was assumed: it stands wherever a figure of strength does."""
        return (CAUTION, *self.field.notes, *self.assumptions)

    def fails_by(self, row: int) -> str:
        """How a pose fails: ``"between layers"`` or ``"within layers"``."""
        return FAILS[bool(self.safety.between_layers[row])]

    def case(self, row: int) -> str:
        """Name of the load case that governs a pose."""
        return self.field.cases[int(self.safety.case[row])].name


def field_for(
    part: Part,
    brief: Brief,
    process: Process,
    *,
    voxels: int | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Field:
    """Find the stress under the load cases of a brief, or take it from an earlier call.

    Parameters
    ----------
    part : Part
        A closed part.
    brief : Brief
        With at least one ``[[load.case]]``.
    process : Process
        What brief and data say in plain numbers.
    voxels : int, optional
        Cells to use; chosen by the program otherwise.
    threads : int, optional
        Threads to use; the answer does not depend on it.
    progress : callable, optional
        Called with a step's name and the share of it that is done.

    Returns
    -------
    Field

    Raises
    ------
    OrientError
        As `cases_of` and `solve_field` do.
    """
    density = brief.polymer.density_g_cm3
    if density is None and (known := properties_of(process.polymer).density_g_cm3) is not None:
        density = known.nominal
    stiffness = (process.youngs_in_layer_mpa, process.youngs_across_mpa, process.poissons_ratio)
    key = (
        part.content_hash, part.name, part.bodies, brief.load.case, process.polymer, stiffness,
        process.line_width_mm, brief.process.infill, density, voxels,
    )  # fmt: skip
    with _LOCK:
        if key in _FIELDS:
            _FIELDS.move_to_end(key)
            return _FIELDS[key]
    field = solve_field(
        part,
        process,
        cases_of(part, brief),
        voxels=voxels,
        infill=brief.process.infill,
        density_g_cm3=density,
        threads=threads,
        progress=progress,
    )
    with _LOCK:
        _FIELDS[key] = field
        while len(_FIELDS) > _KEPT:
            _FIELDS.popitem(last=False)
    return field


def safety_columns(ready: Ready, directions: Floats, threads: int) -> dict[str, Floats]:
    """Measures of poses that come from a stress field.

    Parameters
    ----------
    ready : Ready
        The stress, from `make_ready`.
    directions : (P, 3) float64
        Build directions.
    threads : int
        Threads to judge on.

    Returns
    -------
    dict of str to (P,) float64
        ``safety_factor``, its low and high (NaN where the polymer's spread is not known), the raw one, the
        share ``strength_retained`` of what the part would bear if its layers held together as they hold in
        themselves, and ``max_deflection_mm`` (NaN where no stiffness is known), which is the same in all.
    """
    safety = judge(ready, directions, threads)
    sags = [one.max_deflection_mm for one in ready.field.cases]
    return {
        "safety_factor": safety.factor,
        "safety_factor_low": safety.low,
        "safety_factor_high": safety.high,
        "raw_safety_factor": safety.raw,
        "strength_retained": safety.retained,
        "max_deflection_mm": np.full(
            len(safety.factor), np.nan if None in sags else max(sag for sag in sags if sag is not None)
        ),
    }


def strained_axes(field: Field) -> Floats:
    """Axes along which the part is stretched or pressed most: in each case, at its most stressed place.

    Parameters
    ----------
    field : Field
        The stress.

    Returns
    -------
    (A, 3) float64
        Unit vectors in part coordinates, to lay in the layers.
    """
    axes = []
    for case in field.cases:
        s = case.robust[int(von_mises(case.robust).argmax())]
        values, vectors = np.linalg.eigh(s[[[0, 5, 4], [5, 1, 3], [4, 3, 2]]])
        axes.append(vectors[:, int(np.abs(values).argmax())] @ field.axes)
    return np.array(axes).reshape(-1, 3)

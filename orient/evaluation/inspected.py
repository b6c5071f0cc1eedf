"""The hard features of a part in one pose, the recommended one unless another is named."""

from __future__ import annotations

from numpy.typing import ArrayLike

from orient.brief import Brief
from orient.cost.shop import with_machine
from orient.evaluation.whole import evaluate
from orient.features.register import Inspection, inspect_part
from orient.part.mesh import Part
from orient.process import process_from


def inspect(part: Part, brief: Brief | None = None, build_direction: ArrayLike | None = None) -> Inspection:
    """List the hard features of a part in one pose.

    Parameters
    ----------
    part : Part
        The part.
    brief : Brief, optional
        Process and limits; what the ranking looks at, where no pose is named.
    build_direction : (3,) array_like, optional
        The pose, file coordinates; the recommended one if left out.

    Returns
    -------
    Inspection
        Features with verdicts, the holes, counts, and what cannot be relied on.

    Raises
    ------
    OrientError
        For a direction without length, and as `evaluate` where the poses are ranked first.

    Examples
    --------
    >>> import orient
    >>> found = orient.inspect(orient.load("sample_parts/mast_bracket.stl"), build_direction=(0, -1, 0))
    >>> found.counts["redesign"], len(found.holes)
    (0, 6)
    """
    brief = with_machine(brief or Brief())
    if build_direction is not None:
        return inspect_part(part, process_from(brief), build_direction)
    found = evaluate(part, brief, features=True).features
    assert found is not None
    return found.recommended

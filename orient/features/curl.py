"""Curl: long runs on the bed, whose ends lift as the part cools and shrinks.

The shrinkage of a run is strain times length. It ranks footprints and polymers; whether corners lift also
depends on bed, chamber and adhesion, which it does not know.
"""

from __future__ import annotations

import numpy as np

from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "curl"


def find(laid: Laid) -> list[Feature]:
    """Find the runs on the bed that are long enough to lift.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        One for each piece of the first layer; ``size_mm`` is its longest run.
    """
    strain, allowed = laid.process.shrinkage_strain, laid.process.curl_limit_mm
    limit = size(allowed / strain) if strain > 0 else float("inf")
    found = []
    for island in laid.bed.islands:
        run = size(island.run_mm)
        if run <= limit:
            continue
        shrinks = size(strain * run)
        along = island.ends[1] - island.ends[0]
        found.append(
            Feature(
                id="",
                kind=KIND,
                verdict="tune",
                size_mm=run,
                limit_mm=limit,
                at_mm=point(island.middle),
                direction=point(_one_way(along / np.linalg.norm(along))),
                area_mm2=size(island.area_mm2),
                why=(
                    f"A run of {words(run)} mm on the bed shrinks by {words(shrinks)} mm as it cools; beyond "
                    f"{words(limit)} mm ends tend to lift."
                ),
                try_first=(
                    "Add a brim.",
                    "Print it in a warm, closed chamber.",
                    "Round the corners in plan or break up the flat.",
                ),
                faces=island.faces,
                more={"shrinkage_mm": shrinks, "shrinkage_strain": strain},
            )
        )
    return found


def _one_way(direction: np.ndarray) -> np.ndarray:
    """Of a line's two directions the one whose largest component is positive."""
    return direction * np.sign(direction[int(np.abs(direction).argmax())])

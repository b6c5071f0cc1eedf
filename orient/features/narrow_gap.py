"""Narrow gaps, which fuse: slots, clearances, and what is left between bodies.

Beads bulge and the first layer is squashed, so a gap comes out narrower than it was drawn, and a narrow one
closes. The limits are common practice, no source; so is what to try.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.features.model import Feature
from orient.features.sheets import Sheet
from orient.features.vanishing import Sorted
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "narrow_gap"
# A gap of whose faces so many are one hole's or slot's is that, not a gap; a rough mesh strews others in.
_OWN_SHARE = 0.8
# Gaps up to this are listed, as fine ones too.
_LEAST_REACH_MM = 2.2


def reach_mm(process: Process) -> float:
    """Widest gap that is listed, mm."""
    return max(_LEAST_REACH_MM, 2 * process.moving_gap_limit_mm)


def find(found: Sorted, owner: NDArray[np.int32] | None = None) -> list[Sheet]:
    """Give the gaps among what faces each other.

    Parameters
    ----------
    found : Sorted
        From `orient.features.walls.find`.
    owner : (F,) int32, optional
        Hole, slot, pocket or thread that each face is the wall of, by number, −1 for none. A gap nearly all
        of whose faces are one hole's is that hole, not a gap.

    Returns
    -------
    list of Sheet
        In order of their centres.
    """
    if owner is None:
        return list(found.gaps)
    return [sheet for sheet in found.gaps if not _is_owned(owner[sheet.faces])]


def _is_owned(owners: NDArray[np.int32]) -> bool:
    counts = np.bincount(owners[owners >= 0], minlength=1)
    return bool(counts.max() >= _OWN_SHARE * len(owners))


def judge(gap: Sheet, process: Process, direction: Floats | None = None) -> Feature:
    """Judge a gap.

    Parameters
    ----------
    gap : Sheet
        From `find`.
    process : Process
        Limits of gaps between joined and between moving faces.
    direction : (3,) float64, optional
        Build direction; a gap is as wide in any pose.

    Returns
    -------
    Feature
        ``size_mm`` is the median clearance, between two rods the least.
    """
    size, least = round(gap.size_mm, 3), round(gap.least_mm, 3)
    joined, moving = process.gap_limit_mm, process.moving_gap_limit_mm
    tries: tuple[str, ...]
    if size < joined:
        verdict = "redesign"
        why = f"The gap is {size:.2f} mm wide, under {joined:.2f} mm: beads bulge into it and its sides fuse."
        tries = (
            f"Open it to {moving:.2f} mm or more.",
            "Close it altogether.",
            "Print the two sides as parts of their own.",
        )
    elif size < moving:
        verdict = "tune"
        why = (
            f"The gap is {size:.2f} mm wide: enough for joined faces ({joined:.2f} mm), "
            f"but moving ones want {moving:.2f} mm."
        )
        tries = (f"Open it to {moving:.2f} mm if it has to move.", "Print a test piece with the same gap.")
    else:
        verdict = "fine"
        why = f"The gap is {size:.2f} mm wide, no less than the {moving:.2f} mm that moving faces want."
        tries = ("Leave it as it is.",)
    return Feature(
        id="",
        kind=KIND,
        verdict=verdict,
        size_mm=size,
        limit_mm=round(moving, 3),
        at_mm=(float(gap.at[0]), float(gap.at[1]), float(gap.at[2])),
        direction=(float(gap.normal[0]), float(gap.normal[1]), float(gap.normal[2])),
        area_mm2=gap.area_mm2,
        why=why,
        try_first=tries,
        faces=gap.faces,
        more={
            "min_mm": least,
            "median_mm": round(gap.median_mm, 3),
            "shape": gap.shape,
            "joined_limit_mm": joined,
        },
    )

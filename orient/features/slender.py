"""Slender parts: high for what they stand on, so that they sway, or tip.

The ratio and the margin are common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np

from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "slender"
_NONE = np.zeros(0, dtype=np.int64)


def find(laid: Laid) -> list[Feature]:
    """Tell whether the part is slender in a pose.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        None or one; ``size_mm`` is the height.
    """
    process, bed = laid.process, laid.bed
    height, narrow = size(laid.height_mm), size(bed.narrow_mm)
    margin = round(bed.tip_margin_deg, 1)
    limit = size(process.slender_ratio * narrow)
    tips = math.isfinite(margin) and margin < process.tip_margin_limit_deg
    if height <= limit and not tips:
        return []
    stands = f"It stands {words(height)} mm high on a footprint {words(narrow)} mm across"
    tries: tuple[str, ...] = ("Add a brim.", "Slow down near the top.", "Lay the part on a longer side.")
    if margin < 0:
        verdict = "support"
        why = f"{stands}, and its centre of mass lies outside it: it falls over."
        tries = ("Lay the part on another side.", "Support it on the side it leans to, with a brim.")
    elif tips:
        verdict, why = "tune", f"{stands}, and tips at {margin:.0f}°."
    else:
        ratio = process.slender_ratio
        verdict, why = "tune", f"{stands}, more than {ratio:g} times as high: it sways as it grows."
    middle = bed.islands[0].middle if bed.islands else laid.part.center_of_mass
    return [
        Feature(
            id="",
            kind=KIND,
            verdict=verdict,
            size_mm=height,
            limit_mm=limit,
            at_mm=point(middle),
            direction=point(laid.direction),
            area_mm2=size(bed.area_mm2),
            why=why,
            try_first=tries,
            faces=bed.islands[0].faces if bed.islands else _NONE,
            more={"footprint_mm": narrow, "tip_margin_deg": margin, "slender_ratio": process.slender_ratio},
        )
    ]

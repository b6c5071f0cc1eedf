"""First layers with too little contact, or in small pieces, that come off the bed.

The shares are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature
from orient.process import BRIM_MM, RAFT_LAYERS, RAFT_MM

KIND = "first_layer"
# With this share of the contact asked for, a brim does not mend it.
_HARDLY = 0.2


def find(laid: Laid) -> list[Feature]:
    """Tell whether the first layer of a pose is too small or in too small pieces.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        None or one; ``size_mm`` is the square root of the area that touches the bed, or of the smallest
        piece where it is the pieces that are small.
    """
    process, bed = laid.process, laid.bed
    wanted = process.first_layer_share * bed.shadow_mm2
    small = [island for island in bed.islands if island.area_mm2 < process.island_limit_mm2]
    area = size(bed.area_mm2)
    asked, count, least = size(wanted), len(bed.islands), size(process.island_limit_mm2)
    tries: tuple[str, ...]
    if bed.area_mm2 < wanted:
        verdict = "support" if bed.area_mm2 < _HARDLY * wanted else "tune"
        why = (
            f"Only {words(area)} mm² touch the bed, for a part of this spread {words(asked)} mm² are wanted."
        )
        tries = (
            "Lay the part on a larger face.",
            f"Add a brim of {words(BRIM_MM)} mm, or a raft of {RAFT_LAYERS} layers "
            f"({words(RAFT_LAYERS * process.layer_height_mm)} mm) that reaches {words(RAFT_MM)} mm further.",
            "Cut a flat to stand on.",
        )
        held, limit = bed.area_mm2, wanted
        place = bed.islands[0] if bed.islands else None
    elif small:
        place = small[-1]
        verdict = "tune"
        why = (
            f"{len(small)} of {count} pieces of the first layer are below {words(least)} mm² and come off "
            "the bed easily."
        )
        tries = (
            f"Add a brim of {words(BRIM_MM)} mm.",
            "Slow down the first layer.",
            "Lay the part on a larger face.",
        )
        held, limit = place.area_mm2, process.island_limit_mm2
    else:
        return []
    middle = laid.part.center_of_mass if place is None else place.middle
    return [
        Feature(
            id="",
            kind=KIND,
            verdict=verdict,
            size_mm=size(held**0.5),
            limit_mm=size(limit**0.5),
            at_mm=point(middle),
            direction=point(laid.direction),
            area_mm2=area,
            why=why,
            try_first=tries,
            faces=np.zeros(0, dtype=np.int64) if place is None else place.faces,
            more={
                "wanted_mm2": asked,
                "islands": count,
                "small_islands": len(small),
                "island_limit_mm2": least,
                "smallest_mm2": size(bed.islands[-1].area_mm2) if bed.islands else None,
            },
        )
    ]

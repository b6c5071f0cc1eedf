"""Overhangs: what leans out or arches over beyond the limit, layer resting on layer by part of a line.

What to try is common practice, no source; the limits and their sources are the process's.
"""

from __future__ import annotations

import math

import numpy as np

from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "overhang"
# An arch is held along most of its rim, and closes over from both sides.
_ARCH_SHARE = 0.5
# Faces that turn more than this from each other are no plane.
_ROUND = math.cos(math.radians(15.0))
# Steeper than this from the wall is level to the eye.
_LEVEL_DEG = 88.0


def find(laid: Laid) -> list[Feature]:
    """Find the overhangs of a pose that are no bridge, cantilever or hole's ceiling.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        ``size_mm`` is the square root of the area, of round places by their fitted cylinders.
    """
    process = laid.process
    limit, most = process.overhang_limit_deg, process.overhang_support_deg
    ceilings = [ceiling for ceiling in laid.ceilings if ceiling.kind == KIND]
    if not ceilings:
        return []
    room = laid.room_below_mm(np.stack([ceiling.at for ceiling in ceilings]))
    found = []
    for ceiling, above in zip(ceilings, room.tolist(), strict=True):
        angle, reach = round(ceiling.angle_deg, 1), size(ceiling.reach_mm)
        arch = ceiling.rim.held_share > _ARCH_SHARE
        what = "arch" if arch else "underside"
        level = angle > _LEVEL_DEG and not arch
        normals = laid.part.normals[ceiling.faces]
        round_ = float((normals @ normals[0]).min()) < _ROUND
        if level:
            said = f"The underside {'rounds off to' if round_ else 'is'} level"
        else:
            said = f"The {what} leans out by {angle:.0f}° from the vertical"
        tries: tuple[str, ...]
        if reach <= process.ledge_limit_mm:
            verdict = "fine"
            why = f"{said}, but reaches out by only {words(reach)} mm."
            tries = ("Leave it as it is.",)
        elif angle <= most:
            verdict = "tune"
            why = f"{said}, beyond the {limit:.0f}° that hold themselves up: it curls and comes out rough."
            tries = (
                "Print it slowly, with full cooling and thinner layers.",
                "Bring the slope within the limit.",
            )
        elif arch and 2.0 * reach <= process.bridge_limit_mm:
            verdict = "tune"
            why = f"{said}, closing over {words(2.0 * reach)} mm from both sides: its crown comes out rough."
            tries = ("Give the crown a point or a flat bridge.", "Print it slowly, with full cooling.")
        else:
            verdict = "support"
            why = f"{said}, beyond the {most:.0f}° from the vertical up to which settings help."
            tries = (
                "Support it.",
                "Turn the part so that this face stands or looks up.",
                f"Bring the slope within {limit:.0f}°.",
            )
        found.append(
            Feature(
                id="",
                kind=KIND,
                verdict=verdict,
                size_mm=size(ceiling.area_mm2**0.5),
                limit_mm=None,
                at_mm=point(ceiling.at),
                direction=None,
                area_mm2=size(ceiling.area_mm2),
                why=why,
                try_first=tries,
                faces=ceiling.faces,
                more={
                    "angle_deg": angle,
                    "limit_deg": limit,
                    "most_deg": most,
                    "above_mm": size(above),
                    "reach_mm": reach,
                    "closes_over_mm": size(2.0 * reach) if arch else None,
                },
            )
        )
    return found

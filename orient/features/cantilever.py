"""Cantilevers: flat ceilings that stick out from what holds them.

What to try is common practice, no source; the limits and their sources are the process's.
"""

from __future__ import annotations

from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "cantilever"


def find(laid: Laid) -> list[Feature]:
    """Find the cantilevers of a pose.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        ``size_mm`` is the reach: the largest distance from the nearest held edge.
    """
    process = laid.process
    limit, most = process.ledge_limit_mm, process.ledge_support_mm
    found = []
    for ceiling in laid.ceilings:
        if ceiling.kind != KIND:
            continue
        reach = size(ceiling.reach_mm)
        tries: tuple[str, ...]
        if reach <= limit:
            verdict = "fine"
            why = f"The ledge sticks out by {words(reach)} mm, within the {words(limit)} mm that hang."
            tries = ("Leave it as it is.",)
        elif reach <= most:
            verdict = "tune"
            why = (
                f"The ledge sticks out by {words(reach)} mm, beyond the {words(limit)} mm that hang by "
                "themselves: its edge droops."
            )
            tries = ("Lay its outer lines last, slowly and with full cooling.", "Put a 45° chamfer under it.")
        else:
            verdict = "support"
            why = (
                f"The ledge sticks out by {words(reach)} mm with nothing under its end; "
                f"{words(most)} mm is the most that hangs."
            )
            tries = (
                "Support it.",
                "Put a 45° chamfer under it.",
                "Turn the part so that this face stands or looks up.",
            )
        found.append(
            Feature(
                id="",
                kind=KIND,
                verdict=verdict,
                size_mm=reach,
                limit_mm=size(limit),
                at_mm=point(ceiling.at),
                direction=None,
                area_mm2=size(ceiling.area_mm2),
                why=why,
                try_first=tries,
                faces=ceiling.faces,
                more={"angle_deg": round(ceiling.angle_deg, 1), "most_mm": size(most)},
            )
        )
    return found

"""Mixed ceilings: flat ones of which a part is held at both ends of its lines and a part sticks out.

What to try is common practice, no source; the limits and their sources are the process's.
"""

from __future__ import annotations

from orient.features.chords import local_span_mm
from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "mixed_ceiling"


def find(laid: Laid) -> list[Feature]:
    """Find the mixed ceilings of a pose.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        ``size_mm`` is the span of the part that is held at both ends; ``reach_mm`` how far the rest is from
        what holds it.
    """
    process = laid.process
    limit, ledge = process.bridge_limit_mm, process.ledge_limit_mm
    found = []
    for ceiling in laid.ceilings:
        if ceiling.kind != KIND or ceiling.span is None or ceiling.lines is None:
            continue
        span, reach = size(ceiling.span.span_mm), size(ceiling.reach_mm)
        share = round(100.0 * ceiling.span.share)
        said = (
            f"Of the ceiling, {share} % spans {words(span)} mm, and the rest is up to {words(reach)} mm from "
            "what holds it"
        )
        tries: tuple[str, ...]
        if span <= limit and reach <= ledge:
            verdict, why, tries = "fine", f"{said}: both hang by themselves.", ("Leave it as it is.",)
        elif span <= limit and reach <= limit / 2.0:
            # No place is farther from a held edge than on a bridge at its limit.
            verdict, why = "tune", f"{said}: lines that end in the air droop."
            tries = (
                "Run its lines along the direction given, slowly and with full cooling.",
                "Hold the open side with a rib or a wall.",
            )
        else:
            verdict, why = "support", f"{said}: too far to hang."
            tries = (
                "Support it.",
                "Hold the open side with a rib or a wall.",
                "Turn the part so that this face stands or looks up.",
            )
        found.append(
            Feature(
                id="",
                kind=KIND,
                verdict=verdict,
                size_mm=span,
                limit_mm=size(limit),
                at_mm=point(ceiling.at),
                direction=point(ceiling.lines),
                area_mm2=size(ceiling.area_mm2),
                why=why,
                try_first=tries,
                faces=ceiling.faces,
                more={
                    "reach_mm": reach,
                    "held_percent": share,
                    "width_mm": size(ceiling.span.width_mm),
                    "local_span_mm": size(local_span_mm(ceiling.rim.edges, ceiling.rim.held)),
                    "angle_deg": round(ceiling.angle_deg, 1),
                    "ledge_limit_mm": size(ledge),
                },
            )
        )
    return found

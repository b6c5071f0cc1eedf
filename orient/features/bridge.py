"""Bridges: flat ceilings held at both ends of nearly all their lines.

What to try is common practice, no source; the limits and their sources are the process's.
"""

from __future__ import annotations

from orient.features.chords import local_span_mm
from orient.features.figures import point, size, words
from orient.features.laid import Laid
from orient.features.model import Feature

KIND = "bridge"


def find(laid: Laid) -> list[Feature]:
    """Find the bridges of a pose.

    Parameters
    ----------
    laid : Laid
        The part in the pose.

    Returns
    -------
    list of Feature
        ``size_mm`` is the span: the longest line, in the direction in which it is shortest.
    """
    process = laid.process
    limit, most = process.bridge_limit_mm, process.bridge_support_mm
    found = []
    for ceiling in laid.ceilings:
        if ceiling.kind != KIND or ceiling.span is None or ceiling.lines is None:
            continue
        span = size(ceiling.span.span_mm)
        local = size(local_span_mm(ceiling.rim.edges, ceiling.rim.held))
        tries: tuple[str, ...]
        if span <= limit:
            verdict = "fine"
            why = f"The ceiling spans {words(span)} mm, within the {words(limit)} mm that bridge well."
            tries = ("Run its lines along the direction given.",)
        elif span <= most:
            verdict = "tune"
            why = (
                f"The ceiling spans {words(span)} mm, beyond the {words(limit)} mm that bridge well: it sags."
            )
            tries = (
                "Run its lines along the direction given, slowly and with full cooling.",
                "Give the ceiling an arch or 45° flanks.",
                "Support it.",
            )
        else:
            verdict = "support"
            why = f"The ceiling spans {words(span)} mm, more than the {words(most)} mm that can be bridged."
            tries = (
                "Support it.",
                "Turn the part so that this face stands or looks up.",
                "Break the span with a rib or give it an arch.",
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
                    "width_mm": size(ceiling.span.width_mm),
                    "local_span_mm": local,
                    "held_share": round(ceiling.span.share, 3),
                    "angle_deg": round(ceiling.angle_deg, 1),
                    "most_mm": size(most),
                },
            )
        )
    return found

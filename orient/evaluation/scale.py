"""What a part's poses are judged by: its own sizes, and the limits that the brief sets."""

from __future__ import annotations

from orient.brief import Brief
from orient.cost.shop import Shop
from orient.part.mesh import Part
from orient.process import Process
from orient.ranking.limits import Limits
from orient.ranking.penalties import Scale


def scale_of(part: Part, process: Process, cost_floor: float = 1.0) -> Scale:
    """The part's own sizes, which make penalties of measures.

    Parameters
    ----------
    part : Part
        The part.
    process : Process
        Layer height.
    cost_floor : float
        Least that the part could cost, where cost counts.

    Returns
    -------
    Scale
    """
    return Scale(
        hull_volume_mm3=part.hull.volume_mm3,
        hull_width_mm=part.hull.width_mm,
        hull_diameter_mm=part.hull.diameter_mm,
        largest_rest_mm2=float(part.hull.areas.max()),
        layer_height_mm=process.layer_height_mm,
        cost_floor=cost_floor,
    )


def limits_of(part: Part, brief: Brief, shop: Shop, by: str = "score") -> Limits:
    """The limits of a brief.

    Parameters
    ----------
    part : Part
        The part.
    brief : Brief
        ``[limits]``.
    shop : Shop
        The machine, if one was named.
    by : str
        ``cost`` where the cost of a part decides: the score minds a small first layer; the cost does not, and
        a part that falls over costs all of it.

    Returns
    -------
    Limits
    """
    return Limits(
        max_height_mm=brief.limits.max_height_mm,
        envelope_mm=brief.limits.envelope_mm,
        min_strength_retained=brief.limits.min_strength_retained,
        min_safety_factor=brief.limits.min_safety_factor,
        max_deflection_mm=brief.limits.max_deflection_mm,
        machine=shop.machine.name if shop.machine_named else None,
        must_stand_mm2=part.hull.area_mm2 / 4.0 if by == "cost" else None,
    )

"""Whether a polymer survives its service: heat, lasting load, sun, water, chemicals."""

from __future__ import annotations

from dataclasses import dataclass

from orient.brief import Brief
from orient.materials.properties import Properties

# A part in the sun gets hotter than the air: dark surfaces about this hot. Common practice, no source.
SUN_C = 70.0
ROOM_C = 23.0
# An amorphous polymer softens before its glass transition; designers stay this far below. Common practice.
MARGIN_C = 20.0
# Under a lasting load it creeps earlier. Common practice.
CREEP_MARGIN_C = 40.0
# A crystalline one carries load above its glass transition, to about this far below melting. Common practice.
MELT_MARGIN_C = 50.0


@dataclass(frozen=True)
class ServiceCheck:
    """One demand of the service.

    Attributes
    ----------
    about : str
        heat, creep, sun, water, chemicals.
    verdict : str
        ``"fine"``, ``"care"`` or ``"no"``.
    reason : str
        One sentence.
    margin_c : float or None
        Degrees to the temperature that decides, where there is one.
    """

    about: str
    verdict: str
    reason: str
    margin_c: float | None = None


def service_checks(polymer: Properties, brief: Brief) -> tuple[ServiceCheck, ...]:
    """Check a polymer against the service a brief asks for.

    Amorphous polymers, and PLA, which crystallises little in a build, are held to their glass transition;
    crystalline ones to their melting point, with a word of care above the glass transition. Outdoors, without
    a service temperature, a dark surface in the sun is taken as 70 °C.

    Parameters
    ----------
    polymer : Properties
        The polymer; its glass transition is the brief's where that gives one.
    brief : Brief
        ``[load] service_temp_c, sustained`` and ``[job] outdoor, wet, chemicals``.

    Returns
    -------
    tuple of ServiceCheck
        Empty when nothing was asked.

    Examples
    --------
    >>> from orient.materials.properties import properties_of
    >>> outdoors = Brief.model_validate({"job": {"outdoor": True}})
    >>> [check.verdict for check in service_checks(properties_of("PLA"), outdoors)]
    ['no', 'care']
    """
    job, load = brief.job, brief.load
    found: list[ServiceCheck] = []
    hot = load.service_temp_c
    said = f"service at {hot:g} °C" if hot is not None else ""
    if job.outdoor and (hot is None or hot < SUN_C):
        hot = SUN_C
        said = f"a dark surface in the sun, about {SUN_C:g} °C"
    if hot is not None:
        found.append(_heat(polymer, brief, hot, said))
    if load.sustained:
        found.append(_creep(polymer, brief, hot))
    if job.outdoor:
        found.append(_sun(polymer))
    if job.wet or job.outdoor:
        found += _water(polymer, bool(job.wet))
    if job.chemicals:
        named = ", ".join(job.chemicals)
        found.append(
            ServiceCheck(
                "chemicals",
                "care",
                f"chemicals: there is no data on {polymer.key} against {named}; ask the maker's resistance "
                "table, and soak a test piece under load.",
            )
        )
    return tuple(found)


def _glass(polymer: Properties, brief: Brief) -> tuple[float, float] | None:
    """Least and usual glass transition, °C."""
    own = brief.polymer.glass_transition_c
    if own is not None:
        return own, own
    return (polymer.glass_c.low, polymer.glass_c.nominal) if polymer.glass_c else None


def _heat(polymer: Properties, brief: Brief, hot: float, said: str) -> ServiceCheck:
    glass, melt = _glass(polymer, brief), polymer.melt_c
    key = polymer.key
    if polymer.soft and melt is not None:
        margin = melt.low - MELT_MARGIN_C - hot
        if margin < 0:
            return ServiceCheck(
                "heat", "no", f"heat: {said} is too near the melting point of {key}, {melt.low:g} °C.", margin
            )
        return ServiceCheck("heat", "fine", f"heat: {said}; {key} melts at {melt.low:g} °C.", margin)
    if glass is None:
        return ServiceCheck(
            "heat", "care", f"heat: no data on the glass transition of {key}, so {said} cannot be judged."
        )
    least, usual = glass
    if polymer.crystalline:
        if melt is not None and hot > melt.low - MELT_MARGIN_C:
            return ServiceCheck(
                "heat",
                "no",
                f"heat: {said} is within {MELT_MARGIN_C:g} °C of the melting point of {key}, {melt.low:g} "
                "°C.",
                melt.low - hot,
            )
        if hot > least - MARGIN_C:
            return ServiceCheck(
                "heat",
                "care",
                f"heat: {said}; the glass transition of {key} is {usual:g} °C, above which it is much "
                "softer though not molten.",
                usual - hot,
            )
        return ServiceCheck(
            "heat",
            "fine",
            f"heat: {said}, {usual - hot:.0f} °C below the glass transition of {key}.",
            usual - hot,
        )
    if hot >= usual:
        return ServiceCheck(
            "heat",
            "no",
            f"heat: {said}; {key} softens at {usual:g} °C, so the part loses its shape.",
            usual - hot,
        )
    if hot > least - MARGIN_C:
        return ServiceCheck(
            "heat",
            "care",
            f"heat: {said} is {usual - hot:.0f} °C below the glass transition of {key}, {usual:g} °C; "
            f"{MARGIN_C:g} °C is the usual distance.",
            usual - hot,
        )
    return ServiceCheck(
        "heat",
        "fine",
        f"heat: {said}, {usual - hot:.0f} °C below the glass transition of {key}.",
        usual - hot,
    )


def _creep(polymer: Properties, brief: Brief, hot: float | None) -> ServiceCheck:
    glass = _glass(polymer, brief)
    at = ROOM_C if hot is None else hot
    key, word = polymer.key, polymer.creep.word
    margin = None if glass is None else glass[0] - at
    near = margin is not None and margin < CREEP_MARGIN_C
    if word == "low" and not near:
        return ServiceCheck("creep", "fine", f"creep: {key} creeps little at {at:g} °C.", margin)
    if margin is not None and margin < 0 and not polymer.crystalline and not polymer.soft:
        return ServiceCheck(
            "creep",
            "no",
            f"creep: a lasting load at {at:g} °C, above the glass transition of {key}, bends the part.",
            margin,
        )
    why = f"{margin:.0f} °C from its glass transition" if near else "even at room temperature"
    return ServiceCheck(
        "creep",
        "care",
        f"creep: {key} yields slowly under a lasting load, {why}; keep the stress to a fraction of the "
        "strength and test over weeks.",
        margin,
    )


def _sun(polymer: Properties) -> ServiceCheck:
    word, key = polymer.sunlight.word, polymer.key
    if word == "good":
        return ServiceCheck("sun", "fine", f"sun: {key} stands sunlight well.")
    if word == "fair":
        return ServiceCheck(
            "sun",
            "care",
            f"sun: {key} fades and embrittles slowly in sunlight; paint it or plan to replace it.",
        )
    return ServiceCheck(
        "sun", "care", f"sun: {key} embrittles in sunlight; paint it, or take a polymer made for the open."
    )


def _water(polymer: Properties, wet: bool) -> list[ServiceCheck]:
    word, key = polymer.water.word, polymer.key
    if word == "dissolves":
        return [ServiceCheck("water", "no", f"water: {key} dissolves.")]
    if word == "poor":
        return [
            ServiceCheck(
                "water",
                "care",
                f"water: {key} takes up water, swells and loses strength and stiffness; use its wet figures.",
            )
        ]
    if word == "fair" and wet:
        return [ServiceCheck("water", "care", f"water: {key} suffers slowly from lasting or hot water.")]
    return [ServiceCheck("water", "fine", f"water: {key} bears water.")] if wet else []

"""The process in plain numbers: what brief and data say about line, layer, limits and strength."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from orient.brief import Brief, PolymerFigures
from orient.errors import OrientError
from orient.materials.polymers import Polymer, Spread, polymer
from orient.materials.properties import Properties, properties_of

DEFAULT_POLYMER = "PLA"

# Defaults, each with what stands behind it.
NOZZLE_MM = 0.4
LAYER_OF_NOZZLE = 0.5
LINE_OF_NOZZLE = 1.125
OVERHANG_LIMIT_DEG = 45.0
WALL_OF_NOZZLE = 2.0
_DEFAULT_SOURCES = {
    "nozzle_mm": "common practice, no source",
    "layer_height_mm": "half the nozzle; common practice (0.25 to 0.75 of it), no source",
    "line_width_mm": "1.125 times the nozzle; common practice (1.0 to 1.2 times), no source",
    "overhang_limit_deg": (
        "45° from the wall: largest angle found to hold itself up by Mazlan et al., J. Adv. Industrial "
        "Technology and Application 1, 2020, 39–47; the trade's range is 45° to 60°"
    ),
}
# What holds a part on the bed where its own first layer does not: how far a brim and a raft reach beyond it,
# mm, and how many layers a raft has. Common practice, no source.
BRIM_MM, RAFT_MM, RAFT_LAYERS = 5.0, 5.0, 3
_TRADE = "common practice, no source"
# Limits of hard features: the usual figure of the trade, the strict and the lax one beside it.
_FEATURE_LIMIT_SOURCES = {
    "overhang_support_deg": f"60° from the wall, the far end of the trade's range of 45° to 60°; {_TRADE}",
    "bridge_limit_mm": f"10 mm; trade tables and guides say 5 to 25 mm; {_TRADE}",
    "bridge_support_mm": f"25 mm, the lax end of the trade's range for bridges; {_TRADE}",
    "ledge_limit_mm": (
        "1.0 mm: free overhang of 0.5 to 1.5 mm found on one printer by Mazlan et al., J. Adv. Industrial "
        "Technology and Application 1, 2020, 39–47"
    ),
    "ledge_support_mm": "1.5 mm, the largest free overhang of the same source",
    "wall_limit_mm": f"two lines, taken as twice the nozzle; trade tables say 0.8 to 1.2 mm; {_TRADE}",
    "gap_limit_mm": f"0.3 mm between joined faces; trade tables say 0.2 to 0.4 mm; {_TRADE}",
    "moving_gap_limit_mm": f"0.4 mm between moving faces; trade tables say 0.3 to 0.5 mm; {_TRADE}",
    "hole_limit_mm": f"2 mm, upright; trade tables say 1.5 to 3 mm; {_TRADE}",
    "lying_hole_limit_mm": (
        f"8 mm, {_TRADE}; its ceiling beyond 45° is then a bridge of 5.7 mm (2·r·cos 45°), between the "
        "strict and the usual limit of bridges"
    ),
    "pin_limit_mm": f"3 mm; trade tables say 2 to 5 mm; {_TRADE}",
    "support_tool_mm": f"3 mm, a pair of narrow pliers; {_TRADE}",
    "shrinkage_strain": (
        "0.003: expansion of PLA, 68e-6/K, over 40 K from its glass transition to the room, both from memory"
    ),
    "curl_limit_mm": f"0.3 mm of shrinkage along one run on the bed; {_TRADE}",
    "slender_ratio": f"height of 5 times the narrow side of what it stands on; {_TRADE}",
    "tip_margin_limit_deg": f"10°; {_TRADE}",
    "first_layer_share": f"a tenth of the part's shadow; {_TRADE}",
    "island_limit_mm2": f"10 mm² for each piece of the first layer; {_TRADE}",
}
_SPREADS = (
    *(f"strength_{way}_{end}_mpa" for way in ("in_layer", "across", "shear") for end in ("low", "high")),
    "youngs_in_layer_mpa",
    "youngs_across_mpa",
    "poissons_ratio",
)
# Shrinkage on the bed is counted from the glass transition down to here.
ROOM_C = 20.0
# A line that much wider or narrower than its nozzle is a slip of unit or of the nozzle.
_LINE_SLIP = 4.0
# A lying hole's ceiling is a bridge; usual holes of 8 mm go with usual bridges of 10 mm.
LYING_HOLE_OF_BRIDGE = 0.8


@dataclass(frozen=True)
class Process:
    """What the measures need to know of the process; no names, only numbers.

    Attributes
    ----------
    layer_height_mm, line_width_mm, nozzle_mm
        Height of a layer, width of a line, bore of the nozzle, mm.
    overhang_limit_deg
        Largest angle from the wall that holds itself up, degrees.
    strength_in_layer_mpa
        Tensile strength in the layer plane (X), MPa; None where no source was found.
    strength_across_mpa
        Tensile strength across the layers (Z), MPa, or None.
    strength_shear_mpa
        Shear strength between layers (S), MPa, or None.
    polymer
        The polymer's name, for display only.
    assumptions
        Sentences to show to the user: what was taken for granted.
    sources
        Where each number is from, by field name.
    overhang_support_deg
        Angle from the wall beyond which an overhang is supported, not tuned, degrees.
    bridge_limit_mm, bridge_support_mm
        Span of a ceiling that needs nothing; span beyond which it is supported.
    ledge_limit_mm, ledge_support_mm
        Reach of a ledge that needs nothing; reach beyond which it is supported.
    wall_limit_mm
        Thinnest wall that prints reliably.
    gap_limit_mm, moving_gap_limit_mm
        Narrowest gap between joined and between moving faces.
    hole_limit_mm, lying_hole_limit_mm
        Smallest upright hole; largest lying hole whose ceiling needs nothing.
    pin_limit_mm
        Thinnest pin.
    support_tool_mm
        Diameter of the straight tool that takes supports out.
    shrinkage_strain, curl_limit_mm
        Strain by which the polymer shrinks on the bed; shrinkage of one run that starts to lift corners.
    slender_ratio, tip_margin_limit_deg
        Height over narrow side of the footprint, and least tipping margin, before a part counts as slender.
    first_layer_share, island_limit_mm2
        Least share of the shadow that touches the bed; least area of each piece that does.
    strength_in_layer_low_mpa, strength_in_layer_high_mpa, …_across_…, …_shear_…
        Least and greatest of what the sources give, MPa, or None.
    youngs_in_layer_mpa, youngs_across_mpa, poissons_ratio
        Stiffness, or None where no source was found.
    """

    layer_height_mm: float = LAYER_OF_NOZZLE * NOZZLE_MM
    line_width_mm: float = LINE_OF_NOZZLE * NOZZLE_MM
    nozzle_mm: float = NOZZLE_MM
    overhang_limit_deg: float = OVERHANG_LIMIT_DEG
    strength_in_layer_mpa: float | None = None
    strength_across_mpa: float | None = None
    strength_shear_mpa: float | None = None
    polymer: str = DEFAULT_POLYMER
    assumptions: tuple[str, ...] = ()
    sources: Mapping[str, str] = field(default_factory=lambda: _DEFAULT_SOURCES | _FEATURE_LIMIT_SOURCES)
    overhang_support_deg: float = 60.0
    bridge_limit_mm: float = 10.0
    bridge_support_mm: float = 25.0
    ledge_limit_mm: float = 1.0
    ledge_support_mm: float = 1.5
    wall_limit_mm: float = WALL_OF_NOZZLE * NOZZLE_MM
    gap_limit_mm: float = 0.3
    moving_gap_limit_mm: float = 0.4
    hole_limit_mm: float = 2.0
    lying_hole_limit_mm: float = 8.0
    pin_limit_mm: float = 3.0
    support_tool_mm: float = 3.0
    shrinkage_strain: float = 0.003
    curl_limit_mm: float = 0.3
    slender_ratio: float = 5.0
    tip_margin_limit_deg: float = 10.0
    first_layer_share: float = 0.1
    island_limit_mm2: float = 10.0
    strength_in_layer_low_mpa: float | None = None
    strength_in_layer_high_mpa: float | None = None
    strength_across_low_mpa: float | None = None
    strength_across_high_mpa: float | None = None
    strength_shear_low_mpa: float | None = None
    strength_shear_high_mpa: float | None = None
    youngs_in_layer_mpa: float | None = None
    youngs_across_mpa: float | None = None
    poissons_ratio: float | None = None

    @property
    def strengths_known(self) -> bool:
        """Whether all three strengths are there, so that a load can be judged."""
        return None not in (self.strength_in_layer_mpa, self.strength_across_mpa, self.strength_shear_mpa)

    @property
    def geometric_overhang_deg(self) -> float:
        """Overhang angle at which half of a line rests on the one below, atan(w / 2h), degrees.

        What the geometry alone says of the overhang limit, to be shown beside it: a step of h·tan(angle)
        leaves that much of a line of width w hanging.

        >>> round(Process().geometric_overhang_deg, 1)
        48.4
        """
        return math.degrees(math.atan(self.line_width_mm / (2.0 * self.layer_height_mm)))

    def spreads(self) -> dict[str, float | None]:
        """Return low and high of the strengths, and the stiffness, by field, ready for JSON."""
        return {name: getattr(self, name) for name in _SPREADS}

    def feature_limits(self) -> dict[str, float]:
        """Return the limits that hard features are held against, by field."""
        return {name: float(getattr(self, name)) for name in _FEATURE_LIMIT_SOURCES}

    def numbers(self) -> dict[str, float | str | None]:
        """Return the numbers and the polymer's name, by field, ready for JSON."""
        names = ("layer_height_mm", "line_width_mm", "nozzle_mm", "overhang_limit_deg", "polymer")
        strengths = ("strength_in_layer_mpa", "strength_across_mpa", "strength_shear_mpa")
        return {name: getattr(self, name) for name in names + strengths}


def process_from(brief: Brief) -> Process:
    """Turn a brief into the plain numbers of the process.

    Parameters
    ----------
    brief
        What the user said; anything left out is filled from the data or from common practice.

    Returns
    -------
    Process

    Raises
    ------
    OrientError
        When the polymer is unknown or a layer would be thicker than the nozzle is wide.

    Examples
    --------
    >>> process = process_from(Brief.model_validate({"process": {"polymer": "ABS", "nozzle_mm": 0.6}}))
    >>> process.layer_height_mm, round(process.line_width_mm, 3)
    (0.3, 0.675)
    """
    wish = brief.process
    named = polymer(DEFAULT_POLYMER if wish.polymer is None else wish.polymer)
    known = properties_of(named.key)
    usual_nozzle, nozzle_source = NOZZLE_MM, _DEFAULT_SOURCES["nozzle_mm"]
    if known.least_nozzle_mm is not None and known.least_nozzle_mm.nominal > NOZZLE_MM:
        usual_nozzle = known.least_nozzle_mm.nominal
        nozzle_source = f"the least for {known.key}: {known.least_nozzle_mm.source}"
    nozzle = usual_nozzle if wish.nozzle_mm is None else wish.nozzle_mm
    layer = LAYER_OF_NOZZLE * nozzle if wish.layer_height_mm is None else wish.layer_height_mm
    line = LINE_OF_NOZZLE * nozzle if wish.line_width_mm is None else wish.line_width_mm
    held = known.overhang_limit_deg
    limit = held.nominal if wish.overhang_limit_deg is None else wish.overhang_limit_deg
    if layer > nozzle:
        # A bead is pressed flat under the nozzle, so a higher layer is a slip of unit or of the nozzle.
        raise OrientError(
            f"[process] layer_height_mm is {layer:g} but the nozzle is {nozzle:g} mm; a layer is thinner "
            "than its nozzle is wide, so mend layer_height_mm or nozzle_mm (both in millimetres)."
        )

    if not nozzle / _LINE_SLIP <= line <= nozzle * _LINE_SLIP:
        raise OrientError(
            f"[process] line_width_mm is {line:g} but the nozzle is {nozzle:g} mm; a line is about as wide "
            "as its nozzle, so mend line_width_mm or nozzle_mm (both in millimetres)."
        )

    usual = _DEFAULT_SOURCES | {"overhang_limit_deg": held.source, "nozzle_mm": nozzle_source}
    sources = {
        name: "the brief" if getattr(wish, name) is not None else source for name, source in usual.items()
    }
    limits, limit_sources = _feature_limits(known, nozzle)
    if wish.support_tool_mm is not None:
        limits["support_tool_mm"], limit_sources["support_tool_mm"] = wish.support_tool_mm, "the brief"
    strengths, strength_sources, strength_notes = _strengths(named, brief.polymer)
    assumptions = list(strength_notes)
    if wish.polymer is None:
        assumptions.insert(0, f"No polymer was named: typical {named.key} is taken.")
    assumptions += service_words(brief)
    spreads, spread_sources = _spreads(named, known, brief.polymer, strengths)
    return Process(
        layer_height_mm=layer,
        line_width_mm=line,
        nozzle_mm=nozzle,
        overhang_limit_deg=limit,
        polymer=named.key,
        assumptions=tuple(assumptions),
        sources=sources | strength_sources | spread_sources | _FEATURE_LIMIT_SOURCES | limit_sources,
        **limits,
        **strengths,
        **spreads,
    )


def resolved_brief(brief: Brief, process: Process) -> dict[str, Any]:
    """Return the brief with every number of the process filled in.

    Parameters
    ----------
    brief, process
        The brief and what `process_from` made of it.

    Returns
    -------
    dict
        Sections by name, ready for JSON. The strengths used stand in ``polymer``, the rest in ``process``.
    """
    plain = brief.resolved()
    numbers = process.numbers()
    strengths = {name: numbers.pop(name) for name in list(numbers) if name.startswith("strength_")}
    plain["process"] = plain.get("process", {}) | numbers
    plain["polymer"] = plain.get("polymer", {}) | strengths
    return plain


def _feature_limits(known: Properties, nozzle: float) -> tuple[dict[str, Any], dict[str, str]]:
    """Derive from nozzle and polymer what the trade's usual figures, made for 0.4 mm, do not know."""
    bridge = known.bridge_limit_mm
    limits: dict[str, Any] = {
        # Never below the limit itself, which is the polymer's or the brief's.
        "overhang_support_deg": known.overhang_limit_deg.high,
        "bridge_limit_mm": bridge.nominal,
        "bridge_support_mm": bridge.high,
        "wall_limit_mm": WALL_OF_NOZZLE * nozzle,
        "lying_hole_limit_mm": LYING_HOLE_OF_BRIDGE * bridge.nominal,
    }
    sources = {
        "overhang_support_deg": f"far end of the range for {known.key}: {known.overhang_limit_deg.source}",
        "bridge_limit_mm": bridge.source,
        "bridge_support_mm": f"far end of the range for {known.key}: {bridge.source}",
        "lying_hole_limit_mm": (
            f"0.8 of the bridge limit: the ceiling beyond 45° is then a bridge of 0.57 of it; {_TRADE}"
        ),
    }
    for name in ("hole_limit_mm", "pin_limit_mm", "gap_limit_mm", "moving_gap_limit_mm"):
        limits[name] = getattr(Process, name) * (nozzle / NOZZLE_MM)
        sources[name] = f"{_FEATURE_LIMIT_SOURCES[name]}; in proportion to a nozzle of {NOZZLE_MM:g} mm"
    expansion, glass, mould = known.cte_per_mk, known.glass_c, known.shrink_percent
    if known.crystalline and mould is not None:
        limits["shrinkage_strain"] = mould.nominal / 100.0
        sources["shrinkage_strain"] = mould.source
    elif expansion is not None and glass is not None and glass.nominal > ROOM_C:
        limits["shrinkage_strain"] = 1e-6 * expansion.nominal * (glass.nominal - ROOM_C)
        sources["shrinkage_strain"] = (
            f"expansion ({expansion.source}) from the glass transition ({glass.source}) to {ROOM_C:g} °C"
        )
    elif mould is not None:
        limits["shrinkage_strain"] = mould.nominal / 100.0
        sources["shrinkage_strain"] = mould.source
    else:
        sources["shrinkage_strain"] = (
            f"no data for {known.key}, the typical one is taken: {_FEATURE_LIMIT_SOURCES['shrinkage_strain']}"
        )
    return limits, sources


def _spreads(
    named: Polymer, known: Properties, own: PolymerFigures, strengths: Mapping[str, float | None]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Take low and high of every strength and the stiffness, from the brief or else from the data."""
    values: dict[str, Any] = dict.fromkeys(_SPREADS)
    sources = dict.fromkeys(_SPREADS, "no data")
    said = f"the brief ({own.source})" if own.source else "the brief"
    data: dict[str, Spread | None] = {"in_layer": named.in_layer_mpa, "across": named.across_mpa}
    for way in ("in_layer", "across", "shear"):
        given = getattr(own, f"strength_{way}_mpa")
        for end in ("low", "high"):
            name = f"strength_{way}_{end}_mpa"
            figure, spread = getattr(own, name), data.get(way)
            if figure is not None:
                values[name], sources[name] = figure, said
            elif given is not None:
                # One figure of the shop's own has no spread until the shop gives one.
                values[name], sources[name] = given, said
            elif spread is not None:
                values[name] = getattr(spread, end)
                sources[name] = f"{end} end of the cited figures; the nominal is the {spread.source}"
            elif way == "shear" and values[f"strength_across_{end}_mpa"] is not None:
                values[name] = values[f"strength_across_{end}_mpa"] / math.sqrt(3.0)
                sources[name] = "assumed: across-layer strength / √3, the von Mises relation, no source"
        nominal = strengths[f"strength_{way}_mpa"]
        low, high = values[f"strength_{way}_low_mpa"], values[f"strength_{way}_high_mpa"]
        if None not in (nominal, low, high) and not low <= nominal <= high:
            raise OrientError(
                f"[polymer] strength_{way}_mpa is {nominal:g} but its low and high are {low:g} and {high:g}; "
                "put the three in order."
            )
    own_stiffness = {
        "youngs_in_layer_mpa": own.youngs_modulus_mpa,
        "youngs_across_mpa": own.youngs_modulus_mpa,
        "poissons_ratio": own.poissons_ratio,
    }
    stiffness = {
        "youngs_in_layer_mpa": known.modulus_in_layer_mpa,
        "youngs_across_mpa": known.modulus_across_mpa,
        "poissons_ratio": known.poissons_ratio,
    }
    for name, spread in stiffness.items():
        if own_stiffness[name] is not None:
            values[name], sources[name] = own_stiffness[name], said
        elif spread is not None:
            values[name], sources[name] = spread.nominal, spread.source
    return values, sources


def service_words(brief: Brief) -> list[str]:
    """Say, in one sentence or none, where the service is hotter or longer than the tests behind strengths."""
    hot, service = brief.load.service_temp_c, []
    if hot is not None and hot > ROOM_C + 5:
        service.append(f"service at {hot:g} °C")
    elif brief.job.outdoor:
        service.append("the heat of the sun")
    if brief.load.sustained:
        service.append("a load that stays")
    if not service:
        return []
    takes = "take" if len(service) > 1 else "takes"
    return [
        f"Strengths are those of short tests at room temperature: {' and '.join(service)} {takes} from them, "
        "and no safety factor here counts that."
    ]


def _strengths(named: Polymer, own: PolymerFigures) -> tuple[dict[str, Any], dict[str, str], tuple[str, ...]]:
    """Take the three strengths from the brief or else from the data, with sources and assumptions."""
    said = f"the brief ({own.source})" if own.source else "the brief"
    sources: dict[str, str] = {}
    notes: list[str] = []
    values: dict[str, float | None] = {}
    data = {"in_layer": named.in_layer_mpa, "across": named.across_mpa}
    own_figures = {"in_layer": own.strength_in_layer_mpa, "across": own.strength_across_mpa}
    for way, spread in data.items():
        name = f"strength_{way}_mpa"
        figure = own_figures[way]
        if figure is not None:
            values[name], sources[name] = figure, said
        elif spread is not None:
            values[name], sources[name] = spread.nominal, spread.source
        else:
            words = "in the layers" if way == "in_layer" else "across the layers"
            values[name], sources[name] = None, "no data"
            notes.append(
                f"No strength {words} is known for {named.key}: give {name} in [polymer] to judge loads."
            )

    across = values["strength_across_mpa"]
    if own.strength_shear_mpa is not None:
        values["strength_shear_mpa"], sources["strength_shear_mpa"] = own.strength_shear_mpa, said
    elif across is not None:
        # No absolute shear strength between layers with a source that can be cited was found.
        values["strength_shear_mpa"] = across / math.sqrt(3.0)
        sources["strength_shear_mpa"] = (
            "assumed: across-layer strength / √3, the von Mises relation, no source"
        )
        notes.append(
            "No source gives the shear strength between layers: it is taken as the across-layer strength "
            f"/ √3, {across / math.sqrt(3.0):.1f} MPa."
        )
    else:
        values["strength_shear_mpa"], sources["strength_shear_mpa"] = None, "no data"

    typical = [way for way, spread in data.items() if spread is not None and own_figures[way] is None]
    if typical:
        figures = {"in_layer": "in the layers", "across": "across them"}
        said_figures = " and ".join(
            f"{values[f'strength_{way}_mpa']:.1f} MPa {figures[way]}" for way in typical
        )
        notes.insert(
            0, f"The strength of {named.key} is typical, not measured on your machine: {said_figures}."
        )
    return values, sources, tuple(notes)

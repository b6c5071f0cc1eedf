"""How a job is run, in plain numbers: lines, fill, speeds, waits and densities, each with its source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from orient.brief import Brief
from orient.materials.machines import Machine
from orient.materials.properties import Properties
from orient.materials.supports import SupportMaterial
from orient.process import Process

TRADE = "common practice, no source"

# What a brief need not say. Common practice, no source.
CONTOURS = 2
SKIN_MM = 0.8
INFILL = 0.2
SUPPORT_FILL = 0.2
FIRST_LAYER_SPEED = 0.5
MATERIAL_CHANGE_S = 10.0
# Supports of another material are charged and weighed like the part's own where nothing else is known.


@dataclass(frozen=True)
class Plan:
    """What time and material are counted from; only numbers.

    Attributes
    ----------
    layer_mm, line_mm : float
        Height of a layer and width of a line.
    contours : int
        Outlines side by side on every layer.
    skin_mm : float
        Height of solid layers below and above level faces.
    infill, support_fill : float
        Share of the inside, and of the support, that is filled.
    speed_mm_s, flow_mm3_s : float
        Speed of the lines, and most that the nozzle melts.
    acceleration_mm_s2, travel_mm_s : float
        Of the head.
    layer_change_s, min_layer_s : float
        Time to begin a layer; least time a layer needs to set.
    first_layer_speed : float
        Share of the speed at which the first layer is laid.
    material_change_s : float
        Time lost on a layer that uses two materials; 0 with one.
    heat_up_min, time_factor : float
        Waiting before the build; hours measured over hours estimated.
    density_g_cm3, support_density_g_cm3 : float or None
        None where there is no data.
    sources : Mapping of str to str
        Where each number is from.
    """

    layer_mm: float = 0.2
    line_mm: float = 0.45
    contours: int = CONTOURS
    skin_mm: float = SKIN_MM
    infill: float = INFILL
    support_fill: float = SUPPORT_FILL
    speed_mm_s: float = 60.0
    flow_mm3_s: float = 11.0
    acceleration_mm_s2: float = 3000.0
    travel_mm_s: float = 150.0
    layer_change_s: float = 1.0
    min_layer_s: float = 10.0
    first_layer_speed: float = FIRST_LAYER_SPEED
    material_change_s: float = 0.0
    heat_up_min: float = 5.0
    time_factor: float = 1.0
    density_g_cm3: float | None = None
    support_density_g_cm3: float | None = None
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)

    @property
    def bead_mm2(self) -> float:
        """Area of a line's section: a stadium, (w − h)·h + π·h²/4.

        The figure is the one that makers of hot ends use for flow.

        >>> round(Plan().bead_mm2, 6)
        0.081416
        """
        return (self.line_mm - self.layer_mm) * self.layer_mm + math.pi * self.layer_mm**2 / 4.0

    @property
    def spacing_mm(self) -> float:
        """Distance of neighbouring lines that leaves no hollow between them: bead area over layer height."""
        return self.bead_mm2 / self.layer_mm

    @property
    def contours_mm(self) -> float:
        """Width of all contours side by side."""
        return self.contours * self.spacing_mm

    @property
    def solid_mm(self) -> float:
        """Height of the solid skin in whole layers."""
        return math.ceil(self.skin_mm / self.layer_mm - 1e-9) * self.layer_mm

    @property
    def line_speed_mm_s(self) -> float:
        """Speed of the lines, held to what the nozzle melts: min(v, Q/A).

        >>> Plan(layer_mm=0.3, speed_mm_s=200.0).line_speed_mm_s == 11.0 / Plan(layer_mm=0.3).bead_mm2
        True
        """
        return min(self.speed_mm_s, self.flow_mm3_s / self.bead_mm2)


def plan_from(
    brief: Brief, process: Process, polymer: Properties, machine: Machine, support: SupportMaterial
) -> Plan:
    """Put together how a job is run.

    Parameters
    ----------
    brief : Brief
        ``[process] infill`` and ``[polymer] density_g_cm3`` go before the data.
    process : Process
        Layer and line.
    polymer : Properties
        Speed, flow, density and the least time of a layer.
    machine : Machine
        Kinematics and waiting.
    support : SupportMaterial
        Whether layers change material.

    Returns
    -------
    Plan
    """
    sources = dict.fromkeys(("contours", "skin_mm", "support_fill", "first_layer_speed"), TRADE)
    said = f"the brief ({brief.polymer.source})" if brief.polymer.source else "the brief"
    for name in ("acceleration_mm_s2", "travel_mm_s", "layer_change_s", "heat_up_min"):
        sources[name] = machine.sources.get(name, f"the shop's machine {machine.name}")
    sources["time_factor"] = f"the shop's machine {machine.name}" if machine.own else "1: the estimate itself"
    sources["infill"] = "the brief" if brief.process.infill is not None else TRADE
    sources["layer_mm"] = process.sources.get("layer_height_mm", "")
    sources["line_mm"] = process.sources.get("line_width_mm", "")
    sources["speed_mm_s"] = polymer.speed_mm_s.source
    sources["flow_mm3_s"] = polymer.flow_mm3_s.source
    sources["min_layer_s"] = polymer.min_layer_s.source
    density = polymer.density_g_cm3.nominal if polymer.density_g_cm3 else None
    sources["density_g_cm3"] = polymer.density_g_cm3.source if polymer.density_g_cm3 else "no data"
    if brief.polymer.density_g_cm3 is not None:
        density, sources["density_g_cm3"] = brief.polymer.density_g_cm3, said
    sources["support_density_g_cm3"] = f"taken as the part's: {sources['density_g_cm3']}"
    sources["material_change_s"] = TRADE if support.second_material else "one material"
    return Plan(
        layer_mm=process.layer_height_mm,
        line_mm=process.line_width_mm,
        infill=INFILL if brief.process.infill is None else brief.process.infill,
        speed_mm_s=polymer.speed_mm_s.nominal,
        flow_mm3_s=polymer.flow_mm3_s.nominal,
        acceleration_mm_s2=machine.acceleration_mm_s2,
        travel_mm_s=machine.travel_mm_s,
        layer_change_s=machine.layer_change_s,
        min_layer_s=polymer.min_layer_s.nominal,
        material_change_s=MATERIAL_CHANGE_S if support.second_material else 0.0,
        heat_up_min=machine.heat_up_min,
        time_factor=machine.time_factor,
        density_g_cm3=density,
        support_density_g_cm3=density,
        sources=sources,
    )

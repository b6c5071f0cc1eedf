"""What a pose costs: machine, material, handwork and failures, each shown apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.brief import Brief
from orient.cost.time import Build
from orient.materials.machines import Machine
from orient.materials.supports import SupportMaterial

Floats = NDArray[np.float64]

# Minutes of handwork for each cm² of scar that a tool reaches. Common practice, no source.
FINISHING_MIN_PER_CM2 = 1.0
# A scar from support that stands on the part is reached worse: so many times the minutes. Common practice.
HARD_TO_REACH = 3.0


@dataclass(frozen=True)
class Rates:
    """What time and material cost, money in one currency.

    Attributes
    ----------
    currency : str or None
        Its name or sign, for display only.
    machine_per_hour, labour_per_hour, material_per_kg, support_per_kg : float or None
        None where the shop did not say; it is then left out of the cost, and named in `missing`.
    setup_min, drying_min : float
        Handwork to begin a bed, and to dry a batch's filament.
    finishing_min_per_cm2 : float
        Handwork on scars.
    scrap_rate : float
        Share of builds that fail, 0 to below 1.
    """

    currency: str | None = None
    machine_per_hour: float | None = None
    labour_per_hour: float | None = None
    material_per_kg: float | None = None
    support_per_kg: float | None = None
    setup_min: float = 0.0
    drying_min: float = 0.0
    finishing_min_per_cm2: float = FINISHING_MIN_PER_CM2
    scrap_rate: float = 0.0

    @property
    def known(self) -> bool:
        """Whether any price is known, so that a cost can be said."""
        return bool(self._prices())

    @property
    def missing(self) -> tuple[str, ...]:
        """Keys of ``[rates]`` that the cost leaves out."""
        names = ("machine_per_hour", "labour_per_hour", "material_per_kg")
        return tuple(name for name in names if getattr(self, name) is None)

    @property
    def unpaid(self) -> tuple[str, ...]:
        """Handwork that has a price but no minutes, in words; none where labour has no price."""
        if not self.labour_per_hour:
            return ()
        minutes = {"set-up": self.setup_min, "drying": self.drying_min}
        return tuple(what for what, spent in minutes.items() if spent == 0.0)

    def _prices(self) -> list[float]:
        prices = (self.machine_per_hour, self.labour_per_hour, self.material_per_kg, self.support_per_kg)
        return [price for price in prices if price is not None]


@dataclass(frozen=True, eq=False)
class Cost:
    """Cost of one good part in P poses; every array is (P,), NaN where no price is known.

    Attributes
    ----------
    finishing_min : float64
        Minutes of handwork on scars.
    machine, material, finishing, batch_share : float64
        Machine time and material with their share of failed builds; handwork on scars; the part's share of
        set-up and drying.
    unit : float64
        Their sum.
    """

    finishing_min: Floats
    machine: Floats
    material: Floats
    finishing: Floats
    batch_share: Floats
    unit: Floats


def rates_from(brief: Brief, machine: Machine | None = None) -> Rates:
    """Take the rates from the brief; an hour of the machine from its own entry where the brief has none.

    Parameters
    ----------
    brief : Brief
        ``[rates]``.
    machine : Machine, optional
        Machine whose ``hourly_rate`` stands in.

    Returns
    -------
    Rates
    """
    said = brief.rates.model_dump(exclude_none=True)
    if "machine_per_hour" not in said and machine is not None and machine.hourly_rate is not None:
        said["machine_per_hour"] = machine.hourly_rate
    return Rates(**said)


def cost_of(
    build: Build,
    scar_mm2: Floats,
    on_part_share: Floats,
    rates: Rates,
    support: SupportMaterial,
    *,
    quantity: int = 1,
    per_bed: Floats | int = 1,
) -> Cost:
    """Cost of every pose.

    C = P + M + L as in I. Gibson, D. Rosen, B. Stucker, Additive Manufacturing Technologies, 2nd ed., 2015,
    sec. 16.6, with machine purchase and operation joined in one hourly rate. Of r failed builds in a hundred,
    machine and material of 1/(1 − r) parts are paid for each good one; only good parts are finished. Scars of
    support that stands on the part are reached worse and take three times the minutes, unless a bath takes
    the support away.

    Parameters
    ----------
    build : Build
        Time and material of every pose, one part.
    scar_mm2 : (P,) float64
        Area that support touches.
    on_part_share : (P,) float64
        Share of the support that stands on the part, 0 to 1.
    rates : Rates
        Prices and minutes.
    support : SupportMaterial
        How it comes off.
    quantity : int
        Good parts wanted.
    per_bed : (P,) int or int
        Parts on one bed; heat-up and set-up are paid once a bed.

    Returns
    -------
    Cost
    """
    hard = 1.0 if support.soluble else 1.0 + (HARD_TO_REACH - 1.0) * on_part_share
    finishing_min = rates.finishing_min_per_cm2 * scar_mm2 / 100.0 * hard
    per_part = 1.0 / np.minimum(np.maximum(per_bed, 1), quantity)
    nothing = np.zeros(len(build.hours))
    if not rates.known:
        unknown = np.full(len(build.hours), np.nan)
        return Cost(finishing_min, unknown, unknown, unknown, unknown, unknown)

    tries = 1.0 / (1.0 - rates.scrap_rate) if rates.scrap_rate < 1.0 else np.inf
    hours = build.hours + build.heat_up_hours * per_part
    machine = nothing if rates.machine_per_hour is None else tries * rates.machine_per_hour * hours
    of_support = rates.material_per_kg if rates.support_per_kg is None else rates.support_per_kg
    material = nothing
    for grams, price in ((build.part_g, rates.material_per_kg), (build.support_g, of_support)):
        if price is not None:
            material = material + tries * price * grams / 1000.0
    labour = (rates.labour_per_hour or 0.0) / 60.0
    finishing = labour * finishing_min
    share = nothing + labour * (rates.setup_min * per_part + rates.drying_min / quantity)
    return Cost(
        finishing_min=finishing_min,
        machine=machine,
        material=material,
        finishing=finishing,
        batch_share=share,
        unit=machine + material + finishing + share,
    )

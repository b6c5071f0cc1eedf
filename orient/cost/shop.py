"""The shop's view of a job: polymer, machine and prices, then hours, grams, money and fit of every pose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.brief import Brief
from orient.cost.bands import Bands, Pieces, bands_of
from orient.cost.batch import Batch, plan_batch
from orient.cost.cautions import cautions_for
from orient.cost.curl import brim_mm, brims_mm, curl_index_mm, shrinkage_scale
from orient.cost.envelope import MARGIN_MM, fit_in, side_by_side
from orient.cost.fitness import Fitness, Requirement, fit_machines, fitness, with_requirement
from orient.cost.layers import LayerChoice, nozzle_layer_table
from orient.cost.money import Cost, Rates, cost_of, rates_from
from orient.cost.plan import Plan, plan_from
from orient.cost.service import ServiceCheck, service_checks
from orient.cost.time import Build, build_of
from orient.errors import OrientError
from orient.materials.machines import Machine, machine, read_machines
from orient.materials.properties import Properties, properties_of
from orient.materials.supports import SupportMaterial, support_material
from orient.process import DEFAULT_POLYMER, Process

Floats = NDArray[np.float64]

# With an infill of nothing a part still has contours: the least that a cost is set against.
LEAST_FILL = 0.05


@dataclass(frozen=True, eq=False)
class Shop:
    """What is settled before any pose is looked at.

    Attributes
    ----------
    polymer : Properties
        The polymer.
    machine : Machine
        The machine named, or else the first class that can run the polymer.
    polymer_named, machine_named : bool
        Whether the brief named them.
    support : SupportMaterial
        Support material.
    chosen : Fitness
        The machine against the polymer.
    machines : tuple of Fitness
        Every machine of the shop and every class against the polymer.
    service : tuple of ServiceCheck
        The polymer against the service.
    plan : Plan
        How the job is run.
    rates : Rates
        What it costs.
    quantity : int
        Good parts wanted.
    due : date or None
        Day they are due.
    scale_xyz : (3,) tuple or None
        Scale of a saved part along x, y and z of its pose; None when none was asked for.
    """

    polymer: Properties
    machine: Machine
    polymer_named: bool
    machine_named: bool
    support: SupportMaterial
    chosen: Fitness
    machines: tuple[Fitness, ...]
    service: tuple[ServiceCheck, ...]
    plan: Plan
    rates: Rates
    quantity: int
    due: date | None
    scale_xyz: tuple[float, float, float] | None

    @property
    def named(self) -> bool:
        """Whether polymer and machine were both named, so that the figures are the job's own."""
        return self.polymer_named and self.machine_named


@dataclass(frozen=True, eq=False)
class Priced:
    """Hours, grams, money and fit of P poses, each built alone; every array is (P,).

    Attributes
    ----------
    hours : float64
        Build time without heat-up.
    part_g, support_g : float64
        NaN where there is no data on the density.
    finishing_min : float64
        Handwork on scars.
    unit_cost : float64
        Cost of one good part; NaN where no price is known.
    fits : bool or None
        Whether the pose fits the machine; None when no machine was named.
    missing_mm : float64
        How much room is missing where it does not.
    curl_index_mm, brim_mm : float64
        Tendency to lift corners and the brim that is counted in; NaN and 0 without footprints.
    brims_counted : bool
        Whether there were footprints.
    """

    hours: Floats
    part_g: Floats
    support_g: Floats
    finishing_min: Floats
    unit_cost: Floats
    fits: NDArray[np.bool_] | None
    missing_mm: Floats
    curl_index_mm: Floats
    brim_mm: Floats
    brims_counted: bool


@dataclass(frozen=True, eq=False)
class Order:
    """One pose as an order: curl, brim, beds, price, and what other nozzles and layers would take.

    Attributes
    ----------
    curl_index_mm : float
        Tendency to lift corners; NaN where there is no data.
    brim_mm, brim_reason :
        Width of the brim that is advised, and why.
    hours, part_g, support_g : float
        One part built alone, without heat-up, with the brim laid; grams NaN where there is no data.
    batch : Batch
        Spares, beds, hours, late or not; with the brim laid.
    unit_price, batch_price : float
        Per good part and for the order; NaN where no price is known.
    layers : tuple of LayerChoice
        Nozzle against layer height.
    """

    curl_index_mm: float
    brim_mm: float
    brim_reason: str
    hours: float
    part_g: float
    support_g: float
    batch: Batch
    unit_price: float
    batch_price: float
    layers: tuple[LayerChoice, ...]


@dataclass(frozen=True, eq=False)
class ShopSection:
    """The shop's section of an evaluation.

    Attributes
    ----------
    shop : Shop
        Polymer, machine, fitness, service, plan and prices.
    poses : Priced
        Every pose, in the ranking's order.
    order : Order
        The pose to take, as an order.
    """

    shop: Shop
    poses: Priced
    order: Order


def with_machine(brief: Brief) -> Brief:
    """Give a brief the usual nozzle of the shop's machine it names, when it asks for none itself."""
    if brief.process.machine is None or brief.process.nozzle_mm is not None:
        return brief
    named = machine(brief.process.machine, own_machines(brief))
    if not named.own:
        return brief
    process = brief.process.model_copy(update={"nozzle_mm": named.nozzles_mm[0]})
    return brief.model_copy(update={"process": process})


def own_machines(brief: Brief) -> tuple[Machine, ...]:
    """Read the shop's own machines, if the brief names a file of them."""
    return read_machines(brief.process.machines) if brief.process.machines is not None else ()


def shop_for(brief: Brief, process: Process, part_size_mm: float | None = None) -> Shop:
    """Settle polymer, machine, support and prices.

    Parameters
    ----------
    brief : Brief
        ``[process] polymer, machine, machines, support``, ``[job]`` and ``[rates]``.
    process : Process
        What brief and data say of the process.
    part_size_mm : float, optional
        Longest side of the part; large parts ask more of a machine.

    Returns
    -------
    Shop

    Raises
    ------
    OrientError
        For an unknown polymer, machine or support, or shrinkage to make up for that no source gives.
    """
    wish = brief.process
    polymer = properties_of(DEFAULT_POLYMER if wish.polymer is None else wish.polymer)
    support = support_material(wish.support)
    own = own_machines(brief)
    asked = {"part_size_mm": part_size_mm, "nozzle_mm": wish.nozzle_mm, "support": support}
    found = fit_machines(polymer, own, **asked)  # type: ignore[arg-type]
    if wish.machine is not None:
        chosen = fitness(polymer, machine(wish.machine, own), **asked)  # type: ignore[arg-type]
    else:
        chosen = _first_class(found)
    return Shop(
        polymer=polymer,
        machine=chosen.machine,
        polymer_named=wish.polymer is not None,
        machine_named=wish.machine is not None,
        support=support,
        chosen=chosen,
        machines=found,
        service=service_checks(polymer, brief),
        plan=plan_from(brief, process, polymer, chosen.machine, support),
        rates=rates_from(brief, chosen.machine),
        quantity=brief.job.quantity or 1,
        due=brief.job.due,
        scale_xyz=_scale(brief, polymer),
    )


def with_room(
    shop: Shop,
    brief: Brief,
    process: Process,
    direction: ArrayLike,
    points: ArrayLike,
    height_mm: float,
    sides_mm: tuple[float, float],
) -> Shop:
    """Hold every machine's room against one pose; where none was named, take the first class that has it.

    Parameters
    ----------
    shop : Shop
        Polymer, machine and prices.
    brief, process : Brief, Process
        What the shop was settled from.
    direction : (3,) array_like
        Build direction.
    points : (N, 3) array_like
        Points of the part, mm; its hull's are enough.
    height_mm : float
        Build height.
    sides_mm : (float, float)
        Longer and shorter side of the footprint.

    Returns
    -------
    Shop
    """
    b = np.asarray(direction, dtype=np.float64).reshape(1, 3)

    def in_room(one: Fitness) -> Fitness:
        house = one.machine
        usual = "" if house.own else " of a usual machine of its class"
        bare = fit_in(b, points, house.envelope_mm)
        if not bare.fits[0]:
            said = f"room: the pose to take is {bare.missing_mm[0]:.1f} mm too large for the room{usual}."
            return with_requirement(one, Requirement("room", "no", said))
        brim = brim_mm(float(_curl_index(shop, sides_mm[0], house)), height_mm, sides_mm[1])[0]
        brimmed = fit_in(b, points, house.envelope_mm, margin_mm=MARGIN_MM + brim)
        if brimmed.fits[0]:
            return one
        said = (
            f"room: the pose fits, but with its brim of {brim:g} mm it is {brimmed.missing_mm[0]:.1f} mm too "
            f"large for the room{usual}."
        )
        return with_requirement(one, Requirement("room", "care", said))

    machines = tuple(in_room(one) for one in shop.machines)
    if shop.machine_named:
        return replace(shop, machines=machines, chosen=in_room(shop.chosen))
    chosen = _first_class(machines)
    if chosen.machine is shop.machine:
        return replace(shop, machines=machines, chosen=chosen)
    return replace(
        shop,
        machine=chosen.machine,
        machines=machines,
        chosen=chosen,
        plan=plan_from(brief, process, shop.polymer, chosen.machine, shop.support),
        rates=rates_from(brief, chosen.machine),
    )


def _first_class(found: tuple[Fitness, ...]) -> Fitness:
    """The first class that can do it, or else the one that can do most."""
    classes = [one for one in found if not one.machine.own]
    return next((one for one in classes if one.verdict != "no"), classes[-1])


def price_poses(
    shop: Shop,
    pieces: Pieces,
    directions: ArrayLike,
    columns: Mapping[str, Floats],
    *,
    sides_mm: tuple[Floats, Floats] | None = None,
    threads: int | None = None,
) -> Priced:
    """Find hours, grams, money and fit of poses.

    Parameters
    ----------
    shop : Shop
        Polymer, machine and prices.
    pieces : Pieces
        The part's surface, from `surface_pieces`.
    directions : (P, 3) array_like
        Build directions.
    columns : Mapping of str to (P,) float64
        Measures: support volume and its share on the part, projected overhang, scars. Support that is needed
        after holes and bridges were taken out goes before the geometric one, where it is known.
    sides_mm : pair of (P,) float64, optional
        Longer and shorter side of every footprint, for the brims; without them none is counted.
    threads : int, optional
        Threads; the answer does not depend on it.

    Returns
    -------
    Priced
    """
    b = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    bands = _bands(shop.plan, pieces, b, threads)
    index, brim = np.full(len(b), np.nan), np.zeros(len(b))
    if sides_mm is not None:
        index = _curl_index(shop, sides_mm[0])
        brim = brims_mm(index, columns["height_mm"], sides_mm[1])
    build = build_of(bands, _support(columns), columns["overhang_projected_mm2"], shop.plan, brim_mm=brim)
    cost = _cost(shop, build, columns)
    fits, missing = None, np.zeros(len(b))
    if shop.machine_named:
        fit = fit_in(b, pieces.points.T, shop.machine.envelope_mm)
        fits, missing = fit.fits, fit.missing_mm
    return Priced(
        hours=build.hours,
        part_g=build.part_g,
        support_g=build.support_g,
        finishing_min=cost.finishing_min,
        unit_cost=cost.unit,
        fits=fits,
        missing_mm=missing,
        curl_index_mm=index,
        brim_mm=brim,
        brims_counted=sides_mm is not None,
    )


def order_for(
    shop: Shop,
    pieces: Pieces,
    direction: ArrayLike,
    measures: Mapping[str, float],
    sides_mm: tuple[float, float],
    *,
    start: datetime | None = None,
    walls_mm: Floats | None = None,
) -> Order:
    """Plan the order in one pose.

    Parameters
    ----------
    shop : Shop
        Polymer, machine and prices.
    pieces : Pieces
        The part's surface.
    direction : (3,) array_like
        Build direction.
    measures : Mapping of str to float
        The pose's measures.
    sides_mm : (float, float)
        Longer and shorter side of its footprint.
    start : datetime, optional
        When the first bed can start.
    walls_mm : (W,) float64, optional
        Thicknesses of the part's walls.

    Returns
    -------
    Order
    """
    b = np.asarray(direction, dtype=np.float64).reshape(1, 3)
    columns = {name: np.array([value]) for name, value in measures.items()}
    plan, house = shop.plan, shop.machine
    index = float(_curl_index(shop, sides_mm[0]))
    brim, reason = brim_mm(index, measures["height_mm"], sides_mm[1])
    bands = _bands(plan, pieces, b, 1)
    support, overhang = _support(columns), columns["overhang_projected_mm2"]

    def build(parts: int) -> Build:
        return build_of(bands, support, overhang, plan, parts=parts, brim_mm=brim)

    def bed_hours(parts: int) -> float:
        return float(build(parts).hours[0])

    per_bed = max(side_by_side(b[0], pieces.points.T, house.envelope_mm, brim_mm=brim), 1)
    batch = plan_batch(
        shop.quantity,
        per_bed,
        bed_hours,
        plan.heat_up_min / 60.0,
        scrap_rate=shop.rates.scrap_rate,
        machines=house.count,
        start=start,
        due=None if shop.due is None else datetime.combine(shop.due, time.max),
    )
    shared = build(batch.per_bed)
    one = replace(shared, hours=shared.hours / batch.per_bed)
    cost = _cost(shop, one, columns, per_bed=batch.per_bed)
    unit = float(cost.unit[0])
    table = nozzle_layer_table(
        pieces,
        b[0],
        plan,
        _bores(shop),
        support_mm3=float(support[0]),
        overhang_mm2=float(overhang[0]),
        mean_slope=measures["stair_step_mm"] / plan.layer_mm,
        brim_mm=brim,
        walls_mm=walls_mm,
    )
    alone = build(1)
    return Order(
        curl_index_mm=index,
        brim_mm=brim,
        brim_reason=reason,
        hours=float(alone.hours[0]),
        part_g=float(alone.part_g[0]),
        support_g=float(alone.support_g[0]),
        batch=batch,
        unit_price=unit,
        batch_price=unit * shop.quantity,
        layers=table,
    )


def check_prices(shop: Shop) -> None:
    """Refuse to compare costs where nothing has a price.

    Raises
    ------
    OrientError
        When no price is known, or no density.
    """
    rates, plan = shop.rates, shop.plan
    if not rates.known:
        raise OrientError(
            "There are no prices to rank by: give [rates] in the brief, such as machine_per_hour and "
            "material_per_kg, or an hourly_rate in the machines file."
        )
    if plan.density_g_cm3 is None and rates.material_per_kg is not None:
        raise OrientError(
            f"There is no data on the density of {shop.polymer.key}, so its parts cannot be priced: give "
            "density_g_cm3 in [polymer] of the brief."
        )


def cost_floor(shop: Shop, pieces: Pieces) -> float:
    """Least that the part could cost whichever way it lay: its fill alone, laid at full flow, nothing else.

    It belongs to the part and the shop, not to a pose, so that costs can be compared as shares of it.

    Raises
    ------
    OrientError
        When no price is known, or no density.
    """
    check_prices(shop)
    rates, plan = shop.rates, shop.plan
    volume = max(plan.infill, LEAST_FILL) * pieces.volume_mm3
    hours = volume / plan.flow_mm3_s / 3600.0 * plan.time_factor
    grams = volume * plan.density_g_cm3 / 1000.0 if plan.density_g_cm3 is not None else 0.0
    floor = hours * (rates.machine_per_hour or 0.0) + grams / 1000.0 * (rates.material_per_kg or 0.0)
    # Where only handwork is priced, its hourly rate sets the scale.
    return floor if floor > 0.0 else max(hours * (rates.labour_per_hour or 1.0), 1e-9)


def shop_notes(shop: Shop) -> tuple[str, ...]:
    """List how a saved part is scaled, and what hours and cost of a named machine take for granted."""
    scaled: tuple[str, ...] = ()
    if shop.scale_xyz is not None:
        along = ", ".join(f"{scale:.4f}" for scale in shop.scale_xyz)
        scaled = (
            f"A saved part is scaled by {along} along x, y, z of its pose; every figure is of the part as it "
            "was read.",
        )
    if not shop.named:
        return scaled
    plan, rates = shop.plan, shop.rates
    said = [
        f"Hours are estimated for {plan.contours} contours, {plan.skin_mm:g} mm of solid skin and a fill of "
        f"{100 * plan.infill:g} %, without heat-up ({plan.heat_up_min:g} min)"
        + (f", times {plan.time_factor:g} for this machine." if plan.time_factor != 1.0 else ".")
    ]
    if plan.density_g_cm3 is None:
        said.append(
            f"No data on the density of {shop.polymer.key}: give density_g_cm3 in [polymer] for grams."
        )
    if rates.known and rates.missing:
        said.append(f"The cost leaves out {', '.join(rates.missing)}: [rates] does not give it.")
    if rates.known and rates.unpaid:
        said.append(
            f"The cost counts no minutes for {' and '.join(rates.unpaid)}: give setup_min and drying_min in "
            "[rates]."
        )
    return (*said, *scaled)


def shop_cautions(shop: Shop, brief: Brief, hours: float | None) -> tuple[str, ...]:
    """List what to be careful about in this job, the gravest first, each once.

    Parameters
    ----------
    shop : Shop
        Polymer, machine and service.
    brief : Brief
        What the part is for.
    hours : float or None
        Build time of the pose to take.

    Returns
    -------
    tuple of str
    """
    said = [_sentence(check.reason) for check in shop.service if check.verdict == "no"]
    if shop.machine_named and shop.chosen.verdict == "no":
        said += [
            f"{shop.machine.name} cannot run {shop.polymer.key}: {one.reason}"
            for one in shop.chosen.requirements
            if one.verdict == "no"
        ]
    said += [_sentence(check.reason) for check in shop.service if check.verdict == "care"]
    if shop.machine_named:
        said += [_sentence(one.reason) for one in shop.chosen.requirements if one.verdict == "care"]
    if shop.polymer_named or shop.machine_named or brief.job.use:
        house = shop.machine if shop.machine_named else None
        said += cautions_for(brief, shop.polymer, house, shop.support, hours if shop.machine_named else None)
    return tuple(dict.fromkeys(said))


def _curl_index(shop: Shop, longer_mm: ArrayLike, house: Machine | None = None) -> Floats:
    """Tendency of footprints to lift their corners on a machine, by their longer sides."""
    house = shop.machine if house is None else house
    return curl_index_mm(
        longer_mm, shop.polymer, shop.plan.layer_mm, house.chamber_max_c[0], enclosed=house.enclosed
    )


def _bands(plan: Plan, pieces: Pieces, directions: Floats, threads: int | None) -> Bands:
    return bands_of(pieces, directions, plan.solid_mm, plan.contours_mm, threads=threads)


def _support(columns: Mapping[str, Floats]) -> Floats:
    geometric = columns["support_volume_mm3"]
    needed = columns.get("support_needed_mm3")
    return geometric if needed is None else np.where(np.isfinite(needed), needed, geometric)


def _cost(shop: Shop, build: Build, columns: Mapping[str, Floats], per_bed: int = 1) -> Cost:
    volume = columns["support_volume_mm3"]
    share = np.clip(columns["support_on_part_mm3"] / np.maximum(volume, 1e-300), 0.0, 1.0)
    # Support that holes and bridges do without leaves no scars either.
    needed = np.clip(_support(columns) / np.maximum(volume, 1e-300), 0.0, 1.0)
    return cost_of(
        build,
        columns["scar_area_mm2"] * np.where(volume > 0.0, needed, 1.0),
        np.where(volume > 0.0, share, 0.0),
        shop.rates,
        shop.support,
        quantity=shop.quantity,
        per_bed=per_bed,
    )


def _scale(brief: Brief, polymer: Properties) -> tuple[float, float, float] | None:
    if not brief.process.make_up_shrinkage:
        return brief.process.scale_xyz
    scale = shrinkage_scale(polymer)
    if scale is None:
        raise OrientError(
            f"There is no data on the shrinkage of {polymer.key}: measure a printed bar and give scale_xyz "
            "in [process] of the brief, such as [1.004, 1.004, 1.006]."
        )
    return scale


def _bores(shop: Shop) -> tuple[float, ...]:
    """Nozzles at hand that the polymer does not clog; all of them where it clogs every one."""
    least = shop.polymer.least_nozzle_mm
    wide = tuple(bore for bore in shop.machine.nozzles_mm if least is None or bore >= least.nominal)
    return wide or shop.machine.nozzles_mm


def _sentence(reason: str) -> str:
    return reason[:1].upper() + reason[1:]

"""An order of parts as beds: how many on each, hours, grams and cost of each, and when all are done."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.cost.bands import bands_of, surface_pieces
from orient.cost.batch import spares_for
from orient.cost.envelope import GAP_MM, MARGIN_MM
from orient.cost.money import cost_of
from orient.cost.time import Build, build_of
from orient.errors import OrientError
from orient.evaluation import Evaluation
from orient.handover.beds import Bed, Room, grid_count, lay_beds, most_on
from orient.handover.meshfile import mesh_bytes
from orient.handover.oriented import (
    SCHEMA,
    STRENGTH_CAUTION,
    Laid,
    laid_pose,
    metadata_of,
    pose_row,
    room_words,
)
from orient.handover.silhouette import Silhouette, silhouette_of, turned
from orient.handover.threemf import Item

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Ordered:
    """One part of an order, in the pose that is built.

    Attributes
    ----------
    evaluation : Evaluation
        What was found of it.
    row : int
        Row of its pose in the ranking.
    copies : int
        How many are built.
    spares : int
        How many of these are for builds that fail.
    laid : Laid
        The part on the bed.
    silhouette : Silhouette
        What it covers of the bed.
    brim_mm : float
        Brim round each copy.
    """

    evaluation: Evaluation
    row: int
    copies: int
    spares: int
    laid: Laid
    silhouette: Silhouette
    brim_mm: float

    @property
    def name(self) -> str:
        """The part's name."""
        return self.evaluation.part.name

    @property
    def wanted(self) -> int:
        """Good parts that are asked for."""
        return self.copies - self.spares


@dataclass(frozen=True)
class BedFigures:
    """What a bed takes.

    Attributes
    ----------
    parts : int
        Parts on it.
    hours : float
        Build time, heat-up counted.
    grams : float or None
        Parts and supports.
    cost : float or None
        All parts on it; None where no price is known.
    """

    parts: int
    hours: float
    grams: float | None
    cost: float | None


@dataclass(frozen=True)
class PoseChoice:
    """What a pose would mean for a bed full of one part: more on the bed against more support."""

    rank: int
    per_bed: int
    grid: int
    minutes_each: float
    support_g: float | None
    cost_each: float | None


@dataclass(frozen=True, eq=False)
class Order:
    """Beds of an order.

    Attributes
    ----------
    parts : tuple of Ordered
        What is built.
    room : Room
        The bed.
    beds : tuple of Bed
        Layouts and how often each is run.
    figures : tuple of BedFigures
        Of one run of each layout.
    hours : float
        From the first start to the last part, the machines side by side.
    machines : int
        Machines that work at it.
    done, late :
        When it is done and whether that is too late; None where no day is due.
    poses : tuple of PoseChoice
        Of the poses shown, where there is one part.
    grid : int or None
        Copies of the one part in rows and columns of rectangles.
    """

    parts: tuple[Ordered, ...]
    room: Room
    beds: tuple[Bed, ...]
    figures: tuple[BedFigures, ...]
    hours: float
    machines: int
    done: datetime | None
    late: bool | None
    poses: tuple[PoseChoice, ...]
    grid: int | None

    @property
    def bed_count(self) -> int:
        """Beds in all."""
        return sum(bed.times for bed in self.beds)

    @property
    def grams(self) -> float | None:
        """Parts and supports of all beds."""
        return _total([one.grams for one in self.figures], self.beds)


def order_parts(
    found: Sequence[Evaluation],
    copies: Sequence[int],
    *,
    spares: bool = False,
    pose: int | None = None,
    gap_mm: float = GAP_MM,
    margin_mm: float = MARGIN_MM,
    start: datetime | None = None,
) -> Order:
    """Lay an order out on beds.

    Parameters
    ----------
    found : sequence of Evaluation
        Parts, all under one brief.
    copies : sequence of int
        How many of each.
    spares : bool
        Whether these are good parts wanted, so that spares are laid beside them as a ranking counts them
        (`orient.cost.batch.spares_for`); else exactly so many are laid.
    pose : int, optional
        Rank of the pose; the recommended one of each part when left out.
    gap_mm, margin_mm : float
        Between parts or their brims; at the sides of the bed.
    start : datetime, optional
        When the first bed starts.

    Returns
    -------
    Order

    Raises
    ------
    OrientError
        For a part that no bed has room for: by how much, and which poses fit.
    """
    shop = found[0].shop.shop
    wide, deep, _ = shop.machine.envelope_mm
    room = Room(wide, deep, margin_mm, gap_mm)
    parts = tuple(
        _ordered(one, pose_row(one, pose), many, spares_for(many, shop.rates.scrap_rate) if spares else 0)
        for one, many in zip(found, copies, strict=True)
    )
    for part in parts:
        _refuse_too_large(part, room)
    beds = lay_beds(
        [part.silhouette for part in parts], [part.copies for part in parts], room, [p.brim_mm for p in parts]
    )
    figures = tuple(_figures(parts, bed) for bed in beds)
    machines = max(shop.machine.count, 1)
    runs = [one.hours for one, bed in zip(figures, beds, strict=True) for _ in range(min(bed.times, 100_000))]
    free = np.zeros(min(machines, len(runs)))
    for hours in runs:  # the next bed goes to the machine that is free first
        free[int(free.argmin())] += hours
    hours = float(free.max())
    done = late = None
    if start is not None:
        done = start + timedelta(hours=min(hours, 8e6))
        late = None if shop.due is None else done > datetime.combine(shop.due, time.max)
    alone = len(parts) == 1
    poses = _choices(parts[0], room) if alone else ()
    grid = grid_count(parts[0].silhouette, room, parts[0].brim_mm) if alone else None
    return Order(parts, room, beds, figures, hours, machines, done, late, poses, grid)


def _ordered(found: Evaluation, row: int, wanted: int, spares: int = 0) -> Ordered:
    laid = laid_pose(found, row + 1)
    return Ordered(
        found,
        row,
        wanted + spares,
        spares,
        laid,
        silhouette_of(laid.vertices, found.part.faces),
        float(found.shop.poses.brim_mm[row]),
    )


def _refuse_too_large(part: Ordered, room: Room) -> None:
    shop = part.evaluation.shop.shop
    tall = float(part.laid.size_mm[2]) - shop.machine.envelope_mm[2]
    fits = tall <= 1e-6 and bool(_one_fits(part.silhouette, room, part.brim_mm))
    if fits:
        return
    found = part.evaluation
    others = [row + 1 for row in found.ranking.shown if row != part.row and _fits_at(found, row, room)]
    over = tall if tall > 1e-6 else _over(part.silhouette, room, part.brim_mm)
    way = "tall" if tall > 1e-6 else "wide"
    mend = (
        f"take pose {' or '.join(str(rank) for rank in others)}, which fits."
        if others
        else "none of the poses shown fits; take a larger machine."
    )
    against = room_words(part.laid, shop, room.margin_mm + part.brim_mm)
    raise OrientError(f"{part.name} in pose {part.row + 1} is {over:.1f} mm too {way}: {against}: {mend}")


def _one_fits(shape: Silhouette, room: Room, brim: float) -> bool:
    try:
        lay_beds([shape], [1], room, [brim])
    except OrientError:
        return False
    return True


def _fits_at(found: Evaluation, row: int, room: Room) -> bool:
    one = _ordered(found, row, 1)
    tall = float(one.laid.size_mm[2]) <= found.shop.shop.machine.envelope_mm[2] + 1e-6
    return tall and _one_fits(one.silhouette, room, one.brim_mm)


def _over(shape: Silhouette, room: Room, brim: float) -> float:
    low_x, low_y, high_x, high_y = shape.true.bounds
    width, depth = (side - 2 * brim for side in room.inner_mm)
    a, b = high_x - low_x, high_y - low_y
    return max(min(max(a - width, b - depth), max(b - width, a - depth)), 0.0)


def _build(part: Ordered, count: int) -> Build:
    found, row = part.evaluation, part.row
    plan, columns = found.shop.shop.plan, found.ranking.columns
    direction = found.ranking.directions[row][None]
    bands = bands_of(surface_pieces(found.part), direction, plan.solid_mm, plan.contours_mm)
    support = float(columns["support_volume_mm3"][row])
    needed = columns.get("support_needed_mm3")
    if needed is not None and np.isfinite(needed[row]):
        support = float(needed[row])
    overhang = np.array([columns["overhang_projected_mm2"][row]])
    return build_of(bands, np.array([support]), overhang, plan, parts=count, brim_mm=part.brim_mm)


def _figures(parts: Sequence[Ordered], bed: Bed) -> BedFigures:
    """Hours, grams and cost of one bed.

    Parts of several kinds share the changes of layer of the tallest; what each waits for its layers to set is
    counted as if it were alone, so their hours are an upper end.
    """
    hours, grams, cost = 0.0, 0.0, 0.0
    layers: list[float] = []
    for kind, part in enumerate(parts):
        count = bed.count(kind)
        if not count:
            continue
        build = _build(part, count)
        plan = part.evaluation.shop.shop.plan
        hours += float(build.hours[0])
        layers.append(
            float(part.laid.size_mm[2]) / plan.layer_mm * plan.layer_change_s / 3600.0 * plan.time_factor
        )
        grams += count * float(build.part_g[0] + build.support_g[0])
        cost += count * _unit_cost(part, build, count, len(bed.placements))
    hours -= sum(layers) - max(layers)
    plan = parts[0].evaluation.shop.shop.plan
    return BedFigures(
        parts=len(bed.placements),
        hours=hours + plan.heat_up_min / 60.0,
        grams=grams if math.isfinite(grams) else None,
        cost=cost if math.isfinite(cost) else None,
    )


def _unit_cost(part: Ordered, build: Build, count: int, on_bed: int) -> float:
    found, row = part.evaluation, part.row
    shop, columns = found.shop.shop, found.ranking.columns
    # What fails is paid for once: by the spares that are laid, or on average where none are.
    rates = replace(shop.rates, scrap_rate=0.0) if part.spares else shop.rates
    volume = float(columns["support_volume_mm3"][row])
    on_part = float(columns["support_on_part_mm3"][row]) / volume if volume > 0 else 0.0
    priced = cost_of(
        replace(build, hours=build.hours / count),
        np.array([float(columns["scar_area_mm2"][row])]),
        np.array([min(max(on_part, 0.0), 1.0)]),
        rates,
        shop.support,
        quantity=max(part.copies, 1),
        per_bed=on_bed,
    )
    return float(priced.unit[0])


def _choices(part: Ordered, room: Room) -> tuple[PoseChoice, ...]:
    found = part.evaluation
    said = []
    for row in found.ranking.shown:
        one = part if row == part.row else _ordered(found, row, part.wanted, part.spares)
        if float(one.laid.size_mm[2]) > found.shop.shop.machine.envelope_mm[2] + 1e-6:
            continue
        per_bed = len(most_on(one.silhouette, room, one.brim_mm))
        if per_bed == 0:
            continue
        count = min(per_bed, part.copies)
        build = _build(one, count)
        support, cost = float(build.support_g[0]), _unit_cost(one, build, count, count)
        said.append(
            PoseChoice(
                rank=row + 1,
                per_bed=per_bed,
                grid=grid_count(one.silhouette, room, one.brim_mm),
                minutes_each=60.0 * (float(build.hours[0]) + build.heat_up_hours) / count,
                support_g=support if math.isfinite(support) else None,
                cost_each=cost if math.isfinite(cost) else None,
            )
        )
    return tuple(said)


def bed_bytes(order: Order, bed: Bed, kind: str) -> bytes:
    """Write one bed as a file; a 3MF holds every part once and where its copies stand.

    Returns
    -------
    bytes
        Read back and compared.
    """
    items = []
    for number, part in enumerate(order.parts):
        places = []
        for one in bed.placements:
            if one.kind == number:
                place = np.eye(4)
                place[:2, :2] = turned(one.turn_deg)
                place[:2, 3] = one.x_mm, one.y_mm
                places.append(place)
        if places:
            found = part.evaluation.part
            items.append(Item(part.name, part.laid.vertices, found.faces, found.closed, tuple(places)))
    said = metadata_of(order.parts[0].evaluation, order.parts[0].row + 1)
    said["Title"] = ", ".join(
        f"{bed.count(k)} × {part.name}" for k, part in enumerate(order.parts) if bed.count(k)
    )
    figures = order.figures[order.beds.index(bed)]
    said["hours"] = f"{figures.hours:.4g}"
    if figures.grams is not None:
        said["grams"] = f"{figures.grams:.4g}"
    return mesh_bytes(items, kind, said)


def order_document(order: Order, paths: Sequence[str]) -> dict[str, Any]:
    """Say what was laid out, as plain values ready for JSON.

    Parameters
    ----------
    order : Order
        The order.
    paths : sequence of str
        File of each layout.

    Returns
    -------
    dict
        Schema ``orient/handover/1``; each layout is listed once, with how often it is run.
    """
    beds, placements, seen = [], [], [0] * len(order.parts)
    for number, (bed, figures) in enumerate(zip(order.beds, order.figures, strict=True)):
        beds.append(
            {
                "bed": number + 1,
                "path": paths[number] if number < len(paths) else None,
                "times": bed.times,
                "parts": figures.parts,
                "hours": round(figures.hours, 4),
                "grams": _rounded(figures.grams, 2),
                "cost": _rounded(figures.cost, 2),
            }
        )
        for one in bed.placements:
            seen[one.kind] += 1
            placements.append(
                {
                    "part": order.parts[one.kind].name,
                    "copy": seen[one.kind],
                    "x_mm": round(one.x_mm, 4),
                    "y_mm": round(one.y_mm, 4),
                    "turn_deg": round(one.turn_deg, 6),
                    "bed": number + 1,
                }
            )
    shop = order.parts[0].evaluation.shop.shop
    machine_hours = sum(f.hours * b.times for f, b in zip(order.figures, order.beds, strict=True))
    costs = [f.cost for f in order.figures]
    total = sum(f.parts * b.times for f, b in zip(order.figures, order.beds, strict=True))
    all_grams = order.grams
    all_cost = _total(costs, order.beds)
    wanted = sum(part.wanted for part in order.parts)
    return {
        "schema": SCHEMA,
        "what": "batch",
        "path": paths[0] if paths else None,
        "bed_mm": [order.room.width_mm, order.room.depth_mm],
        "gap_mm": order.room.gap_mm,
        "margin_mm": order.room.margin_mm,
        "machine": shop.machine.name,
        "machine_named": shop.machine_named,
        "currency": shop.rates.currency,
        "scrap_rate": shop.rates.scrap_rate,
        "parts": [
            {
                "part": part.name,
                "copies": part.copies,
                "wanted": part.wanted,
                "spares": part.spares,
                "pose": part.row + 1,
                "size_mm": [round(float(side), 4) for side in part.laid.size_mm],
                "volume_mm3": round(part.evaluation.part.volume_mm3, 4),
                "brim_mm": round(part.brim_mm, 3),
                "part_sha256": part.evaluation.part.content_hash,
                "warnings": list(part.evaluation.warnings),
            }
            for part in order.parts
        ],
        "beds": beds,
        "bed_count": order.bed_count,
        "part_count": total,
        "minutes": round(60.0 * order.hours, 2),
        "machine_hours": round(machine_hours, 4),
        "machines": order.machines,
        "minutes_each": round(60.0 * machine_hours / total, 3),
        "grams": _rounded(all_grams, 2),
        "grams_each": _rounded(None if all_grams is None else all_grams / total, 3),
        "cost": _rounded(all_cost, 2),
        # A good part pays for the spares.
        "cost_each": _rounded(None if all_cost is None else all_cost / wanted, 4),
        "done": None if order.done is None else order.done.isoformat(timespec="minutes"),
        "late": order.late,
        "rows_and_columns": order.grid,
        "poses": [
            {
                "pose": one.rank,
                "per_bed": one.per_bed,
                "rows_and_columns": one.grid,
                "minutes_each": round(one.minutes_each, 3),
                "support_g": _rounded(one.support_g, 3),
                "cost_each": _rounded(one.cost_each, 4),
            }
            for one in order.poses
        ],
        "placements": placements,
        "caution": STRENGTH_CAUTION,
    }


def _total(values: Sequence[float | None], beds: Sequence[Bed]) -> float | None:
    if any(value is None for value in values):
        return None
    return sum((value or 0.0) * bed.times for value, bed in zip(values, beds, strict=True))


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)

"""The shop's section in words and JSON: machines, service, what the pose takes, what to tune."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.cost.cautions import cautions_for
from orient.cost.fitness import Fitness
from orient.cost.shop import Order, Priced
from orient.cost.tuning import TuningSheet, tuning_sheet
from orient.evaluation import Evaluation
from orient.materials.machines import Machine, machine_classes
from orient.materials.polymers import Spread, polymers
from orient.materials.properties import all_properties
from orient.show.words import direction_words

SHOP_SCHEMA = "orient/shop/1"
POLYMERS_SCHEMA = "orient/polymers/1"
MACHINES_SCHEMA = "orient/machines/1"

NO_DATA = "no data"
# A verdict is a word and a mark, never a colour alone.
MARKS = {"runs": "● runs", "care": "◐ care", "no": "○ no"}


def pose_shop(poses: Priced, row: int) -> dict[str, Any]:
    """One candidate's ``shop``: hours, grams, minutes, cost and fit; None where there is no data."""
    return {
        "hours": _number(poses.hours[row]),
        "part_g": _number(poses.part_g[row]),
        "support_g": _number(poses.support_g[row]),
        "finishing_min": _number(poses.finishing_min[row]),
        "cost": _number(poses.unit_cost[row]),
        "fits": None if poses.fits is None else bool(poses.fits[row]),
    }


def pose_brim(poses: Priced, row: int) -> dict[str, Any]:
    """How one candidate tends to lift its corners, and the brim that its hours, grams and cost count in."""
    return {"curl_index_mm": _number(poses.curl_index_mm[row]), "brim_mm": _number(poses.brim_mm[row])}


def shop_document(evaluation: Evaluation) -> dict[str, Any]:
    """The shop's section as plain values, ready for JSON.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.

    Returns
    -------
    dict
        Schema ``orient/shop/1``: every machine with verdict and reasons, the service, the cautions, the
        limits of the process with their sources, and the pose to take as an order.
    """
    section = evaluation.shop
    shop, order, process = section.shop, section.order, evaluation.process
    taken = evaluation.ranking.recommended - 1
    return {
        "schema": SHOP_SCHEMA,
        "polymer": shop.polymer.key,
        "machine": shop.machine.name,
        "machine_named": shop.machine_named,
        "support": {
            "name": shop.support.name,
            "removal": shop.support.removal,
            "source": shop.support.source,
        },
        "machines": [_fitness(one) for one in shop.machines],
        "service": [
            {
                "about": one.about,
                "verdict": one.verdict,
                "reason": one.reason,
                "margin_c": None if one.margin_c is None else _number(one.margin_c),
            }
            for one in shop.service
        ],
        "warnings": list(evaluation.warnings),
        "cautions": list(_cautions(evaluation)),
        "limits": {
            "overhang_limit_deg": process.overhang_limit_deg,
            "geometric_overhang_deg": _number(process.geometric_overhang_deg),
            "layer_height_mm": process.layer_height_mm,
            "line_width_mm": process.line_width_mm,
            "nozzle_mm": process.nozzle_mm,
            **process.feature_limits(),
        },
        "limit_sources": dict(process.sources),
        "plan_sources": dict(shop.plan.sources),
        "pose": {
            "rank": evaluation.ranking.recommended,
            "build_direction": [_number(x) for x in evaluation.ranking.directions[taken]],
            "height_mm": _number(evaluation.ranking.columns["height_mm"][taken]),
            **pose_shop(section.poses, taken),
            "hours": _number(order.hours),
            "part_g": _number(order.part_g),
            "support_g": _number(order.support_g),
            "heat_up_min": shop.plan.heat_up_min,
            "currency": shop.rates.currency,
            "scale_xyz": None if shop.scale_xyz is None else list(shop.scale_xyz),
            "assumed_machine": None if shop.machine_named else shop.machine.name,
            **_order(order, shop.chosen.verdict != "no"),
        },
        "tuning": _tuning(tuning_sheet(shop.polymer, _flagged(evaluation))),
    }


def shop_summary(evaluation: Evaluation) -> dict[str, Any]:
    """What a ranking says of the shop beside its candidates: the machine, its verdict, and the order."""
    shop, order = evaluation.shop.shop, evaluation.shop.order
    return {
        "polymer": shop.polymer.key,
        "machine": shop.machine.name,
        "machine_named": shop.machine_named,
        "verdict": shop.chosen.verdict,
        "currency": shop.rates.currency,
        "heat_up_min": shop.plan.heat_up_min,
        **_order(order, shop.chosen.verdict != "no"),
    }


def shop_json(evaluation: Evaluation) -> str:
    """The shop's section as JSON text, with a newline at the end."""
    return _text(shop_document(evaluation))


def polymers_document() -> dict[str, Any]:
    """Every polymer: strengths and other figures, with low, nominal, high and source."""
    listed = []
    for key, tested in polymers().items():
        known = all_properties()[key]
        strengths = {
            "strength_in_layer_mpa": tested.in_layer_mpa,
            "strength_across_mpa": tested.across_mpa,
        }
        listed.append(
            {
                "key": key,
                "name": tested.name,
                "aliases": list(tested.aliases),
                "remark": tested.remark,
                "grade": known.grade.word,
                "crystalline": known.crystalline,
                "filled": known.filled,
                "soft": known.soft,
                **{
                    name: {"is": getattr(known, name).word, "source": getattr(known, name).source}
                    for name in ("surroundings", "moisture", "sunlight", "creep", "water", "fumes")
                },
                "figures": {name: _spread(value) for name, value in (strengths | known.figures()).items()},
                "tests": [
                    {
                        "in_layer_mpa": list(one.in_layer_mpa),
                        "across_mpa": one.across_mpa,
                        "specimen": one.specimen,
                        "source": one.source,
                    }
                    for one in tested.tests
                ],
            }
        )
    return {"schema": POLYMERS_SCHEMA, "polymers": listed}


def polymers_json() -> str:
    """The polymers as JSON text."""
    return _text(polymers_document())


def machines_document(own: Iterable[Machine] = ()) -> dict[str, Any]:
    """The shop's machines and the three classes."""
    return {
        "schema": MACHINES_SCHEMA,
        "machines": [
            {
                "name": one.name,
                "class": one.kind,
                "own": one.own,
                "nozzle_max_c": list(one.nozzle_max_c),
                "bed_max_c": list(one.bed_max_c),
                "chamber_max_c": list(one.chamber_max_c),
                "envelope_mm": list(one.envelope_mm),
                "nozzles_mm": list(one.nozzles_mm),
                "nozzle_material": one.nozzle_material,
                "extruders": one.extruders,
                "feed": one.feed,
                "enclosed": one.enclosed,
                "dry_feed": one.dry_feed,
                "hourly_rate": one.hourly_rate,
                "time_factor": one.time_factor,
                "count": one.count,
                "sources": dict(one.sources),
            }
            for one in (*own, *machine_classes().values())
        ],
    }


def machines_json(own: Iterable[Machine] = ()) -> str:
    """The machines as JSON text."""
    return _text(machines_document(own))


def shop_view(evaluation: Evaluation, *, tuning: bool = False) -> RenderableType:
    """What a person reads of the shop's section.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    tuning : bool
        Whether to add the tuning sheet.

    Returns
    -------
    rich renderable
    """
    section = evaluation.shop
    shop = section.shop
    process = evaluation.process
    head = f"{evaluation.part.name} in {shop.polymer.key}"
    parts: list[RenderableType] = [Text(head, style="bold")]
    parts += [Text(f"Not as it stands: {said}", style="bold") for said in objections(evaluation)]
    parts += [_point(said) for said in evaluation.warnings]
    parts += ["", _machine_table(evaluation), ""]
    if shop.service:
        parts += [Text("Service", style="bold"), *[_point(_capital(one.reason)) for one in shop.service], ""]
    parts += [
        Text("Limits", style="bold"),
        _point(
            f"Overhang {process.overhang_limit_deg:g}° from the vertical; half of a line rests on the one "
            "below up to "
            f"{process.geometric_overhang_deg:.1f}°. Bridge {process.bridge_limit_mm:g} mm."
        ),
        _point(
            f"Line {process.line_width_mm:g} mm, layer {process.layer_height_mm:g} mm; wall "
            f"{process.wall_limit_mm:g}, "
            f"hole {process.hole_limit_mm:g}, pin {process.pin_limit_mm:g}, gap {process.gap_limit_mm:g} "
            "mm."
        ),
        "",
    ]
    parts += _order_view(evaluation)
    # What the sections above say already is not said again.
    said_above = {_capital(one.reason) for one in shop.service} | {
        _capital(one.reason) for one in shop.chosen.requirements
    }
    cautions = [said for said in _cautions(evaluation) if said not in said_above]
    # Every STL has its corners merged: that is no news to a reader.
    if notes := [note for note in evaluation.notes if "corners were merged" not in note]:
        parts += ["", Text("Notes", style="bold"), *[_point(note) for note in notes]]
    if cautions:
        parts += ["", Text("Caution", style="bold"), *[_point(said) for said in cautions]]
    if tuning:
        parts += ["", *_tuning_view(tuning_sheet(shop.polymer, _flagged(evaluation)))]
    return Group(*parts)


def objections(evaluation: Evaluation) -> tuple[str, ...]:
    """What speaks against going ahead at all: no machine for the job, or a service the polymer can't bear."""
    shop = evaluation.shop.shop
    against = [one.reason for one in shop.service if one.verdict == "no"]
    if shop.chosen.verdict == "no":
        name = shop.machine.name if shop.machine_named else "no class of machine"
        verb = "cannot" if shop.machine_named else "can"
        against.append(f"{name} {verb} run it; the reasons are given for each.")
    return tuple(against)


def order_words(evaluation: Evaluation) -> str:
    """The order in one sentence: how many, on how many beds, when done, at what price."""
    shop, order = evaluation.shop.shop, evaluation.shop.order
    if shop.chosen.verdict == "no":
        name = shop.machine.name if shop.machine_named else "no class of machine"
        verb = "cannot" if shop.machine_named else "can"
        return f"No bed, price or date is given, as {name} {verb} run it."
    money = f" {shop.rates.currency}" if shop.rates.currency else ""
    batch = order.batch
    spare = f" and {batch.spares} spare, enough for 19 orders in 20" if batch.spares else ""
    count = f"{batch.quantity} wanted{spare}"
    beds = f"{batch.beds} beds of {batch.per_bed}" if batch.beds > 1 else f"one bed of {batch.per_bed}"
    line = f"{count}: {beds}, {batch.hours:.1f} h from start to end"
    if math.isfinite(order.unit_price):
        line += f"; {order.unit_price:.2f}{money} each, {order.batch_price:.2f}{money} for the "
        line += f"{batch.quantity}, what fails on average counted in" if batch.spares else "order"
    if batch.done is not None:
        line += f"; done {batch.done:%Y-%m-%d %H:%M}"
        if batch.late is not None:
            line += ", late" if batch.late else ", in time"
    return line + "."


def polymers_view() -> RenderableType:
    """The polymers as a table."""
    table = _plain_table(
        (
            "polymer",
            "grade",
            "nozzle\n°C",
            "bed\n°C",
            "around",
            "softens\n°C",
            "in layer\nMPa",
            "across\nMPa",
            "g/cm³",
        )
    )
    for key, tested in polymers().items():
        known = all_properties()[key]
        table.add_row(
            key,
            {"high-performance": "high"}.get(known.grade.word, known.grade.word),
            f"{known.nozzle_c.low:g}–{known.nozzle_c.high:g}",
            f"{known.bed_c.low:g}–{known.bed_c.high:g}",
            known.surroundings.word,
            _figure(known.glass_c),
            _figure(tested.in_layer_mpa),
            _figure(tested.across_mpa),
            _figure(known.density_g_cm3, "{:.2f}"),
        )
    said = (
        "–: no data. across: strength across the layers, nominal. Every figure's source, and its low and "
        "high: "
        "--json."
    )
    return Group(table, Text(said, style="dim italic"))


def machines_view(own: Sequence[Machine] = ()) -> RenderableType:
    """The machines as a table."""
    table = _plain_table(
        ("machine", "class", "nozzle\n°C", "bed\n°C", "chamber\n°C", "room\nmm", "nozzles\nmm", "feed")
    )
    for one in (*own, *machine_classes().values()):
        chamber = _range(one.chamber_max_c) if one.chamber_max_c[1] else ("none" if one.enclosed else "open")
        table.add_row(
            one.name,
            one.kind if one.own else "",
            _range(one.nozzle_max_c),
            _range(one.bed_max_c),
            chamber,
            "×".join(f"{side:g}" for side in one.envelope_mm),
            ", ".join(f"{bore:g}" for bore in one.nozzles_mm),
            one.feed,
        )
    said = "Classes are common practice, no source; a shop's own machines are read with --machines FILE."
    return Group(table, Text(said, style="dim italic"))


def _cautions(evaluation: Evaluation) -> tuple[str, ...]:
    """Cautions of the evaluation, and of the machine that stands in where none was named."""
    section = evaluation.shop
    shop, taken = section.shop, evaluation.ranking.recommended - 1
    hours = float(section.poses.hours[taken])
    own = cautions_for(evaluation.brief, shop.polymer, shop.machine, shop.support, hours)
    return (*(said for said in evaluation.cautions if said not in own), *own)


def _flagged(evaluation: Evaluation) -> list[tuple[str, str]]:
    """Kind and id of the hard features of the pose to take."""
    return [] if evaluation.features is None else evaluation.features.flagged()


def _machine_table(evaluation: Evaluation) -> Table:
    table = _plain_table(("machine", "", "why"))
    for one in evaluation.shop.shop.machines:
        reasons = [part.reason for part in one.requirements if part.verdict != "runs"]
        if not reasons:
            notes = [part.reason for part in one.requirements if part.about in ("drying", "surroundings")]
            reasons = [note for note in notes if "none" not in note] or ["nothing missing."]
        shop = evaluation.shop.shop
        taken = one.machine.name == shop.machine.name and (shop.machine_named or one.verdict != "no")
        name = f"{one.machine.name} ◀" if taken else one.machine.name
        table.add_row(name, MARKS[one.verdict], _capital(" ".join(_capital(reason) for reason in reasons)))
    return table


def _order_view(evaluation: Evaluation) -> list[RenderableType]:
    section = evaluation.shop
    shop, order, poses = section.shop, section.order, section.poses
    taken = evaluation.ranking.recommended - 1
    grams = [f"{_grams(order.part_g)} g", f"{_grams(order.support_g)} g of support"]
    named = "" if shop.machine_named else f" (on a machine of the {shop.machine.name} class)"
    said: list[str] = [
        f"{order.hours:.1f} h{named}, filled to {100 * shop.plan.infill:g} %, and "
        f"{shop.plan.heat_up_min:g} min to heat up; "
        f"{', '.join(grams)}; "
        f"{poses.finishing_min[taken]:.0f} min of finishing."
    ]
    said.append(order_words(evaluation))
    if order.brim_reason:
        said.append(order.brim_reason)
    elif math.isnan(order.curl_index_mm):
        said.append(f"No data on how {shop.polymer.key} lifts its corners.")
    heads = ["nozzle\nmm", "layer\nmm", "hours", "steps\nmm"]
    if walls_known := all(one.walls_below_two_lines is not None for one in order.layers):
        heads.append("walls below\ntwo lines")
    table = _plain_table(heads)
    for one in order.layers:
        cells = [f"{one.nozzle_mm:g}", f"{one.layer_mm:g}", f"{one.hours:.1f}", f"{one.cusp_mm:.3f}"]
        table.add_row(*cells, *([str(one.walls_below_two_lines)] if walls_known else []))
    along = direction_words(evaluation.ranking.directions[taken])
    title = (
        f"Pose {evaluation.ranking.recommended}, the one to take: build along {along}, "
        f"{evaluation.ranking.columns['height_mm'][taken]:.1f} mm high"
    )
    return [Text(title, style="bold"), *[_point(line) for line in said], Padding(table, (0, 0, 0, 2))]


def _tuning_view(sheet: TuningSheet) -> list[RenderableType]:
    parts: list[RenderableType] = [
        Text(f"Tuning sheet for {sheet.polymer}", style="bold"),
        _point("Start from " + "; ".join(f"{name} {figure}" for name, figure, _ in sheet.start) + "."),
        *[_point(check) for check in sheet.checks],
    ]
    for topic in sheet.topics:
        called = f" ({', '.join(topic.features)})" if topic.features else ""
        parts += ["", Text(topic.title + called, style="bold")]
        parts += [
            _point(f"{_capital(one.knob)}: {one.turn}. Step: {one.step}. Judge: {one.judge}.")
            for one in topic.steps
        ]
    return [*parts, "", Text(f"All of it: {sheet.source}.", style="dim italic")]


def _fitness(one: Fitness) -> dict[str, Any]:
    return {
        "name": one.machine.name,
        "class": one.machine.kind,
        "own": one.machine.own,
        "verdict": one.verdict,
        "fits": one.has_room,
        "reasons": list(one.reasons),
        "requirements": [
            {
                "about": part.about,
                "verdict": part.verdict,
                "needs_c": part.needs_c,
                "has_c": part.has_c,
                "margin_c": part.margin_c,
                "reason": part.reason,
            }
            for part in one.requirements
        ],
    }


def _order(order: Order, runs: bool) -> dict[str, Any]:
    """The order; without beds, date or price where no machine runs it."""
    batch = order.batch
    return {
        "curl_index_mm": _number(order.curl_index_mm),
        "brim_mm": order.brim_mm,
        "brim_reason": order.brim_reason or None,
        "order": {
            "quantity": batch.quantity,
            "spares": batch.spares,
            "per_bed": batch.per_bed if runs else None,
            "beds": batch.beds if runs else None,
            "hours": _number(batch.hours) if runs else None,
            "machine_hours": _number(batch.machine_hours) if runs else None,
            "done": batch.done.isoformat(timespec="minutes") if runs and batch.done else None,
            "late": batch.late if runs else None,
            "unit_price": _number(order.unit_price) if runs else None,
            "batch_price": _number(order.batch_price) if runs else None,
        },
        "layers": [
            {
                "nozzle_mm": one.nozzle_mm,
                "layer_mm": one.layer_mm,
                "line_mm": one.line_mm,
                "hours": _number(one.hours),
                "cusp_mm": _number(one.cusp_mm),
                "walls_below_two_lines": one.walls_below_two_lines,
            }
            for one in order.layers
        ],
    }


def _tuning(sheet: TuningSheet) -> dict[str, Any]:
    return {
        "source": sheet.source,
        "start": [
            {"setting": name, "figure": figure, "source": source} for name, figure, source in sheet.start
        ],
        "checks": list(sheet.checks),
        "topics": [
            {
                "title": topic.title,
                "features": list(topic.features),
                "steps": [vars(one) for one in topic.steps],
            }
            for topic in sheet.topics
        ],
    }


def _spread(value: Spread | None) -> dict[str, Any] | str:
    if value is None:
        return NO_DATA
    return {
        "low": _number(value.low),
        "nominal": _number(value.nominal),
        "high": _number(value.high),
        "source": value.source,
    }


def _figure(value: Spread | None, written: str = "{:.0f}") -> str:
    return "–" if value is None else written.format(value.nominal)


def _grams(value: float) -> str:
    return NO_DATA if math.isnan(value) else f"{value:.0f}"


def _range(reach: tuple[float, float]) -> str:
    low, high = reach
    return f"{low:g}" if low == high else f"{low:g}–{high:g}"


def _plain_table(heads: Sequence[str]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for place, head in enumerate(heads):
        table.add_column(head, no_wrap=place == 0)
    return table


def _point(said: str) -> Table:
    """A bullet whose further lines hang under its first."""
    row = Table.grid(padding=(0, 1, 0, 0))
    row.add_column(width=3, justify="right")
    row.add_column()
    row.add_row("•", Text(said))
    return row


def _capital(said: str) -> str:
    return said[:1].upper() + said[1:]


def _number(value: float) -> float | None:
    """A float that JSON can hold, to nine decimals; None for what is not a number or has no end."""
    value = float(value)
    return round(value, 9) + 0.0 if math.isfinite(value) else None


def _text(document: Mapping[str, Any]) -> str:
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"

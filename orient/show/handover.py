"""What was handed over, in words and JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from orient.features.register import BY_NAME
from orient.handover.tray import Tray


def handover_json(told: Mapping[str, Any]) -> str:
    """JSON text of what was written, with a newline at the end."""
    return json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def oriented_words(told: Mapping[str, Any]) -> RenderableType:
    """Say how the part lies and what it takes."""
    return Text(oriented_sentence(told))


def oriented_sentence(told: Mapping[str, Any], pose: str = "") -> str:
    """The same as a plain sentence; a pose that has no number to be known by is named in words."""
    size = " × ".join(f"{side:.1f}" for side in told["size_mm"])
    grams = "" if told["grams"] is None else f", {told['grams']:.0f} g"
    pose = pose or f"pose {told['pose']}"
    return (
        f"{told['part']}, {pose}: {size} mm on the bed, {told['volume_mm3'] / 1000:.2f} cm³, "
        f"{time_words(told['minutes'])}{grams}; {_machine_words(told, told['room_mm'])}."
    )


def _machine_words(told: Mapping[str, Any], bed_mm: Sequence[float]) -> str:
    """For which machine something was laid, and on what bed."""
    bed = f"a bed of {bed_mm[0]:g} × {bed_mm[1]:g} mm"
    if told["machine_named"]:
        return f"for {told['machine']}, {bed}"
    return f"for the {told['machine']} class, {bed}, as no machine was named"


def time_words(minutes: float) -> str:
    """Minutes, or hours where they are many."""
    return f"{minutes:.1f} min" if minutes < 60 else f"{minutes / 60:.1f} h"


def table_of(heads: tuple[str, ...], rows: Sequence[Sequence[str]], right: int = 1) -> Table:
    """A plain table; columns from `right` on are numbers."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for k, head in enumerate(heads):
        table.add_column(head, justify="right" if k >= right else "left", no_wrap=k >= right)
    for row in rows:
        table.add_row(*row)
    return table


def grouped(*parts: RenderableType) -> RenderableType:
    """Parts one under the other."""
    return Group(*parts)


def order_view(told: Mapping[str, Any]) -> RenderableType:
    """Beds of an order, what they take, and what other poses would mean."""
    parts = ", ".join(f"{one['copies']:,} × {one['part']} in pose {one['pose']}" for one in told["parts"])
    beds = "one bed" if told["bed_count"] == 1 else f"{told['bed_count']:,} beds"
    money = f" {told['currency']}" if told["currency"] else ""
    lines: list[RenderableType] = [
        Text(f"{parts}: {beds}", style="bold"),
        Text(f"Laid {_machine_words(told, told['bed_mm'])}."),
        *([Text(said)] if (said := _spare_words(told)) else []),
        Text(
            f"{told['machine_hours']:,.1f} machine hours, done in {told['minutes'] / 60:,.1f} h on "
            f"{told['machines']} machine{'s' if told['machines'] > 1 else ''}; a part takes "
            f"{told['minutes_each']:.1f} min{_and(told['grams_each'], '{:.1f} g')}"
            f"{_and(told['cost_each'], 'costs {:.2f}' + money)}."
        ),
    ]
    if told["done"] is not None:
        late = ", too late" if told["late"] else ", in time" if told["late"] is False else ""
        lines.append(Text(f"Started now it is done {told['done'].replace('T', ' ')}{late}."))
    rows = [
        (
            str(one["bed"]),
            f"{one['times']:,}",
            str(one["parts"]),
            f"{one['hours']:.1f}",
            "–" if one["grams"] is None else f"{one['grams']:.0f}",
            "–" if one["cost"] is None else f"{one['cost']:.2f}",
        )
        for one in told["beds"]
    ]
    cost = f"cost, {told['currency']}" if told["currency"] else "cost"
    lines += ["", table_of(("layout", "beds", "parts", "hours", "grams", cost), rows)]
    if told["rows_and_columns"]:
        pose, grid = told["parts"][0]["pose"], told["rows_and_columns"]
        most = max((one["per_bed"] for one in told["poses"] if one["pose"] == pose), default=0)
        if most:
            more = 100 * (most / grid - 1)
            lines.append(
                Text(f"{most} fit a bed; rows and columns of rectangles hold {grid} ({more:+.0f} %).")
            )
    if len(told["poses"]) > 1:
        choices = [
            (
                str(one["pose"]),
                str(one["per_bed"]),
                f"{one['minutes_each']:.1f}",
                "–" if one["support_g"] is None else f"{one['support_g']:.1f}",
                "–" if one["cost_each"] is None else f"{one['cost_each']:.2f}",
            )
            for one in told["poses"]
        ]
        lines += ["", Text("More on the bed against more support", style="bold")]
        each = f"{told['currency']} each" if told["currency"] else "cost each"
        lines.append(table_of(("pose", "a bed", "min each", "support g", each), choices))
    return grouped(*lines)


def _spare_words(told: Mapping[str, Any]) -> str:
    """How many are spares, or that none are though some builds fail."""
    if not told["scrap_rate"]:
        return ""
    fails = f"{100 * told['scrap_rate']:g} % of builds fail"
    if any(one["spares"] for one in told["parts"]):
        each = ", ".join(f"{one['wanted']:,} wanted and {one['spares']:,} spare" for one in told["parts"])
        return f"{each}, enough for 19 orders in 20 where {fails}."
    return f"Where {fails}, an order wants spares: none are laid, as --copies says how many to lay."


def _and(value: float | None, form: str) -> str:
    return "" if value is None else ", " + form.format(value)


def tray_view(tray: Tray) -> RenderableType:
    """Test prints, and what takes longer than was asked for."""
    rows = [
        (
            one.feature.id,
            BY_NAME[one.feature.kind].title,
            one.feature.verdict,
            " × ".join(f"{side:.1f}" for side in one.size_mm),
            "all" if one.shown_mm is None else f"{one.shown_mm[0]:.1f} of {one.shown_mm[1]:.1f} mm",
            f"{one.minutes:.1f}",
            "raised" if one.labelled else "no room",
        )
        for one in tray.prints
    ]
    lines: list[RenderableType] = []
    if rows:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
        for k, head in enumerate(("id", "feature", "verdict", "mm", "shown", "min", "label")):
            table.add_column(head, justify="right" if k in (3, 4, 5) else "left", no_wrap=True)
        for row in rows:
            table.add_row(*row)
        total = sum(one.minutes for one in tray.prints)
        count = f"{len(rows)} test print{'s' if len(rows) > 1 else ''}"
        lines += [table, Text(f"{count}, {time_words(total)} one after the other, heat-up apart.")]
    for ident, others in tray.alike.items():
        named = ", ".join(others[:6]) + (f" and {len(others) - 6} more" if len(others) > 6 else "")
        lines.append(Text(f"{ident} stands for {named} too, which are like it."))
    for one in tray.too_long:
        what = f"{one.feature.id} ({BY_NAME[one.feature.kind].title})"
        lines.append(
            Text(f"{what} cannot be shown in {tray.minutes:g} min: it takes {time_words(one.minutes)}.")
        )
    return grouped(*lines)


def gauge_view(told: Mapping[str, Any]) -> RenderableType:
    """A coupon of the material, and what to do with it."""
    size = " × ".join(f"{side:.1f}" for side in told["size_mm"])
    lines: list[RenderableType] = [Text(f"{told['title']}: {size} mm, {time_words(told['minutes'])}.")]
    if told["steps"]:
        lines.append(Text("Steps: " + ", ".join(f"{step:g}" for step in told["steps"]) + "."))
    return grouped(*lines, Text(told["measures"]))

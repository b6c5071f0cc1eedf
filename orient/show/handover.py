"""What was handed over, in words and JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text


def handover_json(told: Mapping[str, Any]) -> str:
    """JSON text of what was written, with a newline at the end."""
    return json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def oriented_words(told: Mapping[str, Any]) -> RenderableType:
    """Say how the part lies and what it takes."""
    size = " × ".join(f"{side:.1f}" for side in told["size_mm"])
    grams = "" if told["grams"] is None else f", {told['grams']:.0f} g"
    return Text(
        f"{told['part']}, pose {told['pose']}: {size} mm on the bed, {told['volume_mm3'] / 1000:.2f} cm³, "
        f"{_time(told['minutes'])}{grams}."
    )


def _time(minutes: float) -> str:
    return f"{minutes:.1f} min" if minutes < 60 else f"{minutes / 60:.1f} h"


def table_of(heads: tuple[str, ...], rows: list[tuple[str, ...]], right: int = 1) -> Table:
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

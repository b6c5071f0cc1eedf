"""The part as every document describes it, and how a number goes into one."""

from __future__ import annotations

import math
from typing import Any

from orient.part.mesh import Part


def part_document(part: Part) -> dict[str, Any]:
    """The part as plain values, ready for JSON."""
    return {
        "name": part.name,
        "faces": len(part.faces),
        "bodies": part.bodies,
        "units": part.units,
        "extents_mm": numbers(part.extents_mm),
        "volume_mm3": number(part.volume_mm3),
        "area_mm2": number(part.area_mm2),
        "closed": part.closed,
        "content_hash": part.content_hash,
        "notes": list(part.notes),
    }


def number(value: float) -> float | None:
    """A float that JSON can hold, to nine decimals; None for what is not a number or has no end.

    >>> number(0.1 + 0.2), number(float("nan"))
    (0.3, None)
    """
    value = float(value)
    return round(value, 9) + 0.0 if math.isfinite(value) else None


def numbers(values: Any) -> list[float | None]:
    """Several of them."""
    return [number(value) for value in values]

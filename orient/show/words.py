"""Phrases that several views share."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

# What a verdict says of a feature.
VERDICT_WORDS = {
    "redesign": "will not come out as drawn",
    "support": "needs holding up",
    "tune": "wants its settings, or a small change",
    "fine": "asks for nothing",
}

if TYPE_CHECKING:
    # Who only names a direction need not load what found it.
    from orient.evaluation import Evaluation


def direction_words(direction: NDArray[np.float64]) -> str:
    """Name a build direction: an axis of the file where it is one, its components otherwise.

    >>> import numpy as np
    >>> direction_words(np.array([0.0, -1.0, 0.0])), direction_words(np.array([0.6, 0.0, 0.8]))
    ('−y', '0.60 0.00 0.80')
    """
    for axis, name in enumerate("xyz"):
        if abs(direction[axis]) > 1.0 - 1e-9:
            return ("+" if direction[axis] > 0 else "−") + name
    return " ".join(f"{value:.2f}".replace("-0.00", "0.00").replace("-", "−") for value in direction)


def lean_words(direction: NDArray[np.float64]) -> str:
    """How far a build direction is off the nearest axis of the file; empty where it is one.

    >>> import numpy as np
    >>> lean_words(np.array([0.0, -0.9994, 0.0349])), lean_words(np.array([0.0, 0.0, 1.0]))
    ('2° off −y', '')
    """
    axis = int(np.abs(direction).argmax())
    unit = np.eye(3)[axis] * np.sign(direction[axis])
    off = math.degrees(math.acos(min(1.0, float(direction @ unit / np.linalg.norm(direction)))))
    return f"{off:.0f}° off {direction_words(unit)}" if off > 1e-3 else ""


def fill_words(evaluation: Evaluation) -> str:
    """Say which inside a safety factor is of, against what hours and cost are of; empty where it is solid."""
    share = evaluation.shop.shop.plan.infill
    if evaluation.strength is None or share >= 1.0:
        return ""
    if evaluation.brief.process.infill is None:
        return (
            f"Safety is of a part that is solid all through; hours, material and cost are of one filled to "
            f"{100 * share:g} %, which bears less. Give infill in [process] to have all of one part."
        )
    return (
        f"Safety, hours, material and cost are of a part filled to {100 * share:g} % within solid contours; "
        "a solid one bears more."
    )

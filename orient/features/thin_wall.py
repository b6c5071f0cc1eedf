"""Thin walls, held against lines: one line, two lines, and the awkward range between.

A wall of one line is a single bead; from two lines up each side has a bead of its own. Between the two a
machine lays either one bead that is too narrow for the wall or two that are too wide for it, so the wall
comes out uneven. Below one line it may not be laid at all.

The two-line rule and what to try are common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.features.model import Feature
from orient.features.sheets import Sheet
from orient.features.vanishing import Sorted
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "thin_wall"
# A wall within this share of a whole line counts as that line.
_ONE_LINE = 0.1
# Walls up to this are listed, as fine ones too.
_LEAST_REACH_MM = 3.2


def reach_mm(process: Process) -> float:
    """Thickest wall that is listed, mm."""
    return max(_LEAST_REACH_MM, 4 * process.line_width_mm, 2 * process.wall_limit_mm)


def find(found: Sorted) -> list[Sheet]:
    """Give the walls among what faces each other.

    Parameters
    ----------
    found : Sorted
        From `orient.features.walls.find`.

    Returns
    -------
    list of Sheet
        In order of their centres.
    """
    return list(found.walls)


def judge(wall: Sheet, process: Process, direction: Floats | None = None) -> Feature:
    """Judge a wall; tapers and ligaments go by their least thickness.

    Parameters
    ----------
    wall : Sheet
        From `find`.
    process : Process
        Line width and limit of walls.
    direction : (3,) float64, optional
        Build direction; a wall is as thick in any pose.

    Returns
    -------
    Feature
        ``size_mm`` is the median thickness, of a ligament the least.
    """
    size, least = round(wall.size_mm, 3), round(wall.least_mm, 3)
    line, limit = process.line_width_mm, process.wall_limit_mm
    judged = least if wall.shape in ("tapered", "ligament") else size
    lines = round(judged / line, 2)
    what = "What is left between two surfaces" if wall.shape == "ligament" else "The wall"
    at = f"is {judged:.2f} mm thick" if judged == size else f"tapers down to {judged:.2f} mm"
    tries: tuple[str, ...]
    if judged < (1 - _ONE_LINE) * line:
        verdict = "redesign"
        why = f"{what} {at}, less than one line of {line:.2f} mm, so it may not be laid at all."
        tries = (f"Make it {2 * line:.2f} mm, two lines.", "Take a finer nozzle.")
    elif judged <= (1 + _ONE_LINE) * line:
        verdict = "tune"
        why = f"{what} {at}, a single line of {line:.2f} mm: it prints, but is weak and may leak."
        tries = (f"Make it {2 * line:.2f} mm, two lines.", "Keep it as a single line on purpose.")
    elif judged < min(limit, 2 * (1 - _ONE_LINE) * line):
        verdict = "tune"
        why = (
            f"{what} {at}, between one line and two ({line:.2f} mm each): too wide for one, "
            "too narrow for two, so it comes out uneven."
        )
        tries = (
            f"Make it {2 * line:.2f} mm, two lines.",
            f"Or {line:.2f} mm, one line.",
            "Set the line width to half of it.",
        )
    else:
        verdict = "fine"
        why = f"{what} {at}, {lines:.1f} lines of {line:.2f} mm."
        tries = ("Leave it as it is.",)
    return Feature(
        id="",
        kind=KIND,
        verdict=verdict,
        size_mm=size,
        limit_mm=round(limit, 3),
        at_mm=(float(wall.at[0]), float(wall.at[1]), float(wall.at[2])),
        direction=(float(wall.normal[0]), float(wall.normal[1]), float(wall.normal[2])),
        area_mm2=wall.area_mm2,
        why=why,
        try_first=tries,
        faces=wall.faces,
        more={
            "min_mm": least,
            "median_mm": round(wall.median_mm, 3),
            "shape": wall.shape,
            "lines": lines,
            "line_width_mm": line,
        },
    )

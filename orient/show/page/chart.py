"""The trade-off of support against height against strength, as a chart that can be pointed at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from orient.ranking.ranked import Ranking
from orient.show.picture.colours import viridis
from orient.show.words import direction_words

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 620, 440
_LEFT, _TOP, _RIGHT, _BOTTOM = 64.0, 18.0, 18.0, 58.0


class Ranked(Protocol):
    """What a chart is drawn from: an `Evaluation`, or a ranking of its poses by other weights."""

    @property
    def ranking(self) -> Ranking:
        """Poses, best first."""

    @property
    def strength(self) -> object | None:
        """Anything but None where load cases were judged."""


@dataclass(frozen=True)
class Dot:
    """One pose in the chart."""

    x: float
    y: float
    colour: str
    number: int
    undominated: bool
    said: str


@dataclass(frozen=True)
class Flag:
    """The number of a pose that is shown elsewhere on the page, beside its dot."""

    x: float
    y: float
    from_x: float
    from_y: float
    number: int
    taken: bool


@dataclass(frozen=True)
class Chart:
    """All that the chart's drawing needs; places in its own units, `WIDTH` by `HEIGHT`.

    Attributes
    ----------
    dots, flags : tuple
        Poses, dominated ones first so that the others lie on top, and numbers of those shown.
    x_marks, y_marks : tuple of (float, str)
        Place and words along the axes.
    strength : str
        What colour stands for; empty where no load was given.
    low, high : str
        Ends of the colours: light is low, as in pictures of the part.
    alt : str
        The chart in words.
    """

    dots: tuple[Dot, ...]
    flags: tuple[Flag, ...]
    x_marks: tuple[tuple[float, str], ...]
    y_marks: tuple[tuple[float, str], ...]
    strength: str
    low: str
    high: str
    alt: str
    left: float = _LEFT
    right: float = WIDTH - _RIGHT
    top: float = _TOP
    bottom: float = HEIGHT - _BOTTOM


def trade_off(evaluation: Ranked) -> Chart:
    """Draw every pose of a ranking by its support, height and strength.

    Parameters
    ----------
    evaluation : Evaluation or Ranked
        What was found.

    Returns
    -------
    Chart
    """
    ranking = evaluation.ranking
    columns = ranking.columns
    support, height = support_of(evaluation), columns["height_mm"]
    strength, said, written = _strength(evaluation)
    # Support spreads over powers of ten and may be nothing at all: the square root shows both ends.
    x_marks, across = _axis(np.sqrt(support), _LEFT, WIDTH - _RIGHT, squared=True)
    y_marks, upward = _axis(height, HEIGHT - _BOTTOM, _TOP, squared=False)
    low, high = float(np.nanmin(strength)), float(np.nanmax(strength))
    share = (strength - low) / (high - low) if high > low else np.full(len(strength), 0.5)
    # As on the part itself: light is what is to be seen first, the weak ones.
    colours = viridis(1.0 - np.nan_to_num(share))
    shown = set(ranking.shown)
    order = sorted(range(len(support)), key=lambda row: (row in shown, bool(ranking.undominated[row]), -row))
    dots = tuple(
        Dot(
            across[row],
            upward[row],
            "#" + bytes(colours[row]).hex() if said else "#8a949c",
            row + 1,
            bool(ranking.undominated[row]),
            f"Pose {row + 1}, along {direction_words(ranking.directions[row])}: support "
            f"{support[row]:,.0f} mm³, height {height[row]:.1f} mm"
            + (f", {said} {written.format(strength[row]).replace('%', ' %')}" if said else "")
            + f", score {ranking.penalty['total'][row]:.3f}"
            + (", nothing betters it in all" if ranking.undominated[row] else ""),
        )
        for row in order
    )
    best = int(ranking.undominated.sum())
    alt = (
        f"{len(support):,} poses by support, {support.min():,.0f} to {support.max():,.0f} mm³, and height, "
        f"{height.min():.1f} to {height.max():.1f} mm; {best} of them are undominated. The pose to take, "
        f"{ranking.recommended}, has {support[ranking.recommended - 1]:,.0f} mm³ and "
        f"{height[ranking.recommended - 1]:.1f} mm."
    )
    return Chart(
        dots,
        _flags(dots, shown, ranking.recommended),
        x_marks,
        y_marks,
        said,
        written.format(low).replace("%", " %"),
        written.format(high).replace("%", " %"),
        alt,
    )


def support_of(evaluation: Ranked) -> Floats:
    """Support that a pose needs, mm³: less what small holes and short bridges do without, where counted."""
    columns = evaluation.ranking.columns
    return columns.get("support_needed_mm3", columns["support_volume_mm3"])


def _strength(evaluation: Ranked) -> tuple[Floats, str, str]:
    columns = evaluation.ranking.columns
    if evaluation.strength is not None:
        # A part that bears next to nothing would stretch the scale beyond use.
        return np.minimum(columns["safety_factor"], 1e3), "safety factor", "{:.2f}"
    if "load" in evaluation.ranking.penalty:
        return columns["strength_retained"], "strength kept", "{:.0%}"
    return np.zeros(len(columns["height_mm"])), "", "{:.0f}"


def _axis(
    values: Floats, start: float, end: float, squared: bool
) -> tuple[tuple[tuple[float, str], ...], list[float]]:
    """Place values along an axis, and find round figures to mark it with."""
    low = 0.0 if squared else float(values.min())
    high = float(values.max())
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    room = 0.05 * (high - low)
    low, high = (low if squared else low - room), high + room
    per = (end - start) / (high - low)
    if squared:
        marks = [0.0, *_round_figures(high**2)]
        placed = [
            (start + (math.sqrt(mark) - low) * per, f"{mark:,.0f}" if mark >= 10 else f"{mark:g}")
            for mark in marks
        ]
    else:
        step = 10.0 ** math.floor(math.log10(high - low))
        step = next(step * k for k in (0.1, 0.2, 0.5, 1.0, 2.0) if (high - low) / (step * k) <= 7)
        marks = (np.arange(math.ceil(low / step), math.floor(high / step) + 1) * step).tolist()
        placed = [(start + (mark - low) * per, f"{round(mark, 6):g}") for mark in marks]
    return tuple(placed), [round(float(start + (value - low) * per), 1) for value in values]


def _round_figures(most: float) -> list[float]:
    """Round figures up to a most, far enough apart on a square root scale."""
    found: list[float] = []
    top = 10.0 ** math.floor(math.log10(max(most, 1e-9)))
    rounded = [share * top for share in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)]
    for mark in rounded:
        if mark <= most and math.sqrt(mark / most) - math.sqrt(found[-1] / most if found else 0.0) > 0.13:
            found.append(mark)
    return found


def _flags(dots: tuple[Dot, ...], shown: set[int], recommended: int) -> tuple[Flag, ...]:
    """Put numbers beside the dots of the poses shown, clear of each other."""
    placed: list[Flag] = []
    own = sorted((dot for dot in dots if dot.number - 1 in shown), key=lambda dot: dot.number)
    for dot in own:
        spots = [
            (dot.x + far * math.cos(turn), dot.y - far * math.sin(turn))
            for far in (24.0, 40.0, 58.0, 78.0)
            for turn in np.radians([45, 135, 0, 180, 90, 315, 225, 270])
        ]
        inside = [
            (x, y)
            for x, y in spots
            if _LEFT + 14 < x < WIDTH - _RIGHT - 14 and _TOP + 12 < y < HEIGHT - _BOTTOM - 12
        ]
        clear = [
            (x, y)
            for x, y in inside
            if all(math.hypot(x - one.x, y - one.y) > 27 for one in placed)
            and all(math.hypot(x - one.x, y - one.y) > 15 for one in own)
        ]
        x, y = (clear or inside or spots)[0]
        placed.append(Flag(round(x, 1), round(y, 1), dot.x, dot.y, dot.number, dot.number == recommended))
    return tuple(placed)

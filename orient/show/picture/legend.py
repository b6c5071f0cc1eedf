"""What the colours of a picture mean, below it, with letters and hatches so that it reads without colour."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from PIL import ImageDraw

from orient.show.picture.colours import BLANK, INK, PAPER, PLAIN
from orient.show.picture.lettering import text_width, write
from orient.show.picture.light import hatched
from orient.show.picture.paint import Kind, KindPaint, Paint, ValuePaint

_LINE = 1.7


def legend_height(paint: Paint | None, width: int, px: int, named: Sequence[int] = ()) -> int:
    """Pixels that the legend takes below a picture of some width; `named` are kinds that letters have."""
    if paint is None:
        return 0
    if isinstance(paint, ValuePaint):
        return round(px * 3.6)
    return round(px * (_LINE * len(_lines(paint, width, px, named)) + 0.5))


def draw_legend(
    draw: ImageDraw.ImageDraw,
    paint: Paint | None,
    room: tuple[float, float, float, float],
    px: int,
    named: Sequence[int] = (),
) -> None:
    """Draw the legend.

    Parameters
    ----------
    draw : ImageDraw
        Where to draw.
    paint : KindPaint or ValuePaint or None
        What the faces are coloured by.
    room : (4,) tuple of float
        Left, top, right, bottom, pixels.
    px : int
        Size of the letters.
    named : sequence of int
        Kinds that letters of the picture have, though perhaps no face.
    """
    left, top, right, _ = room
    if isinstance(paint, ValuePaint):
        _scale(draw, paint, left + px, top + 0.2 * px, right - px, px)
    elif paint is not None:
        for number, line in enumerate(_lines(paint, int(right - left), px, named)):
            x, y = left + px, top + px * (_LINE * number + 0.6)
            for kind in line:
                _swatch(draw, kind, x, y, px)
                write(draw, (x + 2.0 * px, y), _plain(kind.said), px, "lm")
                x += _long(kind, px)


def _lines(paint: KindPaint, width: int, px: int, named: Sequence[int]) -> list[list[Kind]]:
    """Break the kinds that there are into lines."""
    present = {*np.unique(paint.code).tolist(), *named}
    lines: list[list[Kind]] = [[]]
    used = float(px)
    for number, kind in enumerate(paint.kinds):
        if number not in present:
            continue
        if lines[-1] and used + _long(kind, px) > width:
            lines.append([])
            used = float(px)
        lines[-1].append(kind)
        used += _long(kind, px)
    return lines


def _long(kind: Kind, px: int) -> float:
    return 3.2 * px + text_width(_plain(kind.said), px)


def _swatch(draw: ImageDraw.ImageDraw, kind: Kind, x: float, y: float, px: int) -> None:
    box = [round(x), round(y - 0.55 * px), round(x + 1.6 * px), round(y + 0.55 * px)]
    draw.rectangle(box, fill=kind.colour)
    _hatch(draw, box, kind.hatch, px)
    draw.rectangle(box, outline=INK, width=max(1, px // 12))


def _hatch(draw: ImageDraw.ImageDraw, box: list[int], pattern: str, px: int) -> None:
    rows, columns = np.mgrid[box[1] : box[3] + 1, box[0] : box[2] + 1]
    rows, columns = rows.ravel(), columns.ravel()
    on = hatched(rows, columns, pattern, max(6, round(px * 0.55)))
    draw.point(list(zip(columns[on].tolist(), rows[on].tolist(), strict=True)), fill=INK)


def _scale(
    draw: ImageDraw.ImageDraw, paint: ValuePaint, left: float, top: float, right: float, px: int
) -> None:
    """A bar from low to high with marks, and a swatch for what is hatched."""
    said = paint.name + (f", {paint.unit}" if paint.unit else "")
    write(draw, (left, top + 0.5 * px), said, px, "lm")
    x = left + text_width(said, px) + px
    swatches = _beside(paint)
    end = max(right - sum(_long(kind, px) for kind in swatches), x + 6 * px)
    steps = round(end - x)
    values = _along(paint, np.linspace(0.0, 1.0, steps))
    colours = paint.palette[paint.steps(values)]
    for k in range(steps):
        draw.line([(x + k, top), (x + k, top + px)], fill=tuple(colours[k].tolist()))
    if paint.watch is not None and paint.watch > paint.low:
        hatch_to = round(x + steps * _place(paint, paint.watch))
        _hatch(draw, [round(x), round(top), hatch_to, round(top + px)], "lines", px)
    draw.rectangle([x, top, x + steps, top + px], outline=INK, width=max(1, px // 12))
    for value in _marks(paint):
        at = x + steps * _place(paint, value)
        draw.line([(at, top + px), (at, top + 1.35 * px)], fill=INK, width=max(1, px // 12))
        write(draw, (at, top + 1.5 * px), f"{value:g}", px, "ma")
    at = end + px
    for kind in swatches:
        _swatch(draw, kind, at, top + 0.5 * px, px)
        write(draw, (at + 2.0 * px, top + 0.5 * px), _plain(kind.said), px, "lm")
        at += _long(kind, px)


def _beside(paint: ValuePaint) -> list[Kind]:
    """What a bar of colours cannot show: what lies beyond its end, what is hatched, what is not known."""
    found = []
    if paint.most > paint.high:
        found.append(Kind(f"over {paint.high:g}", PLAIN))
    if paint.watch is not None and (paint.face_values < paint.watch).any():
        found.append(Kind(paint.watch_said, PAPER, "lines"))
    if paint.unread:
        found.append(Kind("not read", BLANK, "dots"))
    return found


def _along(paint: ValuePaint, share: np.ndarray) -> np.ndarray:
    if paint.logarithmic:
        return np.asarray(paint.low * (paint.high / paint.low) ** share)
    return np.asarray(paint.low + (paint.high - paint.low) * share)


def _place(paint: ValuePaint, value: float) -> float:
    return 1.0 - float(paint.share(np.array([value]))[0])


def _marks(paint: ValuePaint) -> list[float]:
    """Round values to mark, and the end of the scale."""
    if paint.logarithmic:
        return [paint.low * times for times in (1.0, 2.0, 5.0, 10.0)]
    step = 10.0 ** math.floor(math.log10(paint.high - paint.low))
    step = next(
        step * times for times in (0.1, 0.2, 0.5, 1.0, 2.0) if (paint.high - paint.low) / (step * times) <= 5
    )
    marks = np.arange(paint.low, paint.high - 0.6 * step, step).tolist()
    return [*(round(mark, 9) for mark in marks), paint.high]


def _plain(said: str) -> str:
    """The same with letters that the font has."""
    return said.replace("−", "-").replace("³", "3").replace("²", "2")

"""Letters on pictures: the font that Pillow brings, so that a picture is the same on every machine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import ImageDraw, ImageFont

from orient.show.picture.colours import INK, PAPER, RGB


@cache
def font(px: int) -> ImageFont.FreeTypeFont:
    """Give the font at a size in pixels; it has plain Latin letters and figures only."""
    found = ImageFont.load_default(px)
    assert isinstance(found, ImageFont.FreeTypeFont), "Pillow was built without FreeType."
    return found


def text_width(said: str, px: int) -> float:
    """Width of a line of text, pixels."""
    return font(px).getlength(said)


def write(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    said: str,
    px: int,
    anchor: str = "la",
    colour: RGB = INK,
    halo: RGB | None = None,
) -> None:
    """Write a line of text; ``anchor`` is Pillow's, such as ``mm`` for the middle."""
    stroke = 0 if halo is None else max(2, px // 7)
    draw.text(at, said, fill=colour, font=font(px), anchor=anchor, stroke_width=stroke, stroke_fill=halo)


def callouts(
    draw: ImageDraw.ImageDraw,
    labels: Sequence[tuple[str, float, float]],
    px: int,
    room: tuple[float, float, float, float],
    fills: Mapping[str, RGB] | None = None,
) -> None:
    """Write labels beside a part, each with a line to its place, none over another.

    Parameters
    ----------
    draw : ImageDraw
        Where to draw.
    labels : sequence of (said, column, row)
        Words and the place that they name, pixels.
    px : int
        Size of the letters.
    room : (4,) tuple of float
        Left, top, right and bottom between which labels may stand; they stand along its left and right.
    fills : Mapping of str to RGB, optional
        Colours behind the words; the picture's ink behind those that have none.
    """
    if not labels:
        return
    left, top, right, bottom = room
    tall = px * 1.75
    most = max(1, int((bottom - top) // tall))
    places = np.array([(column, row) for _, column, row in labels])
    # A place belongs to the side that it lies on, while there is room.
    order = np.argsort(places[:, 0], kind="stable")
    half = int((places[:, 0] < (left + right) / 2.0).sum())
    half = min(max(half, len(order) - most), most)
    for side, chosen in (("left", order[:half]), ("right", order[half : half + most])):
        rows = spread(places[chosen, 1], tall, top, bottom)
        for k, row in zip(chosen.tolist(), rows.tolist(), strict=True):
            said, x, y = labels[k]
            wide = text_width(said, px) + px * 0.8
            edge = left if side == "left" else right - wide
            near = edge + wide if side == "left" else edge
            draw.line([(near, row), (x, y)], fill=PAPER, width=max(3, px // 4))
            draw.line([(near, row), (x, y)], fill=INK, width=max(1, px // 11))
            dot = px * 0.2
            draw.ellipse(
                [x - dot, y - dot, x + dot, y + dot], fill=INK, outline=PAPER, width=max(1, px // 12)
            )
            box = [edge, row - px * 0.75, edge + wide, row + px * 0.75]
            fill = (fills or {}).get(said)
            draw.rounded_rectangle(
                box, radius=px * 0.3, fill=fill or INK, outline=INK, width=max(1, px // 10)
            )
            write(draw, (edge + wide / 2.0, row), said, px, "mm", INK if fill else PAPER)


def spread(wanted: NDArray[np.float64], apart: float, low: float, high: float) -> NDArray[np.float64]:
    """Move places along a line as little as makes them lie apart and inside.

    Pooled neighbours share their mean: the least squares answer (M. Ayer and others, Ann. Math. Statist. 26,
    1955, 641–647), since places less their own distance must only be in order.

    Examples
    --------
    >>> import numpy as np
    >>> spread(np.array([5.0, 5.0, 30.0]), 10.0, 0.0, 100.0).tolist()
    [5.0, 15.0, 30.0]
    """
    if not len(wanted):
        return wanted.copy()
    order = np.argsort(wanted, kind="stable")
    offset = np.arange(len(wanted)) * apart
    blocks: list[list[float]] = []
    for value in wanted[order] - offset:
        blocks.append([float(value), 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            value, count = blocks.pop()
            before = blocks[-1]
            before[0] = (before[0] * before[1] + value * count) / (before[1] + count)
            before[1] += count
    pooled = np.concatenate([np.full(int(count), value) for value, count in blocks])
    inside = np.clip(pooled, low + apart / 2.0, high - apart / 2.0 - offset[-1]) + offset
    placed = np.empty(len(wanted))
    placed[order] = inside
    return placed

"""The bed under a part: squares to measure by, a ruler along its edges, the build direction beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import ImageDraw

from orient.show.picture.camera import Camera, axes_of
from orient.show.picture.colours import INK, PAPER
from orient.show.picture.lettering import text_width, write

Floats = NDArray[np.float64]

# No more squares than this along the longer side.
_MOST_SQUARES = 16
# A bed seen from so flat an angle shows its edge only, degrees.
EDGE_ON_DEG = 3.0
# From here on it is seen from straight above or below.
STEEP_DEG = 89.0


@dataclass(frozen=True, eq=False)
class Bed:
    """A rectangle of whole squares, its middle at 0, 0, its surface at z = 0.

    Attributes
    ----------
    square_mm : float
        Side of a square.
    half_mm : (2,) float64
        Half its length and width.
    height_mm : float
        Height of the part, which the arrow is drawn by.
    """

    square_mm: float
    half_mm: Floats
    height_mm: float

    @property
    def corners(self) -> Floats:
        """Corners of the bed, (4, 3), counter-clockwise from above."""
        x, y = self.half_mm
        return np.array([[-x, -y, 0.0], [x, -y, 0.0], [x, y, 0.0], [-x, y, 0.0]])


def bed_for(extents: Floats) -> Bed:
    """Make a bed for a part that measures so much along x, y and z, mm."""
    longest = max(float(extents[:2].max()), 1e-6)
    step = 10.0 ** math.floor(math.log10(longest / _MOST_SQUARES))
    for times in (1, 2, 5, 10):
        if longest / (times * step) <= _MOST_SQUARES:
            break
    square = times * step
    half = np.ceil((extents[:2] / 2.0 + 0.6 * square) / square) * square
    return Bed(square, half, float(extents[2]))


def arrow_foot(bed: Bed, azimuth: float) -> Floats:
    """Where the arrow of the build direction stands: beside the corner that is leftmost in the view."""
    right, _, _ = axes_of(azimuth, 0.0)
    corners = bed.corners
    # Of two corners equally far to the left the one that is farther away: nothing is written beyond it.
    inward = np.cross(np.array([0.0, 0.0, 1.0]), right)
    corner = corners[np.lexsort((-(corners @ inward), np.round(corners @ right, 6)))[0]]
    foot: Floats = corner - right * 0.9 * bed.square_mm
    return foot


def arrow_top(bed: Bed, azimuth: float) -> Floats:
    """Where the tip of that arrow is."""
    tall = min(max(bed.height_mm, 3.0 * bed.square_mm), 1.2 * float(bed.half_mm.max()))
    return arrow_foot(bed, azimuth) + np.array([0.0, 0.0, tall])


def lines_on(bed: Bed, x: Floats, y: Floats, mm_per_px: float) -> NDArray[np.bool_]:
    """Say which points of the bed lie on a line between squares, a pixel wide."""
    half = 0.55 * mm_per_px
    off_x = np.abs((x + bed.half_mm[0] + bed.square_mm / 2.0) % bed.square_mm - bed.square_mm / 2.0)
    off_y = np.abs((y + bed.half_mm[1] + bed.square_mm / 2.0) % bed.square_mm - bed.square_mm / 2.0)
    on: NDArray[np.bool_] = (off_x < half) | (off_y < half)
    return on


def draw_rulers(draw: ImageDraw.ImageDraw, bed: Bed, camera: Camera, elevation: float, px: int) -> None:
    """Draw a ruler along the two near edges of the bed, each marked with its length.

    Parameters
    ----------
    draw : ImageDraw
        Where to draw.
    bed : Bed
        The bed.
    camera : Camera
        The camera of the picture.
    elevation : float
        Where it stands, degrees.
    px : int
        Size of the letters.
    """
    corners = bed.corners
    depth = camera.project(corners)[:, 2]
    # From below the far edges are drawn lower in the picture, and are the ones that are free.
    near = depth if elevation >= 0 else -depth
    if abs(elevation) > STEEP_DEG:
        edges = [0, 3]
    else:
        edges = sorted(range(4), key=lambda k: float(near[k] + near[(k + 1) % 4]))[:2]
    done = False
    for k in edges:
        a, b = corners[k], corners[(k + 1) % 4]
        ends = camera.project(np.array([a, b]))
        length_px = float(np.hypot(*(ends[1] - ends[0])[:2]))
        if length_px < 4.0 * px:
            continue
        outward = (a + b) / 2.0
        outward = outward / np.linalg.norm(outward)
        long_mm = float(np.linalg.norm(b - a))
        count = round(long_mm / bed.square_mm)
        strip = 0.22 * bed.square_mm * outward
        flat = abs(elevation) < EDGE_ON_DEG
        for n in range(count):
            p, q = a + (b - a) * (n / count), a + (b - a) * ((n + 1) / count)
            if flat:
                strip = np.array([0.0, 0.0, -0.22 * bed.square_mm])
            quad = camera.project(np.array([p, q, q + strip, p + strip]))[:, :2]
            draw.polygon([tuple(c) for c in quad], fill=INK if n % 2 == 0 else PAPER, outline=INK)
        middle = camera.project(((a + b) / 2.0 + strip)[None])[0, :2]
        # Words stand clear of the edge, away from the middle of the bed, and never inside it.
        away = middle - camera.project(np.zeros((1, 3)))[0, :2]
        away = away / max(float(np.hypot(*away)), 1e-9)
        said = f"{long_mm:g} mm" + ("" if done else f", squares {bed.square_mm:g} mm")
        anchor = "rm" if away[0] < -0.35 else "lm" if away[0] > 0.35 else "mm"
        at = middle + away * px * 1.1
        # Words that would leave the picture are moved in.
        long = text_width(said, px)
        starts = {"r": at[0] - long, "l": at[0], "m": at[0] - long / 2.0}[anchor[0]]
        at[0] += min(max(starts, 0.3 * px), camera.width - long - 0.3 * px) - starts
        write(draw, tuple(at), said, px, anchor, halo=PAPER)
        done = True
        if flat:
            break


def draw_arrow(
    draw: ImageDraw.ImageDraw,
    bed: Bed,
    camera: Camera,
    azimuth: float,
    elevation: float,
    px: int,
    word: str = "build",
) -> None:
    """Draw the build direction: an arrow beside the bed, or its point or tail from above or below."""
    ends = camera.project(np.array([arrow_foot(bed, azimuth), arrow_top(bed, azimuth)]))[:, :2]
    foot, tip = ends
    length = float(np.hypot(*(tip - foot)))
    wide = max(px * 0.42, 3.0)
    if length < 2.5 * px:
        r = px * 0.6
        draw.ellipse([foot[0] - r, foot[1] - r, foot[0] + r, foot[1] + r], outline=INK, width=max(2, px // 7))
        if elevation > 0:
            dot = r * 0.35
            draw.ellipse([foot[0] - dot, foot[1] - dot, foot[0] + dot, foot[1] + dot], fill=INK)
        else:
            s = r * 0.6
            for a, b in (((-s, -s), (s, s)), ((-s, s), (s, -s))):
                draw.line([tuple(foot + a), tuple(foot + b)], fill=INK, width=max(2, px // 7))
        way = "towards you" if elevation > 0 else "away from you"
        write(draw, (foot[0] - r, foot[1] - 1.5 * px), f"build direction, {way}", px, "lm", halo=PAPER)
        return
    along = (tip - foot) / length
    aside = np.array([-along[1], along[0]])
    neck = tip - along * 3.2 * wide
    draw.line([tuple(foot), tuple(neck)], fill=INK, width=max(2, round(wide * 0.55)))
    draw.polygon([tuple(tip), tuple(neck + aside * wide), tuple(neck - aside * wide)], fill=INK)
    if word:
        write(draw, (tip[0], tip[1] - 0.35 * px), word, px, "ms", halo=PAPER)

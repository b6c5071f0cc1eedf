"""A picture of a part on the bed."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from orient.features.model import Feature
from orient.part.bends import bent_edges
from orient.part.mesh import Part
from orient.show.picture.bed import (
    EDGE_ON_DEG,
    STEEP_DEG,
    Bed,
    arrow_foot,
    arrow_top,
    bed_for,
    draw_arrow,
    draw_rulers,
    lines_on,
)
from orient.show.picture.camera import Camera, camera_for, view_angles
from orient.show.picture.colours import INK, PAPER, PLAIN
from orient.show.picture.legend import draw_legend, legend_height
from orient.show.picture.lettering import callouts, text_width, write
from orient.show.picture.light import edges, hatched, lit
from orient.show.picture.paint import OF_VERDICT, UNCOLOURED, KindPaint, Paint, ValuePaint
from orient.show.picture.seen import Scene, Seen, look

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

# Every pixel of a picture is the mean of so many each way.
FINER = 2
# The bed, in light and in the part's shadow.
_BED, _SHADE, _LINE = np.array((232, 235, 238)), np.array((196, 201, 206)), np.array((200, 205, 210))
_SUPPORT = np.array((70, 96, 118), dtype=np.float32)
_SUPPORT_OVER = 0.62
_HATCH_INK = 0.52
# A ceiling or a hollow of which less than this share of its area is seen from every side lies inside.
_MAY_LIE_INSIDE = (
    "overhang",
    "bridge",
    "cantilever",
    "mixed_ceiling",
    "air_start",
    "closed_void",
    "trapped_support",
)
_SEEN_SHARE = 0.06
# Faces that reach so many times farther than their feature are not the feature's alone.
_LARGER = 2.5
_CORNERS = 0.5 * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])


@dataclass(frozen=True)
class Picture:
    """A drawn picture.

    Attributes
    ----------
    png : bytes
        The file.
    alt : str
        What it shows, in words, for those who cannot see it.
    width, height : int
        Pixels.
    """

    png: bytes
    alt: str
    width: int
    height: int


def draw_picture(
    scene: Scene,
    transform: Floats,
    paint: Paint | None = None,
    *,
    angles: tuple[float, float],
    size: tuple[int, int] = (800, 600),
    columns: Floats | None = None,
    letters: Sequence[Feature] = (),
    marks_at: Sequence[Feature] = (),
    most: int = 18,
    alt: str = "",
    legend: bool = True,
    words: bool = True,
    letter_px: int | None = None,
) -> Picture:
    """Draw a part on the bed.

    Parameters
    ----------
    scene : Scene
        The part.
    transform : (4, 4) float64
        From the part's coordinates to the bed's.
    paint : KindPaint or ValuePaint, optional
        What its faces are coloured by; plain otherwise.
    angles : (2,) tuple of float
        Azimuth and elevation of the camera, degrees, from `angles_for`.
    size : (2,) tuple of int
        Width and height in pixels.
    columns : (N, 2, 3) float64, optional
        Columns of support, from `support_columns`.
    letters : sequence of Feature, optional
        Features to letter where their faces can be seen.
    marks_at : sequence of Feature, optional
        Features to letter where their place can be seen: edges and what belongs to the whole part.
    most : int
        Letters at the most: more hide what they name. Of features that are seen the first keep theirs.
    alt : str
        What the picture shows, in words.
    legend : bool
        Whether colours are explained below the part.
    words : bool
        Whether the arrow and the edges of the bed are named, which a small picture leaves no room for.
    letter_px : int, optional
        Size of the letters, by the size of the picture otherwise.

    Returns
    -------
    Picture
    """
    width, height = size
    # Letters are a share of the smaller side: legible in a small picture, not loud in a large one.
    px = letter_px or max(11, round(min(width * 0.75, height) / 38))
    azimuth, elevation = angles
    turn, shift = transform[:3, :3], transform[:3, 3]
    laid = scene.part.hull.points @ turn.T + shift
    bed = bed_for(np.ptp(laid, axis=0))
    named, fills = _verdicts(paint, [*letters, *marks_at])
    below = legend_height(paint, width, px, named) if legend else 0
    # A line for what cannot be seen from here.
    told = round(1.5 * px) if legend and (letters or marks_at) else 0
    below += told
    beside = _label_room([*(one.id for one in letters), *(one.id for one in marks_at)], px)
    marks = np.vstack([bed.corners, [arrow_foot(bed, azimuth), arrow_top(bed, azimuth)]])
    # Seen from straight above or below, the length of the left edge is written beside it.
    flat = px * 4.2 if abs(elevation) > STEEP_DEG else 0.0
    margins = (px * 2.2 + beside + flat, px * 2.0 + flat / 3.0, px * 1.2 + beside, below + px * 3.2)
    camera = camera_for(np.vstack([laid, marks]), azimuth, elevation, width, height, margins)
    fine = camera.finer(FINER)
    seen = look(scene, transform, fine)
    image = _coloured(scene, seen, paint, FINER * max(5, round(px * 0.55)))
    _lay_bed(image, scene, seen, bed, elevation)
    # From below they would hide the very faces that they hold up.
    if columns is not None and len(columns) and elevation >= 0:
        _hatch_columns(image, seen, columns)
    _ink_edges(image, scene, seen, FINER)
    canvas = Image.fromarray(image)
    draw = ImageDraw.Draw(canvas)
    big = px * FINER
    if words:
        draw_rulers(draw, bed, fine, elevation, big)
    room = (0.4 * big, 0.4 * big, fine.width - 0.4 * big, fine.height - FINER * below - 0.4 * big)
    marked = [*_anchors(seen, letters), *_spots(seen, [(one.id, np.array(one.at_mm)) for one in marks_at])]
    order = {one.id: place for place, one in enumerate([*letters, *marks_at])}
    marked.sort(key=lambda mark: order[mark[0]])
    callouts(draw, marked[:most], big, room, fills)
    # Over the lines of the letters, so that none cuts through its word.
    draw_arrow(draw, bed, fine, azimuth, elevation, big, "build" if words else "")
    if legend:
        top = fine.height - FINER * below
        draw_legend(draw, paint, (0, top, fine.width, fine.height), big, named)
        if told:
            here = {said for said, _, _ in marked}
            away = [one.id for one in (*letters, *marks_at) if one.id not in here]
            said = _unseen_words(away, max(len(marked) - most, 0), fine.width - 2.0 * big, big)
            write(draw, (big, fine.height - 0.55 * FINER * told), said, big, "lm")
    return Picture(_png(canvas.reduce(FINER), isinstance(paint, ValuePaint)), alt, width, height)


def angles_for(scene: Scene, transform: Floats, view: str) -> tuple[float, float]:
    """Azimuth and elevation of a view; of the four corners the one from which most edges are seen."""
    azimuth, elevation = view_angles(view)
    if view not in ("corner", "under"):
        return azimuth, elevation
    laid = scene.part.hull.points @ transform[:3, :3].T + transform[:3, 3]
    best, most = azimuth, -1.0
    for quarter in range(4):
        turned = (azimuth + 90.0 * quarter + 180.0) % 360.0 - 180.0
        camera = camera_for(laid, turned, elevation, 200, 150, (0, 0, 0, 0))
        crease, outline = edges(look(scene, transform, camera), scene.part.normals)
        shown = float(crease.sum() + outline.sum()) * camera.mm_per_px
        # Where two show much the same, the first.
        if shown > 1.05 * most:
            best, most = turned, shown
    return best, elevation


def draw_close_up(
    scene: Scene,
    transform: Floats,
    paint: Paint,
    feature: Feature,
    *,
    size: tuple[int, int] = (300, 225),
    alt: str = "",
) -> Picture:
    """Draw one hard feature near to, from the side that its faces look to.

    Parameters
    ----------
    scene : Scene
        The part.
    transform : (4, 4) float64
        From the part's coordinates to the bed's.
    paint : KindPaint or ValuePaint
        What faces are coloured by.
    feature : Feature
        The feature.
    size : (2,) tuple of int
        Width and height in pixels.
    alt : str
        What the picture shows, in words.

    Returns
    -------
    Picture
    """
    part = scene.part
    turn, shift = transform[:3, :3], transform[:3, 3]
    own = part.faces[feature.faces]
    spots = part.vertices[own.ravel()] if len(own) else np.array([feature.at_mm])
    own_mm = max(feature.size_mm, math.sqrt(feature.area_mm2))
    if float(np.linalg.norm(np.ptp(spots, axis=0))) > _LARGER * own_mm and feature.kind not in UNCOLOURED:
        # A small place on long faces: the place is what is meant.
        spots = np.array(feature.at_mm) + own_mm * _CORNERS
    spots = spots @ turn.T + shift
    middle = (spots.min(axis=0) + spots.max(axis=0)) / 2.0
    # Enough of what is round it to know the place again.
    reach = max(0.85 * float(np.linalg.norm(np.ptp(spots, axis=0))), 0.16 * part.size_mm)
    camera, shown_mm2 = _facing(scene, transform, feature, middle, reach, size)
    cut = None
    if feature.kind in _MAY_LIE_INSIDE and shown_mm2 < _SEEN_SHARE * feature.area_mm2:
        # What lies inside is seen square on, through a cut just before it.
        camera = _square_on(scene, transform, feature, middle, reach, size)
        cut = (
            float(camera.project((turn @ np.array(feature.at_mm) + shift)[None])[0, 2]) - 0.02 * part.size_mm
        )
    fine = camera.finer(FINER)
    seen = look(scene, transform, fine, cut)
    image = _coloured(scene, seen, paint, 12)
    _ink_edges(image, scene, seen, FINER)
    if feature.kind == "sharp_corner":
        # The edge itself; the faces beside it are not what is meant.
        kind = OF_VERDICT.get(feature.verdict)
        _ring(image, _edge_pixels(part, feature, seen), 7, 4, PLAIN if kind is None else kind.colour)
    elif feature.kind not in UNCOLOURED:
        mine = np.zeros(len(part.faces), dtype=bool)
        mine[feature.faces] = True
        _ring(image, mine[seen.face] & (seen.face >= 0))
    canvas = Image.fromarray(image)
    return Picture(_png(canvas.reduce(FINER), isinstance(paint, ValuePaint)), alt, *size)


def _facing(
    scene: Scene, transform: Floats, feature: Feature, middle: Floats, reach: float, size: tuple[int, int]
) -> tuple[Camera, float]:
    """Choose the side from which most of a feature is seen, and say how much that is, mm²."""
    mine = np.zeros(len(scene.part.faces), dtype=bool)
    mine[feature.faces] = True
    spread = reach / 1.2 * _CORNERS
    best, most = None, -1.0
    for elevation, around in ((24.0, 60), (-28.0, 60), (65.0, 120), (-65.0, 120)):
        for azimuth in range(-60, 300, around):
            small = camera_for(middle + spread, azimuth, elevation, 48, 36, (0, 0, 0, 0))
            shown = look(scene, transform, small).face
            count = float((mine[shown] & (shown >= 0)).sum()) * small.mm_per_px**2
            # Of sides that show much the same, the first: from above, from the front.
            if count > most * 1.15:
                best, most = (azimuth, elevation), count
    assert best is not None
    return camera_for(middle + spread, *best, *size, (0, 0, 0, 0)), most


def _square_on(
    scene: Scene, transform: Floats, feature: Feature, middle: Floats, reach: float, size: tuple[int, int]
) -> Camera:
    """Stand where the faces of a feature look to, so that a cut before them runs along them."""
    part = scene.part
    looks = transform[:3, :3] @ (part.areas[feature.faces] @ part.normals[feature.faces])
    azimuth = math.degrees(math.atan2(looks[1], looks[0])) if np.hypot(*looks[:2]) > 1e-9 else -62.0
    elevation = math.degrees(math.atan2(looks[2], max(float(np.hypot(*looks[:2])), 1e-12)))
    spread = reach / 1.2 * _CORNERS
    return camera_for(middle + spread, azimuth, elevation, *size, (0, 0, 0, 0))


def _coloured(scene: Scene, seen: Seen, paint: Paint | None, period: int) -> Pixels:
    """Colours of the part by paint and light, on paper."""
    image = np.empty((*seen.face.shape, 3), dtype=np.uint8)
    image[:] = PAPER
    rows, columns = np.nonzero(seen.face >= 0)
    face = seen.face[rows, columns]
    camera, turn = seen.camera, seen.transform[:3, :3]
    bright = lit(scene.part.normals, camera.right @ turn, camera.up @ turn, camera.forward @ turn)[face]
    ink = np.zeros(len(face), dtype=bool)
    if paint is None:
        base = np.broadcast_to(np.array(PLAIN, dtype=np.float32), (len(face), 3))
    elif isinstance(paint, KindPaint):
        base = np.array([kind.colour for kind in paint.kinds], dtype=np.float32)[paint.code[face]]
        for number, kind in enumerate(paint.kinds):
            if kind.hatch != "none":
                own = paint.code[face] == number
                ink[own] = hatched(rows[own], columns[own], kind.hatch, period)
    else:
        # Values change slowly: one look for every block of fine pixels that shows one face.
        values = _values(seen, paint, rows, columns, face)
        base = paint.palette[paint.steps(values)].astype(np.float32)
        unknown = ~np.isfinite(values)
        ink[unknown] = hatched(rows[unknown], columns[unknown], "dots", period)
        if paint.watch is not None:
            watch = ~unknown & (values < paint.watch)
            ink[watch] = hatched(rows[watch], columns[watch], "lines", period)
    shaded = base * bright[:, None]
    shaded[ink] *= _HATCH_INK
    image[rows, columns] = shaded.astype(np.uint8)
    return image


def _values(
    seen: Seen, paint: ValuePaint, rows: NDArray[Any], columns: NDArray[Any], face: NDArray[np.int32]
) -> Floats:
    block = (rows // FINER).astype(np.int64) * seen.camera.width + columns // FINER
    key = block * (int(face.max(initial=0)) + 1) + face
    _, first, back = np.unique(key, return_index=True, return_inverse=True)
    at = seen.points((rows[first], columns[first]))
    turn, shift = seen.transform[:3, :3], seen.transform[:3, 3]
    return paint.at(face[first], (at - shift) @ turn)[back]


def _lay_bed(image: Pixels, scene: Scene, seen: Seen, bed: Bed, elevation: float) -> None:
    """Lay the bed behind the part with its shadow, or, seen from below, as lines before it."""
    if abs(elevation) < EDGE_ON_DEG:
        return
    camera = seen.camera
    corners = camera.project(bed.corners)
    first = np.clip(np.floor(corners.min(axis=0)[:2]).astype(int), 0, None)
    last = np.minimum(np.ceil(corners.max(axis=0)[:2]).astype(int), (camera.width, camera.height))
    rows, columns = np.mgrid[first[1] : last[1], first[0] : last[0]]
    rows, columns = rows.ravel(), columns.ravel()
    if elevation > 0:
        free = seen.face[rows, columns] < 0
        rows, columns = rows[free], columns[free]
    at = camera.places(columns + 0.5, rows + 0.5)
    at = at - (at[:, 2] / camera.forward[2])[:, None] * camera.forward
    inside = (np.abs(at[:, :2]) <= bed.half_mm).all(axis=1)
    rows, columns, at = rows[inside], columns[inside], at[inside]
    line = lines_on(bed, at[:, 0], at[:, 1], camera.mm_per_px)
    if elevation < 0:
        # The bed is glass from below.
        own = image[rows[line], columns[line]].astype(np.float32)
        image[rows[line], columns[line]] = (own * 0.78).astype(np.uint8)
        return
    turn, shift = seen.transform[:3, :3], seen.transform[:3, 3]
    shade = _shadow(scene, turn, shift, at, rows, columns)
    colour = np.where(line[:, None], _LINE, _BED)
    image[rows, columns] = np.where(
        shade[:, None], np.where(line[:, None], _SHADE - 18, _SHADE), colour
    ).astype(np.uint8)


def _shadow(
    scene: Scene, turn: Floats, shift: Floats, at: Floats, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Say which points of the bed lie straight under the part."""
    start = at + np.array([0.0, 0.0, -1e-4 * scene.part.size_mm])
    box = scene.part.bounds
    laid = np.array([[x, y, z] for x in box[:, 0] for y in box[:, 1] for z in box[:, 2]]) @ turn.T + shift
    under = ((start[:, :2] >= laid[:, :2].min(axis=0)) & (start[:, :2] <= laid[:, :2].max(axis=0))).all(
        axis=1
    )
    # A ray for every other pixel each way is fine enough for a shadow.
    shade = np.zeros(len(at), dtype=bool)
    some = np.flatnonzero(under)
    block = (rows[some] // FINER) * (1 + columns.max(initial=0)) + columns[some] // FINER
    _, lead, back = np.unique(block, return_index=True, return_inverse=True)
    chosen = some[lead]
    hit, _ = scene.rays.first_hits(
        (start[chosen] - shift) @ turn, np.broadcast_to(turn[2], (len(chosen), 3)), 2.0 * scene.part.size_mm
    )
    shade[some] = (hit >= 0)[back]
    return shade


def _hatch_columns(image: Pixels, seen: Seen, columns: Floats) -> None:
    """Draw columns of support as thin lines, where the part does not hide them."""
    camera = seen.camera
    a, b = camera.project(columns[:, 0]), camera.project(columns[:, 1])
    steps = np.maximum(np.ceil(np.abs(b - a)[:, :2].max(axis=1)).astype(np.int64), 1)
    line = np.repeat(np.arange(len(a)), steps)
    share = (np.arange(len(line)) - np.repeat(np.cumsum(steps) - steps, steps)) / steps[line]
    at = a[line] + (b - a)[line] * share[:, None]
    column, row = at[:, 0].astype(np.int64), at[:, 1].astype(np.int64)
    inside = (column >= 0) & (row >= 0) & (column < camera.width) & (row < camera.height)
    column, row, depth = column[inside], row[inside], at[inside, 2]
    free = depth < seen.depth[row, column] - 0.5 * camera.mm_per_px
    # Each pixel is inked once, however many columns lie behind each other there.
    inked = np.zeros(seen.face.shape, dtype=bool)
    inked[row[free], column[free]] = True
    where = np.nonzero(inked)
    own = image[where].astype(np.float32)
    image[where] = (own * (1.0 - _SUPPORT_OVER) + _SUPPORT * _SUPPORT_OVER).astype(np.uint8)


def _ink_edges(image: Pixels, scene: Scene, seen: Seen, thick: int) -> None:
    crease, outline = edges(seen, scene.part.normals)
    for mask, ink, wide in ((crease, 0.42, thick), (outline, 0.22, thick)):
        bold = mask.copy()
        for step in range(1, wide):
            bold[step:] |= mask[:-step]
            bold[:, step:] |= mask[:, :-step]
        where = np.nonzero(bold)
        image[where] = (image[where] * np.float32(ink)).astype(np.uint8)


def _edge_pixels(part: Part, feature: Feature, seen: Seen) -> NDArray[np.bool_]:
    """Pixels of the edges of a corner that no face hides: bent ones, or the rim of what lies on the bed."""
    a, b = np.moveaxis(bent_edges(part, feature.faces, rim=feature.more.get("where") == "outline"), 1, 0)
    share = np.linspace(0.0, 1.0, max(seen.camera.width, seen.camera.height))[:, None, None]
    turn, shift = seen.transform[:3, :3], seen.transform[:3, 3]
    at = seen.camera.project((a + (b - a) * share).reshape(-1, 3) @ turn.T + shift)
    column, line, depth = at[:, 0].astype(np.int64), at[:, 1].astype(np.int64), at[:, 2]
    inside = (column >= 1) & (line >= 1) & (column < seen.camera.width - 1) & (line < seen.camera.height - 1)
    column, line, depth = column[inside], line[inside], depth[inside]
    # An edge lies between pixels: the farthest of those round it decides.
    near = np.max([seen.depth[line + r, column + c] for r in (-1, 0, 1) for c in (-1, 0, 1)], axis=0)
    mask = np.zeros(seen.face.shape, dtype=bool)
    free = depth < near + 2.0 * seen.camera.mm_per_px
    mask[line[free], column[free]] = True
    return mask


def _ring(
    image: Pixels,
    mask: NDArray[np.bool_],
    outer: int = 5,
    inner: int = 2,
    colour: tuple[int, int, int] = PAPER,
) -> None:
    """Draw a line round pixels: ink outside, a colour inside it, so that it shows on any other."""
    if inner > 2:
        image[mask] = colour
    for grow, ink in ((outer, INK), (inner, colour)):
        wide = mask.copy()
        for axis in (0, 1):
            for step in range(1, grow + 1):
                if axis == 0:
                    wide[step:] |= mask[:-step]
                    wide[:-step] |= mask[step:]
                else:
                    wide[:, step:] |= mask[:, :-step]
                    wide[:, :-step] |= mask[:, step:]
        image[wide & ~mask] = ink


def _anchors(seen: Seen, features: Sequence[Feature]) -> list[tuple[str, float, float]]:
    """Find where features are seen: the pixel of each that lies nearest to the middle of its pixels."""
    if not features:
        return []
    # The smaller a feature, the later it takes its faces, so that none is buried under a larger one.
    owner = np.full(int(max(seen.face.max(), *(one.faces.max(initial=0) for one in features))) + 2, -1)
    ordered = sorted(range(len(features)), key=lambda k: -features[k].area_mm2)
    for k in ordered:
        owner[features[k].faces] = k
    owner[-1] = -1
    shown = owner[seen.face]
    rows, columns = np.nonzero(shown >= 0)
    owned = shown[rows, columns]
    sort = np.argsort(owned, kind="stable")
    rows, columns, owned = rows[sort], columns[sort], owned[sort]
    if not len(owned):
        return []
    starts = np.flatnonzero(np.r_[True, owned[1:] != owned[:-1]]).tolist()
    found = []
    for start, stop in zip(starts, [*starts[1:], len(owned)], strict=True):
        if stop - start < 12:
            continue
        r, c = rows[start:stop], columns[start:stop]
        middle = int(np.argmin((r - r.mean()) ** 2 + (c - c.mean()) ** 2))
        found.append((features[int(owned[start])].id, float(c[middle]) + 0.5, float(r[middle]) + 0.5))
    return found


def _spots(seen: Seen, marks: Sequence[tuple[str, Floats]]) -> list[tuple[str, float, float]]:
    """Places that no face before them hides."""
    turn, shift = seen.transform[:3, :3], seen.transform[:3, 3]
    camera = seen.camera
    found = []
    for said, place in marks:
        column, row, depth = camera.project((turn @ place + shift)[None])[0].tolist()
        if not (0 <= column < camera.width and 0 <= row < camera.height):
            continue
        c, r = int(column), int(row)
        near = seen.depth[max(0, r - 3) : r + 4, max(0, c - 3) : c + 4]
        # A place on an edge may fall just beside it: the farthest of the pixels round it decides.
        shown = near[np.isfinite(near)]
        if len(shown) and depth < float(shown.max()) + 12.0 * camera.mm_per_px:
            found.append((said, column, row))
    return found


def _verdicts(
    paint: Paint | None, features: Sequence[Feature]
) -> tuple[tuple[int, ...], dict[str, tuple[int, int, int]]]:
    """Kinds of the legend that letters stand for, and the colour of each letter: its verdict's."""
    if not isinstance(paint, KindPaint):
        return (), {}
    said = [kind.said for kind in paint.kinds]
    known = [one for one in features if one.verdict in said]
    numbers = tuple(sorted({said.index(one.verdict) for one in known}))
    return numbers, {one.id: paint.kinds[said.index(one.verdict)].colour for one in known}


def _unseen_words(away: Sequence[str], more: int, wide: float, px: int) -> str:
    """Say which letters are not seen from here, as many as a line holds, and how many have none."""
    tail = f"; {more} more have no letter" if more else ""
    for count in range(len(away), -1, -1):
        rest = f" and {len(away) - count} more" if count < len(away) else ""
        said = f"Not seen from here: {', '.join(away[:count])}{rest}" if away else ""
        if text_width(said + tail, px) <= wide:
            break
    return (said + tail).removeprefix("; ")


def _label_room(said: Sequence[str], px: int) -> float:
    return max(text_width(one, px) for one in said) + 1.6 * px if said else 0.0


def _png(image: Image.Image, smooth: bool) -> bytes:
    data = io.BytesIO()
    if not smooth:
        # Kinds are few: 256 colours hold their shades, at half the weight. Values run smoothly, and keep all.
        image = image.quantize(256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    image.save(data, "PNG", compress_level=7)
    return data.getvalue()

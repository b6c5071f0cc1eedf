"""Ceilings of a pose: connected regions that need holding up, what holds their rim, and which kind each is.

One region is one feature. Whatever needs holding up and hangs together is one ceiling: the crown of an
arch and its flanks, a slab and the chamfer below it. What its rim borders on decides the rest:

- the surface goes **up** from the rim: a free edge, lines end in the air;
- it goes **down**, and what is down there stands on the bed: the edge is held;
- it goes down, but to something that hangs itself, such as a post from the ceiling: not held.

A ceiling is *flat* when most of its shadow belongs to one plane. A flat ceiling that is held at both ends
of nearly all its lines is a **bridge**, however it slopes; a flat one so level that a layer steps out
further than a ledge may hang is a **cantilever** when nearly no line is held at both ends, and **mixed**
between. A lip along a wall is a cantilever too, where that asks less than to run its lines lengthwise. All
others are **overhangs**: each layer rests on the one below by part of a line.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.features.chords import SPECK_MM, Span, reach_mm, span_of
from orient.features.grounded import Standing
from orient.features.rims import FREE, HANGING, HELD, Rim, rim_of
from orient.features.rounds import area_beyond
from orient.measure.columns import LIMIT_TOLERANCE_DEG
from orient.part.hull import plane_axes
from orient.process import Process

Floats = NDArray[np.float64]

# Beyond the limit by no more than this the mesh, not the part, may be what decides: the last digits of a
# drawn one, the noise of a rough one.
BEYOND_DEG, ROUGH_BEYOND_DEG = 0.25, 1.0
# Shares of a flat ceiling held at both ends.
BRIDGE_SHARE, CANTILEVER_SHARE = 0.85, 0.15
# A lip is free along at least this share of its rim.
_LIP_SHARE = 0.25
# A ceiling is flat when more than half its shadow lies within this of one plane.
_FLAT_DEG, _FLAT_SHARE = 6.0, 0.5
# Walls whose axis is this near the build direction are seen as circles.
_UPRIGHT_DEG = 1.0
# A face across the rim goes down when it falls by over 1°, and folds back when it lies 5° above the ceiling.
_LEVEL, _FOLDED = math.sin(math.radians(1.0)), math.sin(math.radians(5.0))
# So many slivers in a row may go with a ceiling, when they lie in its plane to this share of their length.
_SLIVER_CHAIN, _IN_PLANE = 12, 0.15
# Two flanks of one lying cylinder are one ceiling when they run side by side over this share of the shorter.
_BESIDE_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Ceiling:
    """A region that needs holding up.

    Attributes
    ----------
    kind : str
        ``bridge``, ``cantilever``, ``mixed_ceiling``, ``overhang``, or ``hanging`` when nothing holds it.
    faces : (k,) int64
        Its faces.
    area_mm2, shadow_mm2 : float
        True area, and area seen from below.
    angle_deg : float
        Steepest angle from the wall that at least a twentieth of the area reaches.
    rim : Rim
        Its rim in the axes `across` and `along`.
    span : Span or None
        How it is bridged; None when it is not flat or nothing holds it.
    reach_mm : float
        Largest distance of a place from the nearest held edge; infinite where nothing is held.
    lines : (3,) float64 or None
        Direction to run the lines, part coordinates.
    centre : (3,) float64
        Centroid of the faces, part coordinates, mm: what the ceiling is numbered by.
    at : (3,) float64
        A place on the ceiling near its centroid.
    low_mm, high_mm : float
        Height of its lowest and highest corner above the bed.
    """

    kind: str
    faces: NDArray[np.int64]
    area_mm2: float
    shadow_mm2: float
    angle_deg: float
    rim: Rim
    span: Span | None
    reach_mm: float
    lines: Floats | None
    centre: Floats
    at: Floats
    low_mm: float
    high_mm: float


@dataclass(frozen=True, eq=False)
class Surface:
    """The surface that ceilings are sought on, as one pose sees it.

    Attributes
    ----------
    vertices, faces, neighbours, areas, normals : arrays
        Of the part; normals may be smoothed.
    masked : (F,) bool
        Faces that belong to something else already, such as the wall of a hole.
    slivers : (F,) bool
        Faces so narrow that their normal says nothing.
    centre : (C, 3) float64
        A point on the axis of each known cylinder.
    axis : (C, 3) float64
        Their axes.
    radius : (C,) float64
        Their radii, mm.
    concave : (C,) bool
        Which are walls of holes.
    curved : (C,) bool
        Which go round far enough to be told from a plane.
    walls : tuple of (k,) int64
        Their faces.
    cylinder_of_face : (F,) int32
        Which of them a face belongs to, −1 for none.
    noise_mm : float
        How far the corners are off the surface they were taken from.
    """

    vertices: Floats
    faces: NDArray[np.int32]
    neighbours: NDArray[np.int32]
    areas: Floats
    normals: Floats
    masked: NDArray[np.bool_]
    slivers: NDArray[np.bool_]
    centre: Floats
    axis: Floats
    radius: Floats
    concave: NDArray[np.bool_]
    curved: NDArray[np.bool_]
    walls: tuple[NDArray[np.int64], ...]
    cylinder_of_face: NDArray[np.int32]
    noise_mm: float


def ceilings_of(
    surface: Surface,
    standing: Standing,
    process: Process,
    direction: Floats,
    heights: Floats,
) -> list[Ceiling]:
    """Find the ceilings of a pose.

    Parameters
    ----------
    surface : Surface
        The part's surface.
    standing : Standing
        What stands on the bed.
    process : Process
        Overhang limit, ledge, layer and line.
    direction : (3,) float64
        Build direction.
    heights : (V,) float64
        Height of each vertex above the bed, mm.

    Returns
    -------
    list of Ceiling
        In the order of their first face. Specks narrower than half a line are left out.
    """
    down = surface.normals @ direction
    label, count = _regions(
        surface.vertices,
        surface.faces,
        surface.neighbours,
        surface.normals,
        down,
        surface.masked,
        surface.slivers,
        np.flatnonzero(surface.slivers),
        heights,
        _downward(process.overhang_limit_deg + LIMIT_TOLERANCE_DEG),
        _downward(process.overhang_limit_deg + (ROUGH_BEYOND_DEG if surface.noise_mm > 0 else BEYOND_DEG)),
        process.layer_height_mm / 2.0,
    )
    if not count:
        return []
    label, count = _side_by_side(surface, label, count)
    inside = np.flatnonzero(label >= 0)
    inside = inside[np.argsort(label[inside], kind="stable")]
    bounds = np.searchsorted(label[inside], np.arange(count + 1))
    ends, state, across, region = _rims(
        surface.vertices,
        surface.faces,
        surface.neighbours,
        surface.normals,
        label,
        heights,
        standing.grounded_from,
        process.layer_height_mm / 2.0,
    )
    order = np.argsort(region, kind="stable")
    ends, state, across = ends[order], state[order], across[order]
    rim_bounds = np.searchsorted(region[order], np.arange(count + 1))

    axes = np.stack(plane_axes(direction), axis=1)
    line = process.line_width_mm
    found = []
    for k in range(count):
        faces = inside[bounds[k] : bounds[k + 1]]
        shadow = -float(surface.areas[faces] @ down[faces])
        if shadow < line**2:
            continue
        part = slice(rim_bounds[k], rim_bounds[k + 1])
        found.append(
            _ceiling(
                surface,
                process,
                direction,
                heights,
                down,
                axes,
                faces,
                shadow,
                ends[part],
                state[part],
                across[part],
            )
        )
    return [one for one in found if one is not None]


def _downward(angle_deg: float) -> float:
    """Component along the build direction of the normal of a face at an angle from the wall."""
    return -math.sin(math.radians(min(angle_deg, 89.0)))


def _side_by_side(surface: Surface, label: NDArray[np.int32], count: int) -> tuple[NDArray[np.int32], int]:
    """Join the two flanks of a lying cylinder, parted by the strip that lies on the bed."""
    inside = np.flatnonzero(label >= 0)
    cylinder = surface.cylinder_of_face[inside]
    known = cylinder >= 0
    if not known.any():
        return label, count
    area = np.bincount(label[inside], weights=surface.areas[inside], minlength=count)
    inside, cylinder = inside[known], cylinder[known]
    region = label[inside]
    pair, row = np.unique(region.astype(np.int64) * len(surface.radius) + cylinder, return_inverse=True)
    share = np.bincount(row, weights=surface.areas[inside])
    of_region, of_cylinder = pair // len(surface.radius), pair % len(surface.radius)
    middle = surface.vertices[surface.faces[inside]].mean(axis=1)
    along = np.einsum("ij,ij->i", middle, surface.axis[cylinder])
    low, high = np.full(len(pair), np.inf), np.full(len(pair), -np.inf)
    np.minimum.at(low, row, along)
    np.maximum.at(high, row, along)
    new = np.arange(count)
    whole = share > 0.5 * area[of_region]
    for c in np.unique(of_cylinder[whole]).tolist():
        rows = np.flatnonzero(whole & (of_cylinder == c))
        rows = rows[np.argsort(low[rows], kind="stable")]
        for i, j in itertools.pairwise(rows.tolist()):
            beside = min(high[i], high[j]) - max(low[i], low[j])
            if beside > _BESIDE_SHARE * min(high[i] - low[i], high[j] - low[j]):
                first, second = new[of_region[i]], new[of_region[j]]
                new[new == max(first, second)] = min(first, second)
    kept, new = np.unique(new, return_inverse=True)
    out = label.copy()
    out[label >= 0] = new[label[label >= 0]]
    return out, len(kept)


def _ceiling(
    surface: Surface,
    process: Process,
    direction: Floats,
    heights: Floats,
    down: Floats,
    axes: Floats,
    faces: NDArray[np.int64],
    shadow: float,
    ends: NDArray[np.int32],
    state: NDArray[np.int8],
    across: NDArray[np.int32],
) -> Ceiling | None:
    corners, local = np.unique(ends, return_inverse=True)
    centre, radius = _circles(surface, axes, direction, across)
    rim = rim_of(
        surface.vertices[corners] @ axes, local.reshape(-1, 2).astype(np.int32), state, centre, radius
    )
    reach = reach_mm(rim.edges, rim.held) if len(rim.edges) else 0.0
    if reach < process.line_width_mm / 2.0:
        return None
    weight = surface.areas[faces] * -down[faces]
    flat, plane = _flatness(surface.normals[faces], weight)
    cylinder = surface.cylinder_of_face[faces]
    on = np.flatnonzero(cylinder >= 0)
    flat = flat and float(weight[on[surface.curved[cylinder[on]]]].sum()) < 0.5 * shadow
    span = None
    if flat and rim.held.any():
        span = span_of(rim.edges, rim.held, max(SPECK_MM, 4.0 * surface.noise_mm))
    slope_deg = math.degrees(math.acos(min(1.0, -float(plane @ direction))))
    kind = _kind(rim, span, reach, slope_deg, process)
    middles = surface.vertices[surface.faces[faces]].mean(axis=1)
    centre = surface.areas[faces] @ middles / surface.areas[faces].sum()
    if flat:
        at = _place(rim, centre, plane, direction, axes)
    else:
        at = middles[int(((middles - centre) ** 2).sum(axis=1).argmin())]
    area, angle_deg = _true_area(surface, process, direction, heights, down, faces)
    used = surface.faces[faces]
    return Ceiling(
        kind=kind,
        faces=faces,
        area_mm2=area,
        shadow_mm2=shadow,
        angle_deg=angle_deg,
        rim=rim,
        span=span,
        reach_mm=reach,
        lines=None if span is None else axes @ np.array([math.cos(span.angle), math.sin(span.angle)]),
        centre=centre,
        at=at,
        low_mm=float(heights[used].min()),
        high_mm=float(heights[used].max()),
    )


def _kind(rim: Rim, span: Span | None, reach: float, slope_deg: float, process: Process) -> str:
    if not rim.held.any():
        return "hanging"
    if span is None:
        return "overhang"
    # A lip along a wall is a ledge, however its lines could run lengthwise from one end to the other.
    lip = reach / process.ledge_limit_mm < span.span_mm / process.bridge_limit_mm
    lip = lip and rim.held_share < 1.0 - _LIP_SHARE
    if span.share >= BRIDGE_SHARE and not lip:
        return "bridge"
    # Steeper than this, one layer steps out less than a ledge that holds itself up.
    if math.tan(math.radians(slope_deg)) * process.ledge_limit_mm > process.layer_height_mm:
        return "overhang"
    return "cantilever" if lip or span.share < CANTILEVER_SHARE else "mixed_ceiling"


def _flatness(normals: Floats, weight: Floats) -> tuple[bool, Floats]:
    """Whether most of a shadow belongs to one plane, and that plane's normal.

    The plane is sought by mean shift: the mean normal of what lies within a window that closes.
    """
    mean = weight @ normals
    share = 1.0
    for window in (30.0, 22.0, 16.0, 12.0, 9.0, _FLAT_DEG):
        length = float(np.linalg.norm(mean))
        near = normals @ mean >= math.cos(math.radians(window)) * length
        if not near.any() or not length > 0:
            return False, mean / max(length, 1e-300)
        mean = weight[near] @ normals[near]
        share = float(weight[near].sum() / weight.sum())
    return share > _FLAT_SHARE, mean / np.linalg.norm(mean)


def _place(rim: Rim, centre: Floats, plane: Floats, direction: Floats, axes: Floats) -> Floats:
    """A place on a flat ceiling: its centroid, or the middle of the nearest stretch where that is open."""
    x, y = centre @ axes
    x0, y0, x1, y1 = rim.edges.T
    cut = np.flatnonzero((y0 > y) != (y1 > y))
    crossing = np.sort(x0[cut] + (x1 - x0)[cut] * (y - y0[cut]) / (y1 - y0)[cut])
    stretches = crossing[: len(crossing) // 2 * 2].reshape(-1, 2)
    if len(stretches) and not ((stretches[:, 0] < x) & (x < stretches[:, 1])).any():
        middles = stretches.mean(axis=1)
        x = middles[int(np.abs(middles - x).argmin())]
    at = axes @ np.array([x, y]) + (centre @ direction) * direction
    return at - float(plane @ (at - centre)) / float(plane @ direction) * direction


def _true_area(
    surface: Surface,
    process: Process,
    direction: Floats,
    heights: Floats,
    down: Floats,
    faces: NDArray[np.int64],
) -> tuple[float, float]:
    """Area and steepest angle of a ceiling, of its round places by their cylinders."""
    cylinder = surface.cylinder_of_face[faces]
    flat = cylinder < 0
    areas = surface.areas[faces]
    area = float(areas[flat].sum())
    angle = _steepest(down[faces], areas)
    for c in np.unique(cylinder[~flat]).tolist():
        wall = surface.walls[c]
        own = areas[cylinder == c]
        beyond, steepest = area_beyond(
            surface.vertices[surface.faces[wall]],
            surface.areas[wall],
            surface.centre[c],
            surface.axis[c],
            float(surface.radius[c]),
            bool(surface.concave[c]),
            direction,
            process.overhang_limit_deg,
        )
        # A rod may have several ceilings, one on each side of what holds it.
        flagged = wall[down[wall] < _downward(process.overhang_limit_deg + LIMIT_TOLERANCE_DEG)]
        flagged = flagged[heights[surface.faces[flagged]].max(axis=1) > process.layer_height_mm / 2.0]
        share = float(own.sum() / max(float(surface.areas[flagged].sum()), 1e-300))
        area += beyond * share
        if own.sum() > 0.05 * areas.sum():
            angle = max(angle, steepest)
    return area, angle


def _steepest(down: Floats, areas: Floats) -> float:
    """Angle from the wall that the steepest twentieth of the area reaches, degrees."""
    order = np.argsort(down, kind="stable")
    share = np.cumsum(areas[order])
    at = order[int(np.searchsorted(share, 0.05 * share[-1]))]
    return math.degrees(math.asin(min(1.0, -float(down[at]))))


def _circles(
    surface: Surface, axes: Floats, direction: Floats, across: NDArray[np.int32]
) -> tuple[Floats, Floats]:
    """Circle that each rim edge is a chord of: that of the upright wall across it; NaN radius for none."""
    centre = np.zeros((len(across), 2))
    radius = np.full(len(across), np.nan)
    cylinder = np.where(across >= 0, surface.cylinder_of_face[across], -1)
    known = np.flatnonzero(cylinder >= 0)
    upright = np.abs(surface.axis[cylinder[known]] @ direction) > math.cos(math.radians(_UPRIGHT_DEG))
    known = known[upright]
    centre[known] = surface.centre[cylinder[known]] @ axes
    radius[known] = surface.radius[cylinder[known]]
    return centre, radius


@njit(cache=True, nogil=True, error_model="numpy")
def _regions(  # type: ignore[no-untyped-def]
    vertices, faces, neighbours, normals, down, masked, slivers, narrow, heights, limit, beyond, bed
):
    """Label the connected faces that need holding up, of which some must do so clearly; −1 for the others."""
    n = faces.shape[0]
    label = np.full(n, -1, dtype=np.int32)
    # Face whose plane a sliver goes by.
    plane = np.arange(n, dtype=np.int32)
    for f in range(n):
        if down[f] < limit and not masked[f] and not slivers[f]:
            a, b, c = faces[f]
            if max(heights[a], max(heights[b], heights[c])) > bed:
                label[f] = -2
    # A sliver in the plane of a ceiling goes with it, or it would tear a gap into it.
    for _ in range(_SLIVER_CHAIN):
        grown = 0
        for thin in narrow:
            if label[thin] != -1 or masked[thin]:
                continue
            for k in range(3):
                g = neighbours[thin, k]
                if g >= 0 and label[g] == -2 and _lies_in(vertices, faces, normals, thin, k, plane[g]):
                    label[thin] = -2
                    plane[thin] = plane[g]
                    grown += 1
                    break
        if grown == 0:
            break
    stack = np.empty(n, dtype=np.int32)
    count = 0
    for seed in range(n):
        if label[seed] != -2 or not down[seed] < beyond or slivers[seed]:
            continue
        label[seed] = count
        stack[0] = seed
        top = 1
        while top > 0:
            top -= 1
            f = stack[top]
            for k in range(3):
                g = neighbours[f, k]
                if g >= 0 and label[g] == -2:
                    label[g] = count
                    stack[top] = g
                    top += 1
        count += 1
    for f in range(n):
        label[f] = max(label[f], -1)
    return label, count


@njit(cache=True, nogil=True, error_model="numpy")
def _lies_in(vertices, faces, normals, f, k, g):  # type: ignore[no-untyped-def]
    """Whether the corner of f across its edge k lies in the plane of g, near enough for a sliver."""
    a, c = vertices[faces[f, k]], vertices[faces[f, (k + 2) % 3]]
    x, y, z = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    off = abs(normals[g, 0] * x + normals[g, 1] * y + normals[g, 2] * z)
    return off <= _IN_PLANE * math.sqrt(x * x + y * y + z * z)


@njit(cache=True, nogil=True, error_model="numpy")
def _rims(vertices, faces, neighbours, normals, label, heights, grounded, tolerance):  # type: ignore[no-untyped-def]
    """Edges round all ceilings: their corners, what holds them, the face across, and the ceiling."""
    n = 0
    for f in range(faces.shape[0]):
        if label[f] >= 0:
            for k in range(3):
                g = neighbours[f, k]
                if g < 0 or label[g] != label[f]:
                    n += 1
    ends = np.empty((n, 2), dtype=np.int32)
    state = np.empty(n, dtype=np.int8)
    across = np.empty(n, dtype=np.int32)
    region = np.empty(n, dtype=np.int32)
    n = 0
    for f in range(faces.shape[0]):
        if label[f] < 0:
            continue
        for k in range(3):
            g = neighbours[f, k]
            if g >= 0 and label[g] == label[f]:
                continue
            a, b = faces[f, k], faces[f, (k + 1) % 3]
            ends[n, 0], ends[n, 1] = a, b
            across[n] = g
            region[n] = label[f]
            state[n] = _state(vertices, faces, normals[f], heights, grounded, tolerance, a, b, g)
            n += 1
    return ends, state, across, region


@njit(cache=True, nogil=True, error_model="numpy")
def _state(vertices, faces, normal, heights, grounded, tolerance, a, b, g):  # type: ignore[no-untyped-def]
    """What holds an edge a–b of a ceiling, given the ceiling's normal there and the face g across."""
    if min(heights[a], heights[b]) <= tolerance:
        return HELD
    if g < 0:
        return FREE
    c = faces[g, 0]
    for k in range(1, 3):
        if c in (a, b):
            c = faces[g, k]
    # Which way the surface goes from the edge: the part of a–c square to the edge.
    ex, ey, ez = vertices[b] - vertices[a]
    cx, cy, cz = vertices[c] - vertices[a]
    square = ex * ex + ey * ey + ez * ez
    along = (ex * cx + ey * cy + ez * cz) / square if square > 0.0 else 0.0
    rise = heights[c] - heights[a] - along * (heights[b] - heights[a])
    away = math.sqrt(max((cx - along * ex) ** 2 + (cy - along * ey) ** 2 + (cz - along * ez) ** 2, 1e-300))
    below = normal[0] * cx + normal[1] * cy + normal[2] * cz
    # A face that folds back over the ceiling is its own other side, however it slopes.
    if rise > -_LEVEL * away or below < -_FOLDED * away:
        return FREE
    # Grounded as soon as it was built, or well below the ceiling.
    if grounded[c] <= heights[c] or grounded[c] < min(heights[a], heights[b]) - tolerance:
        return HELD
    return HANGING

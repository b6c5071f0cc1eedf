"""Walls and gaps of round things, measured from the fitted cylinders instead of their chords.

A tube's wall, the clearance round a pin, what is left between two bores or between a bore and a plane: a
coarse mesh shows all of these wrong by its chords' sagitta. Where both cylinders come from a clean
tessellation the thickness is reckoned from axes and radii; where they do not, samples are as good.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from orient.features.cylinders import Cylinder
from orient.features.facing import Facing
from orient.features.rays import Rays
from orient.features.sheets import LEAST_AREA_MM2, LEAST_MM, Sheet, sheet_of, sheets_of
from orient.part.mesh import Part

Floats = NDArray[np.float64]

# Less than this of a turn is a fillet: part of some longer wall. Up to the second it is the end of a slot,
# which counts where the thin place lies at its crown, this near the middle of its arc.
_HALF_DEG, _WHOLE_DEG, _CROWN_DEG = 165.0, 185.0, 60.0
# A wall of fewer sides a turn than this is a polygon that happens to fit a circle.
_LEAST_SIDES = 7.5
# A fit among noise is taken for true while its corners are no further off than this; beyond it, what is off
# are the facets of a coarse mesh.
_FIT_MM = 0.045
# Axes this parallel are parallel; those of fits among noise tilt a little.
_PARALLEL, _NEARLY_PARALLEL = np.cos(np.radians(0.5)), np.cos(np.radians(2.0))


def all_sheets(
    part: Part, pairs: Facing, cylinders: Sequence[Cylinder], rays: Rays, reach_mm: float
) -> list[Sheet]:
    """Gather facing samples into sheets, those of cylinders apart.

    Parameters
    ----------
    part : Part
        The part.
    pairs : Facing
        Its samples that a surface faces.
    cylinders : sequence of Cylinder
        Its cylindrical walls.
    rays : Rays
        Rays cast at it.
    reach_mm : float
        Largest thickness of interest.

    Returns
    -------
    list of Sheet
        In order of their centres.
    """
    ends = pairs.side == "gap"
    least = _WHOLE_DEG if ends else _HALF_DEG
    whole = [
        one
        for one in cylinders
        if one.covered_deg > (least if one.concave else _WHOLE_DEG) and _is_round(part, one)
    ]
    crowns = [_crown(part, one) if one.covered_deg <= _WHOLE_DEG else None for one in whole]
    label = _labels(part, whole)
    here, there = label[pairs.face], label[pairs.hit]
    low, high = np.minimum(here, there), np.maximum(here, there)

    neighbours = part.neighbours
    sheets = []
    # One side round: what is left between a bore and a plane, cylinder by cylinder. Both sides on one
    # cylinder are its diameter, no thickness.
    others = [np.flatnonzero(high < 0)]
    for rows in _by_key(np.where((low < 0) & (high >= 0), high, -1)):
        cylinder, mine = whole[high[rows[0]]], pairs.of(rows)
        for sheet in sheets_of(mine, neighbours, np.ones(len(rows), dtype=bool)):
            crown = crowns[high[rows[0]]]
            beside = _beside_plane(sheet, mine, cylinder, label[mine.face] >= 0, crown)
            if beside is None:
                # Some other shape, on which the cylinder is but a stretch.
                others.append(rows[np.isin(mine.face, sheet.faces)])
            elif not ends or beside.narrow_mm >= beside.size_mm:
                sheets.append(beside)
    seen = set()
    both = np.where((low >= 0) & (low != high), low.astype(np.int64) * len(whole) + high, -1)
    for rows in _by_key(both):
        one, other = int(low[rows[0]]), int(high[rows[0]])
        if not _at_crowns(whole[one], whole[other], crowns[one], crowns[other]):
            others.append(rows)
        elif 0.5 * pairs.area[rows].sum() >= LEAST_AREA_MM2:
            seen.add((one, other))
            between = _between(sheet_of(pairs, rows), whole[one], whole[other])
            if not ends or between.shape == "round" or between.narrow_mm >= between.size_mm:
                sheets.append(between)
    rows = np.sort(np.concatenate(others))
    bores = np.append([crown is None for crown in crowns], False)
    sheets += sheets_of(pairs.of(rows), neighbours, None if ends else bores[high[rows]])
    for one, other in _unseen(whole, seen, reach_mm):
        if not _at_crowns(whole[one], whole[other], crowns[one], crowns[other]):
            continue
        unseen = _ligament(whole[one], whole[other], rays, pairs.side)
        if unseen is not None and (not ends or unseen.narrow_mm >= unseen.size_mm):
            sheets.append(unseen)
    sheets = [sheet for sheet in sheets if LEAST_MM <= sheet.size_mm <= reach_mm]
    return sorted(sheets, key=lambda sheet: (*sheet.centre.round(2).tolist(), sheet.size_mm))


def _is_round(part: Part, cylinder: Cylinder) -> bool:
    """Whether a cylinder has so many chords that it is no polygon: a hexagon fits a circle too."""
    across = np.cross(cylinder.axis, np.eye(3)[np.argmin(np.abs(cylinder.axis))])
    across /= np.linalg.norm(across)
    normals = part.normals[cylinder.faces]
    angle = np.sort(np.degrees(np.arctan2(normals @ np.cross(cylinder.axis, across), normals @ across)))
    steps = np.diff(np.append(angle, angle[0] + 360.0))
    # One wide step may be where the wall is open.
    return int(np.count_nonzero(steps > 360.0 / _LEAST_SIDES)) < 2


def _crown(part: Part, cylinder: Cylinder) -> Floats:
    """Direction from the axis to the middle of an arc."""
    mean = part.areas[cylinder.faces] @ part.normals[cylinder.faces]
    mean = (mean @ cylinder.axis) * cylinder.axis - mean if cylinder.concave else mean
    mean = mean - (mean @ cylinder.axis) * cylinder.axis
    return mean / max(float(np.linalg.norm(mean)), 1e-300)


def _at_crown(crown: Floats | None, way: Floats) -> bool:
    """Whether a way out from the axis leads through the middle of an arc; it does through a whole wall."""
    return crown is None or float(crown @ way) > np.cos(np.radians(_CROWN_DEG))


def _at_crowns(one: Cylinder, other: Cylinder, crown: Floats | None, beyond: Floats | None) -> bool:
    """Whether the thin place between two walls lies at the crowns of both."""
    if crown is None and beyond is None:
        return True
    _, start, end = _axes(one, other)
    way = (end - start) / max(float(np.linalg.norm(end - start)), 1e-12)
    if one.concave != other.concave:
        # Of one cylinder in another it lies on the side to which the inner one is off.
        inner = one.radius_mm < other.radius_mm
        return _at_crown(crown if inner else beyond, -way if inner else way)
    return _at_crown(crown, way) and _at_crown(beyond, -way)


def _labels(part: Part, whole: Sequence[Cylinder]) -> NDArray[np.int32]:
    """Number the cylinder of each face, −1 for none.

    A fit among noise leaves out faces here and there; those beside it that lie on it are counted in.
    """
    label = np.full(len(part.faces), -1, dtype=np.int32)
    for number, one in enumerate(whole):
        label[one.faces] = number
    vertices, faces, normals, neighbours = part.vertices, part.faces, part.normals, part.neighbours
    for number, one in enumerate(whole):
        edge = one.faces
        # A flat cut into the cylinder has its corners on it too, but lies deeper than any chord of its own.
        deepest = _depth(vertices[faces[edge]], one).max(initial=0.0)
        while len(edge):
            beside = np.unique(neighbours[edge])
            beside = beside[beside >= 0]
            beside = beside[label[beside] < 0]
            corner = vertices[faces[beside]] - one.point_mm
            along = corner @ one.axis
            out = corner - along[..., None] * one.axis
            off = np.abs(np.linalg.norm(out, axis=2) - one.radius_mm).max(axis=1)
            slack = max(1.5 * one.residual_mm, 0.01)
            inside = (along > one.extent[0] - slack) & (along < one.extent[1] + slack)
            middle = out.mean(axis=1)
            lean = np.einsum("ij,ij->i", middle, normals[beside]) * (-1.0 if one.concave else 1.0)
            on = (off <= slack) & inside.all(axis=1) & (lean > 0.5 * np.linalg.norm(middle, axis=1))
            on &= _depth(corner + one.point_mm, one) <= deepest + slack
            edge = beside[on]
            label[edge] = number
    return label


def _depth(corners: Floats, cylinder: Cylinder) -> Floats:
    """How far the middle of the deepest edge of each face lies within a cylinder, mm."""
    middle = 0.5 * (corners + np.roll(corners, -1, axis=1)) - cylinder.point_mm
    out = middle - (middle @ cylinder.axis)[..., None] * cylinder.axis
    depth: Floats = cylinder.radius_mm - np.linalg.norm(out, axis=2).min(axis=1)
    return depth


def _by_key(key: NDArray) -> list[NDArray[np.int64]]:
    """Rows of each key that is not negative."""
    order = np.argsort(key, kind="stable")
    order = order[np.searchsorted(key[order], 0) :]
    return np.split(order, np.flatnonzero(np.diff(key[order])) + 1) if len(order) else []


def _sharp(cylinder: Cylinder) -> bool:
    """Whether a cylinder is known better than samples of its facets are."""
    return cylinder.exact or cylinder.residual_mm <= _FIT_MM


def _parallel(one: Cylinder, other: Cylinder) -> bool:
    least = _PARALLEL if one.exact and other.exact else _NEARLY_PARALLEL
    return abs(float(one.axis @ other.axis)) >= least


def _axes(one: Cylinder, other: Cylinder) -> tuple[float, Floats, Floats]:
    """Distance of two axes and the points where they are nearest, mm."""
    between = other.point_mm - one.point_mm
    cosine = float(one.axis @ other.axis)
    if _parallel(one, other):
        # Parallel: nearest all along; taken in the middle of the stretch that they share.
        ends = np.array(other.extent) * np.sign(cosine) + between @ one.axis
        low, high = max(one.extent[0], ends.min()), min(one.extent[1], ends.max())
        start = one.point_mm + 0.5 * (low + high) * one.axis
        end = other.point_mm + ((start - other.point_mm) @ other.axis) * other.axis
        return float(np.linalg.norm(end - start)), start, end
    s, t = np.linalg.solve([[1.0, -cosine], [cosine, -1.0]], [between @ one.axis, between @ other.axis])
    start, end = one.point_mm + s * one.axis, other.point_mm + t * other.axis
    return float(np.linalg.norm(end - start)), start, end


def _between(sheet: Sheet, one: Cylinder, other: Cylinder) -> Sheet:
    """Measure the wall or gap between two cylinders."""
    apart, start, end = _axes(one, other)
    parallel = _parallel(one, other)
    exact = _sharp(one) and _sharp(other)
    coaxial = parallel and apart <= 0.02 * min(one.radius_mm, other.radius_mm)
    if one.concave == other.concave:
        least = apart - one.radius_mm - other.radius_mm
    elif parallel:
        least = abs(one.radius_mm - other.radius_mm) - apart
    else:
        return replace(sheet, size_mm=sheet.least_mm, shape="ligament")
    if coaxial:
        size = abs(one.radius_mm - other.radius_mm) if exact else sheet.median_mm
        least = size - apart if exact else sheet.least_mm
        most = 2 * size - least
        middle = 0.5 * (start + end)
        sheet = replace(sheet, centre=middle, at=middle, shape="round")
        return replace(sheet, median_mm=size, size_mm=size, least_mm=least, most_mm=most)
    if not exact or least <= 0:
        return replace(sheet, size_mm=sheet.least_mm, shape="ligament")
    # The thin place lies towards the other of two bores; of one cylinder in another, on the side to which
    # the inner one is off.
    inner, radius, way = start, one.radius_mm, end - start
    if one.concave != other.concave:
        if one.radius_mm > other.radius_mm:
            inner, radius = end, other.radius_mm
        else:
            way = start - end
    way = way / apart
    at = inner + (radius + 0.5 * least) * way
    return replace(
        sheet, size_mm=least, least_mm=least, at=at, centre=at, normal=_signed(way), shape="ligament"
    )


def _beside_plane(
    sheet: Sheet,
    pairs: Facing,
    cylinder: Cylinder,
    is_round: NDArray[np.bool_],
    crown: Floats | None,
) -> Sheet | None:
    """Measure what is left between a cylinder and a plane along it; None where the other side is none."""
    member = np.isin(pairs.face, sheet.faces) & ~is_round
    if not member.any() or cylinder.concave != (pairs.side == "wall"):
        return None
    area = pairs.area[member]
    normal = area @ pairs.normal[member]
    normal /= max(float(np.linalg.norm(normal)), 1e-12)
    off = pairs.normal[member] @ normal < np.cos(np.radians(1.0 if cylinder.exact else 10.0))
    if area[off].sum() > 0.05 * area.sum() or abs(float(normal @ cylinder.axis)) > 0.02:
        return None
    # The plane of a wall looks away from the hole behind it.
    if not _at_crown(crown, normal if pairs.side == "wall" else -normal):
        return None
    sheet = replace(sheet, size_mm=sheet.least_mm, shape="ligament")
    if not _sharp(cylinder):
        return sheet
    point = pairs.middle[member] - _SIGN[pairs.side] * 0.5 * pairs.length[member, None] * pairs.normal[member]
    offset = float(np.median(point @ normal))
    ends = [float((cylinder.point_mm + t * cylinder.axis) @ normal) - offset for t in cylinder.extent]
    least = min(abs(end) for end in ends) - cylinder.radius_mm
    along = float((sheet.centre - cylinder.point_mm) @ cylinder.axis)
    beside = cylinder.point_mm + along * cylinder.axis
    way = np.sign(offset - float(beside @ normal)) * normal
    at = beside + (cylinder.radius_mm + 0.5 * least) * way
    return replace(sheet, size_mm=least, least_mm=least, at=at, centre=at, normal=_signed(normal))


_SIGN = {"wall": -1.0, "gap": 1.0}


def _unseen(whole: Sequence[Cylinder], seen: set[tuple[int, int]], reach_mm: float) -> list[tuple[int, int]]:
    """Pairs of parallel cylinders of one sense, near each other, that no sample saw: very coarse ones."""
    chosen = [number for number, one in enumerate(whole) if one.exact]
    if len(chosen) < 2 or len(chosen) > 3000:
        return []
    point = np.array([whole[number].point_mm for number in chosen])
    axis = np.array([whole[number].axis for number in chosen])
    radius = np.array([whole[number].radius_mm for number in chosen])
    concave = np.array([whole[number].concave for number in chosen])
    extent = np.array([whole[number].extent for number in chosen])
    found = []
    for row in range(len(chosen) - 1):
        later = slice(row + 1, None)
        between = point[later] - point[row]
        along = between @ axis[row]
        apart = np.linalg.norm(between - along[:, None] * axis[row], axis=1)
        least = apart - radius[later] - radius[row]
        overlap = np.minimum(extent[row, 1], along + extent[later, 1]) - np.maximum(
            extent[row, 0], along + extent[later, 0]
        )
        near = (least >= LEAST_MM) & (least <= reach_mm) & (concave[later] == concave[row])
        near &= (np.abs(axis[later] @ axis[row]) >= _PARALLEL) & (overlap > 0.2)
        pairs = [(chosen[row], chosen[row + 1 + k]) for k in np.flatnonzero(near)]
        found += [pair for pair in pairs if pair not in seen]
    return found


def _ligament(one: Cylinder, other: Cylinder, rays: Rays, side: str) -> Sheet | None:
    """Measure a ligament that no sample saw, if two rays from its middle find both cylinders."""
    if one.concave != (side == "wall"):
        return None
    apart, start, end = _axes(one, other)
    least = apart - one.radius_mm - other.radius_mm
    way = (end - start) / apart
    at = start + (one.radius_mm + 0.5 * least) * way
    reach = least + one.radius_mm + other.radius_mm
    hit, _ = rays.first_hits(np.stack([at, at]), np.stack([-way, way]), reach)
    if hit[0] not in one.faces or hit[1] not in other.faces:
        return None
    low, high = _shared(one, other)
    # As wide as the thickness doubles: (2r/2)·(y/r)² = least at each side.
    radius = 2.0 / (1.0 / one.radius_mm + 1.0 / other.radius_mm)
    wide = 2.0 * np.sqrt(least * radius)
    return Sheet(
        side=side,
        median_mm=least,
        least_mm=least,
        most_mm=2 * least,
        size_mm=least,
        shape="ligament",
        centre=at,
        at=at,
        normal=_signed(way),
        area_mm2=float((high - low) * wide),
        narrow_mm=float(min(wide, high - low)),
        long_mm=float(max(wide, high - low)),
        faces=np.array(sorted({int(hit[0]), int(hit[1])}), dtype=np.int64),
    )


def _shared(one: Cylinder, other: Cylinder) -> tuple[float, float]:
    """Stretch of one axis that both walls cover."""
    along = float((other.point_mm - one.point_mm) @ one.axis)
    return max(one.extent[0], along + other.extent[0]), min(one.extent[1], along + other.extent[1])


def _signed(vector: Floats) -> Floats:
    return vector * np.sign(vector[np.argmax(np.abs(vector))])

"""Bores and studs: cylindrical walls that go round, pieces of one joined, with their ends looked at.

A concave wall that covers more than 185° round a free centre is a **bore** (175° to 185° is the end of a
slot or a groove, about 90° a fillet). A convex one that goes nearly round is a **stud**. Either may turn out
to be a regular polygon, since a polygon's corners lie on a circle as well as a faceted circle's do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from weakref import WeakKeyDictionary

import numpy as np

from orient.features.cylinders import Cylinder, cylinders_of
from orient.features.growth import Axis, Floats, Wall, covered_deg, fit_axis, frame_of
from orient.features.mouths import Ends, ends_of
from orient.features.sections import Sections
from orient.part.mesh import Part

BORE_DEG = 185.0
STUD_DEG = 300.0
# Pieces of one bore agree within this share of the radius and this sine of the angle between their axes.
_SAME_RADIUS, _SAME_AXIS = 0.02, 0.02
# Pieces further apart than this many diameters are holes of their own (opposite walls of a box).
_LARGEST_GAP = 6.0
# A wall of five to seven sides is a polygon: normals fold onto one another so well (1 is a perfect fold).
_POLYGON_SIDES, _FOLDED = (5, 6, 7), 0.75
# A free centre: nothing nearer to the axis than this share of the wall's own nearest plane.
_FREE = 0.97


@dataclass(frozen=True, eq=False)
class Bore:
    """A cylindrical wall that goes round: hollow a bore, solid a stud.

    Attributes
    ----------
    cylinder : Cylinder
        Fitted wall, all its pieces.
    ends : Ends
        Its two mouths (or tip and foot), and the depth.
    inner_mm : float
        Distance of its flats from the axis, mm: the radius of what passes through.
    sides : int
        5, 6 or 7 when the wall is a regular polygon, otherwise 0.
    gap : (3,)
        Direction from the axis to the middle of the part of the turn that the wall leaves out.
    """

    cylinder: Cylinder
    ends: Ends
    inner_mm: float
    sides: int
    gap: Floats

    @property
    def diameter_mm(self) -> float:
        """Diameter of the fitted cylinder, mm."""
        return 2 * self.cylinder.radius_mm

    @property
    def centre_mm(self) -> Floats:
        """Point of the axis midway between its ends, mm."""
        return self.cylinder.point_mm + 0.5 * sum(self.span()) * self.cylinder.axis

    @property
    def concave(self) -> bool:
        """True for a bore."""
        return self.cylinder.concave

    def span(self) -> tuple[float, float]:
        """Where it begins and ends along its axis, from `cylinder.point_mm`, mm."""
        return self.ends.low.at_mm, self.ends.high.at_mm

    def is_coaxial(self, other: Bore) -> bool:
        """Tell whether another wall runs round the same axis."""
        return _coaxial(self.cylinder, other.cylinder, 0.1 * min(self.radius_mm, other.radius_mm))

    @property
    def radius_mm(self) -> float:
        """Radius of the fitted cylinder, mm."""
        return self.cylinder.radius_mm

    def place_of(self, other: Bore) -> tuple[float, float]:
        """Give the ends of a coaxial wall along this one's axis, mm."""
        offset = float((other.cylinder.point_mm - self.cylinder.point_mm) @ self.cylinder.axis)
        sign = 1.0 if float(other.cylinder.axis @ self.cylinder.axis) > 0 else -1.0
        low, high = (offset + sign * t for t in other.span())
        return min(low, high), max(low, high)

    def overlap_mm(self, other: Bore) -> float:
        """Length over which a coaxial wall runs beside this one, mm."""
        low, high = self.place_of(other)
        return min(high, self.span()[1]) - max(low, self.span()[0])


_KNOWN: WeakKeyDictionary[Part, list[Bore]] = WeakKeyDictionary()


def bores_of(part: Part) -> list[Bore]:
    """Find the bores and studs of a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of Bore
        Sorted by place. Kept for as long as the part lives.
    """
    if part not in _KNOWN:
        _KNOWN[part] = _bores_of(part)
    return _KNOWN[part]


def _bores_of(part: Part) -> list[Bore]:
    cylinders = cylinders_of(part)
    wall = Wall(part.vertices, part.faces, part.neighbours, part.normals)
    sections = Sections(part)
    found = []
    for concave, least in ((True, BORE_DEG), (False, STUD_DEG)):
        pieces = [c for c in cylinders if c.concave == concave]
        for group in _joined(part, wall, pieces):
            cylinder = group[0] if len(group) == 1 else _united(part, group)
            if cylinder.covered_deg <= least:
                continue
            bore = _described(part, wall, cylinder)
            if _is_slice(bore):
                continue
            if concave:
                if not _is_free(part, sections, bore):
                    continue
                bore = _opened(sections, bore)
            found.append(bore)
    return sorted(found, key=lambda b: (*np.round(b.cylinder.point_mm, 2).tolist(), b.radius_mm))


def _described(part: Part, wall: Wall, cylinder: Cylinder) -> Bore:
    """Look at the ends and the flats of a wall."""
    ends = ends_of(part, wall, cylinder.faces, cylinder.fitted, cylinder.covered_deg)
    faces = cylinder.faces
    offset = part.vertices[part.faces[faces, 0]] - cylinder.point_mm
    plane = np.abs(np.einsum("ij,ij->i", offset, part.normals[faces]))
    areas = part.areas[faces]
    total = max(float(areas.sum()), 1e-300)
    frame = frame_of(cylinder.axis)
    across = part.normals[faces] @ frame[:2].T
    turn = np.arctan2(across[:, 1], across[:, 0])
    sides = 0
    if cylinder.covered_deg > BORE_DEG:
        folds = {n: abs(np.sum(areas * np.exp(1j * n * turn))) / total for n in _POLYGON_SIDES}
        best = max(folds, key=lambda n: folds[n])
        sides = best if folds[best] > _FOLDED else 0
    # Normals all round cancel but for what is missing.
    lopsided = (areas @ part.normals[faces]) * (1.0 if cylinder.concave else -1.0)
    lopsided = lopsided - (lopsided @ cylinder.axis) * cylinder.axis
    gap = lopsided / max(float(np.linalg.norm(lopsided)), 1e-300)
    return Bore(cylinder, ends, float(areas @ plane) / total, sides, gap)


def _coaxial(a: Cylinder, b: Cylinder, within: float) -> bool:
    """Tell whether two axes are one, within a distance midway between the walls."""
    if np.linalg.norm(np.cross(a.axis, b.axis)) > _SAME_AXIS + within / (
        10 * max(a.length_mm, b.length_mm, 1e-9)
    ):
        return False
    gap = b.point_mm - a.point_mm
    longer = a.axis if a.length_mm >= b.length_mm else b.axis
    return bool(np.linalg.norm(gap - (gap @ longer) * longer) <= within)


def _joined(part: Part, wall: Wall, pieces: list[Cylinder]) -> list[list[Cylinder]]:
    """Group pieces of one diameter on one axis that open towards one another."""
    groups: list[list[Cylinder]] = []
    left = sorted(pieces, key=lambda c: (-c.covered_deg, *np.round(c.point_mm, 2).tolist()))
    # Coaxial pieces have like axes' feet and radii; few pairs remain to be looked at closely.
    radii = np.array([c.radius_mm for c in left])
    points = np.array([c.point_mm for c in left]).reshape(-1, 3)
    axes = np.array([c.axis for c in left]).reshape(-1, 3)
    middles = np.array([part.centroids[c.faces].mean(axis=0) for c in left]).reshape(-1, 3)
    used = np.zeros(len(left), dtype=bool)
    for i, first in enumerate(left):
        if used[i]:
            continue
        used[i] = True
        group = [first]
        # The middle of a wall that lies on a cylinder lies inside it.
        inside = np.minimum(
            _off_axis(middles - first.point_mm, first.axis), _off_axis(middles[i] - points, axes)
        ) <= 1.1 * first.radius_mm + _slack(first)
        alike = np.flatnonzero(~used & inside & (np.abs(radii - first.radius_mm) <= _slack(first)))
        index = [j for j in alike if _lies_on(part, left[j], first) or _lies_on(part, first, left[j])]
        partners = [left[j] for j in index]
        changed = bool(partners)
        while changed:
            changed = False
            for j, other in zip(index, partners, strict=True):
                if not used[j] and any(_continues(part, wall, one, other) for one in group):
                    used[j] = changed = True
                    group.append(other)
        groups.append(group)
    return groups


def _off_axis(offset: Floats, axis: Floats) -> Floats:
    """Length of the part of each offset that is square to an axis, or to its own axis."""
    along = (offset * axis).sum(axis=1)
    return np.linalg.norm(offset - along[:, None] * axis, axis=1)


def _lies_on(part: Part, other: Cylinder, one: Cylinder) -> bool:
    """Tell whether the corners of one wall lie on the cylinder of another."""
    offset = part.vertices[np.unique(part.faces[other.faces])] - one.point_mm
    away = np.linalg.norm(offset - np.outer(offset @ one.axis, one.axis), axis=1)
    # Corners where a bore cuts a coarse wall lie on chords, inside; the outer ones lie on the cylinder.
    return bool(
        abs(np.quantile(away, 0.9) - one.radius_mm) <= _slack(one) and away.min() > 0.8 * one.radius_mm
    )


def _slack(cylinder: Cylinder) -> float:
    return _SAME_RADIUS * cylinder.radius_mm + 2 * cylinder.residual_mm


def _continues(part: Part, wall: Wall, one: Cylinder, other: Cylinder) -> bool:
    """Tell whether two pieces overlap along the axis, or lie near with open ends facing."""
    at = float((other.point_mm - one.point_mm) @ one.axis)
    gap = abs(at) - 0.5 * (one.length_mm + other.length_mm)
    whole = any(piece.exact and piece.covered_deg > 350.0 for piece in (one, other))
    if gap <= -0.25 * min(one.length_mm, other.length_mm) and not whole:
        # Side by side round the axis: pieces of one wall.
        return True
    if gap <= 0.05 * one.radius_mm and not (one.exact or other.exact):
        return True
    if gap > _LARGEST_GAP * 2 * one.radius_mm or not one.concave:
        return False
    near = ends_of(part, wall, one.faces, one.fitted, one.covered_deg)
    far = ends_of(part, wall, other.faces, other.fitted, other.covered_deg)
    same_way = float(one.axis @ other.axis) > 0
    here = near.high if at > 0 else near.low
    there = far.low if (at > 0) == same_way else far.high
    # Clean pieces of one cylinder that meet smoothly were one piece already: this is the beginning of a bend.
    runs_on = (one.exact or other.exact) and max(here.smooth, there.smooth) > 0.5
    return here.open and there.open and not runs_on


def _united(part: Part, group: list[Cylinder]) -> Cylinder:
    """Fit one cylinder to all pieces of a bore."""
    lead = max(group, key=lambda c: (c.exact, len(c.faces)))
    faces = np.unique(np.concatenate([c.faces for c in group]))
    corners = part.vertices[part.faces[faces]]
    fitted = lead.fitted
    if lead.exact:
        # Each piece is exact by itself: the axis is taken through them all, the radius is one of theirs.
        ends = np.concatenate([[c.point_mm + t * c.axis for t in c.extent] for c in group if c.exact])
        middle = ends.mean(axis=0)
        direction = np.linalg.svd(ends - middle)[2][0] if len(ends) > 2 else lead.axis
        fitted = Axis(middle, direction, lead.radius_mm)
    else:
        fitted, _ = fit_axis(part.vertices[np.unique(part.faces[faces])], fitted)
    direction = fitted.direction * np.sign(fitted.direction[np.argmax(np.abs(fitted.direction))])
    t = (corners - fitted.point) @ direction
    middle_t = 0.5 * float(t.min() + t.max())
    point = fitted.point + middle_t * direction
    return Cylinder(
        axis=direction,
        point_mm=point,
        radius_mm=fitted.radius,
        concave=lead.concave,
        faces=faces,
        residual_mm=max(c.residual_mm for c in group),
        extent=(float(t.min()) - middle_t, float(t.max()) - middle_t),
        covered_deg=covered_deg(corners, Axis(point, direction, fitted.radius)),
        exact=lead.exact,
    )


def _is_slice(bore: Bore) -> bool:
    """Tell whether a wall that runs on at its ends is but a slice of a ball, a ring or a funnel."""
    runs_on = (bore.ends.low.smooth > 0.5) + (bore.ends.high.smooth > 0.5)
    return bore.ends.depth_mm < (0.0, 0.5, 2.0)[runs_on] * bore.radius_mm


def _opened(sections: Sections, bore: Bore) -> Bore:
    """Settle ends that run on without an edge: open where the axis is clear for a radius and a bit beyond."""
    low, high = bore.ends.low, bore.ends.high
    cylinder, reach = bore.cylinder, bore.ends.depth_mm / 2 + 1.2 * bore.radius_mm
    start = cylinder.point_mm + 0.5 * sum(bore.span()) * cylinder.axis
    if low.smooth > 0.5:
        low = replace(low, convex=float(sections.first_hit_mm(start, -cylinder.axis, reach) >= reach))
    if high.smooth > 0.5:
        high = replace(high, convex=float(sections.first_hit_mm(start, cylinder.axis, reach) >= reach))
    return replace(bore, ends=replace(bore.ends, low=low, high=high))


def _is_free(part: Part, sections: Sections, bore: Bore) -> bool:
    """Tell whether nothing stands in the middle of a bore, as the core of a ring groove does."""
    cylinder = bore.cylinder
    low, high = bore.span()
    places = low + np.array([0.35, 0.5, 0.65]) * (high - low)
    points = cylinder.point_mm + places[:, None] * cylinder.axis
    nearest = sections.nearest_mm(points, cylinder.axis, 0.999 * bore.inner_mm, cylinder.faces)
    return int(np.count_nonzero(nearest > _FREE * bore.inner_mm)) >= 2

"""Bores and studs: cylindrical walls that go round, pieces of one joined, with their ends looked at.

A concave wall that covers more than 185° round a free centre is a **bore** (175° to 185° is the end of a
slot or a groove, about 90° a fillet). A convex one that goes most of the way round is a **stud**: both may
have a flat, as the shafts of motors and their bores have. Either may turn out
to be a regular polygon, since a polygon's corners lie on a circle as well as a faceted circle's do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from weakref import WeakKeyDictionary

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from orient.features.cylinders import Cylinder, cylinders_of
from orient.features.growth import Axis, Floats, Wall, covered_deg, fit_axis, frame_of
from orient.features.mouths import Ends, ends_of
from orient.features.sections import Sections
from orient.part.mesh import Part

BORE_DEG = 185.0
STUD_DEG = 275.0
# On a rough mesh an arch takes in some of the walls that it runs out into, on both sides.
_ROUGH_DEG = 15.0
# Pieces of one bore agree within this share of the radius and this sine of the angle between their axes.
_SAME_RADIUS, _SAME_AXIS = 0.02, 0.02
# Pieces further apart than this many diameters are holes of their own (opposite walls of a box).
_LARGEST_GAP = 6.0
# A wall of five to seven sides is a polygon: normals fold onto one another so well (1 is a perfect fold).
_POLYGON_SIDES, _FOLDED = (5, 6, 7), 0.75
# A free centre: nothing nearer to the axis than this share of the wall's own nearest plane, or nothing but a
# flat that closes what the wall leaves open, no nearer than the second share.
_FREE, _LEAST_FLAT = 0.97, 0.4
# Ways in which a wall that is closed by a flat is looked for from its axis, and the share that must see it.
_LOOKS, _SEEN = 24, 0.9


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

    @property
    def open_deg(self) -> float:
        """How much of a turn the wall leaves out; a few chords' worth is nothing."""
        left = 360.0 - self.cylinder.covered_deg
        return left if left > 30.0 else 0.0

    def span(self) -> tuple[float, float]:
        """Where it begins and ends along its axis, from `cylinder.point_mm`, mm."""
        return self.ends.low.at_mm, self.ends.high.at_mm

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
            slack = 0.0 if cylinder.exact or not concave else _ROUGH_DEG
            if cylinder.covered_deg <= least + slack:
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


def coaxial(bores: Sequence[Bore]) -> list[list[Bore]]:
    """List for each wall the others that run round its axis.

    Parameters
    ----------
    bores : sequence of Bore
        Walls, a few thousand at most.

    Returns
    -------
    list of list of Bore
        In the order given. Axes are one within a tenth of the smaller radius, midway between the walls.
    """
    axis = np.array([one.cylinder.axis for one in bores]).reshape(-1, 3)
    point = np.array([one.cylinder.point_mm for one in bores]).reshape(-1, 3)
    radius = np.array([one.radius_mm for one in bores])
    length = np.array([one.cylinder.length_mm for one in bores])
    found = []
    for i in range(len(bores)):
        within = 0.1 * np.minimum(radius[i], radius)
        cosine = axis @ axis[i]
        sine = np.sqrt(np.maximum(1.0 - cosine**2, 0.0))
        alike = sine <= _SAME_AXIS + within / (10 * np.maximum(np.maximum(length[i], length), 1e-9))
        gap = point - point[i]
        longer = np.where((length[i] >= length)[:, None], axis[i], axis)
        off = np.linalg.norm(gap - (gap * longer).sum(axis=1)[:, None] * longer, axis=1)
        alike &= off <= within
        alike[i] = False
        found.append([bores[j] for j in np.flatnonzero(alike).tolist()])
    return found


class _Pieces:
    """Pieces of walls, those that cover most first, with what is looked at again and again."""

    def __init__(self, part: Part, wall: Wall, pieces: list[Cylinder]) -> None:
        self.part, self.wall = part, wall
        self.all = sorted(pieces, key=lambda c: (-c.covered_deg, *np.round(c.point_mm, 2).tolist()))
        self.radii = np.array([c.radius_mm for c in self.all])
        self.points = np.array([c.point_mm for c in self.all]).reshape(-1, 3)
        self.axes = np.array([c.axis for c in self.all]).reshape(-1, 3)
        self.middles = np.array([part.centroids[c.faces].mean(axis=0) for c in self.all]).reshape(-1, 3)
        self._corners: dict[int, Floats] = {}
        self._ends: dict[int, Ends] = {}

    def corners(self, i: int) -> Floats:
        """Corners of a piece."""
        if i not in self._corners:
            self._corners[i] = self.part.vertices[np.unique(self.part.faces[self.all[i].faces])]
        return self._corners[i]

    def ends(self, i: int) -> Ends:
        """Both ends of a piece."""
        if i not in self._ends:
            one = self.all[i]
            self._ends[i] = ends_of(self.part, self.wall, one.faces, one.fitted, one.covered_deg)
        return self._ends[i]

    def alike(self, i: int, left: NDArray[np.bool_]) -> list[int]:
        """Pieces not yet joined whose wall lies on the same cylinder."""
        first = self.all[i]
        # The middle of a wall that lies on a cylinder lies inside it: few are left to be looked at closely.
        inside = np.minimum(
            _off_axis(self.middles - first.point_mm, first.axis),
            _off_axis(self.middles[i] - self.points, self.axes),
        ) <= 1.1 * first.radius_mm + _slack(first)
        near = np.flatnonzero(left & inside & (np.abs(self.radii - first.radius_mm) <= _slack(first)))
        return [j for j in near.tolist() if self._lies_on(j, i) or self._lies_on(i, j)]

    def _lies_on(self, other: int, one: int) -> bool:
        """Tell whether the corners of one wall lie on the cylinder of another."""
        cylinder = self.all[one]
        away = np.sort(_off_axis(self.corners(other) - cylinder.point_mm, cylinder.axis))
        if away[0] <= 0.8 * cylinder.radius_mm:
            return False
        # Corners where a bore cuts a coarse wall lie on chords, inside; the outer ones lie on the cylinder.
        place, share = divmod(0.9 * (len(away) - 1), 1.0)
        low, high = away[int(place)], away[min(int(place) + 1, len(away) - 1)]
        return bool(abs(low + share * (high - low) - cylinder.radius_mm) <= _slack(cylinder))

    def continues(self, i: int, j: int) -> bool:
        """Tell whether two pieces overlap along the axis, or lie near with open ends facing."""
        one, other = self.all[i], self.all[j]
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
        near, far = self.ends(i), self.ends(j)
        same_way = float(one.axis @ other.axis) > 0
        here = near.high if at > 0 else near.low
        there = far.low if (at > 0) == same_way else far.high
        # Clean pieces of one cylinder that meet smoothly were one piece already: this is where a bend begins.
        runs_on = (one.exact or other.exact) and max(here.smooth, there.smooth) > 0.5
        return here.open and there.open and not runs_on


def _joined(part: Part, wall: Wall, pieces: list[Cylinder]) -> list[list[Cylinder]]:
    """Group pieces of one diameter on one axis that open towards one another."""
    known = _Pieces(part, wall, pieces)
    groups: list[list[Cylinder]] = []
    left = np.ones(len(known.all), dtype=bool)
    for i, first in enumerate(known.all):
        if not left[i]:
            continue
        left[i] = False
        partners = known.alike(i, left)
        if not partners:
            groups.append([first])
            continue
        # Pieces that continue one another are a graph: the first's component is one wall.
        graph = nx.Graph()
        graph.add_nodes_from([i, *partners])
        graph.add_edges_from(
            (a, b)
            for a, b in combinations([i, *partners], 2)
            if known.continues(a, b) or known.continues(b, a)
        )
        together = sorted(nx.node_connected_component(graph, i))
        left[together] = False
        groups.append([known.all[j] for j in together])
    return groups


def _off_axis(offset: Floats, axis: Floats) -> Floats:
    """Length of the part of each offset that is square to an axis, or to its own axis."""
    along = (offset * axis).sum(axis=1)
    across = offset - along[:, None] * axis
    return np.sqrt(np.einsum("ij,ij->i", across, across))


def _slack(cylinder: Cylinder) -> float:
    return _SAME_RADIUS * cylinder.radius_mm + 2 * cylinder.residual_mm


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
        # Where chords were cut finer, corners lie within the circle: the pieces know its radius better.
        radius = np.average([c.radius_mm for c in group], weights=[len(c.faces) for c in group])
        fitted = replace(fitted, radius=float(radius))
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
    if int(np.count_nonzero(nearest > _FREE * bore.inner_mm)) >= 2:
        return True
    flat = int(np.count_nonzero(nearest > _LEAST_FLAT * bore.inner_mm)) >= 2
    return flat and bore.open_deg > 0 and _sees_itself(sections, bore, points[1])


def _sees_itself(sections: Sections, bore: Bore, point: Floats) -> bool:
    """Tell whether a wall is what is seen from its axis wherever it goes: a core would be in the way."""
    half = np.radians(bore.cylinder.covered_deg / 2 - 5.0)
    side = np.cross(bore.cylinder.axis, bore.gap)
    seen = 0
    for turn in np.linspace(-half, half, _LOOKS):
        way = -np.cos(turn) * bore.gap + np.sin(turn) * side
        seen += sections.first_hit_mm(point, way, 2 * bore.radius_mm) > _FREE * bore.inner_mm
    return bool(seen >= _SEEN * _LOOKS)

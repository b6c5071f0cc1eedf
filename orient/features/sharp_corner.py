"""Inner corners without a fillet, where stress piles up, and corners of the outline on the bed, which lift.

A corner is sharp where the surface turns by 60° or more within a mean radius below 0.5 mm. From every bent
edge of the mesh the surface is followed to both sides in the plane across the edge. The direction of each
flank is taken a little way off, so that a corner is found alike whether it is one edge, a fine fillet of
0.2 mm or a noisy mess of triangles, and a fillet drawn with few chords is not taken for one.

What lies on the bed shrinks as a whole: two of its points draw together by strain times their straight
distance, however the part runs between them. So a sharp corner of its outline is judged by the point of the
outline farthest from it, as curl is; an angle whose legs are 54 and 44 mm long does not pull 98 mm together.

The verdicts and what to try are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.features.model import Feature
from orient.features.order import STEP_MM
from orient.part.edges import edge_angles
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]

KIND = "sharp_corner"
SHARP_DEG = 60.0
RADIUS_MM = 0.5
# Two corners of a slot narrower than the look taken at each turn as one: 90° from each side and more.
SLOT_END_DEG = 120.0
# Corners shorter than this are no more than the ends of others.
LEAST_LENGTH_MM = 1.5
# A step lower than this is a detail: it carries no load that would pile up at its foot.
LEAST_STEP_MM = 1.0
# Edges bent by less than the first are taken for flat; from the second on any edge may be a corner; between
# them it may if the faces beside it are so narrow that they could be strips of a tight fillet.
_FLAT_DEG, _BENT_DEG = 1.0, 20.0
# The directions of the flanks are taken between these distances from the edge. Their middle is half of the
# arc that 60° take at a radius of 0.5 mm, so that a fillet of 0.5 mm is the one that just turns by 60°.
_NEAR_MM, _FAR_MM = 0.16, 0.36
# How far flanks are followed to learn how high they are.
_REACH_MM = 1.6
_STEPS = 256
# Corners no higher than this lie on the bed, mm.
_ON_BED_MM = 0.02
# A corner whose middle lies further off it than this share of its length runs round that middle.
_RING_SHARE = 0.06
# What is drawn at a limit reaches it, though a file's last digits put it just below.
_DIGITS_DEG, _DIGITS_MM = 0.1, 0.005
# Sign of a concave bend as `_bend` counts it.
_CONCAVE = -1.0


@dataclass(frozen=True, eq=False)
class Corner:
    """One sharp corner: an edge, or edges that hang together.

    Attributes
    ----------
    where : {"inside", "outline"}
        Between faces of the part, or on the outline of what lies on the bed.
    length_mm : float
        Length of an inner corner; of an outline the straight distance from a sharp corner to the point of it
        that is farthest off, the greatest of all its corners.
    turn_deg : float
        Mean turn of the surface or the outline.
    step_mm : float
        Height of the lower flank beside an inner corner, no more than 1.6 mm.
    corners : int
        Number of corners of an outline; 1 for an inner corner.
    centre : (3,) float64
        Middle of its length, mm, of a closed foot a point inside the loop; of an outline the sharp corner
        that lifts first.
    ring : bool
        Whether it runs round its middle, so that the middle lies off it.
    direction : (3,) float64 or None
        Along a straight inner corner.
    area_mm2 : float
        Area of the faces beside it.
    faces : (k,) int64
        Faces beside it.
    """

    where: str
    length_mm: float
    turn_deg: float
    step_mm: float
    corners: int
    centre: Floats
    ring: bool
    direction: Floats | None
    area_mm2: float
    faces: NDArray[np.int64]


def find(part: Part, angles: NDArray[np.float32] | None = None) -> list[Corner]:
    """Find the inner corners that have no fillet.

    Parameters
    ----------
    part : Part
        The part.
    angles : (F, 3) float32, optional
        Signed angle at each edge, radians, if it is at hand.

    Returns
    -------
    list of Corner
        In order of their centres; one for all edges that hang together, so one for a closed foot.
    """
    vertices, faces, normals, neighbours = part.vertices, part.faces, part.normals, part.neighbours
    if angles is None:
        angles = edge_angles(vertices, faces, normals, neighbours)
    face, side = _tight(vertices, faces, part.areas, neighbours, angles)
    turn = _turns(vertices, faces, normals, neighbours, face, side)
    sharp = turn >= np.radians(SHARP_DEG - _DIGITS_DEG)
    face, side, turn = face[sharp], side[sharp], turn[sharp]
    if not len(face):
        return []
    number = np.full(3 * len(faces), -1, dtype=np.int32)
    number[3 * face + side] = np.arange(len(face), dtype=np.int32)
    part_of_turn, beside, step = _shares(vertices, faces, normals, neighbours, face, side, number)
    del number
    other = neighbours[face, side]
    start, end = vertices[faces[face, side]], vertices[faces[face, (side + 1) % 3]]
    # Edges side by side in a fine fillet share one turn, and so share its length.
    share = part_of_turn * np.linalg.norm(end - start, axis=1)
    ends = np.stack([faces[face, side], faces[face, (side + 1) % 3]], axis=1)
    label = _hang_together(ends, beside)
    corners = []
    order = np.argsort(label, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(label[order])) + 1):
        direction = _straight(end[rows] - start[rows])
        if direction is None:
            length = float(share[rows].sum())
        else:
            length = _covered(start[rows] @ direction, end[rows] @ direction)
        if length < LEAST_LENGTH_MM:
            continue
        weight = np.linalg.norm(end[rows] - start[rows], axis=1)
        weight /= weight.sum()
        if float(weight @ step[rows]) < LEAST_STEP_MM - _DIGITS_MM:
            continue
        middle = 0.5 * (start[rows] + end[rows])
        centre = weight @ middle
        flanks = np.unique(np.concatenate([face[rows], other[rows]])).astype(np.int64)
        corners.append(
            Corner(
                where="inside",
                length_mm=length,
                turn_deg=float(np.degrees(weight @ turn[rows])),
                step_mm=float(weight @ step[rows]),
                corners=1,
                centre=centre,
                ring=_nearest_mm(start[rows], end[rows], centre) > _RING_SHARE * length,
                direction=direction,
                area_mm2=float(part.areas[flanks].sum()),
                faces=flanks,
            )
        )
    return sorted(corners, key=lambda one: (*one.centre.round(2).tolist(), one.length_mm))


def find_outline(part: Part, direction: Floats, frame: Floats | None = None) -> list[Corner]:
    """Find the outlines of what lies on the bed that have sharp corners.

    Parameters
    ----------
    part : Part
        The part.
    direction : (3,) float64
        Build direction.
    frame : (3, 3) float64, optional
        The part's own axes, rows: of corners that lift alike the one farthest along them is named, so that
        it stays the same one as the part turns.

    Returns
    -------
    list of Corner
        One for each closed outline with a corner that points outward.
    """
    direction = np.asarray(direction, dtype=np.float64)
    height = part.vertices @ direction
    lowest = float(height.min())
    low = height - lowest <= _ON_BED_MM
    rows = np.flatnonzero(low[part.faces[:, 0]] & low[part.faces[:, 1]] & low[part.faces[:, 2]])
    level = part.normals[rows] @ direction < -np.cos(np.radians(1.0))
    # The normal of a sliver says nothing, but its corners lie on the bed.
    ends = part.vertices[part.faces[rows]]
    longest = np.linalg.norm(ends - np.roll(ends, -1, axis=1), axis=2).max(axis=1, initial=1e-300)
    rows = rows[level | (2.0 * part.areas[rows] < _ON_BED_MM * longest)]
    if not len(rows):
        return []
    on_bed = np.zeros(len(part.faces), dtype=bool)
    on_bed[rows] = True
    beside = part.neighbours[rows]
    place, side = np.nonzero((beside < 0) | ~on_bed[beside])
    start = part.faces[rows[place], side]
    end = part.faces[rows[place], (side + 1) % 3]
    across = np.cross(direction, np.eye(3)[np.argmin(np.abs(direction))])
    across /= np.linalg.norm(across)
    # Seen from below, so that the outline runs counter-clockwise round what lies on the bed.
    plane = np.stack([across, np.cross(-direction, across)])
    found = []
    for loop in _loops(start, end):
        corners = part.vertices[loop]
        outline = corners @ plane.T
        turn, sharp = _outline_corners(outline)
        if not len(turn):
            continue
        rim = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(outline)))
        reach = np.array([np.linalg.norm(rim - one, axis=1).max() for one in outline[sharp]])
        near = np.isin(part.faces[rows], loop).any(axis=1)
        ahead = np.roll(corners, -1, axis=0)
        step = np.linalg.norm(ahead - corners, axis=1)
        middle = 0.5 * step @ (corners + ahead) / step.sum()
        found.append(
            Corner(
                where="outline",
                length_mm=float(reach.max()),
                turn_deg=float(np.degrees(turn.mean())),
                step_mm=0.0,
                corners=len(turn),
                centre=_first_to_lift(corners[sharp], reach, middle, frame),
                ring=False,
                direction=None,
                area_mm2=float(part.areas[rows[near]].sum()),
                faces=rows[near].astype(np.int64),
            )
        )
    return sorted(found, key=lambda one: (*one.centre.round(2).tolist(), one.length_mm))


def judge(corner: Corner, process: Process, direction: Floats | None = None) -> Feature:
    """Judge a corner.

    Parameters
    ----------
    corner : Corner
        From `find` or `find_outline`.
    process : Process
        Strain and limit of shrinkage, for outlines.
    direction : (3,) float64, optional
        Build direction; not used, since `find_outline` has it already.

    Returns
    -------
    Feature
        ``size_mm`` is the length of the edge, or the run that ends at a corner of an outline; ``at_mm`` the
        middle of a ``ring``, which lies off it, or the corner of an outline that lifts first.
    """
    more: dict[str, float | int | str | bool | None] = {
        "where": corner.where,
        "ring": corner.ring,
        "turn_deg": round(corner.turn_deg, 1),
        "radius_limit_mm": RADIUS_MM,
    }
    size = round(corner.length_mm, 3)
    limit: float | None = None
    if corner.where == "inside":
        more["step_mm"] = round(corner.step_mm, 3)
        verdict = "tune"
        why = (
            f"The surface turns by {corner.turn_deg:.0f}° over {size:.1f} mm "
            f"{'all round ' if corner.ring else ''}without a fillet, "
            "so stress piles up there and a crack starts there first."
        )
        # The surface turns back on itself at the end of a narrow slot: there is no room for a fillet.
        tries: tuple[str, ...] = (
            ("Round the end of the slot, with half its width.", "Or end it in a round hole.")
            if corner.turn_deg > SLOT_END_DEG
            else ("Fillet it with a radius of 1 mm or more.", "Or cut the corner with a 45° chamfer.")
        )
    else:
        lift = process.shrinkage_strain * corner.length_mm
        limit = process.curl_limit_mm / process.shrinkage_strain
        more |= {"corners": corner.corners, "shrinkage_mm": round(lift, 3)}
        if lift >= process.curl_limit_mm:
            verdict = "tune"
            why = (
                f"A run of {size:.1f} mm on the bed, straight across, ends at a sharp corner and shrinks by "
                f"{lift:.2f} mm: its corners are where it lifts first."
            )
            tries = ("Round the corners in plan.", "Add a brim.", "Keep draughts off the bed.")
        else:
            verdict = "fine"
            why = f"The outline on the bed has sharp corners, but its longest run is only {size:.1f} mm."
            tries = ("Leave it as it is.",)
    way = None if corner.direction is None else tuple(float(x) for x in corner.direction)
    return Feature(
        id="",
        kind=KIND,
        verdict=verdict,
        size_mm=size,
        limit_mm=None if limit is None else round(limit, 3),
        at_mm=(float(corner.centre[0]), float(corner.centre[1]), float(corner.centre[2])),
        direction=None if way is None else (way[0], way[1], way[2]),
        area_mm2=corner.area_mm2,
        why=why,
        try_first=tries,
        faces=corner.faces,
        more=more,
    )


def _hang_together(ends: NDArray[np.int32], beside: NDArray[np.int64]) -> NDArray[np.int32]:
    """Number the edges that share a corner or lie side by side."""
    count = len(ends)
    vertex, place = np.unique(ends, return_inverse=True)
    place = place.reshape(-1, 2)
    row, side = np.nonzero(beside >= 0)
    own = np.arange(count)
    start = np.concatenate([own, own, row])
    end = np.concatenate([count + place[:, 0], count + place[:, 1], beside[row, side]])
    graph = coo_array((np.ones(len(start), np.int8), (start, end)), shape=(count + len(vertex),) * 2)
    return connected_components(graph, directed=False)[1][:count]


def _loops(start: NDArray[np.int32], end: NDArray[np.int32]) -> list[list[int]]:
    """Chain directed edges into closed loops of corners; where loops touch, either way is taken."""
    follow: dict[int, list[int]] = {}
    for one, other in zip(start.tolist(), end.tolist(), strict=True):
        follow.setdefault(one, []).append(other)
    loops = []
    for first in start.tolist():
        loop, at = [], first
        while follow.get(at):
            loop.append(at)
            at = follow[at].pop()
        if len(loop) > 2 and at == first:
            loops.append(loop)
    return loops


def _first_to_lift(corners: Floats, reach: Floats, middle: Floats, frame: Floats | None) -> Floats:
    """Of the corners that reach farthest the one farthest from the middle, then along the part's own axes."""
    axes = np.eye(3) if frame is None else frame
    tied = np.arange(len(corners))
    for key in (reach, np.linalg.norm(corners - middle, axis=1), *(corners @ axes.T).T):
        tied = tied[key[tied] >= key[tied].max() - STEP_MM]
    return corners[tied[0]]


def _outline_corners(outline: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Sharp outward corners of a closed polygon: how far each turns, and which of its points it is.

    The same measure as on a surface: directions are taken a little way off each corner.
    """
    step = np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1)
    kept = np.flatnonzero(step > 0)
    outline, step = outline[kept], step[kept]
    where = np.append(0.0, np.cumsum(step))
    length = float(where[-1])
    closed = np.vstack([outline, outline[:1]])
    if len(outline) < 3 or length < 4 * _FAR_MM:
        return np.empty(0), np.empty(0, dtype=np.int64)

    def point(s: Floats) -> Floats:
        s = np.mod(s, length)
        return np.stack([np.interp(s, where, closed[:, 0]), np.interp(s, where, closed[:, 1])], axis=1)

    at = where[:-1]
    after = point(at + _FAR_MM) - point(at + _NEAR_MM)
    before = point(at - _NEAR_MM) - point(at - _FAR_MM)
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    sharp = np.flatnonzero(turn >= np.radians(SHARP_DEG - _DIGITS_DEG))
    # Corners of the polygon in one tight bend are one corner: the one that turns most.
    best: list[int] = []
    for row in sharp[np.argsort(-turn[sharp], kind="stable")]:
        apart = [abs((at[row] - at[other] + length / 2) % length - length / 2) for other in best]
        if not apart or min(apart) > 2 * _FAR_MM:
            best.append(int(row))
    rows = np.sort(np.array(best, dtype=np.int64))
    return turn[rows], kept[rows]


def _nearest_mm(start: Floats, end: Floats, point: Floats) -> float:
    """Distance of a point from the nearest of some edges, mm."""
    way = end - start
    square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", point - start, way) / square, 0.0, 1.0)
    return float(np.linalg.norm(start + share[:, None] * way - point, axis=1).min())


def _straight(way: Floats) -> Floats | None:
    """Direction of edges that nearly all run alike, by their length; None where they do not."""
    length = np.linalg.norm(way, axis=1, keepdims=True)
    values, vectors = np.linalg.eigh((way / length).T @ way)
    if values[2] < 0.9 * values.sum():
        return None
    axis = vectors[:, 2]
    return axis * np.sign(axis[np.argmax(np.abs(axis))])


def _covered(start: Floats, end: Floats) -> float:
    """Length that stretches of one line cover together, mm."""
    low, high = np.minimum(start, end), np.maximum(start, end)
    order = np.argsort(low, kind="stable")
    low, high = low[order], np.maximum.accumulate(high[order])
    gaps = np.maximum(low[1:] - high[:-1], 0.0)
    return float(high[-1] - low[0] - gaps.sum())


@njit(cache=True, nogil=True, error_model="numpy")
def _tight(vertices, faces, areas, neighbours, angles):  # type: ignore[no-untyped-def]
    """Concave edges, as faces and sides, that could lie in a corner: bent, or between narrow strips."""
    flat, bent = np.radians(_FLAT_DEG), np.radians(_BENT_DEG)
    face, side = [np.int32(0) for _ in range(0)], [np.int32(0) for _ in range(0)]
    for f in range(len(faces)):
        for k in range(3):
            g = neighbours[f, k]
            angle = -angles[f, k]
            if g <= f or not angle >= flat:
                continue
            if angle < bent:
                edge = vertices[faces[f, (k + 1) % 3]] - vertices[faces[f, k]]
                length = np.sqrt(edge[0] ** 2 + edge[1] ** 2 + edge[2] ** 2)
                # Height of the lower triangle over the edge against the arc that its bend spans.
                if 2.0 * min(areas[f], areas[g]) > 1.2 * RADIUS_MM * angle * length:
                    continue
            face.append(np.int32(f))
            side.append(np.int32(k))
    return np.array(face, dtype=np.int32), np.array(side, dtype=np.int32)


@njit(cache=True, nogil=True, error_model="numpy")
def _turns(vertices, faces, normals, neighbours, edge_face, edge_side):  # type: ignore[no-untyped-def]
    """Turn of the surface from one side of each edge to the other, radians, concave positive."""
    count = len(edge_face)
    turn = np.zeros(count)
    place = np.empty(_STEPS)
    bend = np.empty(_STEPS)
    crossed = np.empty(_STEPS, dtype=np.int64)
    frame = np.empty(6)
    one, two = np.empty(6), np.empty(6)
    for e in range(count):
        f, k = edge_face[e], edge_side[e]
        g, j = _mate(faces, neighbours, f, k)
        if j < 0 or not _stand(vertices, faces, f, k, frame):
            continue
        one[:] = np.nan
        two[:] = np.nan
        _walk(vertices, faces, normals, neighbours, f, k, frame, _FAR_MM, place, bend, crossed, one)
        _walk(vertices, faces, normals, neighbours, g, j, frame, _FAR_MM, place, bend, crossed, two)
        pp = qq = pq = out = 0.0
        for d in range(3):
            p = one[3 + d] - one[d]
            q = two[3 + d] - two[d]
            pp += p * p
            qq += q * q
            pq += p * q
            # A hollow lies on the outer side of both flanks: the chord across it runs through air.
            across = 0.5 * (one[d] + two[d] + one[3 + d] + two[3 + d]) - 2.0 * frame[d]
            out += across * (normals[f, d] + normals[g, d])
        size = np.sqrt(pp * qq)
        if not size > 0.0:
            continue
        # Flanks that run straight on point opposite ways; the angle they lack is the turn.
        angle = np.pi - np.arccos(min(max(pq / size, -1.0), 1.0))
        turn[e] = angle if out > 0.0 else -angle
    return turn


@njit(cache=True, nogil=True, error_model="numpy")
def _shares(vertices, faces, normals, neighbours, edge_face, edge_side, number):  # type: ignore[no-untyped-def]
    """Share that each edge has of the sharp turn across it, the edges met next, and the lower flank, mm."""
    count = len(edge_face)
    share = np.zeros(count)
    flank = np.full(count, _REACH_MM)
    beside = np.full((count, 2), -1, dtype=np.int64)
    place = np.empty(_STEPS)
    bend = np.empty(_STEPS)
    crossed = np.empty(_STEPS, dtype=np.int64)
    frame, ends = np.empty(6), np.empty(6)
    for e in range(count):
        f, k = edge_face[e], edge_side[e]
        g, j = _mate(faces, neighbours, f, k)
        _stand(vertices, faces, f, k, frame)
        own = _bend(normals, f, g, frame)
        total = own
        for s in range(2):
            face, side, sign = (f, k, -1.0) if s == 0 else (g, j, 1.0)
            met = _walk(
                vertices, faces, normals, neighbours, face, side, frame, _REACH_MM, place, bend, crossed, ends
            )
            back = 0.0
            for i in range(met):
                bent = sign * bend[i]
                seed = number[crossed[i]]
                if seed >= 0 and place[i] < 2.0 * _FAR_MM:
                    total += bent
                    if beside[e, s] < 0:
                        beside[e, s] = seed
                if place[i] < _FAR_MM:
                    continue
                # Bends the other way than the corner does add up to the flank's end.
                back = min(back + _CONCAVE * bent, 0.0)
                if back < -0.785:
                    flank[e] = min(flank[e], place[i])
                    break
        if _CONCAVE * total > 0.5:
            share[e] = min(max(own / total, 0.0), 1.0)
    return share, beside, flank


@njit(cache=True, nogil=True, error_model="numpy")
def _mate(faces, neighbours, face, side):  # type: ignore[no-untyped-def]
    """Face across an edge and the edge's place in it, −1 where the two do not fit."""
    other = neighbours[face, side]
    if other < 0:
        return other, -1
    for k in range(3):
        if neighbours[other, k] == face and faces[other, k] == faces[face, (side + 1) % 3]:
            return other, k
    return other, -1


@njit(cache=True, nogil=True, error_model="numpy")
def _stand(vertices, faces, face, side, frame):  # type: ignore[no-untyped-def]
    """Set the middle of an edge and the unit vector along it; False where it has no length."""
    a, b = faces[face, side], faces[face, (side + 1) % 3]
    length = 0.0
    for d in range(3):
        frame[d] = 0.5 * (vertices[a, d] + vertices[b, d])
        frame[3 + d] = vertices[b, d] - vertices[a, d]
        length += frame[3 + d] ** 2
    length = np.sqrt(length)
    if length == 0.0:
        return False
    for d in range(3, 6):
        frame[d] /= length
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _bend(normals, f, g, frame):  # type: ignore[no-untyped-def]
    """Signed angle from one face's normal to another's about an axis, both seen along it."""
    x, y, z = frame[3], frame[4], frame[5]
    ax, ay, az = normals[f, 0], normals[f, 1], normals[f, 2]
    bx, by, bz = normals[g, 0], normals[g, 1], normals[g, 2]
    p = ax * x + ay * y + az * z
    q = bx * x + by * y + bz * z
    dot = ax * bx + ay * by + az * bz - p * q
    cross = x * (ay * bz - az * by) + y * (az * bx - ax * bz) + z * (ax * by - ay * bx)
    return np.arctan2(cross, dot)


@njit(cache=True, nogil=True, error_model="numpy")
def _walk(  # type: ignore[no-untyped-def]
    vertices, faces, normals, neighbours, face, side, frame, reach, place, bend, crossed, ends
):
    """Follow the surface away from an edge in the plane across it.

    Notes the distance, bend and number of each edge crossed, and where the way passes the two distances at
    which directions are taken.
    """
    mx, my, mz = frame[0], frame[1], frame[2]
    ax, ay, az = frame[3], frame[4], frame[5]
    ex, ey, ez = mx, my, mz
    at = 0
    near_set = False
    while at < _STEPS:
        found = -1
        ox = oy = oz = 0.0
        for k in range(3):
            if k == side:
                continue
            p, q = faces[face, k], faces[face, (k + 1) % 3]
            u = (vertices[p, 0] - mx) * ax + (vertices[p, 1] - my) * ay + (vertices[p, 2] - mz) * az
            v = (vertices[q, 0] - mx) * ax + (vertices[q, 1] - my) * ay + (vertices[q, 2] - mz) * az
            if (u <= 0.0) == (v <= 0.0):
                continue
            t = u / (u - v)
            ox = vertices[p, 0] + t * (vertices[q, 0] - vertices[p, 0])
            oy = vertices[p, 1] + t * (vertices[q, 1] - vertices[p, 1])
            oz = vertices[p, 2] + t * (vertices[q, 2] - vertices[p, 2])
            found = k
            break
        if found < 0:
            break
        gone = np.sqrt((ox - mx) ** 2 + (oy - my) ** 2 + (oz - mz) ** 2)
        if not near_set and gone >= _NEAR_MM:
            t = _passing(ex - mx, ey - my, ez - mz, ox - ex, oy - ey, oz - ez, _NEAR_MM)
            ends[0], ends[1], ends[2] = ex + t * (ox - ex), ey + t * (oy - ey), ez + t * (oz - ez)
            near_set = True
        if gone >= _FAR_MM and np.isnan(ends[3]):
            t = _passing(ex - mx, ey - my, ez - mz, ox - ex, oy - ey, oz - ez, _FAR_MM)
            ends[3], ends[4], ends[5] = ex + t * (ox - ex), ey + t * (oy - ey), ez + t * (oz - ez)
        if gone >= reach:
            break
        beyond, back = _mate(faces, neighbours, face, found)
        if back < 0:
            break
        place[at] = gone
        bend[at] = _bend(normals, face, beyond, frame)
        crossed[at] = 3 * face + found if face < beyond else 3 * beyond + back
        at += 1
        face, side = beyond, back
        ex, ey, ez = ox, oy, oz
    return at


@njit(cache=True, nogil=True, error_model="numpy")
def _passing(x, y, z, u, v, w, radius):  # type: ignore[no-untyped-def]
    """Share of a stretch (u, v, w) from (x, y, z) at which it leaves a ball about the origin."""
    a = u * u + v * v + w * w
    b = x * u + y * v + z * w
    c = x * x + y * y + z * z - radius**2
    if a == 0.0:
        return 1.0
    return min(max((-b + np.sqrt(max(b * b - a * c, 0.0))) / a, 0.0), 1.0)

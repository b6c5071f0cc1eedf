"""What changed between two variants that lie on each other: pieces added and removed.

Both are solids, so what was removed is the first less the second, and what was added the second less the
first, to the last bit (manifold3d). Two tessellations of one curve, and the rounding of files, leave films in
these differences that nobody changed. A film is told by its thickness: the same difference against a solid
that is grown by as much as two tessellations may lie apart holds the cores of real changes only, and a
piece without a core is a film.

A mesh that is not closed has no inside. Its changes are patches of surface that lie off the other surface;
their volume is the mean distance times the area, and approximate.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from manifold3d import Error, Manifold, Mesh64, OpType
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from trimesh.remesh import subdivide_to_size

from orient.features.rays import Rays
from orient.part.mesh import Part
from orient.variants.nearest import Surface
from orient.variants.register import Registration

Floats = NDArray[np.float64]

# A vertex is moved at most this many times as far as its faces: sharper corners are cut.
_MOST_MITRE = 3.0
# A piece is looked for this far around its core: in mm, in multiples of what surfaces may lie apart, and in
# sizes of the core.
_AROUND_MM, _AROUND, _AROUND_SHARE = 0.5, 20.0, 0.05
# Cores are this thick at the least, as a share of what surfaces may lie apart.
_THICK = 0.2
# What a file's rounding moves a surface by, at the most.
_ROUNDING_MM = 1e-4
# A patch of an open mesh is a change from this area on, in squares of what surfaces may lie apart.
_LEAST_PATCH = 100.0
# Its faces are split to this share of the part's size before their volume is taken.
_FINE_PATCH = 60.0
# Sine under which a point is beside a face rather than before it.
_EDGE_ON = 0.3


@dataclass(frozen=True, eq=False)
class Change:
    """A piece that only one of two variants has.

    Attributes
    ----------
    id : str
        ``A1`` … for what was added, ``R1`` … for what was removed, the largest first.
    what : str
        ``added`` or ``removed``.
    volume_mm3 : float
        Its volume.
    area_mm2 : float
        Area of the surface that is new, or gone.
    at_mm : (3,) float64
        Its centroid, in the first variant's coordinates.
    thickness_mm : float
        How thick it is, measured square through it from its whole surface: half of the surface is this thick
        or less, the median by area. A pad of 1 mm is 1 mm thick, whatever its rim.
    vertices, faces : (V, 3) float64, (F, 3) int64
        The piece itself, in the first variant's coordinates; of an open mesh, the patch of surface.
    """

    id: str
    what: str
    volume_mm3: float
    area_mm2: float
    at_mm: Floats
    thickness_mm: float
    vertices: Floats
    faces: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Changes:
    """All that changed.

    Attributes
    ----------
    pieces : tuple of Change
        Added first, then removed, the largest first.
    approximate : bool
        Whether a mesh was not closed, so that only distances were compared.
    """

    pieces: tuple[Change, ...]
    approximate: bool


def changes_between(
    first: Part,
    second: Part,
    placed: Registration,
    surfaces: tuple[Surface, Surface],
    threads: int = 2,
) -> Changes:
    """List what was added to the first variant and removed from it to make the second.

    Parameters
    ----------
    first, second : Part
        The variants.
    placed : Registration
        How the second lies on the first.
    surfaces : (Surface, Surface)
        Both surfaces, each in its own coordinates.
    threads : int
        Threads to work on; the answer does not depend on it.

    Returns
    -------
    Changes
    """
    vertices = placed.points_in_first(second.vertices)
    faces = np.asarray(second.faces)
    if placed.mirrored:
        faces = faces[:, ::-1]
    if first.closed and second.closed:
        a, b = _solid(first.vertices, first.faces), _solid(vertices, faces)
        if a is not None and b is not None:
            grown = [
                _solid(_grown(v, f, placed.alike_mm), f)
                for v, f in ((np.asarray(first.vertices), np.asarray(first.faces)), (vertices, faces))
            ]

            def from_second(points: Floats) -> Floats:
                return np.abs(surfaces[1].nearest(placed.points_in_second(points), 1.0, 1)[2])

            def from_first(points: Floats) -> Floats:
                return np.abs(surfaces[0].nearest(points, 1.0, 1)[2])

            with ThreadPoolExecutor(max(1, min(threads, 2))) as pool:
                work = (
                    pool.submit(_pieces, "removed", a, b, grown[1], placed.alike_mm, from_second),
                    pool.submit(_pieces, "added", b, a, grown[0], placed.alike_mm, from_first),
                )
                removed, added = (
                    [replace(piece, thickness_mm=_through(first, piece)) for piece in one.result()]
                    for one in work
                )
            return Changes((*_named(added, "A"), *_named(removed, "R")), approximate=False)
    removed = _patches(first, second, surfaces[1], placed, "removed", threads)
    added = _patches(second, first, surfaces[0], placed.reversed(), "added", threads)
    added = [
        replace(one, at_mm=placed.points_in_first(one.at_mm), vertices=placed.points_in_first(one.vertices))
        for one in added
    ]
    return Changes((*_named(added, "A"), *_named(removed, "R")), approximate=True)


def _named(pieces: list[Change], letter: str) -> list[Change]:
    ordered = sorted(
        pieces, key=lambda one: (-round(one.volume_mm3, 6), *(round(float(x), 3) for x in one.at_mm))
    )
    return [replace(one, id=f"{letter}{number}") for number, one in enumerate(ordered, start=1)]


# --- solids -----------------------------------------------------------------------------------------------


def _solid(vertices: Floats, faces: NDArray) -> Manifold | None:
    mesh = Mesh64(
        np.array(vertices, dtype=np.float64, order="C"), np.array(faces, dtype=np.uint64, order="C")
    )
    solid = Manifold(mesh).as_original()
    return solid if solid.status() == Error.NoError else None


def _grown(vertices: Floats, faces: NDArray, by_mm: float) -> Floats:
    """Move the corners of a mesh so that its faces move outward.

    Each corner goes where it best lies `by_mm` in front of all its faces, weighed by their angles there: on a
    plane straight out, on an edge and in a corner to the mitre.
    """
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    normal = normal / np.where(length > 0, length, 1.0)[:, None]
    count = len(vertices)
    pulls, sums = np.zeros((count, 3, 3)), np.zeros((count, 3))
    outer = normal[:, :, None] * normal[:, None, :]
    for k in range(3):
        u = corners[:, (k + 1) % 3] - corners[:, k]
        v = corners[:, (k + 2) % 3] - corners[:, k]
        angle = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.sum(u * v, axis=1))
        for i in range(3):
            sums[:, i] += np.bincount(faces[:, k], angle * normal[:, i], count)
            for j in range(i, 3):
                pulls[:, i, j] += np.bincount(faces[:, k], angle * outer[:, i, j], count)
    for i in range(3):
        for j in range(i):
            pulls[:, i, j] = pulls[:, j, i]
    # What the faces leave open stays where it is.
    weight = np.trace(pulls, axis1=1, axis2=2)
    pulls += (1e-4 * weight + (weight == 0))[:, None, None] * np.eye(3)
    step = np.linalg.solve(pulls, sums[:, :, None])[:, :, 0]
    far = np.linalg.norm(step, axis=1)
    step *= (np.minimum(far, _MOST_MITRE) / np.where(far > 0, far, 1.0))[:, None]
    return vertices + by_mm * step


def _pieces(
    what: str,
    whole: Manifold,
    taken: Manifold,
    grown: Manifold | None,
    alike: float,
    away: Callable[[Floats], Floats],
) -> list[Change]:
    """What one solid has and the other has not."""
    if grown is None:
        pieces = [one for one in (whole - taken).decompose() if _thickness(one) > alike]
    else:
        cores = [one for one in (whole - grown).decompose() if _thickness(one) > _THICK * alike]
        pieces = _around(whole, taken, cores, alike) if cores else []
    return [_change(what, one, whole.original_id(), away) for one in pieces]


def _thickness(solid: Manifold) -> float:
    area = solid.surface_area()
    return 2.0 * solid.volume() / area if area > 0 else 0.0


def _around(whole: Manifold, taken: Manifold, cores: list[Manifold], alike: float) -> list[Manifold]:
    """Pieces of a difference that hold a core; what lies far from all cores is not even looked at."""
    near = Manifold.batch_boolean([_boxed(core, alike) for core in cores], OpType.Add)
    pieces = ((whole ^ near) - taken).decompose()
    boxes = np.array([one.bounding_box() for one in pieces])
    kept: set[int] = set()
    for core in cores:
        box = np.array(core.bounding_box())
        holds = (boxes[:, :3] <= box[:3] + alike).all(axis=1) & (boxes[:, 3:] >= box[3:] - alike).all(axis=1)
        rows = np.flatnonzero(holds).tolist()
        if len(rows) == 1:
            kept.add(rows[0])
            continue
        shared = [(pieces[row] ^ core).volume() for row in rows]
        if shared:
            kept.add(rows[int(np.argmax(shared))])
    return [pieces[row] for row in sorted(kept)]


def _boxed(core: Manifold, alike: float) -> Manifold:
    """The convex hull of a core with a margin around it, where the change runs out."""
    box = np.array(core.bounding_box())
    margin = max(_AROUND_MM, _AROUND * alike, _AROUND_SHARE * float(np.linalg.norm(box[3:] - box[:3])))
    points = np.asarray(core.hull().to_mesh64().vert_properties)[:, :3]
    steps = margin * np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    return Manifold.hull_points((points[:, None] + steps).reshape(-1, 3))


def _change(what: str, piece: Manifold, own: int, away: Callable[[Floats], Floats]) -> Change:
    mesh = piece.to_mesh64()
    vertices = np.asarray(mesh.vert_properties)[:, :3]
    faces = np.asarray(mesh.tri_verts).astype(np.int64)
    corners = vertices[faces]
    base = vertices.mean(axis=0)
    a, b, c = np.moveaxis(corners - base, 1, 0)
    crossed = np.cross(b - a, c - a)
    areas = np.linalg.norm(crossed, axis=1) / 2.0
    signed = np.einsum("fi,fi->f", a, np.cross(b, c)) / 6.0
    volume = float(signed.sum())
    middle = base + (signed @ (a + b + c)) / (4.0 * volume)
    # Surface that only the one variant has: its own faces, not those cut by the other.
    runs = np.asarray(mesh.run_index).astype(np.int64) // 3
    mine = np.zeros(len(faces), dtype=bool)
    for start, end, source in zip(runs[:-1], runs[1:], np.asarray(mesh.run_original_id), strict=False):
        if int(source) == own:
            mine[start:end] = True
    # Films that rounding left beside the piece are no part of its area.
    off = away(np.vstack([vertices, corners.mean(axis=1)]))
    mine &= np.maximum(off[faces].max(axis=1), off[len(vertices) :]) > _ROUNDING_MM
    return Change("", what, volume, float(areas[mine].sum()), middle, np.nan, vertices, faces)


def _through(like: Part, piece: Change) -> float:
    """Median by area of how far it is from a piece's surface, square through it, to its other side, mm.

    Looked at from four points of every face; films beside a piece weigh next to nothing.
    """
    solid = replace(like, vertices=piece.vertices, faces=piece.faces.astype(np.int32), groups={})
    corners, middle, areas = piece.vertices[piece.faces], solid.centroids, solid.areas
    inward = -solid.normals
    size = float(np.linalg.norm(np.ptp(piece.vertices, axis=0)))
    off = 1e-6 * size
    at = np.concatenate([middle, *(0.5 * (middle + corners[:, k]) for k in range(3))])
    ways = np.tile(inward, (4, 1))
    hit, far = Rays(solid).first_hits(at + off * ways, ways, 1.1 * size)
    ends = (hit >= 0) & (np.einsum("ij,ij->i", solid.normals[hit], ways) > 0)
    if not ends.any():
        return 2.0 * piece.volume_mm3 / float(areas.sum())
    return _median(far[ends] + off, np.tile(areas, 4)[ends])


def _median(values: Floats, weights: Floats) -> float:
    """The value up to which half of the weight lies."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(reached, 0.5 * reached[-1])]])


# --- open meshes --------------------------------------------------------------------------------------------


def _patches(
    part: Part, other: Part, surface: Surface, placed: Registration, what: str, threads: int
) -> list[Change]:
    """Patches of a surface that lie before the other one, in the part's own coordinates."""
    alike = placed.alike_mm
    faces = np.asarray(part.faces)
    at = np.vstack([part.vertices, part.centroids])
    off = _off(at, other, surface, placed, threads)[0]
    # Corners and middles: a large face may lie off the other surface only in its middle.
    off = np.column_stack([off[faces], off[len(part.vertices) :]])
    moved = np.flatnonzero((off.max(axis=1) > alike) & (off.mean(axis=1) > 0.0))
    if not len(moved):
        return []
    place = np.full(len(faces), -1)
    place[moved] = np.arange(len(moved))
    beside = part.neighbours[moved]
    row, side = np.nonzero((beside >= 0) & (place[beside] >= 0))
    graph = coo_array((np.ones(len(row)), (row, place[beside[row, side]])), shape=(len(moved),) * 2)
    count, label = connected_components(graph, directed=False)
    found = []
    for k in range(count):
        own = moved[label == k]
        area = float(part.areas[own].sum())
        if area < _LEAST_PATCH * alike**2:
            continue
        used, inside = np.unique(faces[own], return_inverse=True)
        corners, triangles = subdivide_to_size(
            np.array(part.vertices[used]),
            inside.reshape(-1, 3),
            max(part.size_mm / _FINE_PATCH, 1e-6),
            max_iter=12,
        )[:2]
        away, feet = _off(corners, other, surface, placed, threads)
        base = corners.mean(axis=0)
        volume = abs(_enclosed(corners - base, triangles) - _enclosed(feet - base, triangles))
        if volume < _THICK * alike * area:
            continue
        middle = (part.areas[own] @ part.centroids[own]) / area
        a, b, c = np.moveaxis(corners[triangles], 1, 0)
        sizes = np.linalg.norm(np.cross(b - a, c - a), axis=1)
        thick = _median(np.abs(away[triangles].mean(axis=1)), sizes)
        found.append(Change("", what, volume, area, middle, thick, corners, triangles.astype(np.int64)))
    return found


def _off(
    points: Floats, other: Part, surface: Surface, placed: Registration, threads: int
) -> tuple[Floats, Floats]:
    """Signed distance of points from the other surface, 0 beside its rim; and where they fall on it."""
    moved = placed.points_in_second(points)
    face, foot, away = surface.nearest(moved, threads=threads)
    # Beside a rim the nearest face is seen edge on, and nothing can be said.
    edge_on = np.abs(np.einsum("pi,pi->p", moved - foot, other.normals[face])) < _EDGE_ON * np.abs(away)
    feet = placed.points_in_first(foot)
    return np.where(edge_on, 0.0, away), np.where(edge_on[:, None], points, feet)


def _enclosed(vertices: Floats, faces: NDArray) -> float:
    """Volume between faces and the origin."""
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    return float(np.einsum("fi,fi->", a, np.cross(b, c))) / 6.0

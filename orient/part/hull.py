"""The convex hull of a part: its flat faces are what the part can rest on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull

from orient.errors import OrientError
from orient.part.antipodes import width_and_diameter

# Triangles of the hull are one flat face where they lie within this share of the size of a plane. Single
# precision files carry noise of 1e-7 of their coordinates; a file moved far off, or written with few
# decimals, some ten times that.
FLAT = 1e-5


@dataclass(frozen=True, eq=False)
class Hull:
    """Convex hull, its coplanar triangles joined to flat faces.

    Attributes
    ----------
    points : (H, 3) float64
        Vertices of the hull, mm.
    triangles : (T, 3) int32
        Rows of ``points``, outward.
    face_of : (T,) int32
        Flat face of each triangle; −1 for slivers narrower than the tolerance.
    normals : (K, 3) float64
        Outward unit normals of the flat faces, the mean of their triangles' weighted with area. The
        largest face comes first.
    areas : (K,) float64
        Areas of the flat faces, mm².
    offsets : (K,) float64
        n·x of each face's outermost vertex, mm.
    rims : (E, 2) int32
        Rim edges of the flat faces, in the order of the faces: rows of ``points``.
    rim_starts : (K + 1,) int64
        Where each face's rim begins in ``rims``.
    volume_mm3, area_mm2 : float
        Volume and surface. A hull without thickness has no volume and its area twice.
    width_mm : float
        Least distance of two parallel planes that hold the part; see ``width_and_diameter``.
    diameter_mm : float
        Largest distance of two points.
    tolerance_mm : float
        How far from a plane a vertex may lie and still be on it.
    """

    points: NDArray[np.float64]
    triangles: NDArray[np.int32]
    face_of: NDArray[np.int32]
    normals: NDArray[np.float64]
    areas: NDArray[np.float64]
    offsets: NDArray[np.float64]
    rims: NDArray[np.int32]
    rim_starts: NDArray[np.int64]
    volume_mm3: float
    area_mm2: float
    width_mm: float
    diameter_mm: float
    tolerance_mm: float

    def face_polygon(self, face: int) -> NDArray[np.float64]:
        """Give the outline of a flat face.

        Parameters
        ----------
        face : int
            Row of ``normals``.

        Returns
        -------
        (m, 3) float64
            Its vertices in order, counter-clockwise seen from outside, mm.
        """
        rows = np.unique(self.rims[self.rim_starts[face] : self.rim_starts[face + 1]])
        corners = self.points[rows]
        across, up = plane_axes(self.normals[face])
        return corners[_outline(np.column_stack([corners @ across, corners @ up]))]

    @cached_property
    def polygons(self) -> tuple[NDArray[np.float64], ...]:
        """Outlines of all flat faces, as ``face_polygon`` gives them."""
        return tuple(self.face_polygon(k) for k in range(len(self.normals)))

    def margins_mm(self, point: ArrayLike) -> NDArray[np.float64]:
        """Measure how far inside each flat face the foot of a point lies.

        Parameters
        ----------
        point : (3,) array_like
            The point, mm; its foot on a face is found along the face's normal.

        Returns
        -------
        (K,) float64
            Distance from the foot to the nearest point of the face's rim, mm; negative outside.
        """
        across, up = _plane_axes_of(self.normals)
        face = np.repeat(np.arange(len(self.normals)), np.diff(self.rim_starts))
        begin, end = (self.points[self.rims[:, k]] - np.asarray(point, dtype=np.float64) for k in (0, 1))
        ax, ay = (np.einsum("ij,ij->i", begin, axis[face]) for axis in (across, up))
        bx, by = (np.einsum("ij,ij->i", end, axis[face]) for axis in (across, up))
        dx, dy = bx - ax, by - ay
        square = dx * dx + dy * dy
        share = np.clip(-(ax * dx + ay * dy) / np.where(square > 0, square, 1.0), 0.0, 1.0)
        nearest = np.minimum.reduceat(np.hypot(ax + share * dx, ay + share * dy), self.rim_starts[:-1])
        # A ray from the foot crosses the rim of a face that holds it an odd number of times.
        passes = (ay > 0) != (by > 0)
        crosses = passes & (ax - ay * dx / np.where(passes, dy, 1.0) > 0)
        inside = np.add.reduceat(crosses.astype(np.int64), self.rim_starts[:-1]) % 2 == 1
        return np.where(inside, nearest, -nearest)


def hull_of(vertices: ArrayLike) -> Hull:
    """Build the convex hull of points.

    Up to 2,000 points the hull is Qhull's (Barber, Dobkin and Huhdanpaa, ACM Trans. Math. Software 22,
    1996, 469–483). Above, points that stand out by less than a millionth of the size are passed over, above
    100,000 points less than 1e-5 of it: this is below the noise of a file in single precision, and keeps a
    finely tessellated ball within seconds. The result does not depend on the order of the points.

    Parameters
    ----------
    vertices : (V, 3) array_like
        Points, mm.

    Returns
    -------
    Hull
        The hull. Points that all lie in a plane give a hull of two faces, without volume or width.

    Raises
    ------
    OrientError
        If all points lie on one line.

    Examples
    --------
    >>> import itertools
    >>> box = hull_of(list(itertools.product([0, 10], [0, 20], [0, 30])))
    >>> len(box.normals), round(box.volume_mm3), round(box.width_mm, 6), round(box.diameter_mm, 6)
    (6, 6000, 10.0, 37.416574)
    """
    given = np.asarray(vertices, dtype=np.float64).reshape(-1, 3)
    if len(given) == 0:
        raise OrientError("The part has no points: export it again as a mesh of triangles.")
    low, high = given.min(axis=0), given.max(axis=0)
    size = float(np.linalg.norm(high - low))
    middle = (low + high) / 2.0
    tolerance = FLAT * size
    points = _sorted(given)
    points -= middle
    about = points - points.mean(axis=0)
    axes = np.linalg.eigh(about.T @ about)[1]
    along = points @ axes
    thickness, breadth = np.ptp(along[:, 0]), np.ptp(along[:, 1])
    if size == 0.0 or breadth <= 2.0 * tolerance:
        raise OrientError("All points of the part lie on one line: give it a breadth and a thickness.")
    flat = bool(thickness <= 2.0 * tolerance)
    corners, triangles, neighbours = _sheet(along, axes) if flat else _solid(points, size)

    vectors = np.cross(
        corners[triangles[:, 1]] - corners[triangles[:, 0]],
        corners[triangles[:, 2]] - corners[triangles[:, 0]],
    )
    vectors /= 2.0
    area = np.linalg.norm(vectors, axis=1)
    volume = float(np.einsum("ij,ij->", corners[triangles[:, 0]], vectors)) / 3.0
    face_of, sums = _flat_faces(corners, triangles, neighbours, vectors, area, tolerance)

    own = np.divide(vectors, area[:, None], out=np.zeros_like(vectors), where=area[:, None] > 0)
    lengths = np.linalg.norm(sums, axis=1)
    normals = sums / lengths[:, None]
    facing = np.where((face_of >= 0)[:, None], normals[face_of], own)
    width, diameter = width_and_diameter(corners, triangles, neighbours, facing)
    if flat:
        width, volume = 0.0, 0.0
    rims, starts = _rims(triangles, neighbours, face_of, len(normals))
    offsets = np.maximum.reduceat(
        np.einsum("ij,ij->i", corners[rims[:, 0]], np.repeat(normals, np.diff(starts), axis=0)), starts[:-1]
    )
    return Hull(
        points=corners + middle,
        triangles=triangles,
        face_of=face_of,
        normals=normals,
        areas=lengths,
        offsets=offsets + normals @ middle,
        rims=rims,
        rim_starts=starts,
        volume_mm3=volume,
        area_mm2=float(area.sum()),
        width_mm=width,
        diameter_mm=diameter,
        tolerance_mm=tolerance,
    )


def plane_axes(normal: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give two unit vectors that with the normal make a right-handed frame: across × up = normal.

    Parameters
    ----------
    normal : (3,) float64
        Unit vector.

    Returns
    -------
    across, up : (3,) float64
        Unit vectors in the plane.
    """
    across, up = _plane_axes_of(normal[None])
    return across[0], up[0]


def _plane_axes_of(normals: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # Crossed with the coordinate axis farthest from it, so that the product is never short.
    helper = np.zeros_like(normals)
    helper[np.arange(len(normals)), np.abs(normals).argmin(axis=1)] = 1.0
    across = np.cross(helper, normals)
    across /= np.linalg.norm(across, axis=1)[:, None]
    return across, np.cross(normals, across)


def _sorted(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sort points and drop repeated ones, so that the hull cannot depend on their order."""
    points = points[np.lexsort(points.T)]
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = (points[1:] != points[:-1]).any(axis=1)
    return points[keep]


def _solid(
    points: NDArray[np.float64], size: float
) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
    """Let Qhull find the hull, and turn its triangles outward."""
    options = "Qt"
    if len(points) > 2000:
        # Qhull needs time with the square of the points on a flat rim; W passes over points that hardly
        # stand out.
        options += f" W{(1e-6 if len(points) <= 100_000 else FLAT) * size:.9g}"
    found = ConvexHull(points, qhull_options=options)
    used, flat = np.unique(found.simplices, return_inverse=True)
    corners = points[used]
    triangles = flat.reshape(-1, 3).astype(np.int32)
    neighbours = found.neighbors.astype(np.int32)
    sense = np.cross(
        corners[triangles[:, 1]] - corners[triangles[:, 0]],
        corners[triangles[:, 2]] - corners[triangles[:, 0]],
    )
    inward = np.einsum("ij,ij->i", sense, found.equations[:, :3]) < 0
    triangles[inward] = triangles[inward][:, [0, 2, 1]]
    neighbours[inward] = neighbours[inward][:, [0, 2, 1]]
    return corners, triangles, neighbours


def _sheet(
    along: NDArray[np.float64], axes: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int32], NDArray[np.int32]]:
    """Cover a flat set of points from both sides with fans of triangles."""
    across, up = axes[:, 2], axes[:, 1]
    plane = along[:, [2, 1]]
    level = float(along[:, 0].max() + along[:, 0].min()) / 2.0 * axes[:, 0]
    rim = plane[ConvexHull(plane).vertices]
    rim = rim[_outline(rim)]
    corners = level + rim[:, :1] * across + rim[:, 1:] * up
    count = len(corners)
    i = np.arange(1, count - 1, dtype=np.int32)
    zero = np.zeros_like(i)
    triangles = np.concatenate([np.column_stack([zero, i, i + 1]), np.column_stack([zero, i + 1, i])])
    n = np.int32(count - 2)
    here = i - 1
    # Opposite to each corner of (0, i, i+1): the other side, the next of the fan, the one before.
    following = np.where(here + 1 < n, here + 1, here + n)
    before = np.where(here > 0, here - 1, here + n)
    below_following = np.where(here + 1 < n, here + 1 + n, here)
    below_before = np.where(here > 0, here - 1 + n, here)
    neighbours = np.concatenate(
        [
            np.column_stack([here + n, following, before]),
            np.column_stack([here, below_before, below_following]),
        ]
    )
    return corners, triangles.astype(np.int32), neighbours.astype(np.int32)


def _outline(plane: NDArray[np.float64]) -> NDArray[np.intp]:
    """Order points of the plane to their convex outline, counter-clockwise.

    The monotone chain of Andrew, Information Processing Letters 9, 1979, 216–219.
    """
    order = np.lexsort((plane[:, 1], plane[:, 0]))
    chains: list[int] = []
    for rows in (order, order[::-1]):
        start = len(chains)
        for row in rows:
            while len(chains) - start >= 2:
                a, b = plane[chains[-2]], plane[chains[-1]]
                c = plane[row]
                if (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) > 0:
                    break
                chains.pop()
            chains.append(int(row))
        chains.pop()
    return np.array(chains, dtype=np.intp)


def _flat_faces(
    corners: NDArray[np.float64],
    triangles: NDArray[np.int32],
    neighbours: NDArray[np.int32],
    vectors: NDArray[np.float64],
    area: NDArray[np.float64],
    tolerance: float,
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Join triangles to flat faces: (T,) face of each, (K, 3) area vectors, largest face first."""
    middles = corners[triangles].mean(axis=1)
    # Rounded, then by place: equal triangles keep their order whatever the last bits say.
    scale = area.max()
    keys = np.round(np.column_stack([area / scale, middles / np.sqrt(scale)]), 7)
    order = np.lexsort((keys[:, 3], keys[:, 2], keys[:, 1], -keys[:, 0]))
    raw = _grow(order, corners, triangles, neighbours, vectors, area, tolerance)

    count = int(raw.max()) + 1
    sums = np.column_stack([np.bincount(raw, vectors[:, k], minlength=count) for k in range(3)])
    lengths = np.linalg.norm(sums, axis=1)
    across = np.zeros(count)
    for k in range(3):
        high, low = np.full(count, -np.inf), np.full(count, np.inf)
        for corner in range(3):
            np.maximum.at(high, raw, corners[triangles[:, corner], k])
            np.minimum.at(low, raw, corners[triangles[:, corner], k])
        across += (high - low) ** 2
    # A strip narrower than the noise has no direction of its own.
    wide = lengths > 2.0 * tolerance * np.sqrt(across)
    wide |= lengths == lengths.max()
    directions = np.round(sums / np.where(lengths > 0, lengths, 1.0)[:, None], 6) + 0.0
    place = np.lexsort((*directions.T, -np.round(lengths / lengths.max(), 6)))
    place = place[wide[place]]
    names = np.full(count, -1, dtype=np.int32)
    names[place] = np.arange(len(place), dtype=np.int32)
    return names[raw], sums[place]


@njit(cache=True, nogil=True, error_model="numpy")
def _grow(order, corners, triangles, neighbours, vectors, area, tolerance):  # type: ignore[no-untyped-def]
    """Name flat faces, each grown from the largest triangle left over neighbours that lie in its plane."""
    count = len(triangles)
    face_of = np.full(count, -1, dtype=np.int32)
    visit = np.zeros(count, dtype=np.int32)
    members = np.empty(count, dtype=np.int32)
    faces = 0
    stamp = 0
    for seed in order:
        if face_of[seed] >= 0:
            continue
        x, y, z = vectors[seed, 0], vectors[seed, 1], vectors[seed, 2]
        held = 1
        members[0] = seed
        # The first plane is the seed triangle's, the second that of all it reached.
        for _ in range(2):
            length = np.sqrt(x * x + y * y + z * z)
            if length == 0.0:
                break
            x, y, z = x / length, y / length, z / length
            offset, total = 0.0, 0.0
            for m in range(held):
                t = members[m]
                for k in range(3):
                    p = triangles[t, k]
                    offset += area[t] * (x * corners[p, 0] + y * corners[p, 1] + z * corners[p, 2])
                total += 3.0 * area[t]
            offset /= total
            stamp += 1
            visit[seed] = stamp
            held = 1
            done = 0
            while done < held:
                t = members[done]
                done += 1
                for k in range(3):
                    u = neighbours[t, k]
                    if visit[u] == stamp or face_of[u] >= 0:
                        continue
                    visit[u] = stamp
                    # The back of a sheet lies in the same plane.
                    facing = x * vectors[u, 0] + y * vectors[u, 1] + z * vectors[u, 2]
                    near = facing >= -0.5 * area[u]
                    for j in range(3):
                        p = triangles[u, j]
                        height = x * corners[p, 0] + y * corners[p, 1] + z * corners[p, 2]
                        if abs(height - offset) > tolerance:
                            near = False
                            break
                    if near:
                        members[held] = u
                        held += 1
            x, y, z = 0.0, 0.0, 0.0
            for m in range(held):
                x += vectors[members[m], 0]
                y += vectors[members[m], 1]
                z += vectors[members[m], 2]
        for m in range(held):
            face_of[members[m]] = faces
        faces += 1
    return face_of


def _rims(
    triangles: NDArray[np.int32], neighbours: NDArray[np.int32], face_of: NDArray[np.int32], count: int
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """List the edges where each flat face ends, face by face."""
    faces, edges = [], []
    for k in range(3):
        ends = (face_of >= 0) & (face_of[neighbours[:, k]] != face_of)
        faces.append(face_of[ends])
        edges.append(np.column_stack([triangles[ends, (k + 1) % 3], triangles[ends, (k + 2) % 3]]))
    face = np.concatenate(faces)
    starts = np.zeros(count + 1, dtype=np.int64)
    np.cumsum(np.bincount(face, minlength=count), out=starts[1:])
    return np.concatenate(edges)[np.argsort(face, kind="stable")], starts

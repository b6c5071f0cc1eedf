"""Cylinders of meshes without facets: noisy, remeshed, rounded to three digits, or very finely cut.

There a strip is no longer flat and rulings are no longer parallel, but the corners still lie near the true
cylinder. A small neighbourhood gives a guess of axis and radius, faces near that cylinder are gathered, the
cylinder is fitted to their corners, and both are repeated with a tolerance that follows the scatter found.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.features.growth import Axis, Floats, Wall, covered_deg, fit_cylinder, frame_of, gather, square_to
from orient.features.loops import median_of

# Faces of a neighbourhood that a guess rests on, and how many of them need no guess of their own after it.
NEAR_FACES = 40
SHARED_FACES = 10
# Edges sharper than this end a neighbourhood.
EDGE_DEG = 52.0
# Most guesses made and followed up: bounds the time on organic shapes, where none comes true.
MOST_GUESSES = 12_000
MOST_TRIALS = 2_000
# A neighbourhood's corners are off its own circle by no more than this share of the radius, and five strays.
LOOSEST_GUESS = 0.06
# No fit makes a guess so many times wider.
WILDEST_GUESS = 4.0
# A found wall's scatter is at most this much of its radius, or this many mm.
SCATTER_SHARE, SCATTER_MM = 0.012, 0.02
LEAST_FACES = 8
# Failed trials after which a face starts no further one.
MOST_DUDS = 12
LEAST_COVER_DEG, LEAST_ARC_DEG = 150.0, 50.0
MOST_TURNS = 10
# Faces looked at in search of a wall's other arcs, over all walls: bounds the time.
MOST_CROSSED = 20_000_000
# Corners that a fit looks at; more do not make it better.
MOST_POINTS = 3_000


@dataclass(frozen=True, eq=False)
class Scattered:
    """A cylinder found by gathering: axis, its faces, whether hollow, the scatter of its corners, mm."""

    axis: Axis
    faces: NDArray[np.int32]
    concave: bool
    scatter: float


def scattered_cylinders(
    wall: Wall, areas: Floats, angles: NDArray[np.float32], stray_mm: float
) -> list[Scattered]:
    """Find cylinders among the faces that are not taken yet; the found ones are taken.

    Parameters
    ----------
    wall : Wall
        The mesh, and which faces have their cylinder already.
    areas : (F,)
        Areas of its faces, mm².
    angles : (F, 3)
        Angle at each edge, radians, from `orient.part.edges`.
    stray_mm : float
        How far corners stray on flat faces, mm.

    Returns
    -------
    list of Scattered
        In the order found; the likeliest guesses are followed first.
    """
    vertices, faces, neighbours, normals = wall.mesh
    bent = _in_patches(_bent_faces(wall.taken, angles), neighbours, angles)
    if not len(bent):
        return []
    smooth = _smoothed(vertices, faces, neighbours, normals)
    if len(bent) > MOST_GUESSES * SHARED_FACES:
        bent = bent[:: -(-len(bent) // (MOST_GUESSES * SHARED_FACES))]
    edge = np.cos(np.radians(EDGE_DEG))

    def guessed(seeds: NDArray[np.int32]) -> Floats:
        return _guesses(vertices, faces, neighbours, smooth, areas, wall.taken, seeds, edge)

    # Always in the same two parts, so that nothing depends on how many cores there are.
    with ThreadPoolExecutor(2) as pool:
        guesses = np.concatenate(list(pool.map(guessed, np.array_split(bent, 2))))
    guesses = guesses[guesses[:, 10] <= LOOSEST_GUESS * guesses[:, 9] + 5 * stray_mm]
    guesses = guesses[np.argsort(-guesses[:, 0], kind="stable")]
    search = _Search(wall, smooth, bent)
    found: list[Scattered] = []
    trials = 0
    for guess in guesses:
        seed = int(guess[1])
        if wall.taken[seed] or search.duds[seed] >= MOST_DUDS:
            continue
        trials += 1
        if trials > MOST_TRIALS:
            break
        one = search.follow(seed, guess[3:10].copy(), concave=bool(guess[2] < 0), scatter=float(guess[10]))
        if one is not None:
            found.append(one)
            wall.taken[one.faces] = True
    return found


def _bent_faces(taken: NDArray[np.bool_], angles: NDArray[np.float32]) -> NDArray[np.int32]:
    """List the faces not taken that turn at an edge, but not sharply."""
    turn = np.abs(angles)
    bent = ((turn > np.radians(0.2)) & (turn < np.radians(EDGE_DEG))).any(axis=1)
    return np.flatnonzero(bent & ~taken).astype(np.int32)


def _in_patches(
    bent: NDArray[np.int32], neighbours: NDArray[np.int32], angles: NDArray[np.float32]
) -> NDArray[np.int32]:
    """Keep bent faces that lie in a smooth patch of as many as a wall has at least.

    Faces left over beside the facets of a clean mesh are few and scattered: no wall begins there.
    """
    rank = np.full(len(neighbours), -1, dtype=np.int32)
    rank[bent] = np.arange(len(bent), dtype=np.int32)
    beside = neighbours[bent]
    smooth = (beside >= 0) & (np.abs(angles[bent]) < np.radians(EDGE_DEG))
    other = np.where(smooth, rank[beside], -1)
    row, side = np.nonzero(other >= 0)
    graph = coo_array((np.ones(len(row), np.int8), (row, other[row, side])), shape=(len(bent),) * 2)
    label = connected_components(graph, directed=False)[1]
    return bent[np.bincount(label, minlength=1)[label] >= LEAST_FACES] if len(bent) else bent


@njit(cache=True, nogil=True, error_model="numpy")
def _smoothed(vertices, faces, neighbours, normals):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Average normals over edges, weighed with their length: slivers of one wall share long edges."""
    now = normals.copy()
    then = normals.copy()
    for _ in range(3):
        for f in range(len(faces)):
            x, y, z = 0.0, 0.0, 0.0
            longest = 0.0
            for k in range(3):
                a, b = faces[f, k], faces[f, (k + 1) % 3]
                length = np.sqrt(
                    (vertices[a, 0] - vertices[b, 0]) ** 2
                    + (vertices[a, 1] - vertices[b, 1]) ** 2
                    + (vertices[a, 2] - vertices[b, 2]) ** 2
                )
                longest = max(longest, length)
                g = neighbours[f, k]
                if g < 0:
                    continue
                dot = now[f, 0] * now[g, 0] + now[f, 1] * now[g, 1] + now[f, 2] * now[g, 2]
                if dot > 0.5:
                    weight = length * (dot - 0.5)
                    x += weight * now[g, 0]
                    y += weight * now[g, 1]
                    z += weight * now[g, 2]
            x += 0.5 * longest * now[f, 0]
            y += 0.5 * longest * now[f, 1]
            z += 0.5 * longest * now[f, 2]
            size = np.sqrt(x * x + y * y + z * z)
            if size > 0.0:
                then[f, 0], then[f, 1], then[f, 2] = x / size, y / size, z / size
        now, then = then, now
    return now


@njit(cache=True, nogil=True, error_model="numpy")
def _guesses(vertices, faces, neighbours, normals, areas, taken, bent, edge):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Guess a cylinder around many faces: score, seed, sign, point, direction, radius, scatter."""
    out = np.zeros((3 * len(bent), 11))
    rows = 0
    done = np.zeros(len(faces), dtype=np.bool_)
    stamp = np.full(len(faces), -1, dtype=np.int32)
    near = np.empty(NEAR_FACES, dtype=np.int32)
    front = np.empty(3 * NEAR_FACES, dtype=np.int32)
    smoothness = np.empty(3 * NEAR_FACES)
    normal = np.empty((NEAR_FACES, 3))
    area = np.empty(NEAR_FACES)
    corner = np.empty((NEAR_FACES, 3, 3))
    axes = np.empty((16, 3))
    guess = np.empty(5)
    flat = np.empty((NEAR_FACES, 4, 2))
    keep = np.empty(NEAR_FACES, dtype=np.bool_)
    frame = np.empty((2, 3))
    for seed in bent:
        if done[seed] or taken[seed]:
            continue
        # The smoothest edge is crossed first, so that the neighbourhood fills one wall before it leaves it.
        stamp[seed] = seed
        near[0] = seed
        count, open_count, f = 1, 0, seed
        while count < NEAR_FACES:
            for k in range(3):
                g = neighbours[f, k]
                if g < 0 or stamp[g] == seed or taken[g] or open_count == len(front):
                    continue
                dot = (
                    normals[f, 0] * normals[g, 0]
                    + normals[f, 1] * normals[g, 1]
                    + normals[f, 2] * normals[g, 2]
                )
                if dot < edge:
                    continue
                stamp[g] = seed
                front[open_count] = g
                smoothness[open_count] = dot
                open_count += 1
            if open_count == 0:
                break
            best_at = 0
            for i in range(1, open_count):
                if smoothness[i] > smoothness[best_at]:
                    best_at = i
            f = front[best_at]
            open_count -= 1
            front[best_at], smoothness[best_at] = front[open_count], smoothness[open_count]
            near[count] = f
            count += 1
        for i in range(min(count, SHARED_FACES)):
            done[near[i]] = True
        if count < 4:
            continue
        base = faces[seed, 0]
        spread = np.zeros((3, 3))
        # Lengths of the three longest edges so far, longest first, and their directions.
        long = np.zeros(3)
        for i in range(count):
            f = near[i]
            area[i] = areas[f]
            for j in range(3):
                normal[i, j] = normals[f, j]
                for k in range(3):
                    corner[i, j, k] = vertices[faces[f, j], k] - vertices[base, k]
            for j in range(3):
                for k in range(3):
                    spread[j, k] += area[i] * normal[i, j] * normal[i, k]
            for j in range(3):
                x = corner[i, (j + 1) % 3, 0] - corner[i, j, 0]
                y = corner[i, (j + 1) % 3, 1] - corner[i, j, 1]
                z = corner[i, (j + 1) % 3, 2] - corner[i, j, 2]
                length = np.sqrt(x * x + y * y + z * z)
                for rank in range(3):
                    if abs(length - long[rank]) <= 1e-9 * length:
                        break  # the same edge from its other face
                    if length > long[rank]:
                        for lower in range(2, rank, -1):
                            long[lower] = long[lower - 1]
                            axes[lower] = axes[lower - 1]
                        long[rank] = length
                        axes[rank, 0], axes[rank, 1], axes[rank, 2] = x / length, y / length, z / length
                        break
        tried = 0
        while tried < 3 and long[tried] > 0.0:
            tried += 1
        # Two normals of a cylinder span the plane across it.
        for i in range(1, 5):
            m = min(i * count // 5, count - 1)
            x = normal[0, 1] * normal[m, 2] - normal[0, 2] * normal[m, 1]
            y = normal[0, 2] * normal[m, 0] - normal[0, 0] * normal[m, 2]
            z = normal[0, 0] * normal[m, 1] - normal[0, 1] * normal[m, 0]
            size = np.sqrt(x * x + y * y + z * z)
            if size > 0.15:
                axes[tried, 0], axes[tried, 1], axes[tried, 2] = x / size, y / size, z / size
                tried += 1
        axes[tried] = np.linalg.eigh(spread)[1][:, 0]
        tried += 1

        # The nearest faces alone, some, and all: a short arc is over before the neighbourhood is full.
        for extent in range(3):
            used = (8, 16, NEAR_FACES)[extent]
            if extent > 0 and count <= (8, 16, NEAR_FACES)[extent - 1]:
                break
            used = min(used, count)
            best = 0.0
            for h in range(tried):
                square_to(axes[h, 0], axes[h, 1], axes[h, 2], frame)
                for i in range(used):
                    for k in range(2):
                        u = frame[k]
                        for j in range(3):
                            flat[i, j, k] = (
                                corner[i, j, 0] * u[0] + corner[i, j, 1] * u[1] + corner[i, j, 2] * u[2]
                            )
                        flat[i, 3, k] = normal[i, 0] * u[0] + normal[i, 1] * u[1] + normal[i, 2] * u[2]
                score = _try(normal, area, flat, used, axes[h], guess, keep)
                if score <= best:
                    continue
                best = score
                out[rows, 0], out[rows, 1], out[rows, 2] = score, seed, guess[0]
                for j in range(3):
                    out[rows, 3 + j] = vertices[base, j] + guess[1] * frame[0, j] + guess[2] * frame[1, j]
                    out[rows, 6 + j] = axes[h, j]
                out[rows, 9], out[rows, 10] = guess[3], guess[4]
            if best > 0.0:
                rows += 1
    return out[:rows]


@njit(cache=True, nogil=True, error_model="numpy")
def _try(normal, area, flat, count, d, guess, keep):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Fit a circle to what a neighbourhood looks like along an axis, drop the worst faces, and score the fit.

    `flat` holds the corners along two directions square to the axis, `keep` is room for marks.
    """
    counted = 0
    for i in range(count):
        lean = normal[i, 0] * d[0] + normal[i, 1] * d[1] + normal[i, 2] * d[2]
        keep[i] = abs(lean) <= 0.45
        counted += keep[i]
    if counted < 4 or counted < 0.3 * count:
        return 0.0
    off = np.empty(count)
    for turn in range(2):
        if not _circle(flat, count, keep, guess):
            return 0.0
        if turn == 1:
            break
        # A flank beside an arc, or the face beyond a rim, is not on the circle: the better half decides.
        rank = 0
        for i in range(count):
            if keep[i]:
                worst = 0.0
                for j in range(3):
                    x, y = flat[i, j, 0] - guess[1], flat[i, j, 1] - guess[2]
                    worst = max(worst, abs(np.sqrt(x * x + y * y) - guess[3]))
                off[rank] = worst
                rank += 1
        limit = 2.0 * median_of(off, np.empty(count, dtype=np.int64), rank)
        rank = 0
        for i in range(count):
            if keep[i]:
                keep[i] = off[rank] <= limit
                rank += 1

    x0, y0, radius = guess[1], guess[2], guess[3]
    scatter, sign, used = 0.0, 0.0, 0.0
    low, high, first, kept = 0.0, 0.0, 0.0, 0
    near, far, begin = 0.0, 0.0, 0.0
    for i in range(count):
        if not keep[i]:
            continue
        mx, my = 0.0, 0.0
        for j in range(3):
            x, y = flat[i, j, 0] - x0, flat[i, j, 1] - y0
            scatter += (np.sqrt(x * x + y * y) - radius) ** 2
            mx, my = mx + x, my + y
        away = max(np.sqrt(mx * mx + my * my), 1e-300)
        sign += area[i] * (flat[i, 3, 0] * mx + flat[i, 3, 1] * my) / away
        used += area[i]
        turn_here, place = np.arctan2(flat[i, 3, 1], flat[i, 3, 0]), np.arctan2(my, mx)
        if kept == 0:
            first, begin = turn_here, place
        turn_here, place = _half_turn(turn_here - first), _half_turn(place - begin)
        low, high = min(low, turn_here), max(high, turn_here)
        near, far = min(near, place), max(far, place)
        kept += 1
    scatter = np.sqrt(scatter / (3.0 * kept))
    # On a rough plane normals turn, but places hardly do about the far axis that fits them.
    turned = min(high - low, 2.0 * (far - near))
    if kept < 4 or turned < 0.35 or abs(sign) < 0.7 * used:
        return 0.0
    guess[0], guess[4] = sign, scatter
    return kept / count * min(turned, 2.0) / (1.0 + (scatter / (0.03 * radius)) ** 2)


@njit(cache=True, nogil=True, error_model="numpy")
def _half_turn(angle):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Bring a difference of two angles between −π and π."""
    if angle > np.pi:
        return angle - 2 * np.pi
    if angle < -np.pi:
        return angle + 2 * np.pi
    return angle


@njit(cache=True, nogil=True, error_model="numpy")
def _circle(flat, count, keep, guess):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Fit a circle to the corners of the kept faces; write its centre and radius.

    The fit is G. Taubin's (IEEE Trans. Pattern Analysis 13, 1991), by Newton's method as in N. Chernov,
    Circular and Linear Regression, 2010: on short noisy arcs the plain algebraic fit reads far too small.
    """
    cx, cy, ones = 0.0, 0.0, 0.0
    for i in range(count):
        if keep[i]:
            for j in range(3):
                cx, cy, ones = cx + flat[i, j, 0], cy + flat[i, j, 1], ones + 1.0
    if ones < 9.0:
        return False
    cx, cy = cx / ones, cy / ones
    xx, xy, yy, xz, yz, zz = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(count):
        if not keep[i]:
            continue
        for j in range(3):
            x, y = flat[i, j, 0] - cx, flat[i, j, 1] - cy
            z = x * x + y * y
            xx, xy, yy = xx + x * x / ones, xy + x * y / ones, yy + y * y / ones
            xz, yz, zz = xz + x * z / ones, yz + y * z / ones, zz + z * z / ones
    mean = xx + yy
    cov = xx * yy - xy * xy
    spread = zz - mean * mean
    a3, a2 = 4 * mean, -3 * mean * mean - zz
    a1 = spread * mean + 4 * cov * mean - xz * xz - yz * yz
    a0 = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - spread * cov
    root, value = 0.0, a0
    for _ in range(50):
        slope = a1 + root * (2 * a2 + 3 * a3 * root)
        if slope == 0.0:
            break
        then = root - value / slope
        if then == root or not np.isfinite(then):
            break
        next_value = a0 + then * (a1 + then * (a2 + then * a3))
        if abs(next_value) >= abs(value):
            break
        root, value = then, next_value
    det = root * root - root * mean + cov
    if not abs(det) > 1e-10 * mean * mean:
        return False
    x0 = (xz * (yy - root) - yz * xy) / det / 2
    y0 = (yz * (xx - root) - xz * xy) / det / 2
    square = x0 * x0 + y0 * y0 + mean
    if not square > 0.0:
        return False
    guess[1], guess[2], guess[3] = x0 + cx, y0 + cy, np.sqrt(square)
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def _follow(  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    vertices,
    faces,
    neighbours,
    normals,
    taken,
    stamp,
    mark,
    seen,
    duds,
    seeds,
    cylinder,
    sign,
    tolerance,
    out,
):
    """Gather and fit in turn until the faces no longer change; give their number and the scatter."""
    size, before = len(seeds), -1
    out[:size] = seeds
    most = min(1e4, WILDEST_GUESS * cylinder[6])
    bounds = np.empty(5)
    corners = np.empty((MOST_POINTS, 3))
    for turn in range(MOST_TURNS):
        bounds[0], bounds[1], bounds[2] = tolerance, tolerance, 0.8 * cylinder[6] - tolerance
        bounds[3], bounds[4] = 0.5, 0.6
        start = out[:size].copy()
        size = gather(
            vertices,
            faces,
            neighbours,
            normals,
            taken,
            stamp,
            mark + turn,
            start,
            cylinder,
            sign,
            bounds,
            out,
        )
        if size < LEAST_FACES:
            return 0, 0.0
        stride = 3 * size // MOST_POINTS + 1
        count = 0
        for i in range(0, size):
            for k in range(3):
                v = faces[out[i], k]
                if seen[v] != mark + turn:
                    seen[v] = mark + turn
                    if v % stride == 0 and count < MOST_POINTS:
                        corners[count] = vertices[v]
                        count += 1
        if count < 6:
            return 0, 0.0
        fit_cylinder(corners[:count], cylinder, 4)
        if not 0.0 < cylinder[6] < most:
            # A rough plane, which fits any circle that is large enough.
            for i in range(size):
                duds[out[i]] += 1
            return 0, 0.0
        off = np.empty(count)
        for i in range(count):
            x, y, z = corners[i, 0] - cylinder[0], corners[i, 1] - cylinder[1], corners[i, 2] - cylinder[2]
            t = x * cylinder[3] + y * cylinder[4] + z * cylinder[5]
            off[i] = abs(np.sqrt(max(x * x + y * y + z * z - t * t, 0.0)) - cylinder[6])
        scatter = 1.4826 * median_of(off, np.empty(count, dtype=np.int64), count)
        kept = 0
        for i in range(count):
            if off[i] <= 4.0 * scatter + 1e-9:
                corners[kept] = corners[i]
                kept += 1
        if 6 <= kept < count:
            fit_cylinder(corners[:kept], cylinder, 4)
        if not 0.0 < cylinder[6] < most:
            return 0, 0.0
        if turn == 2 and scatter > max(3 * SCATTER_MM, 3 * SCATTER_SHARE * cylinder[6]):
            for i in range(size):
                duds[out[i]] += 1
            return 0, 0.0
        if turn >= 3 and size == before:
            break
        before = size
        # A wide net first, for the guess may be off; then as fine as the corners' own scatter.
        least = 5.0 * scatter + 1e-3 * cylinder[6]
        tolerance = min(max(least, 0.15 * cylinder[6] * 0.6 ** (turn + 1)), 0.2 * cylinder[6])
    return size, scatter


class _Search:
    """Follows guesses to walls, remembering which faces led nowhere.

    Parameters
    ----------
    wall : Wall
        The mesh.
    smooth : (F, 3)
        Smoothed normals.
    bent : (k,) int32
        Faces that may belong to a wall.
    """

    def __init__(self, wall: Wall, smooth: Floats, bent: NDArray[np.int32]) -> None:
        vertices, faces = wall.mesh[0], wall.mesh[1]
        self.wall, self.smooth, self.bent = wall, smooth, bent
        self.duds = np.zeros(len(faces), dtype=np.int32)
        self._seen = np.zeros(len(vertices), dtype=np.int32)
        self._middles = vertices[faces[bent]].mean(axis=1)
        self._crossings = MOST_CROSSED // max(len(bent), 1)

    def follow(self, seed: int, cylinder: Floats, concave: bool, scatter: float) -> Scattered | None:
        """Follow one guess to a wall, or to nothing."""
        tolerance = max(0.15 * cylinder[6], min(3 * scatter, 0.3 * cylinder[6]))
        size, scatter = self._run(np.array([seed], dtype=np.int32), cylinder, concave, tolerance)
        if size == 0:
            return None
        one = self._accepted(size, cylinder, concave, scatter)
        if one is None or one[1] >= LEAST_COVER_DEG:
            return None if one is None else one[0]
        # Bores that cross a wall cut it into arcs: the other arcs lie on the same cylinder.
        if one[1] >= LEAST_ARC_DEG and self._crossings > 0:
            self._crossings -= 1
            seeds = self._on(cylinder, one[0].faces, 5 * scatter + 1e-3 * cylinder[6])
            if len(seeds):
                size, scatter = self._run(seeds, cylinder, concave, 5 * scatter + 0.02 * cylinder[6])
                two = self._accepted(size, cylinder, concave, scatter) if size else None
                if two is not None and two[1] >= LEAST_COVER_DEG:
                    return two[0]
        self.duds[one[0].faces] += 1
        return None

    def _run(
        self, seeds: NDArray[np.int32], cylinder: Floats, concave: bool, tolerance: float
    ) -> tuple[int, float]:
        wall = self.wall
        mark = wall.mark + 1
        wall.mark += MOST_TURNS
        return _follow(
            *wall.mesh[:3],
            self.smooth,
            wall.taken,
            wall.stamp,
            mark,
            self._seen,
            self.duds,
            seeds,
            cylinder,
            -1.0 if concave else 1.0,
            tolerance,
            wall.list,
        )

    def _accepted(
        self, size: int, cylinder: Floats, concave: bool, scatter: float
    ) -> tuple[Scattered, float] | None:
        """Give what was gathered and how far round it goes, if it is fit to be a wall."""
        gathered = np.sort(self.wall.list[:size])
        vertices, faces = self.wall.mesh[0], self.wall.mesh[1]
        axis = Axis(cylinder[:3].copy(), cylinder[3:6].copy(), float(cylinder[6]))
        points = vertices[faces[gathered]]
        cover = covered_deg(points, axis)
        rough = scatter > max(min(SCATTER_MM, 0.05 * axis.radius), SCATTER_SHARE * axis.radius)
        if rough or cover < LEAST_ARC_DEG or not _is_filled(points, axis, cover):
            self.duds[gathered] += 1
            return None
        return Scattered(axis, gathered, concave, scatter), cover

    def _on(self, cylinder: Floats, own: NDArray[np.int32], within: float) -> NDArray[np.int32]:
        """List own faces and others whose middle lies on a cylinder, over the same length of it."""
        offset = self._middles - cylinder[:3]
        t = offset @ cylinder[3:6]
        away = np.sqrt(np.maximum(np.einsum("ij,ij->i", offset, offset) - t * t, 0.0))
        corners = self.wall.mesh[0][self.wall.mesh[1][own]]
        span = (corners - cylinder[:3]) @ cylinder[3:6]
        on = (np.abs(away - cylinder[6]) <= within + 0.02 * cylinder[6]) & (t > span.min()) & (t < span.max())
        others = self.bent[on]
        others = others[~self.wall.taken[others]]
        return np.union1d(own, others).astype(np.int32) if len(others) else others


def _is_filled(points: Floats, axis: Axis, cover: float) -> bool:
    """Tell whether faces fill at least a third of the patch of wall that they span."""
    t = (points - axis.point) @ frame_of(axis.direction)[2]
    area = 0.5 * np.linalg.norm(np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0]), axis=1)
    return bool(area.sum() > np.radians(cover) * axis.radius * np.ptp(t) / 3)

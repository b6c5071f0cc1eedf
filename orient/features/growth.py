"""Gather the faces that lie on a cylinder, fit the cylinder to points, and measure what is gathered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.features.loops import solve_in_place

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Axis:
    """A cylinder's axis and radius: a point of the axis, its unit direction, the radius, mm."""

    point: Floats
    direction: Floats
    radius: float


@dataclass(frozen=True)
class Bounds:
    """What a face may do and still be of the wall.

    Attributes
    ----------
    inside, outside
        How far its corners may lie within and beyond the radius, mm.
    plane
        Least distance of its plane from the axis, mm: a flat that cuts across the wall comes nearer.
    lean
        Largest sine of the angle between its plane and the axis.
    cosine
        Least cosine of the angle between its normal and the radius through its middle.
    """

    inside: float
    outside: float
    plane: float
    lean: float
    cosine: float


def frame_of(direction: Floats) -> Floats:
    """Give two unit vectors square to a direction, then the direction, as rows, right-handed."""
    frame = np.empty((3, 3))
    square_to(direction[0], direction[1], direction[2], frame)
    frame[2] = direction
    return frame


def fit_axis(points: Floats, start: Axis, turns: int = 12) -> tuple[Axis, Floats]:
    """Fit a cylinder to points by least squares: five parameters, Gauss–Newton.

    Parameters
    ----------
    points : (N, 3)
        Points on the true surface, mm; at least five.
    start : Axis
        A fair guess.
    turns : int
        Most steps to take.

    Returns
    -------
    Axis
        The cylinder that minimises Σ (distance from the axis − radius)².
    (N,)
        Distance of each point from the fitted surface, mm, positive outside.

    Notes
    -----
    The corners of a faceted circle lie on the true circle, so corners give its radius exactly, where
    the flats would give less (n-gon geometry: inradius r·cos(π/n)).
    """
    found = np.concatenate([start.point, start.direction, [start.radius]])
    points = np.ascontiguousarray(points, dtype=np.float64)
    fit_cylinder(points, found, turns)
    axis = Axis(found[:3], found[3:6], float(found[6]))
    offset = points - axis.point
    along = offset @ axis.direction
    away = np.sqrt(np.maximum(np.einsum("ij,ij->i", offset, offset) - along**2, 0.0))
    return axis, away - axis.radius


@njit(cache=True, nogil=True, error_model="numpy")
def fit_cylinder(points, found, turns):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Improve a cylinder in place: point, direction, radius in seven numbers."""
    n = len(points)
    mx, my, mz = 0.0, 0.0, 0.0
    for i in range(n):
        mx, my, mz = mx + points[i, 0], my + points[i, 1], mz + points[i, 2]
    mx, my, mz = mx / n, my / n, mz / n
    row = np.empty(5)
    frame = np.empty((2, 3))
    for _ in range(turns):
        dx, dy, dz = found[3], found[4], found[5]
        t = (mx - found[0]) * dx + (my - found[1]) * dy + (mz - found[2]) * dz
        px, py, pz = found[0] + t * dx, found[1] + t * dy, found[2] + t * dz
        square_to(dx, dy, dz, frame)
        low, high = 1e300, -1e300
        for i in range(n):
            t = (points[i, 0] - px) * dx + (points[i, 1] - py) * dy + (points[i, 2] - pz) * dz
            low, high = min(low, t), max(high, t)
        reach = max(high - low, 1e-9)
        normal = np.zeros((5, 5))
        right = np.zeros(5)
        for i in range(n):
            ox, oy, oz = points[i, 0] - px, points[i, 1] - py, points[i, 2] - pz
            x = ox * frame[0, 0] + oy * frame[0, 1] + oz * frame[0, 2]
            y = ox * frame[1, 0] + oy * frame[1, 1] + oz * frame[1, 2]
            t = (ox * dx + oy * dy + oz * dz) / reach
            away = np.sqrt(x * x + y * y)
            if away < 1e-12:
                continue
            row[0], row[1], row[2], row[3], row[4] = x / away, y / away, x / away * t, y / away * t, 1.0
            for j in range(5):
                right[j] += row[j] * (away - found[6])
                for k in range(j, 5):
                    normal[j, k] += row[j] * row[k]
        trace = 0.0
        for j in range(5):
            trace += normal[j, j]
            for k in range(j):
                normal[j, k] = normal[k, j]
        # A trace of damping keeps short arcs and single rings, whose tilt is open, from running away.
        for j in range(5):
            normal[j, j] += 1e-12 * trace
        if not solve_in_place(normal, right):
            break
        step = right
        size = 0.0
        finite = True
        for j in range(5):
            finite = finite and abs(step[j]) < 1e300
            size = max(size, abs(step[j]))
        if not finite:
            break
        if size > 0.5 * found[6]:
            for j in range(5):
                step[j] *= 0.5 * found[6] / size
        for j in range(3):
            found[3 + j] += (step[2] * frame[0, j] + step[3] * frame[1, j]) / reach
        length = np.sqrt(found[3] ** 2 + found[4] ** 2 + found[5] ** 2)
        for j in range(3):
            found[3 + j] /= length
        found[0] = px + step[0] * frame[0, 0] + step[1] * frame[1, 0]
        found[1] = py + step[0] * frame[0, 1] + step[1] * frame[1, 1]
        found[2] = pz + step[0] * frame[0, 2] + step[1] * frame[1, 2]
        found[6] += step[4]
        if size < 1e-9 * max(found[6], 1e-3):
            break


@njit(cache=True, nogil=True, error_model="numpy")
def square_to(dx, dy, dz, frame):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Write two unit vectors square to a direction, and to each other, into the first rows of an array."""
    if abs(dx) <= abs(dy) and abs(dx) <= abs(dz):
        ux, uy, uz = 0.0, dz, -dy
    elif abs(dy) <= abs(dz):
        ux, uy, uz = -dz, 0.0, dx
    else:
        ux, uy, uz = dy, -dx, 0.0
    size = np.sqrt(ux * ux + uy * uy + uz * uz)
    ux, uy, uz = ux / size, uy / size, uz / size
    frame[0, 0], frame[0, 1], frame[0, 2] = ux, uy, uz
    frame[1, 0], frame[1, 1], frame[1, 2] = dy * uz - dz * uy, dz * ux - dx * uz, dx * uy - dy * ux


class Wall:
    """Grows sets of faces over one mesh without touching full-size arrays a second time.

    Parameters
    ----------
    vertices, faces, neighbours, normals
        As in `orient.part.mesh.Part`.
    """

    def __init__(
        self,
        vertices: Floats,
        faces: NDArray[np.int32],
        neighbours: NDArray[np.int32],
        normals: Floats,
    ) -> None:
        self.mesh = (vertices, faces, neighbours, normals)
        self.taken = np.zeros(len(faces), dtype=np.bool_)
        self.stamp = np.zeros(len(faces), dtype=np.int32)
        self.mark = 0
        self.list = np.empty(len(faces), dtype=np.int32)

    def grow(self, seeds: NDArray[Any], axis: Axis, concave: bool, bounds: Bounds) -> NDArray[np.int32]:
        """List the faces on a cylinder that hang together with the seeds, none of them taken before."""
        self.mark += 1
        count = gather(
            *self.mesh,
            self.taken,
            self.stamp,
            self.mark,
            np.asarray(seeds, dtype=np.int32),
            np.concatenate([axis.point, axis.direction, [axis.radius]]),
            -1.0 if concave else 1.0,
            np.array([bounds.inside, bounds.outside, bounds.plane, bounds.lean, bounds.cosine]),
            self.list,
        )
        return np.sort(self.list[:count])

    def border(self, chosen: NDArray[Any]) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """List the edges around a set of faces: face, side, face across (−1 for none)."""
        self.mark += 1
        return _border(self.mesh[2], self.stamp, self.mark, np.asarray(chosen, dtype=np.int32))


@njit(cache=True, nogil=True, error_model="numpy")
def gather(  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    vertices,
    faces,
    neighbours,
    normals,
    taken,
    stamp,
    mark,
    seeds,
    cylinder,
    sign,
    bounds,
    out,
):
    """List the faces on a cylinder (point, direction, radius) that hang together with the seeds."""
    inside, outside, plane, lean, cosine = bounds
    px, py, pz, dx, dy, dz, radius = cylinder
    count = 0
    for s in range(-len(seeds), len(out)):
        if s >= count:
            break
        for k in range(3):
            if s < 0:
                if k > 0:
                    break
                f = seeds[s + len(seeds)]
            else:
                f = neighbours[out[s], k]
            if f < 0 or taken[f] or stamp[f] == mark:
                continue
            nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
            flat = nx == 0.0 and ny == 0.0 and nz == 0.0
            if not flat and abs(nx * dx + ny * dy + nz * dz) > lean:
                continue
            mx, my, mz = 0.0, 0.0, 0.0
            good = True
            for j in range(3):
                v = faces[f, j]
                x, y, z = vertices[v, 0] - px, vertices[v, 1] - py, vertices[v, 2] - pz
                t = x * dx + y * dy + z * dz
                x, y, z = x - t * dx, y - t * dy, z - t * dz
                away = np.sqrt(x * x + y * y + z * z)
                if away < radius - inside or away > radius + outside:
                    good = False
                    break
                mx, my, mz = mx + x, my + y, mz + z
            if not good:
                continue
            if not flat:
                size = np.sqrt(mx * mx + my * my + mz * mz)
                outward = sign * (mx * nx + my * ny + mz * nz)
                if outward < cosine * size or outward < 3.0 * plane:
                    continue
            stamp[f] = mark
            out[count] = f
            count += 1
    return count


@njit(cache=True, nogil=True, error_model="numpy")
def _border(neighbours, stamp, mark, chosen):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    for f in chosen:
        stamp[f] = mark
    count = 0
    for f in chosen:
        for k in range(3):
            g = neighbours[f, k]
            if g < 0 or stamp[g] != mark:
                count += 1
    face = np.empty(count, dtype=np.int32)
    side = np.empty(count, dtype=np.int32)
    other = np.empty(count, dtype=np.int32)
    count = 0
    for f in chosen:
        for k in range(3):
            g = neighbours[f, k]
            if g < 0 or stamp[g] != mark:
                face[count], side[count], other[count] = f, k, g
                count += 1
    return face, side, other


def covered_deg(corners: Floats, axis: Axis) -> float:
    """Measure how much of a turn faces cover about an axis.

    Parameters
    ----------
    corners : (k, 3, 3)
        Corners of the faces, mm.
    axis : Axis
        The axis.

    Returns
    -------
    float
        Degrees, 0 to 360.
    """
    local = (corners - axis.point) @ frame_of(axis.direction)[:2].T
    angle = np.arctan2(local[..., 1], local[..., 0])
    swing = angle - angle[:, :1]
    swing -= 2 * np.pi * np.round(swing / (2 * np.pi))
    low = angle[:, 0] + swing.min(axis=1)
    return float(np.degrees(_union(np.mod(low, 2 * np.pi), np.ptp(swing, axis=1))))


def _union(low: Floats, length: Floats) -> float:
    """Length of the union of arcs of a turn."""
    order = np.argsort(low, kind="stable")
    low, high = low[order], (low + length)[order]
    # What reaches past the full turn covers the beginning again.
    wrapped = high.max(initial=0.0) - 2 * np.pi
    reach = np.maximum.accumulate(np.concatenate([[max(wrapped, 0.0)], high]))
    gaps = np.maximum(np.append(low, 2 * np.pi) - reach, 0.0)
    return float(2 * np.pi - gaps.sum())

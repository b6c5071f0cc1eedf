"""Cuts across an axis: how near the part's surface comes to it."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from orient.features.growth import Floats
from orient.part.mesh import Part

# Faces that follow one another in a file are mostly near one another: boxes round so many of them.
_CHUNK = 64


class Sections:
    """Cuts of one part, with boxes that let most faces be passed over.

    Parameters
    ----------
    part : Part
        The part.
    """

    def __init__(self, part: Part) -> None:
        self._mesh = (part.vertices, part.faces)
        self._low, self._high = _boxes(part.vertices, part.faces)
        self._own = np.zeros(len(part.faces), dtype=np.int32)
        self._mark = 0

    def nearest_mm(
        self, points: ArrayLike, direction: Floats, reach_mm: float, but: NDArray[np.int64]
    ) -> Floats:
        """Measure how near the surface comes to an axis in planes square to it.

        Parameters
        ----------
        points : (S, 3) array_like
            Points of the axis, one a plane, mm.
        direction : (3,)
            The axis.
        reach_mm : float
            What is further away is not looked for.
        but : (k,) int64
            Faces to leave out.

        Returns
        -------
        (S,)
            Distance in each plane, `reach_mm` where nothing is nearer.
        """
        self._mark += 1
        self._own[but] = self._mark
        return _nearest(
            *self._mesh,
            self._low,
            self._high,
            self._own,
            self._mark,
            np.asarray(points, dtype=np.float64).reshape(-1, 3),
            direction,
            reach_mm,
        )

    def first_hit_mm(self, origin: Floats, direction: Floats, reach_mm: float) -> float:
        """Measure how far a ray runs before it meets the surface, `reach_mm` if it does not, mm."""
        end = origin + reach_mm * direction
        low, high = np.minimum(origin, end), np.maximum(origin, end)
        return float(_ray(*self._mesh, self._low, self._high, low, high, origin, direction, reach_mm))


@njit(cache=True, nogil=True, error_model="numpy")
def _ray(vertices, faces, low, high, near, far, origin, direction, reach):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Meet triangles (T. Möller, B. Trumbore, J. Graphics Tools 2(1), 1997)."""
    best = reach
    for chunk in range(len(low)):
        apart = False
        for j in range(3):
            apart = apart or low[chunk, j] > far[j] or high[chunk, j] < near[j]
        if apart:
            continue
        for f in range(chunk * _CHUNK, min((chunk + 1) * _CHUNK, len(faces))):
            a = vertices[faces[f, 0]]
            u, v = vertices[faces[f, 1]] - a, vertices[faces[f, 2]] - a
            p = np.cross(direction, v)
            det = np.dot(u, p)
            if abs(det) < 1e-15:
                continue
            s = origin - a
            x = np.dot(s, p) / det
            if x < 0.0 or x > 1.0:
                continue
            q = np.cross(s, u)
            y = np.dot(direction, q) / det
            if y < 0.0 or x + y > 1.0:
                continue
            t = np.dot(v, q) / det
            if t > 0.0:
                best = min(best, t)
    return best


@njit(cache=True, nogil=True, error_model="numpy")
def _boxes(vertices, faces):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    count = (len(faces) + _CHUNK - 1) // _CHUNK
    low = np.full((count, 3), np.inf)
    high = np.full((count, 3), -np.inf)
    for f in range(len(faces)):
        for k in range(3):
            for j in range(3):
                x = vertices[faces[f, k], j]
                low[f // _CHUNK, j] = min(low[f // _CHUNK, j], x)
                high[f // _CHUNK, j] = max(high[f // _CHUNK, j], x)
    return low, high


@njit(cache=True, nogil=True, error_model="numpy")
def _nearest(vertices, faces, low, high, own, mark, points, direction, reach):  # type: ignore[no-untyped-def]  # pragma: no cover
    nearest = np.full(len(points), reach)
    d = direction
    t = np.empty(3)
    cut = np.empty((2, 3))
    for s in range(len(points)):
        p = points[s]
        for chunk in range(len(low)):
            square = 0.0
            for j in range(3):
                gap = max(low[chunk, j] - p[j], p[j] - high[chunk, j], 0.0)
                square += gap * gap
            if square >= nearest[s] * nearest[s]:
                continue
            for f in range(chunk * _CHUNK, min((chunk + 1) * _CHUNK, len(faces))):
                if own[f] == mark:
                    continue
                for k in range(3):
                    v = faces[f, k]
                    t[k] = (
                        (vertices[v, 0] - p[0]) * d[0]
                        + (vertices[v, 1] - p[1]) * d[1]
                        + (vertices[v, 2] - p[2]) * d[2]
                    )
                if min(t[0], t[1], t[2]) > 0.0 or max(t[0], t[1], t[2]) < 0.0:
                    continue
                ends = 0
                for k in range(3):
                    m = (k + 1) % 3
                    if (t[k] <= 0.0) != (t[m] <= 0.0) and ends < 2:
                        share = t[k] / (t[k] - t[m])
                        for j in range(3):
                            cut[ends, j] = (
                                vertices[faces[f, k], j] * (1 - share)
                                + vertices[faces[f, m], j] * share
                                - p[j]
                            )
                        ends += 1
                if ends < 2:
                    continue
                # Nearest point of the segment to the axis, which the plane meets at the origin.
                length, along = 0.0, 0.0
                for j in range(3):
                    length += (cut[1, j] - cut[0, j]) ** 2
                    along -= cut[0, j] * (cut[1, j] - cut[0, j])
                share = 0.0 if length <= 0.0 else min(max(along / length, 0.0), 1.0)
                square = 0.0
                for j in range(3):
                    square += (cut[0, j] + share * (cut[1, j] - cut[0, j])) ** 2
                nearest[s] = min(nearest[s], np.sqrt(square))
    return nearest

"""Colours finer than the faces: a large face in small triangles, each with a byte of its own.

Nothing but how finely each face is cut is sent: the viewer cuts it in the same way. A face cut n-fold has n
rows, parallel to its first side, from that side on; a row holds triangles that stand on that side's direction
and, between them, triangles that hang from it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part
from orient.show.picture.paint import ValuePaint

Floats = NDArray[np.float64]

# So many small triangles at the most: what a recolour may take through the socket.
MOST = 48_000
# No face is cut into more rows.
_ROWS = 200


def levels_of(part: Part, most: int = MOST) -> NDArray[np.uint8]:
    """How finely each face is cut: so that no side of a small triangle is longer than needs be.

    Parameters
    ----------
    part : Part
        The part.
    most : int
        Small triangles there may be; a part with as many faces is not cut.

    Returns
    -------
    (F,) uint8
        A face cut n-fold has n² small triangles.
    """
    corners = part.vertices[part.faces]
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)

    def cut(side: float) -> NDArray[np.int64]:
        return np.clip(np.ceil(longest / side), 1, _ROWS).astype(np.int64)

    if len(part.faces) >= most:
        return np.ones(len(part.faces), dtype=np.uint8)
    low, high = 1e-3 * part.size_mm, 2.0 * part.size_mm
    for _ in range(30):
        side = (low * high) ** 0.5
        low, high = (low, side) if (cut(side) ** 2).sum() <= most else (side, high)
    return cut(high).astype(np.uint8)


def finer(part: Part, paint: ValuePaint, levels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Steps of the small triangles of all faces, face after face.

    Parameters
    ----------
    part : Part
        The part.
    paint : ValuePaint
        How it is coloured.
    levels : (F,) uint8
        From `levels_of`.

    Returns
    -------
    (Σ n²,) uint8
        Each is that of the least value that was read in it.
    """
    rows = levels.astype(np.int64)
    ends = np.cumsum(rows**2)
    values = np.full(int(ends[-1]), np.nan)
    if paint.read is not None:
        faces, points, found = paint.read
        np.fmin.at(values, (ends - rows**2)[faces] + small_at(part, faces, points, rows[faces]), found)
    bare = np.flatnonzero(np.isnan(values))
    face, middle = _middles(part, rows)
    values[bare] = paint.at(face[bare], middle[bare])
    return paint.steps(values)


def small_at(
    part: Part, faces: NDArray[np.int32], points: Floats, rows: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Which small triangle of its face each point lies in.

    Parameters
    ----------
    part : Part
        The part.
    faces : (N,) int32
        The face of each point.
    points : (N, 3) float64
        Points on those faces, or near them.
    rows : (N,) int64
        How finely those faces are cut.

    Returns
    -------
    (N,) int64
    """
    origin, across, up = (part.vertices[part.faces[faces, k]] for k in range(3))
    across, up, to = across - origin, up - origin, points - origin
    aa, au, uu = (np.einsum("ij,ij->i", p, q) for p, q in ((across, across), (across, up), (up, up)))
    ta, tu = np.einsum("ij,ij->i", to, across), np.einsum("ij,ij->i", to, up)
    flat = np.maximum(aa * uu - au * au, 1e-300)
    u = np.clip((uu * ta - au * tu) / flat, 0.0, 1.0)
    v = np.clip((aa * tu - au * ta) / flat, 0.0, 1.0)
    # What lies beside the face counts for its edge.
    over = np.maximum(u + v, 1.0)
    u, v = u / over, v / over
    row = np.minimum((v * rows).astype(np.int64), rows - 1)
    place = np.minimum((u * rows).astype(np.int64), rows - 1 - row)
    hangs = ((u * rows - place) + (v * rows - row) > 1.0) & (place < rows - 1 - row)
    return row * (2 * rows - row) + 2 * place + hangs


def _middles(part: Part, rows: NDArray[np.int64]) -> tuple[NDArray[np.int32], Floats]:
    """The face and the middle of every small triangle."""
    count = rows**2
    starts = np.cumsum(count) - count
    face = np.repeat(np.arange(len(rows), dtype=np.int32), count)
    middle = np.empty((len(face), 3))
    for n in np.unique(rows):
        faces = np.flatnonzero(rows == n)
        u, v = _middles_of(int(n))
        origin, across, up = (part.vertices[part.faces[faces, k]][:, None] for k in range(3))
        there = origin + u[:, None] * (across - origin) + v[:, None] * (up - origin)
        middle[starts[faces][:, None] + np.arange(n * n)] = there
    return face, middle


def _middles_of(n: int) -> tuple[Floats, Floats]:
    """Middles of the small triangles of a face, as shares of its two sides."""
    u, v = [], []
    for row in range(n):
        k = np.arange(2 * (n - row) - 1)
        hangs = k % 2
        u.append((k // 2 + (1 + hangs) / 3.0) / n)
        v.append((row + (1 + hangs) / 3.0) / n)
    return np.concatenate(u), np.concatenate(v)

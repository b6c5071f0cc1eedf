"""Light, edges and hatches: from what is seen to colours."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from orient.show.picture.seen import Seen

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Two faces meet in an edge when they turn by more than this.
CREASE_DEG = 24.0
# Where depth jumps by more than so many pixels' width beyond what the slope of the faces explains.
_JUMP_PX = 3.0


def lit(normals: Floats, right: Floats, up: Floats, forward: Floats) -> NDArray[np.float32]:
    """How bright faces are, 0 to 1: a lamp over the camera's left shoulder, and light from all round.

    Parameters
    ----------
    normals : (F, 3) float64
        Unit normals.
    right, up, forward : (3,) float64
        The camera's axes, in the same coordinates.

    Returns
    -------
    (F,) float32
    """
    lamp = -0.45 * right + 0.65 * up - 0.62 * forward
    lamp = lamp / np.linalg.norm(lamp)
    face_on = np.clip(-(normals @ forward), 0.0, 1.0)
    bright = 0.60 + 0.30 * np.clip(normals @ lamp, 0.0, 1.0) + 0.12 * face_on
    return np.clip(bright, 0.0, 1.0).astype(np.float32)


def edges(seen: Seen, normals: Floats) -> tuple[Mask, Mask]:
    """Find where one face ends and another begins.

    Parameters
    ----------
    seen : Seen
        What is seen.
    normals : (F, 3) float64
        Unit normals of the faces, in any coordinates.

    Returns
    -------
    crease, outline : (H, W) bool
        Pixels where the angle changes by more than `CREASE_DEG`, and those before a jump in depth.
    """
    face, depth = seen.face, seen.depth
    crease = np.zeros(face.shape, dtype=bool)
    outline = np.zeros(face.shape, dtype=bool)
    cosine = math.cos(math.radians(CREASE_DEG))
    toward = np.abs(normals @ (seen.camera.forward @ seen.transform[:3, :3]))
    slope = np.sqrt(np.maximum(1.0 - toward**2, 0.0)) / np.maximum(toward, 0.02)
    mm = seen.camera.mm_per_px
    for axis in (0, 1):
        one = (slice(None, -1), slice(None)) if axis == 0 else (slice(None), slice(None, -1))
        two = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
        change = np.nonzero(face[one] != face[two])
        p = (change[0], change[1])
        q = (change[0] + 1, change[1]) if axis == 0 else (change[0], change[1] + 1)
        a, b = face[p], face[q]
        both = (a >= 0) & (b >= 0)
        with np.errstate(invalid="ignore"):
            step = depth[q] - depth[p]
            allowed = mm * (_JUMP_PX + np.maximum(slope[a], slope[b]))
            jump = ~both | (np.abs(step) > allowed)
        # An outline belongs to what lies in front.
        front = jump & (depth[p] < depth[q])
        outline[p[0][front], p[1][front]] = True
        front = jump & ~(depth[p] < depth[q])
        outline[q[0][front], q[1][front]] = True
        turned = both & ~jump & (np.einsum("ij,ij->i", normals[a], normals[b]) < cosine)
        crease[p[0][turned], p[1][turned]] = True
    return crease, outline


def hatched(rows: NDArray[np.int64], columns: NDArray[np.int64], pattern: str, period: int) -> Mask:
    """Say which pixels a hatch inks.

    Parameters
    ----------
    rows, columns : (N,) int64
        Pixels.
    pattern : {"none", "lines", "cross", "dots"}
        Slanting lines, lines both ways, or dots in a quincunx.
    period : int
        Pixels from line to line along a row.

    Returns
    -------
    (N,) bool
    """
    if pattern == "none":
        return np.zeros(len(rows), dtype=bool)
    thick = max(1, period // 5)
    falling = (rows + columns) % period < thick
    if pattern == "lines":
        return falling
    rising = (rows - columns) % period < thick
    if pattern == "cross":
        return falling | rising
    half = period // 2
    odd = (rows // half) % 2
    r, c = rows % half - half / 2.0 + 0.5, (columns + odd * half // 2) % half - half / 2.0 + 0.5
    return r * r + c * c < (0.24 * period) ** 2 / 1.6

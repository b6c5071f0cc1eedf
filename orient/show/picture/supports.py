"""Columns of support in a pose, as upright lines from what they hold down to what they stand on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.show.picture.paint import HELD
from orient.show.picture.seen import Scene

Floats = NDArray[np.float64]

# Lines across the longer side of the footprint.
_ACROSS = 56
_MOST_WALLS = 200


def support_columns(scene: Scene, transform: Floats, held: NDArray[np.uint8]) -> Floats:
    """Find where support stands, on an even grid.

    Parameters
    ----------
    scene : Scene
        The part.
    transform : (4, 4) float64
        From the part's coordinates to the bed's.
    held : (F,) uint8
        `HELD` for faces that need holding up.

    Returns
    -------
    (N, 2, 3) float64
        Foot and top of each line, bed coordinates, mm.
    """
    part = scene.part
    faces = part.faces[held == HELD]
    if not len(faces):
        return np.zeros((0, 2, 3))
    turn, shift = transform[:3, :3], transform[:3, 3]
    laid = part.vertices @ turn.T + shift
    size = float(np.ptp(laid, axis=0)[:2].max())
    pitch = size / _ACROSS
    spots = laid[faces]
    low, high = spots.min(axis=(0, 1)), spots.max(axis=(0, 1))
    # Off the round numbers, where a part's own edges would lie.
    x = (np.arange(np.floor(low[0] / pitch), np.ceil(high[0] / pitch) + 1) + 0.37) * pitch
    y = (np.arange(np.floor(low[1] / pitch), np.ceil(high[1] / pitch) + 1) + 0.41) * pitch
    xy = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)

    up = turn[2]
    reach = 2.0 * part.size_mm
    step = 1e-5 * part.size_mm
    height = np.full(len(xy), -step)
    foot = np.zeros(len(xy))
    alive = np.arange(len(xy))
    found = []
    for _ in range(_MOST_WALLS):
        here = np.column_stack([xy[alive], height[alive]])
        hit, far = scene.rays.first_hits((here - shift) @ turn, np.broadcast_to(up, here.shape), reach)
        met = hit >= 0
        alive, hit, far = alive[met], hit[met], far[met]
        if not len(alive):
            break
        top = height[alive] + far
        down = part.normals[hit] @ up < 0
        holds = (held[hit] == HELD) & (top - foot[alive] > 10 * step)
        lines = alive[holds]
        found.append(
            np.stack(
                [np.column_stack([xy[lines], foot[lines]]), np.column_stack([xy[lines], top[holds]])], axis=1
            )
        )
        # The next column stands on the last surface that looked up.
        foot[alive[~down]] = top[~down]
        height[alive] = top + step
    return np.concatenate(found) if found else np.zeros((0, 2, 3))

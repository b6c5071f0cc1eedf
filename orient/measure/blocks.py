"""Faces sorted into small blocks of like normals and near places, so that a pose skips most of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part

Floats = NDArray[np.float64]

# A block is the unit that is skipped or walked as a whole: small enough to be tight in space,
# large enough that testing it costs less than walking its faces. Measured best of 16, 32, 64.
BLOCK_FACES = 64
# Faces of a block that lie side by side in memory: a pose walks on through each block without a jump.
LANES = 16
# Normals are binned on a cube of 6 × 6 cells a side, so a block spans at most about 15°.
CELLS_PER_SIDE = 6


@dataclass(frozen=True, eq=False)
class Blocks:
    """A part's faces in block order, in single precision about the part's own centre.

    Attributes
    ----------
    x, y, z : (V,) float32
        Vertices in the order in which the blocks use them, centred on `centre`, mm.
    faces : (F, 3) int32
        Faces in block order.
    original : (F,) int32
        Number that each face has in the part.
    normals : (F, 3) float32
        Unit outward normals.
    areas : (F,) float64
        Face areas, mm².
    first : (B + 1,) int64
        Block b holds faces first[b] to first[b + 1].
    cone_axis, cone_cos, cone_sin : (B, 3), (B,), (B,) float32
        Every normal of block b lies within the cone about cone_axis[b].
    box_middle, box_half : (B, 3) float32
        Bounding box of the block, mm.
    lanes : (B, BLOCK_FACES / LANES, 12 · LANES) float32
        Corners (x, y, z of each) and normals of the faces of every block, its last face repeated.
    runs : (⌈B / BLOCK_FACES⌉, 11 · BLOCK_FACES) float32
        Boxes and cones side by side, so many blocks in a run: middle, half, axis, cosine and sine.
    centre : (3,) float64
        Centroid of the surface in part coordinates, mm.
    radius : float
        Largest distance of a vertex from `centre`, mm.
    """

    x: NDArray[np.float32]
    y: NDArray[np.float32]
    z: NDArray[np.float32]
    faces: NDArray[np.int32]
    original: NDArray[np.int32]
    normals: NDArray[np.float32]
    areas: Floats
    first: NDArray[np.int64]
    cone_axis: NDArray[np.float32]
    cone_cos: NDArray[np.float32]
    cone_sin: NDArray[np.float32]
    box_middle: NDArray[np.float32]
    box_half: NDArray[np.float32]
    lanes: NDArray[np.float32]
    runs: NDArray[np.float32]
    centre: Floats
    radius: float


def sort_into_blocks(part: Part) -> Blocks:
    """Sort the faces of a part into blocks.

    Parameters
    ----------
    part : Part
        Any part with at least one face.

    Returns
    -------
    Blocks
        The same faces, none lost, none doubled.
    """
    areas, normals, centroids = part.areas, part.normals, part.centroids
    order = np.lexsort((_place_code(centroids), _normal_cell(normals)))
    cell = _normal_cell(normals)[order]
    index = np.arange(len(order))
    starts = np.r_[True, cell[1:] != cell[:-1]]
    since_cell = index - np.maximum.accumulate(np.where(starts, index, 0))
    first = np.r_[np.flatnonzero(starts | (since_cell % BLOCK_FACES == 0)), len(order)].astype(np.int64)

    faces, new_of_old = _renumber(part.faces[order], len(part.vertices))
    # The mean over area, not over vertices, so that splitting triangles does not move the centre.
    centre = areas @ centroids / max(float(areas.sum()), 1e-300)
    vertices = np.empty_like(part.vertices)
    vertices[new_of_old] = part.vertices
    vertices -= centre
    normals = normals[order]
    axis, cosine = _cones(normals, first)
    corners = vertices[faces]
    low = np.minimum.reduceat(corners.min(axis=1), first[:-1])
    high = np.maximum.reduceat(corners.max(axis=1), first[:-1])
    del corners
    radius = float(np.sqrt((vertices**2).sum(axis=1).max()))
    places, facing = vertices.astype(np.float32), normals.astype(np.float32)
    cone_axis = axis.astype(np.float32)
    cone_cos, cone_sin = cosine.astype(np.float32), np.sqrt(1.0 - cosine**2).astype(np.float32)
    box_middle = ((low + high) / 2).astype(np.float32)
    # Slightly larger than the box, so that rounding to single precision never cuts a face off.
    box_half = ((high - low) / 2 * (1 + 1e-5) + 1e-5 * radius).astype(np.float32)
    return Blocks(
        x=np.ascontiguousarray(places[:, 0]),
        y=np.ascontiguousarray(places[:, 1]),
        z=np.ascontiguousarray(places[:, 2]),
        faces=faces,
        original=order.astype(np.int32),
        normals=facing,
        areas=areas[order],
        first=first,
        cone_axis=cone_axis,
        cone_cos=cone_cos,
        cone_sin=cone_sin,
        box_middle=box_middle,
        box_half=box_half,
        lanes=_side_by_side(places, faces, facing, first),
        runs=_in_runs(np.hstack([box_middle, box_half, cone_axis, cone_cos[:, None], cone_sin[:, None]])),
        centre=centre,
        radius=radius,
    )


def _side_by_side(
    vertices: NDArray[np.float32],
    faces: NDArray[np.int32],
    normals: NDArray[np.float32],
    first: NDArray[np.int64],
) -> NDArray[np.float32]:
    """Corners and normals of every block's faces, in lanes."""
    blocks = len(first) - 1
    lanes = np.empty((blocks, BLOCK_FACES // LANES, 12, LANES), dtype=np.float32)
    within = np.arange(BLOCK_FACES)
    # Some thousand blocks at a time, so that a large part is never held twice.
    for start in range(0, blocks, 2_000):
        some = slice(start, min(start + 2_000, blocks))
        face = np.minimum(first[some, None] + within, first[some.start + 1 : some.stop + 1, None] - 1)
        face = face.reshape(-1, BLOCK_FACES // LANES, LANES)
        for corner in range(3):
            place = vertices[faces[face, corner]]
            lanes[some, :, 3 * corner : 3 * corner + 3] = np.moveaxis(place, 3, 2)
        lanes[some, :, 9:] = np.moveaxis(normals[face], 3, 2)
    return lanes.reshape(blocks, BLOCK_FACES // LANES, -1)


def _in_runs(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """What is known of every block, a run of blocks side by side; the last one is filled with zeros."""
    runs = -(-len(rows) // BLOCK_FACES)
    filled = np.zeros((runs * BLOCK_FACES, rows.shape[1]), dtype=np.float32)
    filled[: len(rows)] = rows
    return np.moveaxis(filled.reshape(runs, BLOCK_FACES, -1), 2, 1).reshape(runs, -1)


def _renumber(faces: NDArray[np.int32], count: int) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Number the vertices in the order in which the faces use them, so that walking faces walks memory."""
    flat = faces.ravel()
    first_use = np.full(count, len(flat), dtype=np.int64)
    np.minimum.at(first_use, flat, np.arange(len(flat)))
    new_of_old = np.empty(count, dtype=np.int64)
    new_of_old[np.argsort(first_use, kind="stable")] = np.arange(count)
    return np.ascontiguousarray(new_of_old[faces].astype(np.int32)), new_of_old


def _normal_cell(normals: Floats) -> NDArray[np.int64]:
    """Number of the cube-map cell that each normal points through."""
    size = np.abs(normals)
    side = size.argmax(axis=1)
    rows = np.arange(len(normals))
    reach = np.maximum(size[rows, side], 1e-30)
    across = np.array([[1, 2], [2, 0], [0, 1]])[side]
    cell = side * 2 + (normals[rows, side] > 0)
    for column in (0, 1):
        # arctan makes the cells of nearly equal solid angle.
        share = np.arctan(normals[rows, across[:, column]] / reach) / (math.pi / 4)
        step = np.clip(((share + 1) / 2 * CELLS_PER_SIDE).astype(np.int64), 0, CELLS_PER_SIDE - 1)
        cell = cell * CELLS_PER_SIDE + step
    return cell


def _place_code(points: Floats) -> NDArray[np.int64]:
    """Morton code (bits of x, y, z interleaved): near codes are near places (G. M. Morton, 1966)."""
    span = max(float(np.ptp(points, axis=0).max()), 1e-30)
    grid = ((points - points.min(axis=0)) / span * 1023).astype(np.int64)
    code = np.zeros(len(points), dtype=np.int64)
    for axis in range(3):
        bits = grid[:, axis]
        for shift, mask in ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249)):
            bits = (bits | (bits << shift)) & mask
        code |= bits << axis
    return code


def _cones(normals: Floats, first: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Cone about the mean normal of every block: its axis and the cosine of its half angle."""
    axis = np.add.reduceat(normals, first[:-1], axis=0)
    axis /= np.maximum(np.linalg.norm(axis, axis=1, keepdims=True), 1e-30)
    cosine = np.einsum("ij,ij->i", normals, np.repeat(axis, np.diff(first), axis=0))
    return axis, np.clip(np.minimum.reduceat(cosine, first[:-1]) - 1e-6, -1.0, 1.0)

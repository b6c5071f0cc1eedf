"""Walls and gaps as sheets: samples that face each other, gathered where their middles form one surface.

Both sides of a wall share its middle, so that is where samples are gathered: each looks at its nearest
neighbours there. Neighbours belong together when their surfaces run on smoothly and their thickness does
too. A thickness that stays the same makes a plateau; plateaus are gathered first, and what lies between
them (the corner where a thick wall turns into a thin one) goes to the one it touches. What has no plateau
is a taper.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from orient.features.facing import Facing

Floats = NDArray[np.float64]

# Smaller than this a pair of faces is a detail of an edge, no wall.
LEAST_AREA_MM2 = 0.2
# Nearer than this two surfaces are one as far as a file tells: bodies that touch, folds of a noisy mesh.
LEAST_MM = 0.03
_NEIGHBOURS = 16
# Surfaces run on smoothly up to this turn from one sample to the next.
_SMOOTH_DEG = 35.0
# Thickness that changes by less than this a millimetre stays the same (a wall with a draft of half a degree
# a side is still one thickness).
_LEVEL = 0.03
# A plateau counts when it holds this share of the piece of surface it lies in, or so many mm² and samples:
# the floor of a blind hole in a wide plate.
_PLATEAU, _PLATEAU_MM2, _PLATEAU_SAMPLES = 0.12, 10.0, 24


@dataclass(frozen=True, eq=False)
class Sheet:
    """One wall or gap.

    Attributes
    ----------
    side : str
        ``"wall"`` or ``"gap"``.
    median_mm, least_mm, most_mm : float
        Thickness: the middle of its area, and its extremes.
    size_mm : float
        The thickness it goes by: the median, or the least of a ligament.
    shape : {"flat", "curved", "tapered", "ligament", "round"}
        What it is like; ``round`` and ``ligament`` are measured from fitted cylinders.
    centre : (3,) float64
        Centroid of its middle surface, mm: what it is numbered by.
    at : (3,) float64
        Where it is, mm: its centre, or the sample nearest that where it is bent every way. The middle of a
        tube's wall is on the tube's axis.
    normal : (3,) float64
        Unit normal of the middle surface at ``at``.
    area_mm2 : float
        Area of the middle surface.
    narrow_mm, long_mm : float
        Extents of the middle surface.
    faces : (k,) int64
        Faces on both sides.
    """

    side: str
    median_mm: float
    least_mm: float
    most_mm: float
    size_mm: float
    shape: str
    centre: Floats
    at: Floats
    normal: Floats
    area_mm2: float
    narrow_mm: float
    long_mm: float
    faces: NDArray[np.int64]


def sheets_of(
    pairs: Facing, neighbours: NDArray[np.int32], ligament: NDArray[np.bool_] | None = None
) -> list[Sheet]:
    """Gather facing samples into sheets.

    Parameters
    ----------
    pairs : Facing
        Samples that a surface faces.
    neighbours : (F, 3) int32
        Face across each edge of the part.
    ligament : (M,) bool, optional
        Samples beside a bore. A sheet narrower than it is thick is the long way through a bar or something
        round, and is left out, unless it is mostly made of these.

    Returns
    -------
    list of Sheet
    """
    count = len(pairs.face)
    if count == 0:
        return []
    label = _labels(pairs, neighbours)
    order = np.argsort(label, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(label[order]) != 0])
    sheets = []
    for rows in np.split(order, starts[1:]):
        # Both sides of a wall see each other, so each part of its middle is counted twice.
        if 0.5 * pairs.area[rows].sum() >= LEAST_AREA_MM2:
            sheet = sheet_of(pairs, rows)
            beside = 0.0 if ligament is None else float(np.mean(ligament[rows]))
            narrow = 0.9 * sheet.median_mm if beside < 0.5 else 0.0
            if beside >= 0.5 and sheet.shape == "tapered":
                sheet = replace(sheet, size_mm=sheet.least_mm, shape="ligament")
            if sheet.median_mm >= LEAST_MM and sheet.narrow_mm >= narrow:
                sheets.append(sheet)
    return sheets


def _labels(pairs: Facing, neighbours: NDArray[np.int32]) -> NDArray[np.int64]:
    """Number the sheet of each sample."""
    count = len(pairs.face)
    if count == 1:
        return np.zeros(count, dtype=np.int64)
    near, distance = _near(pairs, neighbours)
    smooth = _runs_on(pairs, near, distance)
    piece = _components(near, smooth)
    level = _slope(pairs, near, smooth) <= _LEVEL
    thickness = pairs.thickness
    step = np.abs(thickness[near] - thickness[:, None])
    same = smooth & level[:, None] & level[near]
    same &= step <= 0.02 * thickness[:, None] + _LEVEL * distance + 0.02
    plateau = _components(near, same)

    whole = np.bincount(piece, weights=pairs.area)
    size = np.bincount(plateau[level], weights=pairs.area[level], minlength=plateau.max() + 1)
    many = np.bincount(plateau[level], minlength=plateau.max() + 1) >= _PLATEAU_SAMPLES
    # Both sides of a wall see each other, so each part of it is counted twice.
    wide = (size[plateau] >= _PLATEAU * whole[piece]) | (many & (size >= 2 * _PLATEAU_MM2))[plateau]
    large = level & wide
    held = np.bincount(piece[large], weights=pairs.area[large], minlength=len(whole))
    large &= (held >= 0.5 * whole)[piece]
    label = piece.astype(np.int64)
    several = np.unique(piece[large])
    start = np.r_[0, np.cumsum(np.bincount(piece, minlength=len(whole)))]
    order = np.argsort(piece, kind="stable")
    last = int(piece.max()) + 1
    for one in several:
        rows = order[start[one] : start[one + 1]]
        split = _levels(rows[large[rows]], plateau, pairs)
        if split.max() == 0:
            continue
        tree = cKDTree(pairs.middle[rows[large[rows]]])
        label[rows] = last + split[np.asarray(tree.query(pairs.middle[rows], k=1)[1])]
        last += int(split.max()) + 1
    return label


def _near(pairs: Facing, neighbours: NDArray[np.int32]) -> tuple[NDArray[np.int32], Floats]:
    """Neighbours of each sample, in space and across the edges of its face, and how far off they are.

    Where faces are far longer than wide the nearest in space all lie in one row across them; the faces at
    the ends of the row are only reached over edges.
    """
    count = len(pairs.face)
    tree = cKDTree(pairs.middle)
    close = np.asarray(tree.query(pairs.middle, k=min(_NEIGHBOURS, count), workers=1)[1])[:, 1:]
    first = np.full(len(neighbours), -1, dtype=np.int32)
    first[pairs.face[::-1]] = np.arange(count - 1, -1, -1, dtype=np.int32)
    own = np.arange(count, dtype=np.int32)[:, None]
    beside = neighbours[pairs.face]
    across = np.where(beside >= 0, first[beside], own)
    near = np.hstack([close, np.where(across >= 0, across, own)]).astype(np.int32)
    distance: Floats = np.linalg.norm(pairs.middle[near] - pairs.middle[:, None], axis=2)
    return near, distance


def _runs_on(pairs: Facing, near: NDArray[np.int32], distance: Floats) -> NDArray[np.bool_]:
    """Tell which neighbours lie on one surface with each sample."""
    smooth = distance <= 2.0 * np.maximum(pairs.gap_mm[:, None], pairs.gap_mm[near])
    turn = np.abs(np.einsum("ij,ikj->ik", pairs.normal, pairs.normal[near]))
    smooth &= turn >= np.cos(np.radians(_SMOOTH_DEG))
    step = np.abs(pairs.thickness[near] - pairs.thickness[:, None])
    thin = np.minimum(pairs.thickness[near], pairs.thickness[:, None])
    # A wedge of 30° gains 0.54 mm a millimetre.
    smooth &= step <= 0.1 * thin + 0.6 * distance + 0.02
    return smooth


def _levels(rows: NDArray[np.int64], plateau: NDArray[np.int32], pairs: Facing) -> NDArray[np.int64]:
    """Number the plateaus of one piece; plateaus of one thickness are one."""
    _, number = np.unique(plateau[rows], return_inverse=True)
    spans = []
    for place in range(int(number.max()) + 1):
        mine = rows[number == place]
        share = pairs.area[mine] / pairs.area[mine].sum()
        spans.append([_quantile(pairs.thickness[mine], share, q) for q in (0.5, 0.1, 0.9)])
    median, low, high = np.array(spans).T
    order = np.argsort(median, kind="stable")
    step = np.diff(median[order])
    # Plateaus whose ranges all but meet are pieces of one taper.
    apart = (step > 0.03 * median[order][:-1] + 0.03) & (low[order][1:] - high[order][:-1] > 0.4 * step)
    group = np.empty(len(median), dtype=np.int64)
    group[order] = np.r_[0, np.cumsum(apart)]
    return group[number]


def _slope(pairs: Facing, near: NDArray[np.int32], smooth: NDArray[np.bool_]) -> Floats:
    """Change of thickness per mm round each sample: least squares over its neighbours, by chunks."""
    slope = np.zeros(len(near))
    for first in range(0, len(near), 50_000):
        part = slice(first, first + 50_000)
        away = pairs.middle[near[part]] - pairs.middle[part, None]
        step = pairs.thickness[near[part]] - pairs.thickness[part, None]
        weight = smooth[part].astype(float)
        matrix = np.einsum("nk,nki,nkj->nij", weight, away, away)
        # A little of the reach squared keeps directions without neighbours from blowing up.
        ridge = 0.02 * np.einsum("nii->n", matrix) + 1e-9
        matrix += ridge[:, None, None] * np.eye(3)
        right = np.einsum("nk,nki,nk->ni", weight, away, step)
        slope[part] = np.linalg.norm(np.linalg.solve(matrix, right[..., None])[..., 0], axis=1)
    return slope


def _components(near: NDArray, linked: NDArray[np.bool_]) -> NDArray[np.int32]:
    row, column = np.nonzero(linked)
    graph = coo_array((np.ones(len(row), np.int8), (row, near[row, column])), shape=(len(near),) * 2)
    return connected_components(graph, directed=False)[1]


def sheet_of(pairs: Facing, rows: NDArray[np.int64]) -> Sheet:
    """Measure one sheet.

    Parameters
    ----------
    pairs : Facing
        Samples that a surface faces.
    rows : (k,) int64
        Those of the sheet.

    Returns
    -------
    Sheet
    """
    area, middle, thickness = pairs.area[rows], pairs.middle[rows], pairs.thickness[rows]
    weight = area / area.sum()
    median = _quantile(thickness, weight, 0.5)
    centre = weight @ middle
    spread = (middle - centre) * np.sqrt(weight)[:, None]
    values = np.linalg.svd(spread, compute_uv=False) if len(rows) > 2 else np.zeros(3)
    # A strip of width w has a standard deviation of w/√12.
    long, narrow = np.sqrt(12.0) * values[0], np.sqrt(12.0) * values[1]
    if len(rows) <= 3 or values[1] == 0.0:
        narrow = long = float(np.sqrt(0.5 * area.sum()))
    low, high = _quantile(thickness, weight, 0.01), _quantile(thickness, weight, 0.99)
    nearest = int(np.argmin(np.linalg.norm(middle - centre, axis=1)))
    normals = pairs.normal[rows]
    normal = normals[nearest]
    turn = np.abs(normals @ normal)
    flat = float(weight[turn > np.cos(np.radians(10))].sum()) > 0.9
    shape = "flat" if flat else "curved"
    middle_half = _quantile(thickness, weight, 0.75) - _quantile(thickness, weight, 0.25)
    if high - low > 0.1 * median + 0.05 and middle_half > 0.05 * median:
        shape = "tapered"
    if flat:
        mean = (normals * (np.sign(normals @ normal) * weight)[:, None]).sum(axis=0)
        normal = mean / np.linalg.norm(mean)
    normal = normal * np.sign(normal[np.argmax(np.abs(normal))])
    return Sheet(
        side=pairs.side,
        median_mm=float(median),
        least_mm=float(low),
        most_mm=float(high),
        size_mm=float(median),
        shape=shape,
        centre=centre,
        at=middle[nearest] if shape == "curved" else centre,
        normal=normal,
        area_mm2=float(0.5 * area.sum()),
        narrow_mm=float(narrow),
        long_mm=float(long),
        faces=np.unique(np.concatenate([pairs.face[rows], pairs.hit[rows]])).astype(np.int64),
    )


def _quantile(values: Floats, weight: Floats, share: float) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    return float(values[order][min(int(np.searchsorted(reached, share)), len(values) - 1)])

"""Which hard feature of one variant is which of the other's, and whether it got easier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from orient.features.model import SMALL_IS_HARD, VERDICTS, Feature
from orient.features.register import KINDS
from orient.part.bends import bent_edges
from orient.part.mesh import Part
from orient.variants.register import Registration

Floats = NDArray[np.float64]

# These belong to the whole part as it stands: of two poses they are the same wherever they are.
_ANYWHERE = {"first_layer", "slender", "curl"}
# Features nearer than this may be one, in mm, as a share of the part, and in sizes of the feature.
_NEAR_MM, _NEAR_SHARE, _NEAR_SIZES = 3.0, 0.1, 0.5
# They are not one where one is so many times as large as the other, or their axes are turned so far.
_GREW, _TURNED_DEG = 5.0, 30.0
# Corners are one only where they bend alike, degrees, and run this near, as a share of the part.
_BENT_ALIKE_DEG, _NEAR_RUN, _RUN_POINTS = 12.0, 0.05, 400
# Sizes that differ by less than this are one size.
_SAME_MM, _SAME_SHARE = 0.05, 0.02


@dataclass(frozen=True, eq=False)
class Match:
    """A hard feature in two variants.

    Attributes
    ----------
    state : str
        ``gone``, ``new``, ``easier``, ``harder`` or ``same``.
    kind : str
        As in `orient.features.register`.
    first, second : Feature or None
        The feature in either variant, each in its own coordinates.
    at_mm : (3,) float64
        Place in the first variant's coordinates: the second's, or the first's where it is gone.
    """

    state: str
    kind: str
    first: Feature | None
    second: Feature | None
    at_mm: Floats


STATES = ("gone", "new", "easier", "harder", "same")


def match_features(
    first: Sequence[Feature],
    second: Sequence[Feature],
    placed: Registration,
    size_mm: float,
    parts: tuple[Part, Part] | None = None,
) -> tuple[Match, ...]:
    """Pair the hard features of two variants by kind, place, axis and size.

    Parameters
    ----------
    first, second : sequence of Feature
        Features of either variant, each in its own pose.
    placed : Registration
        How the second lies on the first.
    size_mm : float
        Size of the first variant.
    parts : (Part, Part), optional
        The variants themselves, so that corners are known by where their edges run; else by their middles.

    Returns
    -------
    tuple of Match
        In the order of `STATES`, then of kinds. Each feature is in one of them; of all ways to pair those
        that may be one, the one with the least distance in all is taken (Hungarian method, scipy).
    """
    found: list[Match] = []
    for kind in KINDS:
        own = [one for one in first if one.kind == kind.name]
        others = [one for one in second if one.kind == kind.name]
        runs = {}
        if kind.name == "sharp_corner" and parts is not None and own and others:
            runs = {id(one): _run(parts[0], one) for one in own}
            runs |= {id(one): placed.points_in_first(_run(parts[1], one)) for one in others}
        apart = np.array([[_apart(a, b, placed, size_mm, runs) for b in others] for a in own])
        pairs: list[tuple[int, int]] = []
        if own and others:
            # A pair that cannot be one costs more than any number of pairs that can.
            rows, columns = linear_sum_assignment(np.where(np.isfinite(apart), apart, 1e6))
            pairs = [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if np.isfinite(apart[i, j])]
        for i, j in pairs:
            at = placed.points_in_first(np.array(others[j].at_mm))
            found.append(Match(_state(own[i], others[j]), kind.name, own[i], others[j], at))
        kept = {i for i, _ in pairs}, {j for _, j in pairs}
        found += [
            Match("gone", kind.name, one, None, np.array(one.at_mm))
            for i, one in enumerate(own)
            if i not in kept[0]
        ]
        found += [
            Match("new", kind.name, None, one, placed.points_in_first(np.array(one.at_mm)))
            for j, one in enumerate(others)
            if j not in kept[1]
        ]
    return tuple(sorted(found, key=lambda one: STATES.index(one.state)))


def _run(part: Part, corner: Feature) -> Floats:
    """Points evenly along the edges of a corner, (N, 3); its place where its bends are too fine for edges.

    An outline on the bed is told by the middle of its rim, one point: it is one loop, the corner it is named
    at may be another one where two lift alike, and its length is what makes it lift.
    """
    ends = bent_edges(part, corner.faces, rim=not _inside(corner))
    if not len(ends):
        return np.array([corner.at_mm])
    if not _inside(corner):
        weight = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        return np.asarray(np.average(ends.mean(axis=1), axis=0, weights=weight))[None]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    counts = np.ceil(_RUN_POINTS * length / length.sum()).astype(np.int64)
    edge = np.repeat(np.arange(len(ends)), counts)
    share = (np.arange(len(edge)) - np.repeat(np.cumsum(counts) - counts, counts) + 0.5) / counts[edge]
    points: Floats = ends[edge, 0] + (ends[edge, 1] - ends[edge, 0]) * share[:, None]
    return points


def _between(a: Floats, b: Floats) -> float:
    """How far one of two runs lies from the other: the middle one of its points' distances, mm."""
    return min(float(np.median(cKDTree(one).query(other)[0])) for one, other in ((a, b), (b, a)))


def _apart(a: Feature, b: Feature, placed: Registration, size_mm: float, runs: Mapping[int, Floats]) -> float:
    """How unlike two features of one kind are, 0 where nothing tells them apart; infinite if not one."""
    ratio = max(a.size_mm, 1e-6) / max(b.size_mm, 1e-6)
    grew = max(ratio, 1.0 / ratio)
    away = float(np.linalg.norm(placed.points_in_first(np.array(b.at_mm)) - np.array(a.at_mm)))
    if a.kind in _ANYWHERE:
        return float(np.log(grew)) + away / size_mm
    corner = a.kind == "sharp_corner"
    if corner and not _bent_alike(a, b):
        return np.inf
    # A long corner elsewhere may reach to the middle of a short one, and is no more the same for that.
    sizes = (min if corner else max)(a.size_mm, b.size_mm)
    reach = max(_NEAR_MM, _NEAR_SHARE * size_mm, _NEAR_SIZES * sizes)
    if id(a) in runs and id(b) in runs:
        away = _between(runs[id(a)], runs[id(b)])
        if _inside(a):
            # What is left of a loop is the same corner, however short.
            reach, grew = max(_NEAR_MM, _NEAR_RUN * size_mm), 1.0
    if away > reach or grew > _GREW:
        return np.inf
    turned = 0.0
    if a.direction is not None and b.direction is not None and not runs:
        along = abs(float(placed.vectors_in_first(np.array(b.direction)) @ np.array(a.direction)))
        turned = float(np.degrees(np.arccos(min(along, 1.0))))
        if turned > _TURNED_DEG:
            return np.inf
    return away / reach + float(np.log(grew)) + turned / _TURNED_DEG


def _bent_alike(a: Feature, b: Feature) -> bool:
    """Whether two sharp corners are of one sort: both inside or both on the bed, and bent alike."""
    if a.more.get("where") != b.more.get("where"):
        return False
    first, second = (float(one.more.get("turn_deg") or 0.0) for one in (a, b))
    return abs(first - second) <= _BENT_ALIKE_DEG


def by_length(a: Feature, b: Feature) -> bool:
    """Whether the sizes of two features that are one say which of them is harder.

    The length of an inner corner is that of all its runs that hang together. Where a redesign cuts a loop
    open or joins two, the length changes though no corner got sharper; only straight runs are held against
    each other.
    """
    loops = any(one.direction is None for one in (a, b))
    return not (a.kind == "sharp_corner" and _inside(a) and loops)


def _inside(corner: Feature) -> bool:
    return corner.more.get("where", "inside") == "inside"


def _state(a: Feature, b: Feature) -> str:
    before, after = VERDICTS.index(a.verdict), VERDICTS.index(b.verdict)
    if before != after:
        return "easier" if after > before else "harder"
    change = b.size_mm - a.size_mm
    if a.verdict == "fine" or not by_length(a, b) or abs(change) <= max(_SAME_MM, _SAME_SHARE * a.size_mm):
        return "same"
    return "easier" if (change > 0) == (a.kind in SMALL_IS_HARD) else "harder"

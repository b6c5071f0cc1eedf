"""Laying one variant on another: in the frame they share, or turned and moved until they match.

Variants usually share the frame of the drawing, and that is tried first. Else faces that both have say how
the part was turned (`orient.variants.landmarks`). Where they say nothing, as on scans, the principal axes of
the two surfaces are laid on each other in every sense, and on every axis that could have been another by a
local change. The likeliest starts are improved by trimmed iterative closest points: first point to point
(Besl & McKay, A method for registration of 3-D shapes, IEEE PAMI 14, 1992; trimmed after Chetverikov et al.,
The trimmed iterative closest point algorithm, ICPR 2002), then point to plane (Chen & Medioni, Object
modelling by registration of multiple range images, Image and Vision Computing 10, 1992), both ways at once.
What does not match in the end is left out of the fit, so that a change bends nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from orient.part.mesh import Part
from orient.pose.frame import principal_axes
from orient.variants.landmarks import placings
from orient.variants.nearest import surface_of
from orient.variants.samples import Samples, samples_of

Floats = NDArray[np.float64]
# Rotation and shift of the second in the first's coordinates.
Placed = tuple[Floats, Floats]
Move = Callable[[Placed, Floats, Floats, Floats], Placed]

# Surfaces nearer than this are one surface, whatever their facets: finer than any nozzle lays.
ALIKE_MM = 0.005
# Two tessellations of one curve lie at most a chord error apart; the estimate of it is given some room.
CHORD_ROOM = 1.2
# Faces that match look the same way within this.
_TURNED = np.cos(np.radians(30.0))
# The frame of the files is kept unless another leaves less than this share of what it leaves unmatched, and
# a mirror image is seen only where it leaves less than this of what the best turn leaves.
BETTER = 0.5
# So much of the surfaces matches where nothing changed, but for rounding at edges.
SAME = 0.9995
# Principal moments nearer than this (relative) could have changed places by a local change.
_TIED = 0.2
# A match of less is chance: two plates can be laid so that a third of both falls together.
COMMON = 1.0 / 3.0

# A placing that matches less than this is looked for elsewhere as well.
ENOUGH = 0.5
# Placings read off faces are this near to where they settle, as a share of the part.
_SETTLING = 2e-4
_PLACINGS = 6
# What few samples may be off.
_COARSE_OFF = 0.03

_SCREEN, _COARSE, _FINE = 150, 600, 3000
_STARTS = 8
_TURN_STEP_DEG = 15.0


@dataclass(frozen=True, eq=False)
class Registration:
    """How the second variant lies on the first.

    Attributes
    ----------
    rotation : (3, 3) float64
        Orthogonal; of determinant −1 where the second is a mirror image.
    shift : (3,) float64
        A point x of the second lies at ``rotation @ x + shift`` in the first's coordinates, mm.
    same_frame : bool
        Whether the files share their frame, so that nothing was turned or moved.
    mirrored : bool
        Whether the second is a mirror image of the first.
    unchanged_fraction : float
        Share of both surfaces that lies on the other, by area, 0 to 1.
    residual_mm : float
        Root mean square distance of what matches.
    alike_mm : float
        Surfaces nearer than this were taken as one.
    """

    rotation: Floats
    shift: Floats
    same_frame: bool
    mirrored: bool
    unchanged_fraction: float
    residual_mm: float
    alike_mm: float

    @property
    def transform(self) -> Floats:
        """The same as a 4 × 4 matrix for column vectors."""
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = self.rotation, self.shift
        return matrix

    @property
    def common(self) -> bool:
        """Whether the two have enough in common to speak of changes."""
        return self.unchanged_fraction >= COMMON

    def points_in_first(self, points: Floats) -> Floats:
        """Take points of the second to the first's coordinates."""
        return np.asarray(points, dtype=np.float64) @ self.rotation.T + self.shift

    def points_in_second(self, points: Floats) -> Floats:
        """Take points of the first to the second's coordinates."""
        return (np.asarray(points, dtype=np.float64) - self.shift) @ self.rotation

    def vectors_in_first(self, vectors: Floats) -> Floats:
        """Take directions of the second to the first's coordinates."""
        return np.asarray(vectors, dtype=np.float64) @ self.rotation.T

    def vectors_in_second(self, vectors: Floats) -> Floats:
        """Take directions of the first to the second's coordinates."""
        return np.asarray(vectors, dtype=np.float64) @ self.rotation

    def reversed(self) -> Registration:
        """The same seen from the second: how the first lies on it."""
        return Registration(
            self.rotation.T.copy(),
            -self.shift @ self.rotation,
            self.same_frame,
            self.mirrored,
            self.unchanged_fraction,
            self.residual_mm,
            self.alike_mm,
        )


def alike_mm(first: Part, second: Part) -> float:
    """How far apart two surfaces may lie and still be one: by the chords of their facets and by rounding."""
    chord = max(first.health.chord_error_mm, second.health.chord_error_mm)
    # STL holds single precision: 24 bits of the largest coordinate.
    largest = max(float(np.abs(part.bounds).max()) for part in (first, second))
    return max(ALIKE_MM, CHORD_ROOM * chord, 4.0 * largest * 2.0**-24)


def at_home(part: Part) -> Registration:
    """How a part lies on itself."""
    return Registration(np.eye(3), np.zeros(3), True, False, 1.0, 0.0, alike_mm(part, part))


def register(first: Part, second: Part, threads: int = 2) -> Registration:
    """Find how the second of two variants lies on the first.

    Parameters
    ----------
    first, second : Part
        Two variants of one part, in mm.
    threads : int
        Threads to look on; the answer does not depend on it.

    Returns
    -------
    Registration
        Exchanging the variants gives the reverse.
    """
    # Always worked out the same way round, so that neither order of the two is the better.
    if _key(second) < _key(first):
        return register(second, first, threads).reversed()
    return _Pair(first, second, threads).registered()


def _key(part: Part) -> tuple[int, str]:
    return len(part.faces), part.content_hash


class _Pair:
    """Two surfaces with points on both, and what is tried with them."""

    def __init__(self, first: Part, second: Part, threads: int) -> None:
        self.first, self.second, self.threads = first, second, threads
        self.alike = alike_mm(first, second)
        self.surfaces = (
            surface_of(first.vertices, first.faces),
            surface_of(second.vertices, second.faces),
        )
        self.areas = np.array([first.area_mm2, second.area_mm2])
        self.size = max(first.size_mm, second.size_mm)
        self.kept: dict[int, tuple[Samples, Samples]] = {}

    def samples(self, count: int) -> tuple[Samples, Samples]:
        if count not in self.kept:
            self.kept[count] = samples_of(self.first, count), samples_of(self.second, count)
        return self.kept[count]

    def registered(self) -> Registration:
        own = (np.eye(3), np.zeros(3))
        share, residual = self.match(own)
        chosen, same_frame = (share, residual, own), True
        if share >= SAME:
            return self.result(*chosen, same_frame)
        tried = [(placings(self.first, self.second, _PLACINGS), True)]
        while tried:
            starts, settled = tried.pop()
            for better in self.improved(starts, settled, chosen[0]):
                if 1.0 - better[0] < BETTER * (1.0 - chosen[0]):
                    chosen, same_frame = better, False
            if settled and chosen[0] < ENOUGH:
                # Faces tell nothing, as on a scan: begin from the principal axes.
                tried.append((self.starts(), False))
        return self.result(*chosen, same_frame)

    def improved(
        self, starts: list[Placed], settled: bool, share: float
    ) -> Iterator[tuple[float, float, Placed]]:
        """Best placings that are reached from some starts, the proper one first, if they may be better."""
        best: dict[bool, tuple[float, Placed]] = {}
        for start in starts:
            found = start if settled else self.fitted(start)
            mirrored = bool(np.linalg.det(found[0]) < 0)
            got = self.match(found, _COARSE, 2.0 * self.alike + _SETTLING * self.size)[0]
            if mirrored not in best or got > best[mirrored][0]:
                best[mirrored] = (got, found)
        for mirrored in sorted(best):
            got, near = best[mirrored]
            if 1.0 - got < BETTER * (1.0 - share) + _COARSE_OFF:
                found = self.fitted(near, fine=True)
                one = (*self.match(found), found)
                share = max(share, one[0])
                yield one

    def result(self, share: float, residual: float, found: Placed, same_frame: bool) -> Registration:
        mirrored = bool(np.linalg.det(found[0]) < 0)
        return Registration(found[0], found[1], same_frame, mirrored, share, residual, self.alike)

    # --- how well a placing matches -----------------------------------------------------------------------

    def pairs(
        self, placed: Placed, count: int, reach: float
    ) -> tuple[Floats, Floats, Floats, NDArray[np.bool_], Floats]:
        """Points of the placed second with the normal and the distance to what is nearest on the first.

        Both ways: points of the second held against the first, and points of the first held against the
        second, all in the first's coordinates.
        """
        rotation, shift = placed
        a, b = self.samples(count)
        moved, looks = b.points @ rotation.T + shift, b.normals @ rotation.T
        face, place, away = self.surfaces[0].nearest(moved, reach, self.threads)
        # Faces of a mirror image keep their outward normals: those are turned with them, not their winding.
        normal = self.first.normals[face]
        alike = (face >= 0) & (np.sum(normal * looks, axis=1) > _TURNED)
        back = (a.points - shift) @ rotation
        face_b, place_b, away_b = self.surfaces[1].nearest(back, reach, self.threads)
        normal_b = self.second.normals[face_b] @ rotation.T
        alike_b = (face_b >= 0) & (np.sum(normal_b * a.normals, axis=1) > _TURNED)
        on_second = place_b @ rotation.T + shift
        return (
            np.vstack([moved, on_second]),
            np.vstack([place, a.points]),
            np.vstack([normal, normal_b]),
            np.concatenate([alike, alike_b]),
            np.abs(np.concatenate([away, away_b])),
        )

    def match(self, placed: Placed, count: int = _FINE, near_mm: float | None = None) -> tuple[float, float]:
        """Share of both surfaces that lies on the other, and how near (root mean square)."""
        limit = self.alike if near_mm is None else near_mm
        *_, alike, away = self.pairs(placed, count, limit)
        near = alike & (away <= limit)
        # The first half holds the second's points.
        shares = np.array([near[count:].mean(), near[:count].mean()])
        residual = float(np.sqrt(np.mean(away[near] ** 2))) if near.any() else 0.0
        return float(shares @ self.areas / self.areas.sum()), residual

    # --- where to start -------------------------------------------------------------------------------------

    def starts(self) -> list[Placed]:
        """Likeliest placings from the principal axes, best first; and the files' own frame."""
        (middle, power, axes), (middle_b, _, axes_b) = (principal_axes(p) for p in (self.first, self.second))
        tried = []
        for turn in _turns(power):
            rotation = axes.T @ turn @ axes_b
            tried.append((rotation, middle - rotation @ middle_b))
        worth = [self.worth(placed) for placed in tried]
        found = [(np.eye(3), np.zeros(3))]
        for proper in (True, False):
            rows = [i for i in np.argsort(worth, kind="stable") if (np.linalg.det(tried[i][0]) > 0) == proper]
            found += [tried[i] for i in rows[: _STARTS // 2]]
        return found

    def worth(self, placed: Placed) -> float:
        """Mean distance of the better part of the points, the lower the better."""
        *_, away = self.pairs(placed, _SCREEN, 0.1 * self.size)
        away = np.sort(np.minimum(away, 0.1 * self.size))
        return float(away[: int(0.7 * len(away))].mean())

    # --- iterative closest points -------------------------------------------------------------------------

    def fitted(self, placed: Placed, fine: bool = False) -> Placed:
        """Improve a placing by closest points, leaving out what does not match."""
        if not fine:
            for _ in range(6):
                placed = self.step(placed, _COARSE, 0.7, self.kabsch)
            for _ in range(12):
                placed = self.step(placed, _COARSE, 0.6, self.to_planes)
            return placed
        before = np.inf
        for _ in range(40):
            last = placed
            placed = self.step(placed, _FINE, None, self.to_planes)
            moved = np.abs(placed[0] - last[0]).max() * self.size + np.abs(placed[1] - last[1]).max()
            if moved < 1e-10 * self.size or moved >= before < 1e-7 * self.size:
                break
            before = moved
        return placed

    def step(self, placed: Placed, count: int, share: float | None, move: Move) -> Placed:
        """Move by the points that match: the nearest share of them, or all within reach."""
        reach = 0.1 * self.size if share is not None else 4.0 * self.alike
        on_second, on_first, normal, alike, away = self.pairs(placed, count, reach)
        if share is not None:
            rows = np.argsort(np.where(alike, away, np.inf), kind="stable")[: int(share * len(away))]
            rows = rows[alike[rows]]
            if len(rows):
                # Beyond three times what is usual among the nearest, a point lies on a change.
                usual = np.median(away[rows])
                rows = rows[away[rows] <= max(3.0 * usual, self.alike)]
        else:
            rows = np.flatnonzero(alike & (away <= reach))
            if len(rows):
                usual = np.median(away[rows])
                rows = rows[away[rows] <= max(4.0 * usual, 1e-9 * self.size)]
        if len(rows) < 12:
            return placed
        return move(placed, on_second[rows], on_first[rows], normal[rows])

    def kabsch(self, placed: Placed, on_second: Floats, on_first: Floats, _: Floats) -> Placed:
        """Turn and move so that points fall on points, in the least squares."""
        middle, middle_b = on_first.mean(axis=0), on_second.mean(axis=0)
        turn = Rotation.align_vectors(on_first - middle, on_second - middle_b)[0].as_matrix()
        return turn @ placed[0], turn @ (placed[1] - middle_b) + middle

    def to_planes(self, placed: Placed, on_second: Floats, on_first: Floats, normal: Floats) -> Placed:
        """Turn and move so that points fall on planes, in the least squares, for a small turn."""
        middle = on_second.mean(axis=0)
        arm = (on_second - middle) / self.size
        rows = np.hstack([np.cross(arm, normal), normal])
        gap = np.sum((on_first - on_second) * normal, axis=1)
        # Directions that the surface leaves open, as a shaft its turning, are not moved along.
        power, vectors = np.linalg.eigh(rows.T @ rows)
        held = power > 1e-7 * power[-1]
        moved = vectors[:, held] @ ((vectors[:, held].T @ (rows.T @ gap)) / power[held])
        turn = Rotation.from_rotvec(moved[:3] / self.size).as_matrix()
        return turn @ placed[0], turn @ (placed[1] - middle) + middle + moved[3:]


def _turns(power: Floats) -> list[Floats]:
    """Orthogonal matrices between two sets of principal axes: senses, like axes exchanged, turns about one.

    Like moments leave the axes between them open, so turns about the third are tried as well.
    """
    like = [power[1] > (1.0 - _TIED) * power[0], power[2] > (1.0 - _TIED) * power[1]]
    signs = [np.diag(s) for s in itertools.product((1.0, -1.0), repeat=3)]
    orders: list[tuple[int, ...]] = [(0, 1, 2)]
    if all(like):
        orders = list(itertools.permutations(range(3)))
    elif like[0]:
        orders.append((1, 0, 2))
    elif like[1]:
        orders.append((0, 2, 1))
    base = [sign @ np.eye(3)[list(order)] for order in orders for sign in signs]
    about = [axis for axis, tied in ((2, like[0]), (0, like[1])) if tied]
    turned = [
        Rotation.from_rotvec(np.eye(3)[axis] * np.radians(angle)).as_matrix() @ sign
        for axis in about
        for angle in np.arange(_TURN_STEP_DEG, 180.0, _TURN_STEP_DEG)
        if angle != 90.0
        for sign in signs
    ]
    return base + turned

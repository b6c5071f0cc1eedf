"""Gauge parts with round features of known size, and the ways in which a file can spoil them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import trimesh
from manifold3d import CrossSection, Manifold
from scipy.spatial.transform import Rotation

from orient.features import hole, insert_boss, pin, polygon_pocket, slot, thread
from orient.part.mesh import Part, part_from_arrays
from orient.process import Process

DENSITIES = (8, 16, 32, 96)


@dataclass(frozen=True)
class Truth:
    """A feature that is there: kind, size, a point of its axis; depth and flags where they are known."""

    kind: str
    size_mm: float
    at: tuple[float, float, float]
    axis: tuple[float, float, float]
    depth_mm: float | None = None
    through: bool | None = None
    countersunk: bool | None = None
    stepped: bool | None = None
    more: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Gauge:
    family: str
    solid: Manifold
    truths: tuple[Truth, ...]


def _rod(diameter, length, n, top=None):
    return Manifold.cylinder(length, diameter / 2, diameter / 2 if top is None else top / 2, n)


def _along(solid, axis, at):
    """Turn a solid that stands on the origin along z, and move its foot."""
    turns = {"z": (0, 0, 0), "x": (0, 90, 0), "y": (-90, 0, 0), "30": (0, 30, 0)}
    return solid.rotate(turns[axis]).translate(at)


_AXES = {
    "x": (1.0, 0.0, 0.0),
    "y": (0.0, 1.0, 0.0),
    "z": (0.0, 0.0, 1.0),
    "30": (0.5, 0.0, float(np.sqrt(0.75))),
}


def through_holes(n: int, axis: str) -> Gauge:
    """Ø 1 to 20 through a block that is 20 mm thick along x, y or z; the tilted ones run longer."""
    sizes = (1.0, 1.5, 2.0, 3.0, 3.4, 5.0, 8.0, 12.0, 20.0)
    places = np.cumsum([d + 6 for d in sizes]) - np.array(sizes) / 2 + 2
    pitch = 2.0 if axis == "30" else 1.0
    length = places[-1] * pitch + 30
    size = {"x": (20, length, 30), "y": (length, 20, 30)}.get(axis, (40, length, 20))
    block = Manifold.cube(size)
    truths = []
    for d, place in zip(sizes, places * pitch, strict=True):
        at = {"x": (0, place, 15), "y": (place, 0, 15), "z": (20, place, 0), "30": (14, place, 0)}[axis]
        a = np.array(_AXES[axis])
        block -= _along(_rod(d, 80, n), axis, tuple(np.array(at) - 30 * a))
        depth = 20 / a[2] if axis == "30" else 20.0
        truths.append(
            Truth("hole", d, at, _AXES[axis], depth, through=True, countersunk=False, stepped=False)
        )
    return Gauge(f"through {axis}", block, tuple(truths))


def blind_holes(n: int) -> Gauge:
    block = Manifold.cube((110, 40, 25))
    truths = []
    for d, x in ((1.5, 6), (2.5, 14), (4.0, 24), (6.0, 36), (10.0, 52), (16.0, 76)):
        depth = max(2.0, min(1.5 * d, 15.0))
        block -= _rod(d, 40, n).translate((x, 12, 25 - depth))
        truths.append(Truth("hole", d, (x, 12, 25), _AXES["z"], depth, through=False, countersunk=False))
        if d <= 6:
            # A twist drill leaves a cone of 118°.
            tip = d / 2 / np.tan(np.radians(59))
            block -= _rod(d, 40, n).translate((x, 28, 25 - depth))
            block -= _rod(0, tip, n, d).translate((x, 28, 25 - depth - tip))
            truths.append(Truth("hole", d, (x, 28, 25), _AXES["z"], depth, through=False, countersunk=False))
    return Gauge("blind", block, tuple(truths))


def sunk_holes(n: int) -> Gauge:
    """Countersunk at 90° and counterbored: the counterbore is a hole of its own."""
    block = Manifold.cube((110, 50, 12))
    truths = []
    for d, x in ((3.4, 12), (4.5, 30), (5.5, 50), (6.6, 74)):
        head = 2 * d
        cone = (head - d) / 2
        block -= _rod(d, 30, n).translate((x, 12, -5))
        block -= _rod(d, cone, n, head).translate((x, 12, 12 - cone))
        truths.append(
            Truth("hole", d, (x, 12, 0), _AXES["z"], 12 - cone, True, countersunk=True, stepped=False)
        )
        block -= _rod(d, 30, n).translate((x, 34, -5)) + _rod(head, 30, n).translate((x, 34, 12 - d))
        truths.append(Truth("hole", d, (x, 34, 0), _AXES["z"], 12 - d, True, False, stepped=True))
        truths.append(Truth("hole", head, (x, 34, 12 - d / 2), _AXES["z"], d, True, False, stepped=True))
    return Gauge("sunk", block, tuple(truths))


def crossing_holes(n: int) -> Gauge:
    """Bores that meet at right angles: equal, smaller through larger, and one that ends in another."""
    block = Manifold.cube((120, 30, 30))
    x = np.array([15.0, 50.0, 90.0])
    block -= _along(_rod(6, 50, n), "y", (x[0], -10, 15)) + _rod(6, 50, n).translate((x[0], 15, -10))
    block -= _along(_rod(12, 50, n), "y", (x[1], -10, 15)) + _rod(5, 50, n).translate((x[1], 15, -10))
    block -= _along(_rod(10, 50, n), "y", (x[2], -10, 15)) + _rod(4, 50, n).translate((x[2], 15, 15))
    truths = (
        Truth("hole", 6, (x[0], 0, 15), _AXES["y"], 30, True),
        Truth("hole", 6, (x[0], 15, 0), _AXES["z"], 30, True),
        Truth("hole", 12, (x[1], 0, 15), _AXES["y"], 30, True),
        Truth("hole", 5, (x[1], 15, 0), _AXES["z"], 30, True),
        Truth("hole", 10, (x[2], 0, 15), _AXES["y"], 30, True),
        Truth("hole", 4, (x[2], 15, 28), _AXES["z"], None, True),
    )
    return Gauge("crossing", block, truths)


def slots(n: int) -> Gauge:
    block = Manifold.cube((80, 60, 8))
    truths = []
    for width, length, y in (
        (2.0, 10.0, 6),
        (3.4, 16.0, 14),
        (5.0, 12.0, 24),
        (8.0, 30.0, 36),
        (6.0, 9.0, 50),
    ):
        arc = CrossSection.circle(width / 2, n)
        half = (length - width) / 2
        section = CrossSection.batch_hull([arc.translate((-half, 0)), arc.translate((half, 0))])
        block -= section.extrude(20).translate((30, y, -5))
        truths.append(Truth("slot", width, (30, y, 4), _AXES["z"], more={"length_mm": length}))
    pocket = CrossSection.batch_hull(
        [CrossSection.circle(2.5, n).translate(c) for c in ((0, 0), (12, 0), (0, 20), (12, 20))]
    )
    block -= pocket.extrude(20).translate((58, 20, 3))
    return Gauge("slots", block, tuple(truths))


def pins(n: int) -> Gauge:
    block = Manifold.cube((90, 30, 4))
    truths = []
    for d, x in ((1.0, 6), (1.5, 12), (2.0, 19), (3.0, 28), (5.0, 40), (8.0, 56), (12.0, 76)):
        height = 2 * d + 1
        block += _rod(d, height + 1, n).translate((x, 10, 3))
        truths.append(Truth("pin", d, (x, 10, 5), _AXES["z"], height))
    return Gauge("pins", block, tuple(truths))


def tubes(n: int) -> Gauge:
    """Tubes on a plate: a hole each, and no pin; a ring groove has a core and is no hole."""
    block = Manifold.cube((90, 40, 4))
    truths = []
    for d, wall, x in ((4.0, 0.8, 10), (8.0, 1.2, 26), (14.0, 2.0, 50)):
        block += _rod(d + 2 * wall, 13, n).translate((x, 14, 3))
        block -= _rod(d, 30, n).translate((x, 14, -5))
        truths.append(Truth("hole", d, (x, 14, 0), _AXES["z"], 16, True))
    block -= _rod(12, 10, n).translate((76, 20, 2)) - _rod(7, 10, n).translate((76, 20, 2))
    return Gauge("tubes", block, tuple(truths))


def polygons(n: int) -> Gauge:
    """Hex pockets, beside bores with which they must not be confused; a hexagon standing out is neither."""
    block = Manifold.cube((90, 40, 12))
    truths = []
    for flats, x in ((5.5, 8), (8.0, 22), (10.0, 38), (13.0, 58)):
        block -= _rod(2 * flats / np.sqrt(3), 20, 6).translate((x, 12, 6))
        block -= _rod(0.55 * flats, 40, n).translate((x, 12, -5))
        truths.append(Truth("polygon_pocket", flats, (x, 12, 8), _AXES["z"], 6))
        truths.append(Truth("hole", 0.55 * flats, (x, 12, 0), _AXES["z"], 6, True))
    block += _rod(10, 8, 6).translate((76, 12, 11))
    block -= Manifold.cube((12, 12, 20)).translate((70, 24, -2))
    return Gauge("polygons", block, tuple(truths))


def insert_bosses(n: int) -> Gauge:
    block = Manifold.cube((80, 30, 3))
    truths = []
    for d, outer, x in ((3.2, 6.4, 10), (4.0, 8.0, 25), (5.6, 10.0, 42), (6.4, 9.0, 60)):
        block += _rod(outer, 11, n).translate((x, 14, 2))
        block -= _rod(d, 20, n).translate((x, 14, 13 - 1.8 * d + 0.5))
        truths.append(Truth("insert_boss", d, (x, 14, 12), _AXES["z"], more={"wall_mm": (outer - d) / 2}))
        truths.append(Truth("hole", d, (x, 14, 12), _AXES["z"], 1.8 * d - 0.5, False))
    return Gauge("insert bosses", block, tuple(truths))


def thread_profile(diameter, pitch, length, n, radius_of):
    """Skin a thread whose radius at (angle, z) is a saw-tooth that climbs one pitch a turn."""
    steps = round(length / pitch * 12)
    z = np.linspace(0, length, steps + 1)
    phi = 2 * np.pi * np.arange(n) / n
    phase = (z[:, None] / pitch - phi[None, :] / (2 * np.pi)) % 1.0
    radius = radius_of(phase)
    ring = np.stack(
        [radius * np.cos(phi), radius * np.sin(phi), np.broadcast_to(z[:, None], radius.shape)], axis=2
    )
    points = np.vstack([ring.reshape(-1, 3), [[0, 0, 0], [0, 0, length]]])
    here, after = np.arange(n), (np.arange(n) + 1) % n
    faces = [np.column_stack([np.full(n, len(points) - 2), after, here])]
    for row in range(steps):
        a, b = row * n, (row + 1) * n
        faces.append(np.column_stack([a + here, a + after, b + after]))
        faces.append(np.column_stack([a + here, b + after, b + here]))
    faces.append(np.column_stack([np.full(n, len(points) - 1), steps * n + here, steps * n + after]))
    return points, np.vstack(faces)


def thread_solid(diameter, pitch, length, n):
    """ISO 68-1 profile in outline: crests cut off at H/8, roots at H/4, flanks at 60°."""
    from manifold3d import Mesh

    depth = 0.54127 * pitch

    def radius_of(phase):
        half = np.abs(phase - 0.5) * 2  # 0 at the crest, 1 at the root
        share = np.clip((half - 0.125) / (1 - 0.125 - 0.25), 0, 1)
        return diameter / 2 - depth * share

    points, faces = thread_profile(diameter, pitch, length, n, radius_of)
    return Manifold(Mesh(points.astype(np.float32), faces.astype(np.uint32)))


def threads(n: int) -> Gauge:
    """An M8 stud and an M12 nut, modelled."""
    n = max(n, 24)
    block = Manifold.cube((60, 30, 6)) + thread_solid(8, 1.25, 14, n).translate((14, 15, 5.5))
    block += Manifold.cube((24, 24, 12)).translate((32, 3, 0))
    block -= thread_solid(12, 1.75, 18, n).translate((44, 15, -3))
    return Gauge(
        "threads",
        block,
        (Truth("thread", 8, (14, 15, 12), _AXES["z"]), Truth("thread", 12, (44, 15, 6), _AXES["z"])),
    )


def plain_solids(n: int) -> Gauge:
    """Nothing round to be found: fillets, grooves, chamfers, a dome, a cone, a standing cylinder."""
    block = Manifold.cube((60, 40, 20))
    block -= _along(_rod(8, 80, n), "y", (15, -10, 20))  # a half-round groove
    block -= Manifold.sphere(6, n).translate((40, 20, 20))
    block += Manifold.cylinder(10, 6, 2, n).translate((15, 32, 19)) if n > 8 else Manifold()
    profile = CrossSection([[(0, 0), (10, 0), (7, 3), (0, 3)]])
    block += profile.extrude(40).rotate((90, 0, 0)).translate((60, 40, 0))
    return Gauge("none", block, ())


def gauges(n: int) -> Iterator[Gauge]:
    for axis in ("x", "y", "z", "30"):
        yield through_holes(n, axis)
    for build in (
        blind_holes,
        sunk_holes,
        crossing_holes,
        slots,
        pins,
        tubes,
        polygons,
        insert_bosses,
        threads,
    ):
        yield build(n)
    yield plain_solids(n)


# --- what files do to them --------------------------------------------------------------------------------


def arrays(solid: Manifold) -> tuple[np.ndarray, np.ndarray]:
    mesh = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    return np.array(mesh.vert_properties[:, :3], dtype=np.float64), np.array(mesh.tri_verts, dtype=np.int64)


def turn_of(seed: int) -> np.ndarray:
    return Rotation.random(random_state=seed).as_matrix()


@dataclass(frozen=True)
class Case:
    """A gauge as a part: in one variant, with the turn that its truth has taken."""

    gauge: Gauge
    part: Part
    turn: np.ndarray
    variant: str


def _plain(v, f, seed):
    return v, f, np.eye(3), "mm"


def _float32(v, f, seed):
    turn = turn_of(seed)
    return (v @ turn.T).astype(np.float32).astype(np.float64), f, turn, "mm"


def _ascii(v, f, seed):
    turn = turn_of(seed)
    return np.round(v @ turn.T, 3), f, turn, "mm"


def _noisy(v, f, seed):
    turn = turn_of(seed)
    return v @ turn.T + np.random.default_rng(seed).normal(0, 0.01, v.shape), f, turn, "mm"


def _split(v, f, seed):
    mesh = trimesh.Trimesh(v, f, process=False).subdivide()
    turn = turn_of(seed)
    return (mesh.vertices @ turn.T).astype(np.float32).astype(np.float64), np.asarray(mesh.faces), turn, "mm"


def _inches(v, f, seed):
    turn = turn_of(seed)
    return (v @ turn.T / 25.4).astype(np.float32).astype(np.float64), f, turn, "in"


VARIANTS: dict[str, Callable] = {
    "as drawn": _plain,
    "float32": _float32,
    "split": _split,
    "inches": _inches,
    "3 digits": _ascii,
    "noise": _noisy,
}
CLEAN = ("as drawn", "float32", "split", "inches")


def case_of(gauge: Gauge, variant: str, seed: int = 1) -> Case:
    v, f, turn, unit = VARIANTS[variant](*arrays(gauge.solid), seed)
    return Case(gauge, part_from_arrays(v, f, name=gauge.family, units=unit), turn, variant)


def remeshed_case_of(gauge: Gauge, seed: int = 1) -> Case:
    """A gauge whose triangles were cut to 1.5 mm before every corner strayed by 10 µm: new corners lie on
    chords, inside the true circle, and planes are as rough as walls."""
    v, f, turn, unit = _noisy(*arrays(gauge.solid.refine_to_length(1.5)), seed)
    return Case(gauge, part_from_arrays(v, f, name=gauge.family, units=unit), turn, "noise")


# --- comparing ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Score:
    """What was found of what is there: counts, and the worst size error as a share of what is allowed."""

    truths: int
    found: int
    reported: int
    worst: float
    misses: tuple[str, ...] = ()

    @property
    def recall(self) -> float:
        return self.found / self.truths if self.truths else 1.0

    @property
    def precision(self) -> float:
        return self.found / self.reported if self.reported else 1.0


Reported = tuple[str, float, np.ndarray, np.ndarray]


def report(part: Part) -> list[Reported]:
    """Everything round that is found in a part: kind, size, point of the axis, axis."""
    found: list[Reported] = []
    for module in (hole, slot, pin, thread, insert_boss, polygon_pocket):
        for item in module.find(part):
            feature = module.judge(item, Process(), np.array([0.0, 0.0, 1.0]))
            found.append(
                (feature.kind, feature.size_mm, np.array(feature.at_mm), np.array(feature.direction))
            )
    return found


def compare(case: Case, reported: list[Reported]) -> Score:
    """Match reported (kind, size, point, axis) with the truth, one to one, by kind, axis and size."""
    clean = case.variant in CLEAN
    left = list(reported)
    truths = case.gauge.truths
    found, worst, misses = 0, 0.0, []
    for truth in truths:
        allowed = max(0.02, 0.002 * truth.size_mm) if clean else max(0.05, 0.02 * truth.size_mm)
        at, axis = case.turn @ np.array(truth.at), case.turn @ np.array(truth.axis)
        best = None
        for item in left:
            kind, size, point, direction = item
            gap = point - at
            off = np.linalg.norm(gap - (gap @ axis) * axis)
            if kind == truth.kind and off < 0.15 + 0.05 * truth.size_mm and abs(direction @ axis) > 0.99:
                error = abs(size - truth.size_mm) / allowed
                if error <= 1.0 and (best is None or error < best[0]):
                    best = (error, item)
        if best is None:
            near = [
                f"{s:.3f}"
                for k, s, p, _ in left
                if k == truth.kind and np.linalg.norm((p - at) - ((p - at) @ axis) * axis) < 1
            ]
            misses.append(f"{truth.kind} {truth.size_mm} (near: {', '.join(near)})")
            continue
        left = [item for item in left if item is not best[1]]
        found += 1
        worst = max(worst, best[0])
    misses += [f"invented {k} {s:.3f}" for k, s, _, _ in left]
    return Score(len(truths), found, len(reported), worst, tuple(misses))

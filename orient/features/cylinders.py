"""Every cylindrical wall of a part, hollow or solid, with its fitted axis and radius.

Two methods, since neither serves all meshes: `orient.features.rulings` is exact on clean tessellations,
however coarse, but needs flat strips; `orient.features.scattered` lives with noise, remeshing and very fine
facets, but is not exact. The second sees only what the first leaves.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from orient.features.facets import PRECISION, Facets, facets_of, scatter_of
from orient.features.growth import Axis, Bounds, Floats, Wall, covered_deg
from orient.features.rulings import Ruled, ruled_cylinders
from orient.features.scattered import scattered_cylinders
from orient.part.edges import edge_angles
from orient.part.mesh import Part

# Facets that agree over this much of a turn agree for a reason.
SURE_DEG = 170.0
# Corners that stray this many times further than float32 rounding make a mesh noisy.
NOISY = 2.0
# On a noisy mesh facets that turn by as much as the first (radians, 20°), over chords that stand off their
# arc by so many times twice the scatter, are told from noise at once. Those that do so by the second are
# believed where no smooth wall was found: coarse walls that were cut finer before they got rough.
ROUGH_STEP, ROUGH_SAGITTA = 0.35, 4.0
LEAST_ROUGH_STEP, LEAST_ROUGH_SAGITTA = 0.17, 1.75


@dataclass(frozen=True, eq=False)
class Cylinder:
    """A cylindrical wall.

    Attributes
    ----------
    axis : (3,)
        Unit direction; the largest component is positive.
    point_mm : (3,)
        Point of the axis midway along the wall, mm.
    radius_mm : float
        Radius of the true cylinder, on which the corners of the mesh lie.
    concave : bool
        True for the wall of a hole, False for a rod.
    faces : (k,) int64
        Faces of the wall.
    residual_mm : float
        How far corners of the wall are off the cylinder, mm: the largest on a clean tessellation, three times
        the standard scatter on a noisy one.
    extent : (lo, hi)
        Ends of the wall along the axis, from `point_mm`, mm.
    covered_deg : float
        How much of a turn the wall covers.
    exact : bool
        Whether it comes from a clean tessellation.
    """

    axis: Floats
    point_mm: Floats
    radius_mm: float
    concave: bool
    faces: NDArray[np.int64]
    residual_mm: float
    extent: tuple[float, float]
    covered_deg: float
    exact: bool = True

    @property
    def fitted(self) -> Axis:
        """The axis and radius, for fitting on."""
        return Axis(self.point_mm, self.axis, self.radius_mm)

    @property
    def length_mm(self) -> float:
        """Length of the wall along its axis, mm."""
        return self.extent[1] - self.extent[0]


_KNOWN: WeakKeyDictionary[Part, list[Cylinder]] = WeakKeyDictionary()


def cylinders_of(part: Part) -> list[Cylinder]:
    """Find the cylindrical walls of a part: holes, pins, fillets, arcs of slots.

    Parameters
    ----------
    part : Part
        Any part; an open or broken mesh gives what can be seen of its walls.

    Returns
    -------
    list of Cylinder
        Sorted by place. Kept for as long as the part lives.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> (rod,) = cylinders_of(part_from_trimesh(trimesh.creation.cylinder(radius=4, height=10, sections=8)))
    >>> round(rod.radius_mm, 9), rod.concave, round(rod.covered_deg, 6), round(rod.length_mm, 6)
    (4.0, False, 360.0, 10.0)
    """
    if part not in _KNOWN:
        _KNOWN[part] = _cylinders_of(part)
    return _KNOWN[part]


def _cylinders_of(part: Part) -> list[Cylinder]:
    vertices, faces = part.vertices, part.faces
    precision = PRECISION * float(np.abs(vertices).max(initial=0.0))
    wall = Wall(vertices, faces, part.neighbours, part.normals)
    found, partial = _ruled_walls(part, wall, facets_of(part), precision)
    scatter = scatter_of(part)
    noisy = scatter > NOISY * precision
    if noisy:
        # On noisy meshes a few facets agree by chance: a short arc gives way to a wall that takes it in.
        for one in partial:
            wall.taken[one.faces] = False
        # Coarse walls are facets still, when facets may be as rough as the mesh is.
        rough = facets_of(part, scatter)
        found += _ruled_walls(part, wall, rough, 2 * scatter, (ROUGH_STEP, ROUGH_SAGITTA))[0]

    angles = edge_angles(vertices, faces, part.normals, part.neighbours)
    for scattered in scattered_cylinders(wall, part.areas, angles, scatter):
        error = 3 * scattered.scatter
        found.append(_measured(part, scattered.axis, scattered.concave, scattered.faces, error, exact=False))
    if noisy:
        found += _ruled_walls(part, wall, rough, 2 * scatter, (LEAST_ROUGH_STEP, LEAST_ROUGH_SAGITTA))[0]
    found += [one for one in partial if not noisy or not wall.taken[one.faces].any()]
    return sorted(found, key=lambda c: (*np.round(c.point_mm, 2).tolist(), c.radius_mm))


def _ruled_walls(
    part: Part, wall: Wall, facets: Facets, precision: float, least: tuple[float, float] | None = None
) -> tuple[list[Cylinder], list[Cylinder]]:
    """Gather the walls on which facets agree: those that cover much of a turn, and the rest.

    On a rough mesh, `least` says by how much facets must turn (radians), and how many times `precision` their
    chords must stand off the arc.
    """
    clean = least is None
    order = np.argsort(facets.label, kind="stable").astype(np.int32)
    begin = np.zeros(len(facets.areas) + 1, dtype=np.int64)
    np.cumsum(np.bincount(facets.label, minlength=len(facets.areas)), out=begin[1:])
    sure: list[Cylinder] = []
    partial: list[Cylinder] = []
    for ruled in ruled_cylinders(part.vertices, facets, precision):
        sagitta = ruled.axis.radius * (1 - np.cos(ruled.step / 2))
        if least is not None and (
            ruled.error > 3 * precision or ruled.step < least[0] or sagitta < least[1] * precision
        ):
            continue
        seeds = np.concatenate([order[begin[k] : begin[k + 1]] for k in ruled.facets])
        bounds = _clean_bounds(ruled, precision) if clean else _rough_bounds(ruled, precision)
        chosen = wall.grow(seeds, ruled.axis, ruled.concave, bounds)
        if not len(chosen):
            continue
        error = ruled.error
        one = _measured(part, ruled.axis, ruled.concave, chosen, error, exact=clean)
        if one.covered_deg >= SURE_DEG:
            sure.append(one)
        elif clean:
            partial.append(one)
        else:
            continue
        wall.taken[chosen] = True
    return sure, partial


def _clean_bounds(ruled: Ruled, precision: float) -> Bounds:
    """Facets of a clean wall touch the circle's inner polygon and end on the circle."""
    radius = ruled.axis.radius
    slack = max(3 * ruled.error, 4 * precision, 1e-4 * radius)
    sagitta = radius * (1 - np.cos(ruled.step / 2))
    # Lean: a float32 strip may tilt by its corners' rounding; draft does not exceed 3°.
    return Bounds(sagitta + slack, slack, radius - sagitta - slack, 0.05, np.cos(ruled.step / 2) - 0.1)


def _rough_bounds(ruled: Ruled, precision: float) -> Bounds:
    """Facets of a rough wall do so within the roughness, and their triangles may lean."""
    radius = ruled.axis.radius
    sagitta = radius * (1 - np.cos(ruled.step / 2))
    slack = 3 * precision
    return Bounds(
        sagitta + slack, slack, 0.9 * (radius - sagitta) - slack, 0.35, np.cos(ruled.step / 2) - 0.2
    )


def _measured(
    part: Part, axis: Axis, concave: bool, faces: NDArray[np.int32], error: float, exact: bool
) -> Cylinder:
    """Centre an axis on its wall and measure the wall."""
    direction = axis.direction * np.sign(axis.direction[np.argmax(np.abs(axis.direction))])
    corners = part.vertices[part.faces[faces]]
    t = (corners - axis.point) @ direction
    middle = 0.5 * float(t.min() + t.max())
    point = axis.point + middle * direction
    return Cylinder(
        axis=direction,
        point_mm=point,
        radius_mm=axis.radius,
        concave=concave,
        faces=faces.astype(np.int64),
        residual_mm=error,
        extent=(float(t.min()) - middle, float(t.max()) - middle),
        covered_deg=covered_deg(corners, Axis(point, direction, axis.radius)),
        exact=exact,
    )

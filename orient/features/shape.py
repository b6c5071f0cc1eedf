"""What of a part does not depend on the pose: found once, and reused for every pose that is looked at."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.features import (
    closed_void,
    hole,
    insert_boss,
    narrow_gap,
    pin,
    polygon_pocket,
    sharp_corner,
    slot,
    thin_wall,
    thread,
    walls,
)
from orient.features.ceilings import Surface
from orient.features.cylinders import Cylinder, cylinders_of
from orient.features.facing import Samples, samples_of
from orient.features.grounded import Links, links_of
from orient.features.laid import Laid, lay
from orient.features.model import Hole
from orient.features.order import numbered
from orient.features.rays import Rays
from orient.features.roughness import noise_mm, slivers_of, steady_normals
from orient.features.sheets import Sheet
from orient.features.slot import Slot
from orient.features.voxels import Reached, reached_by
from orient.part.edges import edge_angles
from orient.part.mesh import Part
from orient.pose.frame import part_frame
from orient.process import Process

Floats = NDArray[np.float64]

# A flat of a slot may lie this far off its ends' tangents, as a share of the width, and turn by this sine.
_FLAT_OFF, _FLAT_TURN = 0.02, 0.05
# On a rough mesh a plane looks like a slice of a very large cylinder.
_CURVED_DEG = 30.0


# Samples that are looked from, to see whether a surface runs through itself, and the share of its area inside
# the part from which it is said: less is rounding at coincident faces. Own choice.
_LOOKS = 4_000
_CROSSES = 2e-3


@dataclass(frozen=True, eq=False)
class Shape:
    """A part with everything that its poses share.

    Attributes
    ----------
    part : Part
        The part.
    process : Process
        Limits that it was searched under.
    frame : (3, 3) float64
        The part's own axes, rows: features are numbered along them, so that names turn with the part.
    surface, links, rays, samples, reached
        What poses look at: see their classes.
    cylinders : list of Cylinder
        Every cylindrical wall.
    holes : list of Hole
        The inventory, numbered.
    found : dict of str to list
        What each kind that does not depend on the pose found, by kind, in order of place.
    hole_of_face : (F,) int32
        Hole whose wall a face belongs to, −1 for none.
    doubts : dict of str to str
        Why a kind cannot be trusted on this mesh, by kind.
    timing_s : dict of str to float
        Seconds spent, by step.
    """

    part: Part
    process: Process
    frame: Floats
    surface: Surface
    links: Links
    rays: Rays
    samples: Samples
    reached: Reached
    cylinders: list[Cylinder]
    holes: list[Hole]
    found: dict[str, list[Any]]
    hole_of_face: NDArray[np.int32]
    doubts: dict[str, str]
    timing_s: dict[str, float]

    def laid(self, process: Process, direction: Floats) -> Laid:
        """Lay the part in a pose."""
        return lay(self.part, self.surface, self.links, self.rays, process, direction)


def inventory(part: Part) -> list[Hole]:
    """List the holes of a part under the names that they have wherever the program names them.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    list of Hole
        ``H1`` …, by place along the part's own axes.
    """
    holes = hole.find(part)
    places, sizes = [one.centre_mm for one in holes], [one.diameter_mm for one in holes]
    return numbered(holes, "H", part_frame(part), part.bounds.mean(axis=0), places, sizes)


def shape_of(part: Part, process: Process) -> Shape:
    """Find everything of a part that does not depend on the pose.

    Parameters
    ----------
    part : Part
        The part.
    process : Process
        Line width and limits.

    Returns
    -------
    Shape
    """
    laps: dict[str, float] = {}
    last = time.perf_counter()

    def lap(name: str) -> None:
        nonlocal last
        now = time.perf_counter()
        laps[name] = round(now - last, 4)
        last = now

    frame = part_frame(part)
    cylinders = cylinders_of(part)
    lap("cylinders")
    holes = inventory(part)
    slots = slot.find(part)
    threads = thread.find(part)
    pockets = polygon_pocket.find(part)
    found: dict[str, list[Any]] = {
        "slot": slots,
        "pin": pin.find(part),
        "thread": threads,
        "insert_boss": insert_boss.find(part),
        "polygon_pocket": pockets,
    }
    hole_of_face = _owner(len(part.faces), [one.faces for one in holes])
    slot_walls = [np.union1d(one.faces, _flats(part, one)) for one in slots]
    # Corners between the flats of a hexagon, or the flanks of a thread, are the pocket's and the thread's.
    inner = np.zeros(len(part.faces), dtype=bool)
    for faces in [one.faces for one in threads] + [one.faces for one in pockets]:
        inner[faces] = True
    lap("round")
    angles = edge_angles(part.vertices, part.faces, part.normals, part.neighbours)
    rays, samples = Rays(part), samples_of(part)
    lap("rays")
    sheets = walls.find(part, angles, cylinders, samples, rays, process)
    helix = _owner(len(part.faces), [one.faces for one in threads]) >= 0

    def apart(sheet: Sheet) -> bool:
        """Whether what faces itself is more than the flanks of a thread, or the ends where it runs out."""
        return not (helix[sheet.faces].all() or thread.winds_through(sheet.at, threads))

    owned = [one.faces for one in holes] + slot_walls + [one.faces for one in pockets]
    found["thin_wall"] = list(filter(apart, thin_wall.find(sheets.found)))
    gaps = narrow_gap.find(sheets.found, _owner(len(part.faces), owned))
    found["narrow_gap"] = list(filter(apart, gaps))
    found["vanishing"] = [one for one in sheets.found.details if apart(one.sheet)]
    lap("walls")
    corners = sharp_corner.find(part, angles)
    found["sharp_corner"] = [one for one in corners if not inner[one.faces].all()]
    del angles
    lap("corners")
    found["closed_void"] = closed_void.find(part)
    reached = reached_by(part, process.support_tool_mm)
    lap("voids")
    masked = (hole_of_face >= 0) | inner
    for faces in slot_walls:
        masked[faces] = True
    surface = surface_of(part, cylinders, masked)
    links = links_of(part)
    lap("links")
    return Shape(
        part=part,
        process=process,
        frame=frame,
        surface=surface,
        links=links,
        rays=rays,
        samples=samples,
        reached=reached,
        cylinders=cylinders,
        holes=holes,
        found=found,
        hole_of_face=hole_of_face,
        doubts=_doubts(part)
        | walls.doubts(part, sheets)
        | crossing_doubts(part, samples, rays)
        | _reach_doubts(reached),
        timing_s=laps,
    )


def _reach_doubts(reached: Reached) -> dict[str, str]:
    if not reached.coarse:
        return {}
    return {
        "trapped_support": f"the part is so large that ways for the tool were looked for in steps of "
        f"{reached.voxel_mm:.3g} mm; narrow ones are missed"
    }


def _owner(count: int, walls: Sequence[NDArray[np.int64]]) -> NDArray[np.int32]:
    """Number of the wall that each face is of, −1 for none."""
    owner = np.full(count, -1, dtype=np.int32)
    for number, faces in enumerate(walls):
        owner[faces] = number
    return owner


def surface_of(part: Part, cylinders: list[Cylinder], masked: NDArray[np.bool_]) -> Surface:
    """Make ready the surface that ceilings are sought on.

    Parameters
    ----------
    part : Part
        The part.
    cylinders : list of Cylinder
        Its cylindrical walls.
    masked : (F,) bool
        Faces that belong to something else already.

    Returns
    -------
    Surface
    """
    noise = noise_mm(part)
    cylinder_of_face = np.full(len(part.faces), -1, dtype=np.int32)
    for number, cylinder in enumerate(cylinders):
        cylinder_of_face[cylinder.faces] = number
    return Surface(
        vertices=part.vertices,
        faces=part.faces,
        neighbours=part.neighbours,
        areas=part.areas,
        normals=steady_normals(part, noise),
        masked=masked,
        slivers=slivers_of(part, noise),
        centre=np.array([one.point_mm for one in cylinders]).reshape(-1, 3),
        axis=np.array([one.axis for one in cylinders]).reshape(-1, 3),
        radius=np.array([one.radius_mm for one in cylinders]),
        concave=np.array([one.concave for one in cylinders], dtype=bool),
        curved=np.array([one.covered_deg > _CURVED_DEG for one in cylinders], dtype=bool),
        walls=tuple(one.faces for one in cylinders),
        cylinder_of_face=cylinder_of_face,
        noise_mm=noise,
    )


def _flats(part: Part, one: Slot) -> NDArray[np.int64]:
    """Faces of the flats between a slot's round ends."""
    along, axis = np.array(one.along), np.array(one.axis)
    across = np.cross(axis, along)
    side = part.normals @ across
    rows = np.flatnonzero(np.abs(side) > 1.0 - _FLAT_TURN)
    offset = part.centroids[rows] - np.array(one.centre_mm)
    off = offset @ across
    within = (
        (np.abs(np.abs(off) - one.width_mm / 2) < _FLAT_OFF * one.width_mm)
        # The walls of a slot look at each other.
        & (off * side[rows] < 0)
        & (np.abs(offset @ along) < one.length_mm / 2)
        & (np.abs(offset @ axis) < one.depth_mm / 2 + _FLAT_OFF * one.width_mm)
    )
    return rows[within].astype(np.int64)


def crossing_doubts(part: Part, samples: Samples, rays: Rays) -> dict[str, str]:
    """Kinds that cannot be told where a closed surface runs through itself.

    From just outside a sound surface, whatever a ray meets first is met from outside. Where it is met from
    within, the ray began in material: there the surface lies inside the part.

    Parameters
    ----------
    part : Part
        The part.
    samples : Samples
        Points on its surface.
    rays : Rays
        Rays cast at it.

    Returns
    -------
    dict of str to str
        Why, by kind; empty where nothing crosses, or the mesh is open.
    """
    if not part.closed:
        return {}
    some = np.arange(0, len(samples.face), max(1, len(samples.face) // _LOOKS))
    normals = part.normals[samples.face[some]]
    off = max(1e-4, 1e-5 * part.size_mm)
    hit, _ = rays.first_hits(samples.point[some] + off * normals, normals, 2.0 * part.size_mm)
    met = hit >= 0
    within = met.copy()
    within[met] = np.einsum("ij,ij->i", normals[met], part.normals[hit[met]]) > 0.1
    share = samples.area[some] @ within / max(float(samples.area[some].sum()), 1e-300)
    if share < _CROSSES:
        return {}
    said = f"About {share:.0%} of the surface lies inside the part, which runs through itself there.".replace(
        "%", " %"
    )
    return dict.fromkeys(
        ("thin_wall", "narrow_gap", "closed_void", "trapped_support", "sharp_corner", "hole"), said
    )


def _doubts(part: Part) -> dict[str, str]:
    """Kinds that ask what stands on what, which a mesh with openings does not tell."""
    if part.closed:
        return {}
    said = "The mesh is not closed, so what stands on the bed, and what is held by it, is a guess."
    return dict.fromkeys(("bridge", "cantilever", "mixed_ceiling", "air_start"), said) | {
        "first_layer": "The mesh is not closed, so the area on the bed is approximate.",
        "slender": "The mesh is not closed, so its centre of mass is approximate.",
        "hole": "The mesh is not closed, so whether a hole goes through is a guess.",
    }

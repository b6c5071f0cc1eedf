"""The compiled loops of the features: parts that set every one of them going."""

from __future__ import annotations

import manifold3d
import numpy as np

from orient.features import hole, sharp_corner, trapped_support, walls
from orient.features.ceilings import _regions
from orient.features.chords import _scan
from orient.features.cylinders import cylinders_of
from orient.features.facing import samples_of
from orient.features.grounded import links_of
from orient.features.laid import lay
from orient.features.rays import Rays
from orient.features.register import IN_POSE
from orient.features.scattered import _guesses
from orient.features.shape import surface_of
from orient.features.sharp_corner import _walk
from orient.features.voxels import _mark, reached_by
from orient.part.edges import edge_angles
from orient.part.mesh import Part, part_from_arrays
from orient.process import Process

# When these are there, all are.
LOOPS = (_guesses, _walk, _mark, _regions, _scan)


def compile_holes() -> None:
    """Find the hole of a portal."""
    hole.find(_portal())


def compile_rough() -> None:
    """Find the cylinder of a rod whose corners stray."""
    turns = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    rings = [(radius * np.cos(turns), radius * np.sin(turns)) for radius in (5.0, 5.0, 5.0)]
    points = np.concatenate([np.column_stack([x, y, 0 * x + 4.0 * k]) for k, (x, y) in enumerate(rings)])
    points += 0.004 * np.sin(np.arange(points.size) ** 2).reshape(points.shape)
    first = np.arange(48)
    after = np.where(first % 24 == 23, first - 23, first + 1)
    sides = np.concatenate(
        [np.column_stack([first, after, after + 24]), np.column_stack([first, after + 24, first + 24])]
    )
    lid = np.arange(1, 23)
    floor = np.column_stack([0 * lid, lid + 1, lid])
    roof = np.column_stack([0 * lid + 48, lid + 48, lid + 49])
    cylinders_of(part_from_arrays(points, np.concatenate([sides, floor, roof])))


def compile_features() -> None:
    """Look for what is hard about a portal, but for its cylinders."""
    part, process, up = _portal(), Process(), np.array([0.0, 0.0, 1.0])
    nothing = np.zeros(len(part.faces), dtype=np.bool_)
    angles = edge_angles(part.vertices, part.faces, part.normals, part.neighbours)
    sharp_corner.find(part, angles)
    rays, samples = Rays(part), samples_of(part)
    walls.find(part, angles, [], samples, rays, process)
    reached = reached_by(part, process.support_tool_mm)
    laid = lay(part, surface_of(part, [], nothing), links_of(part), rays, process, up)
    for find in IN_POSE:
        find(laid)
    sharp_corner.find_outline(part, up)
    trapped_support.find(part, samples, rays, reached, process, up, [], nothing)


def _portal() -> Part:
    """A portal with a ledge at one side, a hole in its roof and a slot in its leg."""
    cube = manifold3d.Manifold.cube
    solid = cube((40, 20, 20)) + cube((10, 20, 3)).translate((40, 0, 17))
    solid -= cube((20, 20, 10)).translate((10, 0, 0))
    solid -= manifold3d.Manifold.cylinder(30, 3, 3, 8).translate((20, 10, 0))
    solid -= cube((1, 10, 5)).translate((4, 0, 0))
    mesh = solid.to_mesh()
    return part_from_arrays(mesh.vert_properties[:, :3], mesh.tri_verts)

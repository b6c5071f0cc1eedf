"""Meshes made in code, and the independent reference for support: rays cast by trimesh."""

from __future__ import annotations

import math

import numpy as np
import trimesh

from orient.measure.blocks import sort_into_blocks
from orient.measure.columns import Support, column_pitch, count_columns
from orient.part.mesh import Part, part_from_trimesh
from orient.pose.frame import part_frame

UP = np.array([[0.0, 0.0, 1.0]])
DOWN = -UP


def count(shape: trimesh.Trimesh | Part, directions=UP, limit_deg: float = 45.0, **options) -> Support:
    """Count the columns of a mesh as ranking does."""
    part = shape if isinstance(shape, Part) else part_from_trimesh(shape)
    blocks = sort_into_blocks(part)
    pitch = column_pitch(part.hull.area_mm2, blocks.radius)
    options.setdefault("closed", part.closed)
    return count_columns(blocks, directions, part_frame(part), pitch, limit_deg, **options)


def box(size, low) -> trimesh.Trimesh:
    """A box from its size and its lowest corner."""
    middle = np.asarray(low, dtype=float) + np.asarray(size, dtype=float) / 2
    return trimesh.creation.box(size, trimesh.transformations.translation_matrix(middle))


def join(*shapes: trimesh.Trimesh) -> trimesh.Trimesh:
    return trimesh.boolean.union(shapes, engine="manifold")


def table() -> trimesh.Trimesh:
    """A 60 × 60 × 2 plate at z = 19 on a 4 × 4 column on a 40 × 40 × 2 base at z = 0."""
    return join(
        box((40, 40, 2), (-20, -20, 0)), box((4, 4, 18), (-2, -2, 1.5)), box((60, 60, 2), (-30, -30, 19))
    )


def block_with_hole(sections: int = 720) -> trimesh.Trimesh:
    """A 20 mm cube on the bed with a hole of radius 5 through its middle, along y."""
    hole = trimesh.creation.cylinder(radius=5, height=40, sections=sections)
    hole.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, [1, 0, 0]))
    return trimesh.boolean.difference([box((20, 20, 20), (-10, -10, -10)), hole], engine="manifold")


def perforated(rows: int = 4) -> trimesh.Trimesh:
    """A wall with bores across it, on a foot: ceilings over the part and over the bed."""
    wall = join(box((60, 12, 40), (0, 0, 3)), box((60, 40, 3.5), (0, -14, 0)), box((50, 4, 5), (5, 11.5, 30)))
    bores = []
    for i in range(rows):
        for j in range(2):
            bore = trimesh.creation.cylinder(radius=4, height=60, sections=48)
            bore.apply_transform(trimesh.transformations.rotation_matrix(math.pi / 2, [1, 0, 0]))
            bore.apply_translation([9 + 14 * i, 0, 13 + 16 * j])
            bores.append(bore)
    return trimesh.boolean.difference([wall, *bores], engine="manifold")


def turn_up(mesh: trimesh.Trimesh, direction) -> trimesh.Trimesh:
    """The mesh with a build direction turned to +z, by trimesh."""
    turned = mesh.copy()
    turned.apply_transform(trimesh.geometry.align_vectors(direction, [0, 0, 1]))
    return turned


def support_by_rays(
    mesh: trimesh.Trimesh, direction, limit_deg: float = 45.0, edge_mm: float = 0.5, embree: bool = True
) -> tuple[float, float]:
    """Support volume and the part of it that stands on the part, by one ray down from every small piece.

    Each face that needs holding up is cut into pieces with edges of at most `edge_mm`; a ray falls from the
    middle of each to the first face below it or to the bed: V = Σ A·|n_z|·gap.
    """
    mesh = turn_up(mesh, direction)
    bed = mesh.bounds[0, 2]
    slope = mesh.face_normals[:, 2]
    highest = mesh.vertices[mesh.faces][:, :, 2].max(axis=1)
    on_bed = (slope <= -math.cos(math.radians(1.0))) & (highest <= bed + 0.02)
    flagged = np.flatnonzero((slope < -math.sin(math.radians(limit_deg + 0.1))) & ~on_bed)
    if not len(flagged):
        return 0.0, 0.0
    vertices, faces = trimesh.remesh.subdivide_to_size(
        mesh.vertices, mesh.faces[flagged], edge_mm, max_iter=20
    )
    corners = vertices[faces]
    shadow = np.abs(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]) / 2
    middle = corners.mean(axis=1)
    start = middle - [0, 0, 1e-4]
    if embree:
        caster = trimesh.ray.ray_pyembree.RayMeshIntersector(mesh)
    else:
        caster = trimesh.ray.ray_triangle.RayMeshIntersector(mesh)
    fall = np.tile([0.0, 0.0, -1.0], (len(start), 1))
    where, ray, _ = caster.intersects_location(start, fall, multiple_hits=False)
    gap = middle[:, 2] - bed
    gap[ray] = middle[ray, 2] - where[:, 2]
    landed = np.zeros(len(gap), dtype=bool)
    landed[ray] = True
    return float(shadow @ gap), float(shadow[landed] @ gap[landed])

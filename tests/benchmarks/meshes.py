"""Benchmark meshes, made in code."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import trimesh


def bracket(faces: int) -> trimesh.Trimesh:
    """A perforated wall on a perforated foot, slightly twisted so that few normals are alike.

    Parameters
    ----------
    faces : int
        Facets wanted; the mesh has at least as many, and at most a few per cent more.
    """
    splits = max(1, round(math.sqrt(faces / 3_500)))
    # Each bore costs about four facets a section.
    sections = 4
    while True:
        solid = _solid(sections)
        if solid.num_tri() * splits**2 >= faces:
            break
        sections += 1
    mesh = solid.refine(splits).to_mesh()
    vertices = np.asarray(mesh.vert_properties[:, :3], dtype=np.float64)
    angle = math.radians(12.0) * vertices[:, 2] / 80.0
    cosine, sine = np.cos(angle), np.sin(angle)
    x, y = vertices[:, 0] - 60.0, vertices[:, 1]
    twisted = np.stack([cosine * x - sine * y, sine * x + cosine * y, vertices[:, 2]], axis=1)
    return trimesh.Trimesh(twisted, mesh.tri_verts, process=True)


def _solid(sections: int) -> manifold3d.Manifold:
    cube, cylinder = manifold3d.Manifold.cube, manifold3d.Manifold.cylinder
    solid = (
        cube([120, 8, 80])
        + cube([120, 60, 8]).translate([0, -30, 0])
        + cube([120, 10, 6]).translate([0, 0, 74])
    )
    for i in range(9):
        for j in range(4):
            bore = cylinder(60, 4 + 0.3 * j, circular_segments=sections).rotate([90, 0, 0])
            solid -= bore.translate([12 + 12 * i, 30, 18 + 15 * j])
        for y in (-22, -10, 20):
            solid -= cylinder(40, 3.5, circular_segments=sections).translate([12 + 12 * i, y, -10])
    return solid


def ball(faces: int) -> trimesh.Trimesh:
    """An icosphere of radius 30 with at least so many facets."""
    return trimesh.creation.icosphere(subdivisions=math.ceil(math.log(faces / 20, 4)), radius=30.0)

"""Parts for the tests of poses, built in code."""

import manifold3d
import numpy as np

from orient.part.mesh import part_from_arrays, part_from_trimesh

__all__ = ["bracket", "part_from_trimesh", "solid"]


def solid(manifold):
    mesh = manifold.to_mesh()
    return part_from_arrays(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts))


def bracket(facets=48):
    """An L of two plates, 60 × 30 × 8 and 8 × 30 × 40, with a hole of 10 through each."""
    cube, cylinder = manifold3d.Manifold.cube, manifold3d.Manifold.cylinder
    shape = cube((60, 30, 8)) + cube((8, 30, 40))
    shape -= cylinder(20, 5, circular_segments=facets).translate((40, 15, -5))
    shape -= cylinder(20, 5, circular_segments=facets).rotate((0, 90, 0)).translate((-5, 15, 26))
    return solid(shape)

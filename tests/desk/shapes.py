"""Parts to bring, built in code."""

import functools

import manifold3d
import trimesh


def plate(holes=1, segments=24):
    """A plate with a row of holes, as binary STL."""
    solid = manifold3d.Manifold.cube((60.0, 20.0, 5.0), True)
    for k in range(holes):
        hole = manifold3d.Manifold.cylinder(10.0, 2.0, 2.0, segments, True)
        solid -= hole.translate((-24.0 + 6.0 * k, 0.0, 0.0))
    return stl(solid)


@functools.cache
def dense():
    """A perforated block of some 80,000 faces: its page takes a while."""
    solid = manifold3d.Manifold.cube((80.0, 60.0, 12.0), True)
    holes = [
        manifold3d.Manifold.cylinder(20.0, 2.0, 2.0, 220, True).translate((x, y, 0.0))
        for x in range(-36, 37, 8)
        for y in range(-24, 25, 8)
    ]
    solid -= manifold3d.Manifold.batch_boolean(holes, manifold3d.OpType.Add)
    return stl(solid + manifold3d.Manifold.sphere(14.0, 220).translate((0.0, 0.0, 14.0)))


def ring():
    """A flanged ring of some 20,000 faces."""
    tube = manifold3d.Manifold.cylinder(30.0, 20.0, 18.0, 600) + manifold3d.Manifold.cylinder(
        5.0, 32.0, 32.0, 600
    )
    solid = tube - manifold3d.Manifold.cylinder(80.0, 14.0, 14.0, 600, True)
    for k in range(6):
        hole = manifold3d.Manifold.cylinder(20.0, 2.5, 2.5, 100, True).translate((26.0, 0.0, 0.0))
        solid -= hole.rotate((0.0, 0.0, 60.0 * k))
    return stl(solid.refine_to_length(15.0))


def stl(solid):
    """A solid as binary STL."""
    mesh = solid.to_mesh()
    made = trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)
    return made.export(file_type="stl")

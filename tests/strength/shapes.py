"""Solids with a known answer, and the few steps from a solid to its stress."""

import numpy as np
from manifold3d import CrossSection, Manifold

from orient.part.mesh import part_from_arrays
from orient.strength.cases import Case
from orient.strength.grid import grid_over
from orient.strength.held import Held
from orient.strength.hexahedron import isotropic
from orient.strength.judge import judge, make_ready
from orient.strength.loads import Loads
from orient.strength.recover import fitted, places_of
from orient.strength.surface import patches_of, points_on
from orient.strength.system import solve_on

YOUNGS, POISSONS = 2000.0, 0.35
STRAIGHT = np.eye(3)


def solid(manifold, name="part"):
    mesh = manifold.to_mesh()
    return part_from_arrays(
        np.asarray(mesh.vert_properties[:, :3], dtype=float), np.asarray(mesh.tri_verts), name
    )


def bar(length=60.0, width=10.0, depth=10.0):
    """Along x from 0, centred on y and z."""
    return solid(Manifold.cube((length, width, depth)).translate((0, -width / 2, -depth / 2)), "bar")


def plate_with_hole(width, diameter, length, thickness):
    strip = CrossSection.square((length, width), True) - CrossSection.circle(diameter / 2, 256)
    return solid(strip.extrude(thickness), "plate")


def ell(arm=20.0, thickness=6.0, depth=8.0):
    """Two arms that meet in a sharp inner corner."""
    corners = [(0, 0), (arm, 0), (arm, thickness), (thickness, thickness), (thickness, arm), (0, arm)]
    return solid(CrossSection([corners]).extrude(depth), "ell")


def faces_at(part, axis, value, tolerance=1e-6):
    """Faces that lie in a plane square to an axis."""
    return np.flatnonzero((np.abs(part.vertices[part.faces][:, :, axis] - value) < tolerance).all(axis=1))


def faces_at_radius(part, radius, axis=2):
    """Faces whose corners lie on a cylinder about an axis through the origin."""
    across = [k for k in range(3) if k != axis]
    off = np.linalg.norm(part.vertices[:, across], axis=1) - radius
    return np.flatnonzero((np.abs(off)[part.faces] < 1e-3 * radius).all(axis=1))


def case(held, loads, name="case", both_ways=False):
    fixings = tuple(one if isinstance(one, Held) else Held(one) for one in held)
    return Case(name, both_ways, fixings, loads if isinstance(loads, Loads) else Loads(**loads))


def solved(part, cases, pitch, axes=STRAIGHT, constants=None, poissons=POISSONS, **more):
    grid = grid_over(part, pitch, axes)
    own = isotropic(YOUNGS, poissons) if constants is None else constants
    return solve_on(part, grid, cases, own, YOUNGS, **more)


def surface_stress(part, found, which=0):
    """Points of the surface and of the cells, part coordinates, and the stress there as tensors."""
    grid = found.cells.grid
    places = places_of(found.cells, found.patches, grid.turned(part.normals))
    voigt = fitted(found.cells, found.stress, places.place, 1.6 * grid.pitch_mm)[which]
    tensor = voigt[:, [[0, 5, 4], [5, 1, 3], [4, 3, 2]]]
    return grid.to_part(places.place), np.einsum("ai,qab,bj->qij", grid.axes, tensor, grid.axes)


def mean_movement(part, found, faces, which=0):
    """Mean displacement of faces, part coordinates."""
    points = points_on(patches_of(part, found.cells, faces))
    moved = found.moved(points)[which] @ found.cells.grid.axes
    return points.area_mm2 @ moved / points.area_mm2.sum()


def tell(what, got, expected):
    """Print the error of a check, and return it."""
    error = got / expected - 1.0
    print(f"{what}: {got:.4f} against {expected:.4f}, error {100 * error:+.2f} %")
    return abs(error)


def judged(field, directions, process):
    return judge(make_ready(field, process), directions)

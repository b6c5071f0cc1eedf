"""Registration: what was turned and moved is found again, and a change bends nothing.

Held against scipy's Kabsch (`Rotation.align_vectors`) on corners that both meshes have, and against
`trimesh.registration.icp`.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from orient.part.mesh import part_from_arrays
from orient.pose.frame import principal_axes
from orient.variants.nearest import surface_of
from orient.variants.register import SAME, register
from tests.variants.shapes import part_of, plate, turned

_FILE = Path(__file__).resolve().parents[2] / "sample_parts" / "build.py"
_SPEC = importlib.util.spec_from_file_location("sample_parts_build", _FILE)
build = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(build)


def with_rib(name: str, seed: int):
    """A sample part with a rib through a random place of its surface, and without."""
    solid = build.PARTS[name]()
    part = part_of(solid, name)
    rng = np.random.default_rng(seed)
    at = part.centroids[rng.integers(len(part.faces))]
    rib = Manifold.cube((0.25 * part.extents_mm.max(), 2, 8), True).rotate(rng.uniform(0, 90, 3))
    return part, part_of(solid + rib.translate(at), name)


# The knob turns into itself about x, and the gusset about its diagonal: any equal answer will do.
SYMMETRIC = {"knob", "gusset", "cable_guide"}


@pytest.mark.parametrize("name", list(build.PARTS))
def test_turned_copy_with_a_rib_is_laid_back_within_a_hundredth_of_what_is_asked(name):
    part, ribbed = with_rib(name, seed=7)
    rotation = Rotation.random(random_state=11).as_matrix()
    shift = np.array([31.0, -12.0, 57.0])
    other = turned(ribbed, rotation, shift)
    found = register(part, other)
    assert not found.mirrored
    # Kabsch on all corners that are known to belong together, as the outside answer.
    true = Rotation.align_vectors(
        ribbed.vertices - ribbed.vertices.mean(axis=0), other.vertices - other.vertices.mean(axis=0)
    )[0]
    off = np.degrees((Rotation.from_matrix(found.rotation) * true.inv()).magnitude())
    middle = ribbed.bounds.mean(axis=0)
    moved = np.linalg.norm(found.points_in_first(rotation @ middle + shift) - middle)
    if name in SYMMETRIC and off > 1.0:
        # Another answer, and as good: nearly the whole surface falls on the part.
        assert found.unchanged_fraction > 0.97
        return
    assert off < 0.05
    assert moved < 0.02


@pytest.mark.parametrize("name", ["mast_bracket", "fan_duct", "test_wedge"])
def test_part_turned_and_exported_again_is_the_same_part(name):
    part = part_of(build.PARTS[name](), name)
    found = register(part, turned(part, Rotation.random(random_state=2).as_matrix(), (5.0, 6.0, 7.0)))
    assert not found.same_frame
    assert found.unchanged_fraction > 0.9999


def test_variants_in_one_frame_are_left_there():
    found = register(part_of(plate()), part_of(plate(hole_x=12.0, rib=False)))
    assert found.same_frame
    assert np.array_equal(found.transform, np.eye(4))


def test_mirror_image_is_seen():
    part = part_of(plate())
    other = part_of(plate().mirror((1, 0, 0)).translate((4, 0, 0)))
    found = register(part, other)
    assert found.mirrored
    assert np.linalg.det(found.rotation) == pytest.approx(-1.0)
    assert found.unchanged_fraction > SAME


def test_symmetric_part_is_no_mirror_image():
    found = register(part_of(Manifold.cube((10, 20, 30))), part_of(Manifold.cube((10, 20, 30), True)))
    assert not found.mirrored
    assert found.unchanged_fraction > SAME


def test_exchanged_variants_give_the_reverse():
    part, ribbed = with_rib("mast_bracket", seed=5)
    other = turned(ribbed, Rotation.random(random_state=3).as_matrix(), (1.0, 2.0, 3.0))
    there, back = register(part, other), register(other, part)
    assert there.transform @ back.transform == pytest.approx(np.eye(4), abs=1e-12)


def test_scan_without_flat_faces_is_laid_back_on_its_dented_copy():
    # A lumpy ball: no two faces alike, so only closest points can tell.
    ball = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
    n = ball.vertices / 20.0
    lumps = (
        1.0
        + 0.25 * np.sin(3 * n[:, 0] + 1) * np.cos(2 * n[:, 1])
        + 0.15 * n[:, 2] ** 3
        + 0.1 * n[:, 0] * n[:, 1]
    )
    points = ball.vertices * (lumps * [[1.0], [0.8], [0.6]]).T
    dent = np.linalg.norm(points - points[17], axis=1)
    dented = points * (1.0 - 0.1 * np.clip(1.0 - dent / 6.0, 0.0, 1.0))[:, None]
    rotation = Rotation.random(random_state=8).as_matrix()
    part = part_from_arrays(points, ball.faces)
    other = part_from_arrays(dented @ rotation.T + [10.0, 20.0, 30.0], ball.faces)
    found = register(part, other)
    assert np.degrees(Rotation.from_matrix(found.rotation @ rotation).magnitude()) < 0.05
    assert found.unchanged_fraction > 0.95


def test_fit_is_as_near_as_icp_of_trimesh_which_is_told_the_start():
    part = part_of(plate())
    small = Rotation.from_rotvec([0.02, -0.03, 0.01])
    other = turned(part, small.as_matrix(), (0.3, -0.2, 0.4))
    found = register(part, other)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    matrix, moved, _ = trimesh.registration.icp(
        other.vertices, mesh, scale=False, reflection=False, max_iterations=60, threshold=1e-12
    )
    surface = surface_of(part.vertices, part.faces)

    def rms(points):
        return float(np.sqrt(np.mean(surface.nearest(points)[2] ** 2)))

    assert rms(found.points_in_first(other.vertices)) <= rms(moved) + 1e-9
    assert found.transform == pytest.approx(matrix, abs=0.02)


def test_principal_axes_are_those_of_many_points():
    part = part_of(plate())
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    points = trimesh.sample.sample_surface(mesh, 200_000, seed=1)[0]
    middle, power, axes = principal_axes(part)
    assert middle == pytest.approx(points.mean(axis=0), abs=0.2)
    assert power == pytest.approx(np.linalg.eigvalsh(np.cov(points.T))[::-1], rel=0.01)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)

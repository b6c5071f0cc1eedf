"""All measures together: against numpy and trimesh, and as properties of the whole row."""

import math

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from orient.measure.poses import Loads, measure_poses, sort_part
from orient.measure.surfaces import NamedFaces
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.process import Process
from tests.measure.measured import perforated, table

STRONG = Process(strength_in_layer_mpa=50.0, strength_across_mpa=30.0, strength_shear_mpa=20.0)
NAMES = {
    "overhang_area_mm2", "overhang_projected_mm2", "support_volume_mm3", "support_needed_mm3",
    "support_weighted_mm3", "support_on_part_mm3", "scar_area_mm2", "height_mm", "layers",
    "first_layer_mm2", "islands",
    "tip_margin_deg", "stair_step_mm", "rough_area_mm2", "load_angle_deg",
    "strength_retained", "contour_length_mm",
}  # fmt: skip
SPREAD = np.vstack([np.random.default_rng(5).normal(size=(40, 3)), np.eye(3), -np.eye(3)])
SPREAD /= np.linalg.norm(SPREAD, axis=1, keepdims=True)


@pytest.fixture(scope="module")
def wall():
    return part_from_trimesh(perforated())


def test_one_row_a_pose_one_column_a_measure(wall):
    measures = measure_poses(sort_part(wall), STRONG, SPREAD, Loads(np.array([[1.0, 0.0, 0.0]])))
    assert set(measures.columns) == NAMES
    assert all(column.shape == (len(SPREAD),) for column in measures.columns.values())
    assert all(np.isfinite(column).all() for column in measures.columns.values())
    assert measures.named == ()


def test_heights_and_layers_agree_with_numpy(wall):
    columns = measure_poses(sort_part(wall), STRONG, SPREAD).columns
    height = np.ptp(wall.vertices @ SPREAD.T, axis=0)
    assert np.allclose(columns["height_mm"], height, rtol=1e-12)
    assert np.array_equal(columns["layers"], np.ceil(height / STRONG.layer_height_mm - 1e-6))


def test_a_whole_number_of_layers_stays_whole():
    cube = sort_part(part_from_trimesh(trimesh.creation.box((10, 10, 10))))
    columns = measure_poses(cube, Process(layer_height_mm=0.1), np.eye(3)).columns
    assert columns["layers"].tolist() == [100.0, 100.0, 100.0]


def test_areas_agree_with_trimesh(wall):
    mesh = perforated()
    columns = measure_poses(sort_part(wall), STRONG, SPREAD).columns
    for i, b in enumerate(SPREAD[:40]):
        slope = mesh.face_normals @ b
        flagged = slope < -math.sin(math.radians(45.1))
        assert columns["overhang_area_mm2"][i] == pytest.approx(mesh.area_faces[flagged].sum(), rel=1e-5)
        shadow = -slope[flagged] @ mesh.area_faces[flagged]
        assert columns["overhang_projected_mm2"][i] == pytest.approx(shadow, rel=1e-5)


def test_without_a_load_its_columns_are_empty(wall):
    columns = measure_poses(sort_part(wall), STRONG, SPREAD).columns
    assert np.isnan(columns["load_angle_deg"]).all()
    assert np.isnan(columns["strength_retained"]).all()


def test_the_axis_that_leaves_least_governs(wall):
    loads = Loads(np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]))
    columns = measure_poses(sort_part(wall), STRONG, np.eye(3), loads).columns
    # Across the layers X falls from 50 to Z = 30 MPa.
    assert columns["strength_retained"] == pytest.approx([0.6, 1.0, 0.6])
    assert columns["load_angle_deg"] == pytest.approx([90.0, 0.0, 90.0])


def test_progress_and_named_faces(wall):
    seen = []
    top = np.flatnonzero(wall.normals[:, 2] > 0.999)
    measures = measure_poses(
        sort_part(wall), STRONG, SPREAD, named=[NamedFaces("top", "visible", top, None)], progress=seen.append
    )
    assert sum(seen) == len(SPREAD)
    assert np.array_equal(measures.columns["faces_trouble"], measures.named[0].trouble)
    assert np.all((measures.named[0].trouble >= 0) & (measures.named[0].trouble <= 1))


def test_same_bits_on_any_number_of_threads(wall):
    ready = sort_part(wall)
    once = measure_poses(ready, STRONG, SPREAD, threads=1).columns
    for threads in (2, 4):
        again = measure_poses(sort_part(wall), STRONG, SPREAD, threads=threads).columns
        assert all(np.array_equal(once[name], again[name], equal_nan=True) for name in NAMES)


def test_turned_part_and_loads_give_the_same_row(wall):
    turn = Rotation.random(random_state=3).as_matrix()
    axis = np.array([[0.6, 0.0, 0.8]])
    generic = SPREAD[:40]
    one = measure_poses(sort_part(wall), STRONG, generic, Loads(axis)).columns
    other = measure_poses(
        sort_part(wall.turned(turn, [9.0, 8.0, 7.0])), STRONG, generic @ turn.T, Loads(axis @ turn.T)
    ).columns
    for name in NAMES - {
        "support_volume_mm3",
        "support_needed_mm3",
        "support_weighted_mm3",
        "support_on_part_mm3",
        "scar_area_mm2",
    }:
        assert np.allclose(one[name], other[name], rtol=1e-4, atol=1e-4), name
    for name in ("support_volume_mm3", "support_needed_mm3", "support_weighted_mm3"):
        assert np.allclose(one[name], other[name], rtol=0.01, atol=1e-5 * wall.hull.volume_mm3), name


def test_an_open_mesh_is_measured_too(wall):
    part = part_from_arrays(wall.vertices, wall.faces[::2])
    assert not part.closed
    columns = measure_poses(sort_part(part), STRONG, SPREAD, Loads(np.array([[1.0, 0.0, 0.0]]))).columns
    assert all(np.isfinite(column).all() for column in columns.values())


def test_a_table_by_hand():
    got = {
        name: column[0]
        for name, column in measure_poses(
            sort_part(part_from_trimesh(table())), STRONG, [0.0, 0.0, 1.0]
        ).columns.items()
    }
    assert got["height_mm"] == pytest.approx(21.0)
    assert got["layers"] == 105
    assert got["support_volume_mm3"] == pytest.approx(1584 * 17 + 2000 * 19, rel=1e-3)
    assert got["first_layer_mm2"] == pytest.approx(1600.0, rel=1e-5)
    assert got["contour_length_mm"] == pytest.approx((160 * 2 + 16 * 17 + 240 * 2) / 0.2, rel=1e-6)
    assert got["stair_step_mm"] == 0.0

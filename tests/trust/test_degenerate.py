"""Meshes that are no proper solids: every measure is finite, and what is approximate is said."""

import numpy as np
import pytest
import trimesh

import orient
from orient.errors import OrientError
from tests.trust.corpus import block

POSES = 40


def measures(part, threads=None):
    found = orient.evaluate(part, directions=POSES, threads=threads)
    return found, {**found.ranking.columns, **found.ranking.penalty}


def faces(triangles):
    triangles = np.asarray(triangles, dtype=float)
    return orient.part_from_arrays(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))


def needle():
    return orient.part_from_trimesh(block((0.01, 0.01, 300.0)))


def foil():
    return orient.part_from_trimesh(block((40.0, 30.0, 0.02)))


def two_triangles():
    return faces([[[0, 0, 0], [30, 0, 0], [0, 30, 0]], [[0, 0, 0], [0, 30, 0], [0, 0, 30]]])


def coincident():
    one = block().triangles
    return faces(np.concatenate([one, one + 1e-7]))


def self_crossing():
    mesh = block()
    corners = np.array(mesh.vertices)
    corners[[0, 7]] = corners[[7, 0]]
    return orient.part_from_arrays(corners, mesh.faces)


def soup():
    return faces(np.random.default_rng(3).uniform(0, 50, (300, 3, 3)))


def fan():
    return faces([[[0, 0, 0], [30, a, 0], [30, a, 10]] for a in np.linspace(-20, 20, 60)])


@pytest.mark.parametrize("shape", [needle, foil, two_triangles, coincident, self_crossing, soup, fan])
def test_measures_stay_finite_and_say_what_is_approximate(shape):
    part = shape()
    found, columns = measures(part)
    for name, column in columns.items():
        if name not in ("load_angle_deg", "strength_retained"):  # nothing is said of a load
            assert np.isfinite(column).all(), name
    assert np.isfinite(found.shop.poses.hours).all()
    assert (found.shop.poses.hours >= 0).all()
    if part.closed:
        assert found.approximate == ()
    else:
        assert "support_volume_mm3" in found.approximate
        assert any("not closed" in said for said in found.warnings)


def test_a_sheet_a_micrometre_thick_is_refused_in_a_sentence():
    with pytest.raises(OrientError, match=r"is flat or empty.*: give a solid with some thickness\.$"):
        measures(orient.part_from_trimesh(block((40.0, 30.0, 1e-3))))


def test_coincident_bodies_weigh_as_one():
    assert coincident().volume_mm3 == pytest.approx(trimesh.creation.box((40, 30, 20)).volume, rel=1e-6)


def test_measures_are_the_same_bit_for_bit_on_one_two_and_four_threads_and_again():
    part = orient.load("sample_parts/gusset.stl")
    _, first = measures(part, 1)
    for threads in (2, 4, 1):
        _, again = measures(part, threads)
        assert first.keys() == again.keys()
        for name, column in first.items():
            assert column.tobytes() == again[name].tobytes(), name


@pytest.mark.slow
def test_a_million_coplanar_faces_measure_as_the_box_they_cover():
    cells = 290
    step = np.linspace(0.0, 100.0, cells + 1)
    mesh = trimesh.creation.box((100.0, 100.0, 100.0))
    u, v = (one.ravel() for one in np.meshgrid(np.arange(cells), np.arange(cells)))
    quads = [np.stack([u + a, v + b], axis=1) for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))]
    flat = np.concatenate([np.stack([quads[i] for i in corner], axis=1) for corner in ((0, 1, 2), (0, 2, 3))])
    sides = []
    for axis in range(3):
        for level in (0, cells):
            side = np.empty((*flat.shape[:2], 3), dtype=int)
            side[..., axis] = level
            side[..., (axis + 1) % 3], side[..., (axis + 2) % 3] = flat[..., 0], flat[..., 1]
            sides.append(side if level else side[:, ::-1])
    part = faces(step[np.concatenate(sides)])
    assert len(part.faces) > 1_000_000
    assert part.closed
    assert part.volume_mm3 == pytest.approx(mesh.volume, rel=1e-9)
    found, columns = measures(part)
    plain, expected = measures(orient.part_from_trimesh(mesh))
    assert all(
        np.isfinite(columns[name]).all() for name in ("support_volume_mm3", "height_mm", "first_layer_mm2")
    )
    best, other = found.ranking.recommended - 1, plain.ranking.recommended - 1
    for name in ("support_volume_mm3", "height_mm", "first_layer_mm2"):
        assert columns[name][best] == pytest.approx(expected[name][other], abs=1e-6 * mesh.volume)

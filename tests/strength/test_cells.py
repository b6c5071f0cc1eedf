"""Cells against the volumes, centroids and moments that the shape itself has."""

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.strength.cells import LEAST_FILL, cut_into_cells
from orient.strength.grid import grid_axes, grid_over
from orient.strength.surface import patches_of, points_on
from tests.strength.shapes import STRAIGHT, bar, ell, plate_with_hole


def _moments(part, pitch, axes, least=LEAST_FILL):
    cells = cut_into_cells(part, grid_over(part, pitch, axes), least)
    volume = cells.volumes_mm3.sum()
    return cells, volume, cells.grid.to_part(cells.centres).T @ cells.volumes_mm3 / volume


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), pitch=st.floats(0.9, 4.0))
@example(seed=10_000, pitch=3.5)
def test_cells_hold_the_part_whichever_way_the_grid_lies(seed, pitch):
    part = plate_with_hole(20, 8, 30, 5)
    axes = Rotation.random(random_state=seed).as_matrix()
    # With no sliver dropped: the mesh's own volume and centroid, by the divergence theorem.
    every, volume, centre = _moments(part, pitch, axes, 1e-12)
    assert volume == pytest.approx(part.volume_mm3, rel=1e-9)
    assert centre == pytest.approx(part.center_of_mass, abs=1e-7)
    # Large cells lose much in slivers, but each less than one per cent of a cell.
    cells, volume, _ = _moments(part, pitch, axes)
    dropped = len(every.fill) - len(cells.fill)
    assert (cells.fill >= LEAST_FILL).all()
    assert 0 <= part.volume_mm3 - volume + 1e-6 <= dropped * LEAST_FILL * cells.grid.cell_mm3 + 2e-6


def test_box_is_filled_by_whole_cells():
    cells, volume, _ = _moments(bar(60, 10, 7.3), 2.0, STRAIGHT)
    assert (cells.fill == 1.0).all()
    assert volume == pytest.approx(60 * 10 * 7.3)


def test_moments_of_a_cut_cell_are_exact():
    # A tetrahedron of unit legs in one cell: ∫ xⁱ yʲ zᵏ = i! j! k! / (i + j + k + 3)! (Stroud 1971).
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    part = part_from_arrays(vertices, faces)
    cells = cut_into_cells(part, grid_over(part, 1.0, STRAIGHT))
    factorial = [1, 1, 2, 6, 24, 120, 720, 5040, 40320, 362880]
    expected = [
        factorial[i] * factorial[j] * factorial[k] / factorial[i + j + k + 3]
        for i in range(3)
        for j in range(3)
        for k in range(3)
    ]
    assert cells.moments[0] == pytest.approx(expected, rel=1e-12)


def test_sphere_fills_its_cells_smoothly():
    ball = part_from_trimesh(trimesh.creation.icosphere(subdivisions=5, radius=5))
    cells, volume, centre = _moments(ball, 1.0, STRAIGHT)
    assert volume == pytest.approx(4 / 3 * np.pi * 125, rel=2e-3)
    assert np.abs(centre).max() < 1e-9
    assert ((cells.fill > 0.05) & (cells.fill < 0.95)).sum() > 200


def test_patches_cover_every_face_once():
    part = plate_with_hole(20, 8, 30, 5)
    cells = cut_into_cells(part, grid_over(part, 1.3, Rotation.random(random_state=4).as_matrix()))
    patches = patches_of(part, cells)
    assert np.bincount(patches.face, patches.area_mm2) == pytest.approx(part.areas, rel=1e-9)
    # The closed surface's divergence theorem: ∮ x·n dA = 3 V.
    points = points_on(patches)
    outward = np.einsum("ij,ij->i", cells.grid.to_part(points.place), part.normals[points.face])
    assert outward @ points.area_mm2 == pytest.approx(3 * part.volume_mm3, rel=1e-9)


def test_grid_lies_along_the_walls_and_turns_with_the_part():
    part = ell()
    turn = Rotation.random(random_state=8).as_matrix()
    for one, walls in ((part, STRAIGHT), (part.turned(turn, np.array([5.0, -3.0, 8.0])), turn.T)):
        along = np.abs(grid_axes(one) @ walls.T)
        assert np.sort(along, axis=1) == pytest.approx(np.tile([0.0, 0.0, 1.0], (3, 1)), abs=1e-6)


def test_open_mesh_is_refused_in_a_sentence():
    box = trimesh.creation.box((10, 10, 10))
    part = part_from_arrays(np.array(box.vertices), np.array(box.faces)[:-1], "lid")
    with pytest.raises(OrientError, match="lid is not closed"):
        cut_into_cells(part, grid_over(part, 2.0))

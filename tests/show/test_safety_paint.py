"""A part coloured by safety shows its weakest place, however large the triangle that it lies on."""

from functools import cache

import numpy as np
import pytest
import trimesh

from orient.part.mesh import part_from_arrays
from orient.show.picture.paint import BEYOND, safety_paint
from orient.show.viewer.payload import key_data
from orient.strength.field import solve_field
from orient.strength.grid import grid_over
from orient.strength.judge import strengths_of
from orient.strength.loads import Force, Loads
from tests.strength.shapes import bar, case, ell, faces_at, judged
from tests.strength.test_failure import PROCESS

PITCH_MM = 1.5
WAYS = np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0], [0.6, 0.0, 0.8]])


def bent(part, end, axis, force):
    """Held where it meets a plane through the origin, pushed at the other end."""
    load = Loads(forces=(Force(faces_at(part, axis, end), np.array(force)),))
    held = faces_at(part, axis, 0.0) if axis == 0 and end == 60.0 else faces_at(part, 1, 20.0)
    return solve_field(part, PROCESS, [case([held], load)], grid=grid_over(part, PITCH_MM, np.eye(3)))


@cache
def angle():
    part = ell()
    return part, bent(part, 20.0, 0, (0.0, -60.0, 0.0))


@cache
def beam(longest_mm=None):
    part = bar()
    if longest_mm:
        part = part_from_arrays(*trimesh.remesh.subdivide_to_size(part.vertices, part.faces, longest_mm))
    return part, bent(part, 60.0, 0, (0.0, 0.0, -60.0))


def painted(part, field, up):
    return safety_paint(part, field, strengths_of(PROCESS), up)


@pytest.mark.parametrize("made", [angle, beam, lambda: beam(3.0)], ids=["angle", "bar", "bar, fine"])
@pytest.mark.parametrize("up", WAYS, ids=str)
def test_the_face_that_holds_the_weakest_place_shows_it(made, up):
    part, field = made()
    safety = judged(field, up[None], PROCESS)
    paint = painted(part, field, up)
    there = np.broadcast_to(safety.weakest_at_mm[0], (len(part.faces), 3))
    closest = trimesh.triangles.closest_point(part.vertices[part.faces], there)
    off = np.linalg.norm(closest - there, axis=1)
    # On the face, or in the cell behind it.
    assert off.min() < 0.6 * PITCH_MM
    shown = np.nanmin(paint.face_values[off < off.min() + 1e-6])
    assert safety.factor[0] * (1 - 1e-9) <= shown <= 1.05 * safety.factor[0]
    assert paint.least == pytest.approx(safety.factor[0], rel=1e-9)
    assert np.nanmin(paint.face_values) <= 1.05 * paint.least


def test_the_middle_of_a_large_triangle_would_hide_it():
    part, field = beam()
    paint = painted(part, field, WAYS[2])
    weakest = int(np.nanargmin(paint.face_values))
    middle = float(paint.at(np.array([weakest]), part.centroids[[weakest]])[0])
    assert middle > 1.3 * paint.face_values[weakest]


@pytest.mark.parametrize("up", WAYS, ids=str)
def test_fine_and_coarse_triangles_of_one_bar_are_as_weak(up):
    coarse, fine = (painted(*beam(size), up) for size in (None, 3.0))
    assert len(fine.face_values) > 40 * len(coarse.face_values)
    assert np.nanmin(fine.face_values) == pytest.approx(np.nanmin(coarse.face_values), rel=0.02)
    steps = [one.code[one.code < BEYOND].max(initial=0) for one in (fine, coarse)]
    assert abs(int(steps[0]) - int(steps[1])) <= 2


def test_the_area_below_what_is_asked_for_is_measured_not_counted_in_triangles():
    areas = []
    for part, field in (beam(), beam(3.0)):
        plain = painted(part, field, WAYS[2])
        paint = safety_paint(part, field, strengths_of(PROCESS), WAYS[2], 1.5 * plain.least)
        areas.append(paint.watched_mm2)
        triangles = part.areas[np.nan_to_num(paint.face_values, nan=np.inf) < paint.watch].sum()
        assert 0 < paint.watched_mm2 < 1.01 * triangles
    assert areas[0] == pytest.approx(areas[1], rel=0.1)


def test_its_key_says_what_a_triangle_shows():
    assert "weakest place" in key_data(painted(*beam(), WAYS[2]))["told"]

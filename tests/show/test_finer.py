"""Colours finer than the faces: small triangles are where they are said to be, and hold the weakest place."""

import numpy as np
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from orient.part.mesh import part_from_trimesh
from orient.show.picture.paint import BEYOND
from orient.show.viewer.finer import MOST, finer, levels_of, small_at
from tests.show.test_safety_paint import WAYS, beam, painted


def corners_of(n, k):
    """Corners of the k-th small triangle of a face, as shares of its two sides, counted one by one."""
    for row in range(n):
        for place in range(n - row):
            for hangs in range(2 if place < n - row - 1 else 1):
                if k == 0:
                    ends = [(place + hangs, row), (place + 1, row + hangs), (place, row + 1)]
                    return np.array(ends) / n
                k -= 1


@given(st.integers(1, 9), st.data())
def test_a_point_lies_in_the_small_triangle_that_it_is_said_to_lie_in(n, data):

    part = part_from_trimesh(trimesh.creation.box((30.0, 20.0, 10.0)), "block")
    face = data.draw(st.integers(0, len(part.faces) - 1))
    u, v = sorted((data.draw(st.floats(0.01, 0.99)), data.draw(st.floats(0.01, 0.99))))
    u, v = u, v - u  # inside the face
    a, b, c = part.vertices[part.faces[face]]
    point = a + u * (b - a) + v * (c - a)
    (k,) = small_at(part, np.array([face], dtype=np.int32), point[None], np.array([n]))
    assert 0 <= k < n * n
    p, q, r = corners_of(n, int(k))
    inside = np.linalg.solve(np.array([q - p, r - p]).T, np.array([u, v]) - p)
    assert inside.min() >= -1e-6
    assert inside.sum() <= 1.0 + 1e-6


def test_large_faces_are_cut_until_there_are_as_many_small_ones_as_may_be_and_small_ones_are_not():
    coarse, fine = beam()[0], beam(3.0)[0]
    count = (levels_of(coarse).astype(int) ** 2).sum()
    assert 0.5 * MOST < count <= MOST
    assert levels_of(coarse, 5).max() == 1
    assert levels_of(fine, len(fine.faces)).max() == 1


def test_the_weakest_place_is_seen_in_small_triangles_and_little_else_is():
    part, field = beam()
    for up in WAYS:
        paint = painted(part, field, up)
        levels = levels_of(part)
        steps = finer(part, paint, levels)
        assert len(steps) == (levels.astype(int) ** 2).sum()
        by_face = paint.code[paint.code < BEYOND]
        assert steps[steps < BEYOND].max() == by_face.max()
        # A large face has the colour of its weakest place; of its small triangles few do.
        weak = int(by_face.max()) - 5
        areas = np.repeat(part.areas / levels.astype(int) ** 2, levels.astype(int) ** 2)
        known = (steps < BEYOND) & (steps >= weak)
        whole = (paint.code < BEYOND) & (paint.code >= weak)
        assert areas[known].sum() < 0.25 * part.areas[whole].sum()

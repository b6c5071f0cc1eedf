"""How a pose stands a small tilt: closed forms on a block whose sides lean at a chosen angle."""

import math

import numpy as np
import pytest
import trimesh

from orient.measure.columns import count_columns
from orient.measure.poses import sort_part
from orient.measure.tilt import support_when_tilted
from orient.part.mesh import part_from_trimesh
from orient.process import Process

UP = np.array([0.0, 0.0, 1.0])


def leaning(angle_deg: float) -> trimesh.Trimesh:
    """A truncated pyramid stood on its small end: 20 mm square, 10 mm high, four sides leaning out."""
    out = 10.0 + 10.0 * math.tan(math.radians(angle_deg))
    corners = [[x * s, y * s, z] for s, z in ((10.0, 0.0), (out, 10.0)) for x in (-1, 1) for y in (-1, 1)]
    return trimesh.convex.convex_hull(np.array(corners))


def support(ready, process) -> float:
    counted = count_columns(ready.blocks, UP[None], ready.frame, ready.pitch_mm, process.overhang_limit_deg)
    return float(counted.volume[0])


def test_sides_half_a_degree_below_the_limit_pass_it_when_laid_askew():
    ready, process = sort_part(part_from_trimesh(leaning(44.5))), Process()
    assert support(ready, process) == 0.0
    # A tilt towards one side carries that side past the limit, and nearly carries its neighbours: a tilt
    # between two sides leans each by 1° · cos 45° = 0.7°, which is past 0.6° and takes both.
    out = 10.0 + 10.0 * math.tan(math.radians(44.5))
    # Air under one side, a trapezium of widths 20 and 2·out: its height over the bed rises linearly from 0.
    reach = out - 10.0
    one_side = 10.0 / reach * (20.0 * reach**2 / 2 + 2.0 * reach**3 / 3)
    assert support_when_tilted(ready, process, UP) == pytest.approx(2 * one_side, rel=0.01)


def test_sides_far_from_the_limit_stand_a_tilt():
    for angle in (40.0, 50.0):
        ready, process = sort_part(part_from_trimesh(leaning(angle))), Process()
        assert support_when_tilted(ready, process, UP) == pytest.approx(support(ready, process), rel=1e-9)


def test_a_base_that_lies_on_the_bed_needs_no_support_when_laid_askew():
    ready = sort_part(part_from_trimesh(trimesh.creation.box((40, 30, 20))))
    assert support_when_tilted(ready, Process(), UP) == 0.0

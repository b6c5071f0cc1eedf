"""Nozzle against layer: what gets quicker, and what gets coarser."""

import numpy as np
import pytest
import trimesh

from orient.cost.bands import surface_pieces
from orient.cost.layers import nozzle_layer_table
from orient.cost.plan import Plan
from orient.part.mesh import part_from_trimesh


def table(**more):
    pieces = surface_pieces(part_from_trimesh(trimesh.creation.box((60, 40, 20))))
    return nozzle_layer_table(
        pieces, [0, 0, 1], Plan(), (0.4, 0.8), support_mm3=0.0, overhang_mm2=0.0, mean_slope=0.5, **more
    )


def test_three_layers_for_each_nozzle():
    found = table()
    assert [(row.nozzle_mm, row.layer_mm) for row in found] == [
        (0.4, 0.1), (0.4, 0.2), (0.4, 0.3), (0.8, 0.2), (0.8, 0.4), (0.8, 0.6)
    ]  # fmt: skip


def test_coarser_layers_are_quicker_and_step_higher():
    fine, usual, coarse = table()[:3]
    assert fine.hours > usual.hours > coarse.hours
    # Mean cusp is layer × mean |n·b| (Dolenc and Mäkelä 1994).
    assert [row.cusp_mm for row in (fine, usual, coarse)] == pytest.approx([0.05, 0.1, 0.15])


def test_walls_below_two_lines_are_counted():
    found = table(walls_mm=np.array([0.8, 1.0, 2.0]))
    # Two lines are 0.9 mm with a nozzle of 0.4, 1.8 mm with one of 0.8.
    assert [row.walls_below_two_lines for row in found] == [1, 1, 1, 2, 2, 2]
    assert table()[0].walls_below_two_lines is None

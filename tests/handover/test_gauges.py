"""Coupons of the material against the dimensions of the standards, and ladders against the limits."""

import numpy as np
import pytest
import shapely
import trimesh

from orient.errors import OrientError
from orient.handover.gauges import (
    GAUGES,
    bridge_steps,
    gauge,
    hole_steps,
    overhang_steps,
    tensile_outline,
    wall_steps,
)
from orient.process import Process

PROCESS = Process()


def mesh(name):
    made = gauge(name, PROCESS)
    return trimesh.Trimesh(made.vertices, made.faces, process=True)


@pytest.mark.parametrize("name", GAUGES)
def test_every_coupon_is_one_closed_solid_on_the_bed(name):
    made = mesh(name)
    assert made.is_watertight
    assert made.body_count == 1
    assert made.bounds[0, 2] == pytest.approx(0.0, abs=1e-9)


def test_tensile_bar_has_the_dimensions_of_type_1a():
    # ISO 527-2 type 1A: at least 150 long (170 preferred), narrow part 80 ± 2 long and 10 ± 0.2 wide, ends
    # 20 ± 0.2 wide, 4 ± 0.2 thick; 109.3 ± 3.2 between the wide parts (this last one from memory).
    made = mesh("tensile")
    assert made.extents == pytest.approx([170.0, 20.0, 4.0])
    outline = shapely.Polygon(tensile_outline())
    for x in np.linspace(-40, 40, 9):
        across = outline.intersection(shapely.LineString([(x, -30), (x, 30)])).length
        assert across == pytest.approx(10.0, abs=0.2)
    xy = tensile_outline()
    wide = np.abs(xy[np.isclose(np.abs(xy[:, 1]), 10.0), 0]).min() * 2
    assert wide == pytest.approx(109.3, abs=3.2)
    assert wide == pytest.approx(109.33, abs=0.01)


def test_bars_are_80_by_10_by_4():
    # ISO 178: 80 × 10 × 4 mm.
    assert mesh("bar-edge").extents == pytest.approx([80.0, 4.0, 10.0])
    standing = mesh("bar-standing")
    middle = standing.section((0, 0, 1), (0, 0, 42.0)).to_2D()[0]
    assert middle.area == pytest.approx(40.0)
    assert standing.extents[2] == pytest.approx(82.0)


def test_ladders_straddle_the_limits():
    assert bridge_steps(PROCESS)[0] < PROCESS.bridge_limit_mm < bridge_steps(PROCESS)[-1]
    assert overhang_steps(PROCESS)[0] < PROCESS.overhang_limit_deg < overhang_steps(PROCESS)[-1]
    assert hole_steps(PROCESS)[0] < PROCESS.hole_limit_mm < hole_steps(PROCESS)[-1]
    assert wall_steps(PROCESS)[0] < PROCESS.wall_limit_mm < wall_steps(PROCESS)[-1]


def test_a_wider_nozzle_gets_thicker_walls():
    wide = Process(nozzle_mm=0.8, line_width_mm=0.9, layer_height_mm=0.4, wall_limit_mm=1.6)
    assert wall_steps(wide)[-1] > wall_steps(PROCESS)[-1]


def test_holes_are_full_size():
    made = gauge("holes", PROCESS)
    section = trimesh.Trimesh(made.vertices, made.faces).section((0, 0, 1), (0, 0, 1.5)).to_2D()[0]
    holes = sorted(
        2 * np.sqrt(shapely.Polygon(ring).area / np.pi) for p in section.polygons_full for ring in p.interiors
    )
    # Circumscribed polygons of 64 sides: area by (n/π)·tan(π/n) over the circle's.
    assert holes == pytest.approx(hole_steps(PROCESS), rel=1e-3)


def test_coupon_that_is_not_there_names_those_that_are():
    with pytest.raises(OrientError, match="tensile, bar-edge"):
        gauge("plank", PROCESS)

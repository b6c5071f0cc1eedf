"""The first layer, what stands on it, and its three kinds of trouble, against plain geometry."""

import tracemalloc

import numpy as np
import pytest
import shapely
import trimesh
from manifold3d import Manifold
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist

from orient.features import curl, first_layer, slender
from orient.features.bed import _longest_run, _narrow, bed_of
from orient.part.mesh import part_from_arrays
from tests.features.gauges_ceilings import Gauge, box, disc, spoiled
from tests.features.test_ceilings import laid

UP = np.array([0.0, 0.0, 1.0])


def bed(solid, layer=0.2):
    part, up = spoiled(Gauge("", solid), "clean")
    heights = part.vertices @ up
    return bed_of(part, up, heights - heights.min(), layer)


def found(kind, solid, how="clean"):
    return kind.find(laid(*spoiled(Gauge("", solid), how)))


def test_the_first_layer_of_a_table_is_four_feet():
    solid = box((0, 60), (0, 40), (20, 24))
    for x in (0, 52):
        for y in (0, 32):
            solid += box((x, x + 8), (y, y + 8), (0, 21))
    table = bed(solid)
    assert [island.area_mm2 for island in table.islands] == pytest.approx([64.0] * 4)
    assert [island.run_mm for island in table.islands] == pytest.approx([8 * np.sqrt(2)] * 4)
    assert (table.area_mm2, table.narrow_mm, table.shadow_mm2) == pytest.approx((256.0, 40.0, 2400.0))


def test_a_ring_is_one_island_without_its_hole():
    ring = bed(disc(20, (0, 5), 64) - disc(12, (-1, 6), 64))
    assert len(ring.islands) == 1
    # Area of a regular 64-gon, ½·n·r²·sin(2π/n).
    assert ring.area_mm2 == pytest.approx(32 * (400 - 144) * np.sin(np.pi / 32))
    assert ring.islands[0].run_mm == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("solid", "foot"),
    [
        pytest.param(
            box((0, 60), (0, 8), (0, 5)) + box((0, 8), (0, 60), (0, 5)),
            shapely.box(0, 0, 60, 8) | shapely.box(0, 0, 8, 60),
            id="angle",
        ),
        pytest.param(
            box((-30, 30), (-20, 20), (0, 5)) - box((-25, 25), (-15, 15), (-1, 6)),
            shapely.box(-30, -20, 30, 20) - shapely.box(-25, -15, 25, 15),
            id="frame",
        ),
        pytest.param(box((0, 60), (0, 20), (0, 5)), shapely.box(0, 0, 60, 20), id="slab"),
    ],
)
def test_an_island_is_named_at_a_place_that_lies_on_the_bed(solid, foot):
    # Shapely, a general reference library, says whether the place is on the foot.
    (island,) = bed(solid).islands
    assert foot.distance(shapely.Point(island.middle[:2])) < 1e-6
    assert island.middle[2] == pytest.approx(0.1)


def test_tipping_margin_of_a_block_is_the_angle_of_its_half_diagonal():
    # atan(half the base / height of the centre of mass).
    block = bed(box((0, 10), (0, 30), (0, 40)))
    assert block.tip_margin_deg == pytest.approx(np.degrees(np.arctan2(5, 20)))


def test_a_block_that_hangs_over_falls():
    hung = bed(box((0, 10), (0, 10), (0, 10)) + box((9, 60), (0, 10), (8, 12)))
    assert hung.tip_margin_deg < 0
    (feature,) = found(slender, box((0, 10), (0, 10), (0, 10)) + box((9, 60), (0, 10), (8, 12)))
    assert feature.verdict == "support"


@pytest.mark.parametrize("how", ["clean", "turned", "float32", "split", "noisy"])
def test_long_runs_curl_and_short_ones_do_not(how):
    # PLA's default strain of 0.003 puts 0.3 mm of shrinkage at 100 mm.
    assert not found(curl, box((0, 95), (0, 20), (0, 4)), how)
    (feature,) = found(curl, box((0, 150), (0, 20), (0, 4)), how)
    assert feature.size_mm == pytest.approx(np.hypot(150, 20), rel=1e-3)
    assert feature.more["shrinkage_mm"] == pytest.approx(0.003 * np.hypot(150, 20), rel=2e-3)
    assert feature.limit_mm == pytest.approx(100.0)


def test_a_mast_is_slender_and_a_drum_is_not():
    assert not found(slender, disc(10, (0, 30), 48))
    (feature,) = found(slender, box((0, 8), (0, 12), (0, 80)))
    assert (feature.size_mm, feature.more["footprint_mm"], feature.verdict) == (80.0, 8.0, "tune")


def test_a_ball_touches_the_bed_too_little():
    (feature,) = found(first_layer, Manifold.sphere(15, 96))
    assert feature.verdict == "support"
    # The section at 0.1 mm of a sphere of radius 15 has the area π(2·15·0.1 − 0.1²) = 9.4 mm², of which
    # facets of 3.75° with their corners on the sphere leave about an eighth out.
    assert feature.area_mm2 == pytest.approx(np.pi * (3 - 0.01), rel=0.15)


def test_too_small_a_first_layer_is_told_what_brim_or_raft_in_millimetres():
    (feature,) = found(first_layer, Manifold.sphere(15, 96))
    assert any("brim of 5 mm" in said and "3 layers (0.6 mm)" in said for said in feature.try_first)


def test_small_feet_are_told_from_large_ones():
    feet = box((0, 60), (0, 40), (5, 24))
    for x in (0, 58):
        for y in (0, 38):
            feet += box((x, x + 2), (y, y + 2), (0, 6))
    feet += box((10, 50), (10, 30), (0, 6))
    (feature,) = found(first_layer, feet)
    assert (feature.more["islands"], feature.more["small_islands"], feature.verdict) == (5, 4, "tune")
    assert feature.size_mm == pytest.approx(2.0)


def test_area_of_the_first_layer_agrees_with_a_section_by_trimesh():
    solid = Manifold.cylinder(20, 8, 3, 24).translate((0, 0, 0)) - disc(2, (-1, 30), 24)
    part, _ = spoiled(Gauge("", solid), "clean")
    section = trimesh.Trimesh(part.vertices, part.faces).section(UP, [0, 0, 0.1])
    flat, _ = section.to_2D()
    assert bed(solid).area_mm2 == pytest.approx(flat.area, rel=1e-6)


def test_a_degenerate_part_gives_an_answer():
    sheet = part_from_arrays([[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 5.0]], [[0, 2, 1], [0, 1, 3]])
    heights = sheet.vertices[:, 2] - sheet.vertices[:, 2].min()
    bed_of(sheet, UP, heights, 0.2)


def polygons():
    """Convex outlines of few and many corners, slim, round, square and on a grid."""
    rng = np.random.default_rng(5)
    for corners in (3, 4, 5, 12, 90):
        for _ in range(20):
            points = rng.normal(size=(corners, 2)) * [rng.uniform(0.01, 10.0), 1.0]
            yield np.round(points) if rng.random() < 0.3 else points


def test_the_longest_run_and_the_least_width_are_those_of_all_pairs_and_all_edges():
    # scipy's distances of all pairs; widths square to every edge of scipy's hull (Qhull).
    for points in polygons():
        first, second, run = _longest_run(points)
        assert run == pytest.approx(pdist(points).max(), rel=1e-12)
        assert np.linalg.norm(points[first] - points[second]) == pytest.approx(run, rel=1e-12)
        outline = shapely.convex_hull(shapely.multipoints(points))
        if outline.geom_type == "Polygon":
            widths = np.ptp(points @ ConvexHull(points).equations[:, :2].T, axis=0)
            assert _narrow(outline) == pytest.approx(widths.min(), rel=1e-9)


def test_a_finely_turned_outline_does_not_take_memory_by_its_square():
    turn = np.linspace(0.0, 2.0 * np.pi, 30_000, endpoint=False)
    points = 40.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    tracemalloc.start()
    _, _, run = _longest_run(points)
    width = _narrow(shapely.convex_hull(shapely.multipoints(points)))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert run == pytest.approx(80.0, rel=1e-6)
    assert width == pytest.approx(80.0, rel=1e-6)
    # All pairs would be 14 GB.
    assert most < 100e6

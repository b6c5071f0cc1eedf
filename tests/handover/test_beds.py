"""Beds: no overlap ever, never fewer than the plain grid, and how much more than it."""

import time

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from orient.errors import OrientError
from orient.handover.beds import Room, grid_count, lay_beds, most_on
from orient.handover.nofit import no_fit
from orient.handover.silhouette import silhouette_from

BED = Room(250.0, 250.0, 0.0, 2.0)
TRIANGLE = Polygon([(0, 0), (40, 0), (0, 40)])
ELL = Polygon([(0, 0), (40, 0), (40, 12), (12, 12), (12, 40), (0, 40)])
TEE = Polygon([(0, 0), (40, 0), (40, 10), (25, 10), (25, 40), (15, 40), (15, 10), (0, 10)])
DISC = shapely.Point(0, 0).buffer(20)
RING = shapely.Point(0, 0).buffer(20).difference(shapely.Point(0, 0).buffer(15))
SHAPES = {
    "triangle": TRIANGLE,
    "ell": ELL,
    "tee": TEE,
    "disc": DISC,
    "ring": RING,
    "square": shapely.box(0, 0, 40, 40),
}


def blob(seed):
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 14))
    reach = rng.uniform(6, 26, 14)
    return shapely.make_valid(
        Polygon(np.column_stack([reach * np.cos(angle), reach * np.sin(angle)]))
    ).buffer(1.0)


def hold(shapes, beds, room, brims=None):
    """Hold every bed against shapely: no overlap, the gap kept, nothing over the margin."""
    brims = brims or [0.0] * len(shapes)
    for bed in beds:
        laid = [shapes[p.kind].at(p.x_mm, p.y_mm, p.turn_deg) for p in bed.placements]
        grown = [brims[p.kind] for p in bed.placements]
        for i, j in shapely.STRtree(laid).query(laid, predicate="dwithin", distance=room.gap_mm + 20).T:
            if i < j:
                assert laid[i].intersection(laid[j]).area == 0.0
                assert laid[i].distance(laid[j]) >= (room.gap_mm + grown[i] + grown[j]) * 0.995
        for one, brim in zip(laid, grown, strict=True):
            x0, y0, x1, y1 = one.bounds
            least = room.margin_mm + brim - 1e-5
            assert min(x0, y0) >= least
            assert x1 <= room.width_mm - least
            assert y1 <= room.depth_mm - least
        assert sum(one.area for one in laid) < room.width_mm * room.depth_mm


@pytest.mark.parametrize(("name", "more"), [("triangle", 0.50), ("ell", 0.20)])
def test_interlocking_shapes_beat_the_grid(name, more):
    shape = silhouette_from(SHAPES[name])
    assert grid_count(shape, BED) == 36  # floor(252 / 42) squared
    assert len(most_on(shape, BED)) >= (1 + more) * 36


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("room", [BED, Room(220.0, 180.0, 5.0, 5.0)], ids=["square", "oblong"])
def test_never_fewer_than_the_grid_and_never_an_overlap(name, room):
    shape = silhouette_from(SHAPES[name])
    spots = most_on(shape, room, brim_mm=1.5)
    assert len(spots) >= grid_count(shape, room, brim_mm=1.5)
    hold([shape], lay_beds([shape], [len(spots)], room, [1.5]), room, [1.5])


@pytest.mark.parametrize("seed", range(2))
def test_odd_shapes_never_overlap(seed):
    shape = silhouette_from(blob(seed))
    beds = lay_beds([shape], [60], BED)
    assert sum(len(bed.placements) * bed.times for bed in beds) == 60
    assert len(most_on(shape, BED)) >= grid_count(shape, BED)
    hold([shape], beds, BED)


def test_hundred_parts_of_five_kinds_in_twenty_seconds():
    shapes = [silhouette_from(one) for one in (TRIANGLE, ELL, TEE, blob(1), shapely.box(0, 0, 20, 15))]
    start = time.perf_counter()
    beds = lay_beds(shapes, [20] * 5, BED, [0.0, 1.0, 0.0, 0.0, 2.0])
    assert time.perf_counter() - start < 20.0
    assert sum(len(bed.placements) * bed.times for bed in beds) == 100
    hold(shapes, beds, BED, [0.0, 1.0, 0.0, 0.0, 2.0])


def test_ten_thousand_copies_are_counted():
    start = time.perf_counter()
    beds = lay_beds([silhouette_from(TRIANGLE)], [10_000], BED)
    assert len(beds) <= 2
    assert sum(len(bed.placements) * bed.times for bed in beds) == 10_000
    assert time.perf_counter() - start < 10.0


def test_part_exactly_as_large_as_the_bed_fits_once():
    shape = silhouette_from(shapely.box(0, 0, 240, 240))
    assert len(most_on(shape, Room(250, 250, 5.0, 2.0))) == 1


def test_long_part_lies_askew_where_it_must():
    shape = silhouette_from(shapely.box(0, 0, 300, 10))
    (bed,) = lay_beds([shape], [1], BED)
    hold([shape], [bed], BED)


def test_part_larger_than_the_bed_says_by_how_much():
    with pytest.raises(OrientError, match=r"150\.0 mm too large"):
        lay_beds([silhouette_from(shapely.box(0, 0, 400, 300))], [1], BED)


def test_no_fit_polygon_of_squares_is_a_square_of_twice_the_side():
    # Minkowski sum of a convex shape with itself: twice the shape (any text on convex geometry).
    square = [shapely.box(0, 0, 10, 10)]
    assert no_fit(square, square, 0.0).equals(shapely.box(-10, -10, 10, 10))


def test_no_fit_polygon_agrees_with_trying_every_shift():
    rng = np.random.default_rng(4)
    meets = no_fit([ELL], [TEE], 0.0)
    for x, y in rng.uniform(-60, 60, (400, 2)):
        over = shapely.affinity.translate(TEE, x, y).intersection(ELL).area > 1e-9
        assert over == meets.contains(shapely.Point(x, y))

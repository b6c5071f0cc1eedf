"""Spans and reaches of ceilings drawn as plain outlines, against hand-computed ones."""

import numpy as np
import pytest
import shapely

from orient.features.chords import local_span_mm, reach_mm, span_of


def loop(*points):
    return np.hstack([np.array(points, dtype=float), np.roll(np.array(points, dtype=float), -1, axis=0)])


def circle(radius, n=360):
    turn = 2 * np.pi * np.arange(n) / n
    return loop(*np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1))


def turned(edges, angle):
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    return np.hstack([edges[:, :2] @ turn.T, edges[:, 2:] @ turn.T])


def all_held(edges):
    return np.ones(len(edges), dtype=bool)


ANGLE = loop((0, 0), (40, 0), (40, 8), (8, 8), (8, 40), (0, 40))
TUNNEL = loop((0, 0), (20, 0), (20, 50), (0, 50))
WALLS = np.array([False, True, False, True])
POCKET = loop((0, 0), (30, 0), (30, 12), (0, 12))
RING = np.vstack([circle(20), circle(12)[::-1]])

SPANS = [
    # Hand-computed: the width of a tunnel, the short side of a pocket, arm · √2 of an angle, the line that
    # touches a ring's inner circle 2 √(20² − 12²) = 32, a diameter.
    (TUNNEL, WALLS, 20.0),
    (POCKET, all_held(POCKET), 12.0),
    (ANGLE, all_held(ANGLE), 8 * np.sqrt(2)),
    (RING, all_held(RING), 32.0),
    (circle(10), all_held(circle(10)), 20.0),
]


@pytest.mark.parametrize("angle", [0.0, 0.3, 1.234, 2.9])
@pytest.mark.parametrize(("edges", "held", "span"), SPANS, ids=["tunnel", "pocket", "L", "ring", "disc"])
def test_span_is_the_longest_line_of_the_best_direction(edges, held, span, angle):
    found = span_of(turned(edges, angle), held)
    assert found.share == pytest.approx(1.0, abs=1e-9)
    assert found.span_mm == pytest.approx(span, rel=1e-3)


def test_lines_of_an_angle_run_at_45_degrees_and_those_of_a_tunnel_across():
    assert span_of(ANGLE, all_held(ANGLE)).angle == pytest.approx(np.pi / 4, abs=1e-3)
    assert np.sin(span_of(TUNNEL, WALLS).angle) == pytest.approx(0.0, abs=1e-6)
    assert span_of(TUNNEL, WALLS).width_mm == pytest.approx(50.0)


def test_one_wall_holds_no_line_at_both_ends():
    found = span_of(TUNNEL, np.array([False, True, False, False]))
    assert (found.share, found.span_mm) == (0.0, 0.0)


def test_two_walls_that_meet_hold_half_a_square():
    # Lines square to the diagonal fill the triangle between the walls; the longest is the diagonal.
    square = loop((0, 0), (15, 0), (15, 15), (0, 15))
    found = span_of(square, np.array([True, False, False, True]))
    assert found.share == pytest.approx(0.5, abs=1e-3)
    assert found.span_mm == pytest.approx(15 * np.sqrt(2), rel=1e-3)


def test_share_and_longest_line_agree_with_clipping_lines_against_a_polygon():
    # Independent: shapely cuts 4,000 parallel lines to a comb-shaped ceiling whose left side alone holds
    # nothing.
    comb = [(0, 0), (30, 0), (30, 10), (24, 10), (24, 4), (18, 4), (18, 10), (10, 10), (10, 3), (4, 3)]
    comb += [(4, 10), (0, 10)]
    edges = loop(*comb)
    held = ~((edges[:, 0] == 0) & (edges[:, 2] == 0))
    found = span_of(edges, held)
    area = shapely.Polygon(comb)
    along = np.array([np.cos(found.angle), np.sin(found.angle)])
    across = np.array([-along[1], along[0]])
    rows = (np.arange(4000) + 0.5) / 4000 * 80 - 40
    lines = [shapely.LineString([r * across - 99 * along, r * across + 99 * along]) for r in rows]
    pieces = shapely.get_parts(shapely.intersection(lines, area))
    pieces = pieces[shapely.length(pieces) > 0]
    loose = shapely.LineString([(0, 0), (0, 10)]).buffer(1e-9)
    both = ~shapely.intersects(pieces, loose)
    length = shapely.length(pieces)
    assert length[both].sum() / length.sum() == pytest.approx(found.share, abs=2e-3)
    assert length[both].max() == pytest.approx(found.span_mm, abs=0.05)


def test_local_span_of_a_ring_is_its_width_and_of_a_pocket_its_short_side():
    assert local_span_mm(RING, all_held(RING)) == pytest.approx(8.0, rel=5e-3)
    assert local_span_mm(POCKET, all_held(POCKET)) == pytest.approx(12.0, rel=5e-3)
    assert local_span_mm(ANGLE, all_held(ANGLE)) == pytest.approx(11.2, abs=0.2)


def test_reach_is_the_distance_to_the_nearest_held_edge_not_the_chord():
    # A round cap of radius 12 on a stem of radius 4.
    cap, stem = circle(12), circle(4)
    held = np.r_[np.zeros(len(cap), bool), np.ones(len(stem), bool)]
    assert reach_mm(np.vstack([cap, stem[::-1]]), held) == pytest.approx(8.0, rel=1e-3)


def test_the_farthest_place_of_a_table_top_is_its_middle():
    # Legs 8 × 8 in the corners of a top 60 × 40: from the middle to a leg's corner, √(22² + 12²).
    legs = [loop((x, y), (x, y + 8), (x + 8, y + 8), (x + 8, y)) for x in (0, 52) for y in (0, 32)]
    top = loop((0, 0), (60, 0), (60, 40), (0, 40))
    edges = np.vstack([top, *legs])
    held = np.r_[np.zeros(4, bool), np.ones(16, bool)]
    assert reach_mm(edges, held) == pytest.approx(np.hypot(22, 12), rel=1e-4)


def test_nothing_held_reaches_without_end():
    assert reach_mm(POCKET, np.zeros(4, bool)) == np.inf

from math import inf

import numpy as np
from hypothesis import given, settings

from tests.ranking.posed import Posed, posed, posed_from


def recommended_at(poses: Posed, name: str, weight: float) -> int:
    """Rank again with one weight changed; the recommended pose by its place in the input."""
    ranking = poses.ranked(**{name: weight})
    return int(ranking.index[ranking.recommended - 1])


def step(end: float) -> float:
    """A step past an end of an interval.

    On the coarse lattice, totals that cross at an end differ here by more than rounding, and a second
    crossing is farther off: ends are fractions with denominators of at most a hundred.
    """
    return 5e-6 * max(1.0, end)


@given(posed(least=2, most=10, coarse=True))
@settings(max_examples=150, deadline=None)
def test_ranking_again_just_inside_and_just_outside_confirms_every_interval(poses):
    ranking = poses.ranked()
    winner = int(ranking.index[ranking.recommended - 1])
    for found in ranking.robustness:
        assert 0 <= found.low <= found.weight <= found.high
        others = sum(ranking.weights.values()) - found.weight
        if found.rival_low is None:
            assert found.low == 0
            assert others == 0 or recommended_at(poses, found.name, 0.0) == winner
        else:
            outside = max(found.low - step(found.low), 0.0)
            assert recommended_at(poses, found.name, outside) == ranking.index[found.rival_low - 1]
        if found.weight - found.low > step(found.low):
            assert recommended_at(poses, found.name, found.low + step(found.low)) == winner
        if found.rival_high is None:
            assert found.high == inf
            assert recommended_at(poses, found.name, 1e4) == winner
        else:
            outside = found.high + step(found.high)
            assert recommended_at(poses, found.name, outside) == ranking.index[found.rival_high - 1]
            if found.high - found.weight > step(found.high):
                assert recommended_at(poses, found.name, found.high - step(found.high)) == winner


def test_an_interval_worked_by_hand():
    # Support and height trade places: pose A costs (0.1, 0.6), pose B (0.4, 0.2), all else is equal.
    # With weights s and 1, A wins while 0.1 s + 0.6 ≤ 0.4 s + 0.2, that is while s ≥ 4/3.
    poses = posed_from(
        np.array([[2, 12, 0, 0, 0], [8, 4, 0, 0, 0]]),
        [True, True],
        support=2.0,
        height=1.0,
        load=0.0,
        first_layer=0.0,
        finish=0.0,
    )
    ranking = poses.ranked()
    support, height = ranking.robustness[0], ranking.robustness[1]
    np.testing.assert_allclose([support.low, height.high], [4 / 3, 1.5], rtol=1e-12)
    assert (support.rival_low, support.high, support.rival_high) == (2, inf, None)
    assert (height.low, height.rival_low, height.rival_high) == (0.0, None, 2)


def test_the_tenth_that_a_free_pose_must_gain_is_part_of_the_interval():
    # Resting (0.5, 0.5) against free (0.4, 0.6) in support and height. The free pose is taken once
    # 0.4 s + 0.6 ≤ 0.9 (0.5 s + 0.5), that is once s ≥ 3; by totals alone it would be at s ≥ 1.
    poses = posed_from(
        np.array([[10, 10, 0, 0, 0], [8, 12, 0, 0, 0]]),
        [True, False],
        support=2.0,
        height=1.0,
        load=0.0,
        first_layer=0.0,
        finish=0.0,
    )
    ranking = poses.ranked()
    assert ranking.rests_on_flat[ranking.recommended - 1]
    assert ranking.recommended == 2
    np.testing.assert_allclose(ranking.robustness[0].high, 3.0, rtol=1e-12)
    assert ranking.robustness[0].rival_high == 1


def test_the_other_end_of_a_symmetric_part_never_takes_over():
    poses = posed_from(np.array([[4, 5, 6, 7, 8], [4, 5, 6, 7, 8]]), [True, True])
    poses.columns["support_weighted_mm3"][1] *= 1 + 1e-14
    for found in poses.ranked().robustness:
        assert (found.low, found.high, found.rival_low, found.rival_high) == (0.0, inf, None, None)


def test_a_single_pose_is_sure():
    poses = posed_from(np.array([[4, 5, 6, 7, 8]]), [False])
    assert all((r.low, r.high) == (0.0, inf) for r in poses.ranked().robustness)


def test_a_measure_that_stops_counting_can_leave_poses_level():
    # Alike but for the steps on the surface: without them, resting on a flat face decides.
    poses = posed_from(np.array([[4, 4, 4, 0, 4], [4, 4, 4, 20, 4]]), [False, True], finish=9.0)
    ranking = poses.ranked()
    finish = ranking.robustness[-1]
    assert ranking.recommended == 1
    assert finish.name == "finish"
    assert finish.rival_low == 2
    level = posed_from(np.array([[4, 4, 4, 0, 4], [4, 4, 4, 20, 4]]), [False, False])
    level = Posed(level.directions, ("refined", "plane"), level.rests, level.columns, level.weights).ranked()
    assert (level.robustness[-1].low, level.robustness[-1].rival_low) == (0.0, 2)


def test_a_mirror_image_never_takes_over():
    # The same pose twice but for the sampling of its columns, and a third that is another choice.
    twin = np.array([[4, 4, 4, 0, 4], [4, 4, 4, 0, 4], [0, 20, 4, 20, 4]])
    poses = posed_from(twin, [True, True, True])
    poses.columns["support_weighted_mm3"][1] *= 1.0005
    ranking = poses.ranked()
    first, second = ranking.index[:2].tolist()
    assert {first, second} == {0, 1}
    rivals = {rival for span in ranking.robustness for rival in (span.rival_low, span.rival_high)}
    assert 2 not in rivals
    assert 3 in rivals


def test_a_free_pose_that_always_stands_at_its_tenth_takes_over_once_totals_grow():
    # Without a weight on support both cost nothing, and the resting one is taken; with any, the free one
    # costs nine tenths of it, which is the gain that it must bring.
    poses = posed_from(
        np.array([[10, 0, 0, 0, 0], [9, 0, 0, 0, 0]]),
        [True, False],
        support=0.0,
        height=0.0,
        load=0.0,
        first_layer=1.0,
        finish=0.0,
    )
    support = poses.ranked().robustness[0]
    assert (support.name, support.low, support.high) == ("support", 0.0, 0.0)
    assert recommended_at(poses, "support", 0.0) == 0
    assert recommended_at(poses, "support", 1e-6) == 1

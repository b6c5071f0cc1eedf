import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orient.ranking.order import choose, order
from orient.ranking.penalties import Scale
from orient.ranking.ranked import rank_poses
from tests.ranking.posed import posed, posed_from


@given(posed(least=2, loaded=True), st.data())
def test_adding_a_pose_never_reorders_the_rest(poses, data):
    drop = data.draw(st.integers(0, len(poses) - 1))
    kept = np.delete(np.arange(len(poses)), drop)
    among_all = [i for i in poses.ranked().index.tolist() if i != drop]
    alone = kept[poses.taken(kept).ranked().index].tolist()
    assert alone == among_all


@given(posed(), st.data())
def test_shuffled_poses_give_the_same_ranking(poses, data):
    shuffle = np.array(data.draw(st.permutations(range(len(poses)))))
    a, b = poses.ranked(), poses.taken(shuffle).ranked()
    assert np.array_equal(a.directions, b.directions)
    assert np.array_equal(a.penalty["total"], b.penalty["total"])
    assert a.sources == b.sources
    assert (a.recommended, a.best_resting, a.best_free) == (b.recommended, b.best_resting, b.best_free)
    assert a.why == b.why
    assert a.numbers == b.numbers
    assert a.robustness == b.robustness


@given(posed(), st.sampled_from([0.125, 0.3, 7.0, 1e4]))
def test_scaling_all_weights_changes_nothing(poses, factor):
    a = poses.ranked()
    b = poses.ranked(**{name: factor * weight for name, weight in poses.weights.items()})
    assert a.index.tolist() == b.index.tolist()
    assert a.recommended == b.recommended
    np.testing.assert_allclose(a.penalty["total"], b.penalty["total"], rtol=1e-12, atol=1e-15)
    for one, other in zip(a.robustness, b.robustness, strict=True):
        assert (one.rival_low, one.rival_high) == (other.rival_low, other.rival_high)
        np.testing.assert_allclose(
            [one.low * factor, one.high * factor], [other.low, other.high], rtol=1e-6, atol=1e-9
        )


@given(posed())
@settings(max_examples=50)
def test_totals_never_fall_along_the_ranking(poses):
    assert (np.diff(poses.ranked().penalty["total"]) >= -1e-9).all()


def ordered(total, rests, sources, support=None, height=None, directions=None):
    count = len(total)
    return order(
        np.array(total, dtype=float),
        np.array(rests),
        sources,
        np.zeros(count) if support is None else np.array(support, dtype=float),
        np.zeros(count) if height is None else np.array(height, dtype=float),
        np.eye(3)[:count] if directions is None else np.array(directions, dtype=float),
    ).tolist()


def test_equal_totals_are_settled_by_resting_then_source():
    assert ordered([1, 1], [False, True], ["plane", "grid"]) == [1, 0]
    assert ordered([1, 1, 1], [False] * 3, ["refined", "load", "plane"]) == [2, 1, 0]


def test_equal_totals_are_settled_by_support_then_height_then_direction():
    assert ordered([1, 1], [True] * 2, ["resting"] * 2, support=[2, 1]) == [1, 0]
    assert ordered([1, 1], [True] * 2, ["resting"] * 2, height=[2, 1]) == [1, 0]
    assert ordered([1, 1], [True] * 2, ["resting"] * 2, directions=[[0, 0, -1], [0, 0, 1]]) == [1, 0]


def test_rounding_does_not_choose_between_the_ends_of_a_symmetric_part():
    third = 1 / 3
    assert ordered([third, third - 1e-15], [True, False], ["resting", "grid"]) == [0, 1]


@pytest.mark.parametrize(
    ("free", "resting", "taken"),
    [
        (0.89, 1.0, "free"),
        (0.90, 1.0, "free"),
        (0.91, 1.0, "resting"),
        (1.0, 1.0, "resting"),
        (0.0, 0.0, "resting"),
    ],
)
def test_a_free_pose_is_taken_only_when_a_tenth_better(free, resting, taken):
    choice = choose(np.array([free, resting]), np.array([False, True]))
    assert choice.recommended == {"free": 0, "resting": 1}[taken]


def test_where_nothing_rests_the_best_free_pose_is_taken():
    choice = choose(np.array([0.3, 0.4]), np.array([False, False]))
    assert (choice.recommended, choice.best_resting, choice.best_free) == (0, None, 0)


def test_rows_of_every_column_follow_the_pose():
    poses = posed_from(np.array([[9, 9, 9, 9, 9], [0, 1, 2, 3, 4], [5, 5, 5, 5, 5]]), [True, False, True])
    ranking = poses.ranked()
    assert ranking.index.tolist() == [1, 2, 0]
    for name, column in poses.columns.items():
        assert np.array_equal(ranking.columns[name], column[ranking.index])
    assert np.array_equal(ranking.directions, poses.directions[ranking.index])
    assert ranking.rests_on_flat.tolist() == [False, True, True]


def test_poses_shown_lie_apart_and_hold_the_one_to_take():
    turn = np.radians(np.arange(0.0, 90.0, 5.0))
    directions = np.column_stack([np.sin(turn), np.zeros_like(turn), np.cos(turn)])
    count = len(turn)
    columns = {
        "support_weighted_mm3": np.arange(count) * 10.0,
        "support_volume_mm3": np.arange(count) * 10.0,
        "height_mm": np.full(count, 20.0),
        "first_layer_mm2": np.full(count, 50.0),
        "stair_step_mm": np.zeros(count),
    }
    rests = np.zeros(count, dtype=bool)
    rests[2] = True
    found = rank_poses(directions, ["grid"] * count, rests, columns, Scale(1000.0, 10.0, 40.0, 100.0, 0.2))
    assert found.recommended - 1 in found.shown
    assert found.best_resting - 1 in found.shown
    kept = [row for row in found.shown if row not in (found.recommended - 1, found.best_resting - 1)]
    for a in kept:
        for b in found.shown:
            if a != b and b in kept:
                apart = np.degrees(np.arccos(np.clip(found.directions[a] @ found.directions[b], -1, 1)))
                assert apart >= 15.0 - 1e-6
    assert all(bool(said) == (row in found.shown) for row, said in enumerate(found.why))

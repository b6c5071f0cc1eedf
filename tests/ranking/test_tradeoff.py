from time import perf_counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from orient.ranking.tradeoff import undominated


def by_definition(costs):
    """Compare every row with every other, straight from the definition."""
    no_worse = (costs[:, None, :] <= costs[None, :, :]).all(axis=2)
    better = (costs[:, None, :] < costs[None, :, :]).any(axis=2)
    return ~(no_worse & better).any(axis=0)


@given(arrays(np.float64, st.tuples(st.integers(0, 60), st.just(3)), elements=st.integers(0, 5).map(float)))
def test_undominated_follows_the_definition_with_many_ties(costs):
    assert undominated(costs).tolist() == by_definition(costs).tolist()


@pytest.mark.parametrize("seed", range(5))
def test_undominated_follows_the_definition_without_ties(seed):
    costs = np.random.default_rng(seed).normal(size=(400, 3))
    assert undominated(costs).tolist() == by_definition(costs).tolist()


def test_without_a_load_two_costs_are_traded():
    costs = np.array([[3.0, 1.0, 0.0], [1.0, 3.0, 0.0], [3.0, 3.0, 0.0]])
    assert undominated(costs).tolist() == [True, True, False]


def test_a_surface_of_compromises_is_kept_whole():
    x, y = np.random.default_rng(3).uniform(size=(2, 1500))
    costs = np.column_stack([x, y, 2 - x - y])
    start = perf_counter()
    assert undominated(costs).all()
    # Far above the milliseconds it takes; a quadratic loop in Python would need seconds.
    assert perf_counter() - start < 0.5

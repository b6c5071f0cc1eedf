import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from orient.pose.grid import spherical_grid
from orient.pose.refine import refine


class Counted:
    """An objective that counts what it is asked."""

    def __init__(self, function):
        self.function, self.directions, self.batches = function, 0, 0

    def __call__(self, directions):
        self.directions += len(directions)
        self.batches += 1
        return self.function(directions)


def smooth(directions):
    form = np.array([[3.0, 0.5, 0.2], [0.5, 1.0, -0.3], [0.2, -0.3, 2.0]])
    return np.einsum("ij,jk,ik->i", directions, form, directions) + directions @ [0.1, 0.7, -0.2]


def creased(directions):
    """Valleys with kinks: the sum of |cosines| to five axes, as faces crossing a limit make them."""
    axes = spherical_grid(5)
    return np.abs(directions @ axes.T) @ [1.0, 0.6, 0.8, 0.3, 0.9] - 0.4 * directions[:, 1]


def best_starts(objective, count):
    grid = spherical_grid(1000)
    return grid[np.argsort(objective(grid))[:count]]


def test_smooth_minimum_is_scipys():
    found, totals = refine(smooth, best_starts(smooth, 3))
    theirs = minimize(lambda v: smooth(v[None] / np.linalg.norm(v))[0], found[0], method="BFGS", tol=1e-12)
    assert totals.min() == pytest.approx(theirs.fun, abs=1e-6)
    target = theirs.x / np.linalg.norm(theirs.x)
    assert np.degrees(np.arccos(np.clip(found[totals.argmin()] @ target, -1, 1))) < 0.1


def test_creased_minimum_is_that_of_a_hundred_thousand_directions():
    _, totals = refine(creased, best_starts(creased, 6))
    assert totals.min() <= creased(spherical_grid(100_000)).min() + 1e-3


@pytest.mark.parametrize("count", [1, 3, 6, 8])
@pytest.mark.parametrize("objective", [smooth, creased, lambda d: d @ [1.0, 2.0, 3.0]])
def test_evaluations_stay_within_the_budget(objective, count):
    counted = Counted(objective)
    refine(counted, Rotation.random(count, random_state=1).apply([0, 0, 1.0]), evaluations=700)
    assert counted.directions <= 700


def test_it_asks_in_batches():
    counted = Counted(smooth)
    refine(counted, best_starts(smooth, 6))
    assert counted.batches <= 25


def test_no_start_gets_worse():
    starts = Rotation.random(6, random_state=3).apply([0, 0, 1.0])
    _, totals = refine(creased, starts)
    assert np.all(totals <= creased(starts))


def test_totals_are_those_of_the_directions_found():
    found, totals = refine(creased, best_starts(creased, 4))
    assert totals == pytest.approx(creased(found), abs=0)


def test_a_minimum_stays_put():
    target = np.array([[0.0, 0.6, 0.8]])
    found, _ = refine(lambda d: 1 - d @ target[0], target)
    assert np.degrees(np.arccos(np.clip(found[0] @ target[0], -1, 1))) < 0.05


def test_nan_is_never_chosen():
    found, totals = refine(lambda d: np.where(d[:, 0] > 0.5, np.nan, -d[:, 0]), [[0.3, 0.0, 0.95]])
    assert found[0, 0] <= 0.5
    assert np.isfinite(totals).all()


def test_same_input_same_bits():
    starts = best_starts(creased, 5)
    one, other = refine(creased, starts), refine(creased, starts)
    assert np.array_equal(one[0], other[0])
    assert np.array_equal(one[1], other[1])


def test_the_search_turns_with_its_frame():
    turn = Rotation.from_rotvec([1, 2, 3]).as_matrix()
    starts = best_starts(smooth, 3)
    one, _ = refine(smooth, starts)
    other, _ = refine(lambda d: smooth(d @ turn), starts @ turn.T, frame=turn.T)
    assert other == pytest.approx(one @ turn.T, abs=1e-9)


def test_no_starts_no_search():
    found, totals = refine(smooth, np.zeros((0, 3)))
    assert found.shape == (0, 3)
    assert totals.shape == (0,)

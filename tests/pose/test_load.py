import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.measure.load import load_angle_deg
from orient.pose.load import in_layer_directions

AXIS = np.array([0.48, 0.6, 0.64])


def test_all_directions_put_the_axis_in_the_layers():
    found = in_layer_directions(AXIS)
    assert load_angle_deg(found, AXIS[None]) == pytest.approx(np.zeros((len(found), 1)), abs=1e-6)


def test_the_circle_has_no_gap_wider_than_its_step():
    found = in_layer_directions([0, 0, 5.0], step_deg=12)
    turns = np.sort(np.arctan2(found[:, 1], found[:, 0]))
    gaps = np.degrees(np.diff(np.append(turns, turns[0] + 2 * np.pi)))
    assert gaps.max() <= 12 + 1e-9
    assert gaps.min() >= 1


def test_own_directions_have_their_likeness_first():
    own = np.array([[0.6, 0.0, 0.8], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    found = in_layer_directions([0, 0, 1.0], like=own)
    # The first leans 53° out of the circle and the last stands across it: no likeness.
    assert found[:2] == pytest.approx(np.array([[0, 1, 0], [1, 0, 0]]))
    tilted = in_layer_directions([0, 0, 1.0], like=[[np.cos(0.3), 0, np.sin(0.3)]])
    assert tilted[0] == pytest.approx([1, 0, 0])


def test_two_axes_share_their_cross_product():
    axes = [[1, 0, 0], [1, 1, 0]]
    assert in_layer_directions(axes) == pytest.approx(np.array([[0, 0, 1], [0, 0, -1]]))


def test_three_axes_pair_by_pair():
    assert len(in_layer_directions(np.eye(3))) == 6


def test_parallel_axes_are_one():
    assert len(in_layer_directions([[0, 0, 1], [0, 0, -3]])) == 30


def test_no_axis_no_directions():
    assert in_layer_directions(np.zeros((0, 3))).shape == (0, 3)


@pytest.mark.parametrize("axis", [[0, 0, 0], [np.nan, 0, 1], [np.inf, 0, 0]])
def test_an_axis_without_direction_is_refused(axis):
    with pytest.raises(OrientError, match="stress axis"):
        in_layer_directions(axis)


def test_the_circle_turns_with_axis_and_frame():
    turn = Rotation.from_rotvec([1, 2, 3]).as_matrix()
    one = in_layer_directions(AXIS, frame=np.eye(3))
    assert in_layer_directions(turn @ AXIS, frame=turn.T) == pytest.approx(one @ turn.T)

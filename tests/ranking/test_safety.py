"""What is said of a pose's safety, and of the pose that a stress axis alone would choose."""

import numpy as np
import pytest

from orient.ranking.safety import axis_note, failing_words, safety_note

PLACE = (-8.18, -0.04, 17.94)


@pytest.mark.parametrize(
    ("between", "fails"), [(True, "its layers would part"), (False, "it would tear within its layers")]
)
def test_a_weak_place_is_told_with_case_mode_and_figures(between, fails):
    said, figures = safety_note({"safety_factor": 2.064, "safety_factor_low": 1.88}, PLACE, "gust", between)
    assert said == (
        f'It is weakest at (−8.2, 0.0, 17.9) mm under "gust", where {fails}: safety factor 2.06, or 1.88 '
        "with the least strengths that the sources give."
    )
    assert figures["weakest_at_mm"] == list(PLACE)
    assert figures["fails_by"] == ("between layers" if between else "within layers")


def test_a_spread_that_is_not_known_is_not_told():
    said, figures = safety_note({"safety_factor": 2.0, "safety_factor_low": np.nan}, PLACE, "gust", True)
    assert said.endswith("safety factor 2.00.")
    assert figures["safety_factor_low"] is None


def _told(mine, theirs):
    taken, by_axis = (
        {"safety_factor": factor, "axis_strength_retained": kept}
        for factor, kept in ((mine, 0.8), (theirs, 1.0))
    )
    return axis_note((1, taken), (7, by_axis), PLACE, "gust", True)[0]


def test_the_reason_why_the_axis_is_wrong_is_a_place_and_two_figures():
    assert _told(4.15, 2.52) == (
        "The stress axis alone would choose pose 7, as it keeps 100 % of the strength along that axis. "
        'Under "gust" its layers part at (−8.2, 0.0, 17.9) mm first, which the axis does not see: safety '
        "factor 2.52, where the pose to take has 4.15."
    )


def test_a_safer_pose_that_costs_more_is_called_so():
    assert "It is the safer one (2.00 against 3.00)" in _told(2.0, 3.0)


def test_equally_safe_poses_are_called_so():
    assert "as safe as each other (2.00 against 2.01)" in _told(2.0, 2.01)


def test_the_same_choice_is_told_in_a_sentence():
    same = {"safety_factor": 2.0, "axis_strength_retained": 1.0}
    said, figures = axis_note((1, same), (1, same), PLACE, "gust", True)
    assert said == "The stress axis alone would choose the same pose."
    assert figures["rank_by_axis"] == figures["rank"] == 1


def test_a_factor_below_one_is_told_as_a_failure_and_a_low_one_as_a_doubt():
    assert failing_words(0.59, 0.18).startswith("It is expected to fail under its load: ")
    assert "1.85, but 0.80 with the least strengths" in failing_words(1.85, 0.80)
    assert failing_words(1.0, 1.0) == failing_words(1.2, np.nan) == ""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from orient.errors import OrientError
from orient.ranking.limits import Limits
from tests.ranking.posed import posed, posed_from

THREE = np.array([[4, 2, 0, 0, 10], [0, 12, 0, 0, 2], [1, 18, 0, 0, 0]])  # 12, 22 and 28 mm tall


def three():
    poses = posed_from(THREE, [True, True, True])
    sides = {
        "footprint_length_mm": np.array([30.0, 26.0, 20.0]),
        "footprint_width_mm": np.array([20.0, 14.0, 12.0]),
    }
    poses.columns.update(sides)
    return poses


def test_too_tall_a_pose_is_left_out_with_its_height():
    ranking = three().ranked(Limits(max_height_mm=25))
    assert sorted(ranking.index.tolist()) == [0, 1]
    (left_out,) = ranking.excluded
    assert left_out.index == 2
    assert left_out.reason == "It is 28.0 mm tall where 25.0 mm are allowed."
    assert left_out.numbers == {"measured_max_height_mm": 28.0, "allowed_max_height_mm": 25.0}


def test_every_limit_that_is_broken_is_given():
    ranking = three().ranked(Limits(max_height_mm=22, min_strength_retained=0.9))
    assert {e.index: e.reason for e in ranking.excluded} == {
        0: "It keeps 50 % of the strength where 90 % are asked for.",
        2: "It is 28.0 mm tall where 22.0 mm are allowed.",
    }
    ranking = three().ranked(Limits(envelope_mm=(28, 28, 25), min_strength_retained=0.9))
    assert {e.index: e.reason for e in ranking.excluded} == {
        0: "It is 30.0 mm long on the bed where the machine has 28.0 mm and keeps 50 % of the strength "
        "where 90 % are asked for.",
        2: "It is 28.0 mm tall where the machine has 25.0 mm.",
    }


def test_a_footprint_may_be_turned_to_fit_the_machine():
    for envelope in [(26, 14, 30), (14, 26, 30)]:
        ranking = three().ranked(Limits(envelope_mm=envelope))
        assert sorted(ranking.index.tolist()) == [1, 2]
        assert ranking.excluded[0].reason == (
            "It is 30.0 mm long on the bed where the machine has 26.0 mm and "
            "is 20.0 mm wide on the bed where the machine has 14.0 mm."
        )


def test_a_part_that_fits_exactly_fits():
    poses = three()
    poses.columns["height_mm"][0] += 1e-9
    assert 0 in poses.ranked(Limits(max_height_mm=12)).index


def test_a_hair_over_the_limit_is_shown_as_over():
    poses = three()
    poses.columns["height_mm"][2] = 25.003
    reason = poses.ranked(Limits(max_height_mm=25)).excluded[0].reason
    assert reason == "It is 25.003 mm tall where 25.000 mm are allowed."


def test_a_weak_pose_is_left_out_with_its_strength():
    ranking = three().ranked(Limits(min_strength_retained=0.6))
    assert ranking.excluded[0].reason == "It keeps 50 % of the strength where 60 % are asked for."


@given(posed(), st.integers(1, 30), st.integers(0, 20), st.booleans())
def test_when_nothing_is_left_the_limit_that_is_named_lets_one_through(poses, height, strength, both):
    loaded = np.isfinite(poses.columns["strength_retained"]).all()
    limits = Limits(
        max_height_mm=height - 0.37 if both or not loaded else None,
        min_strength_retained=strength / 20 if loaded else None,
    )
    try:
        ranking = poses.ranked(limits)
    except OrientError as refused:
        said = str(refused)
        moved = dict(re.findall(r"(max_height_mm|min_strength_retained) from [\d.]+ to ([\d.]+)", said))
        assert moved
        named = {name: float(value.rstrip(".")) for name, value in moved.items()}
        mended = Limits(
            max_height_mm=named.get("max_height_mm", limits.max_height_mm),
            min_strength_retained=named.get("min_strength_retained", limits.min_strength_retained),
        )
        assert len(poses.ranked(mended).index) > 0
    else:
        assert len(ranking.index) + len(ranking.excluded) == len(poses)
        assert all(h <= (limits.max_height_mm or np.inf) + 1e-6 for h in ranking.columns["height_mm"])


def test_nothing_left_is_one_sentence():
    with pytest.raises(OrientError) as caught:
        three().ranked(Limits(max_height_mm=11.5))
    assert str(caught.value) == (
        "All 3 poses break the limits: the nearest one would pass with max_height_mm from 11.5 to 12."
    )


def test_the_nearest_pose_breaks_the_fewest_limits():
    with pytest.raises(OrientError) as caught:
        three().ranked(Limits(max_height_mm=11, min_strength_retained=0.8))
    assert "max_height_mm from 11 to 22." in str(caught.value)


def test_the_side_of_the_envelope_that_is_short_is_named():
    with pytest.raises(OrientError, match=r"the width in envelope_mm from 11 to 12\."):
        three().ranked(Limits(envelope_mm=(40, 11, 40)))


def test_a_least_strength_without_a_load_is_refused():
    poses = three()
    poses.columns["strength_retained"][:] = np.nan
    with pytest.raises(OrientError, match="no load is named"):
        poses.ranked(Limits(min_strength_retained=0.5))


def test_an_envelope_needs_footprints():
    with pytest.raises(ValueError, match="footprint_length_mm, footprint_width_mm"):
        posed_from(THREE, [True] * 3).ranked(Limits(envelope_mm=(1, 1, 1)))


@pytest.mark.parametrize("bad", [np.nan, np.inf])
@pytest.mark.parametrize(
    "column", ["support_weighted_mm3", "height_mm", "stair_step_mm", "strength_retained"]
)
def test_a_pose_that_could_not_be_measured_is_left_out_and_says_so(column, bad):
    poses = three()
    poses.columns[column][1] = bad
    ranking = poses.ranked(Limits(max_height_mm=100))
    assert sorted(ranking.index.tolist()) == [0, 2]
    assert ranking.excluded[0].reason.startswith(
        "It could not be judged: no finite figure was found for its "
    )


def test_a_mesh_that_gives_no_figure_at_all_is_refused():
    poses = three()
    poses.columns["height_mm"][:] = np.nan
    with pytest.raises(OrientError, match="No pose could be judged"):
        poses.ranked()


@pytest.mark.parametrize(
    "wrong",
    [
        {"max_height_mm": 0},
        {"max_height_mm": -3},
        {"envelope_mm": (1, 2)},
        {"envelope_mm": (1, 2, 0)},
        {"min_strength_retained": 1.5},
        {"min_strength_retained": np.nan},
    ],
)
def test_a_limit_that_makes_no_sense_is_refused(wrong):
    with pytest.raises(OrientError, match=next(iter(wrong))):
        Limits(**wrong)


def _judged(low=(2.6, np.nan, 1.4)):
    """Three poses whose safety was found: the second polymer's spread is not known."""
    poses = three()
    poses.columns["safety_factor"] = np.array([3.0, 2.1, 1.9])
    poses.columns["safety_factor_low"] = np.array(low)
    poses.columns["max_deflection_mm"] = np.full(3, 0.4217)
    return poses


def test_safety_is_held_against_the_least_strengths_where_they_are_known():
    ranking = _judged().ranked(Limits(min_safety_factor=2))
    assert sorted(ranking.index.tolist()) == [0, 1]
    assert ranking.excluded[0].reason == "It has a safety factor of 1.40 where 2.00 is asked for."
    assert ranking.excluded[0].numbers == {
        "measured_min_safety_factor": 1.4,
        "allowed_min_safety_factor": 2.0,
    }


def test_when_no_pose_is_safe_enough_the_sentence_says_what_the_safest_has():
    with pytest.raises(OrientError, match=r"would pass with min_safety_factor from 5 to 2\.6\."):
        _judged().ranked(Limits(min_safety_factor=5))


def test_what_gives_way_too_far_does_so_in_every_pose():
    with pytest.raises(OrientError, match=r"would pass with max_deflection_mm from 0\.4 to 0\.422\."):
        _judged().ranked(Limits(max_deflection_mm=0.4))
    assert len(_judged().ranked(Limits(max_deflection_mm=0.5)).index) == 3


@pytest.mark.parametrize("limits", [Limits(min_safety_factor=2), Limits(max_deflection_mm=1)])
def test_limits_on_load_cases_need_load_cases(limits):
    with pytest.raises(OrientError, match="no load case was judged"):
        three().ranked(limits)


def test_deflection_needs_a_stiffness():
    poses = _judged()
    poses.columns["max_deflection_mm"][:] = np.nan
    with pytest.raises(OrientError, match="stiffness is not known"):
        poses.ranked(Limits(max_deflection_mm=1))

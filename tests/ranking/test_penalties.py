import numpy as np
import pytest
from numpy.testing import assert_allclose

from orient.errors import OrientError
from orient.ranking.penalties import Scale, penalties, shares, total

# A box of 10 × 20 × 40 mm, worked by hand: its own hull, least width 10, diameter √(10² + 20² + 40²),
# largest resting face 20 × 40. Lying flat, and stood on end.
BOX = Scale(8000.0, 10.0, np.sqrt(2100.0), 800.0, 0.2)
LYING_AND_STANDING = {
    "support_weighted_mm3": np.array([0.0, 2000.0]),
    "support_volume_mm3": np.array([0.0, 2000.0]),
    "height_mm": np.array([10.0, 40.0]),
    "first_layer_mm2": np.array([800.0, 200.0]),
    "stair_step_mm": np.array([0.0, 0.05]),
    "strength_retained": np.array([1.0, 0.45]),
}


def test_a_box_lying_flat_is_ideal_by_every_penalty():
    assert {name: p[0] for name, p in penalties(LYING_AND_STANDING, BOX).items()} == dict.fromkeys(
        ("support", "height", "load", "first_layer", "finish"), 0.0
    )


def test_a_box_stood_on_end_pays_by_its_own_sizes():
    found = {name: p[1] for name, p in penalties(LYING_AND_STANDING, BOX).items()}
    expected = {
        "support": 2000 / 8000,
        "height": (40 - 10) / (np.sqrt(2100) - 10),
        "load": 0.55,
        "first_layer": 0.75,
        "finish": 0.25,
    }
    assert_allclose([found[name] for name in expected], list(expected.values()), rtol=1e-14)


def test_the_total_is_the_weighted_mean_of_what_is_present():
    penalty = penalties(LYING_AND_STANDING, BOX)
    weights = {"support": 2, "height": 1, "load": 0.5, "first_layer": 0.1, "finish": 0.3, "faces": 9}
    table = np.stack(list(penalty.values()))
    # numpy's weighted mean as the reference; faces are absent and must not dilute it.
    expected = np.average(table, axis=0, weights=[weights[name] for name in penalty])
    assert_allclose(total(penalty, weights), expected, rtol=1e-14)
    assert_allclose(sum(shares(penalty, weights).values()), expected, rtol=1e-14)


def test_without_a_load_there_is_no_load_penalty():
    columns = {**LYING_AND_STANDING, "strength_retained": np.full(2, np.nan)}
    assert "load" not in penalties(columns, BOX)
    without = {name: c for name, c in columns.items() if name != "strength_retained"}
    assert "load" not in penalties(without, BOX)


def test_faces_that_matter_count_when_they_were_named():
    found = penalties({**LYING_AND_STANDING, "faces_trouble": np.array([0.2, 0.0])}, BOX)
    assert found["faces"].tolist() == [0.2, 0.0]


def test_a_first_layer_larger_than_any_resting_face_is_no_better_than_ideal():
    found = penalties({**LYING_AND_STANDING, "first_layer_mm2": np.array([801.0, 0.0])}, BOX)
    assert found["first_layer"].tolist() == [0.0, 1.0]


def test_a_ball_is_never_to_blame_for_its_height():
    ball = Scale(4189.0, 20.0, 20.0, 1.0, 0.2)
    assert penalties({**LYING_AND_STANDING, "height_mm": np.array([20.0, 20.0])}, ball)[
        "height"
    ].tolist() == [0, 0]


def test_scaling_the_part_and_its_layers_changes_no_penalty():
    s = 3.0
    powers = {
        "support_weighted_mm3": 3,
        "support_volume_mm3": 3,
        "height_mm": 1,
        "first_layer_mm2": 2,
        "stair_step_mm": 1,
        "strength_retained": 0,
    }
    grown = {name: column * s ** powers[name] for name, column in LYING_AND_STANDING.items()}
    scale = Scale(8000 * s**3, 10 * s, np.sqrt(2100) * s, 800 * s**2, 0.2 * s)
    before, after = penalties(LYING_AND_STANDING, BOX), penalties(grown, scale)
    for name, p in before.items():
        assert_allclose(after[name], p, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize(
    "sizes", [(0, 1, 2, 1, 0.2), (1, 1, 2, 0, 0.2), (np.nan, 1, 2, 1, 0.2), (1, 1, 2, 1, 0)]
)
def test_a_part_without_thickness_or_layers_is_refused(sizes):
    with pytest.raises(OrientError):
        Scale(*sizes)


def test_a_missing_column_is_named():
    with pytest.raises(ValueError, match="height_mm"):
        penalties({name: c for name, c in LYING_AND_STANDING.items() if name != "height_mm"}, BOX)

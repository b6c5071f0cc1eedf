"""The verdict points the way that the figures do, and its numbers are theirs."""

import pytest

from orient.variants.measures import Value, deltas
from orient.variants.verdict import judge
from tests.variants.test_features import HOME, feature, match_features


def judged(first, second, features=(), broken=(None, None), least=None, unchanged=False):
    def values(given):
        return {name: v if isinstance(v, Value) else Value(v, v, v) for name, v in given.items()}

    return judge(
        ("A", "B"),
        deltas(values(first), values(second)),
        features,
        broken=broken,
        least_safety=least,
        unchanged=unchanged,
    )


BRIDGES = match_features(
    [feature("B1", "bridge", 20, (0, 0, 0)), feature("B2", "bridge", 9, (50, 0, 0))], [], HOME, 90
)


def test_sentence_tells_cost_features_and_safety():
    verdict = judged(
        {"cost": 100.0, "safety_factor": 3.1, "score": 0.1},
        {"cost": 62.0, "safety_factor": 2.4, "score": 0.1},
        BRIDGES,
        least=2.0,
    )
    assert verdict.better is True
    assert verdict.sentence == (
        "B is better than A: it costs 38 % less and drops both bridges; its safety factor falls from 3.1 to "
        "2.4, still above 2."
    )


def test_safety_that_falls_counts_where_no_limit_says_what_is_enough():
    first, second = (
        {"cost": 100.0, "safety_factor": 3.1, "score": 0.1},
        {"cost": 99.9, "safety_factor": 2.4, "score": 0.2},
    )
    assert judged(first, second).better is False
    assert judged(first, second, least=2.0).better is None


def test_limit_that_only_one_keeps_decides():
    cheap, dear = {"cost": 1.0, "score": 0.1}, {"cost": 9.0, "score": 0.9}
    assert judged(dear, cheap, broken=(None, "No pose is safe.")).better is False
    assert "no pose is safe" in judged(dear, cheap, broken=(None, "No pose is safe.")).sentence
    assert judged(cheap, dear, broken=("No pose is safe.", None)).better is True


def test_a_design_that_fails_under_its_load_is_not_the_better_one():
    weak = {"cost": 1.0, "safety_factor": 0.8, "score": 0.1}
    strong = {"cost": 9.0, "safety_factor": 1.4, "score": 0.9}
    assert judged(strong, weak).better is False
    assert judged(weak, strong).better is True
    assert judged(weak, strong).sentence.endswith("A does not bear its load.")
    # Between two that fail, or two that bear, it decides nothing.
    weaker = {"cost": 0.5, "safety_factor": 0.76, "score": 0.05}
    said = judged(weak, weaker).sentence
    assert "from 0.80 to 0.76" in said
    assert "; neither A nor B bears its load;" in said
    # What saves and is weaker points both ways: the sentence says what settled it.
    assert said.endswith("by the job's weights B has the better score, 0.050 against 0.100, which decides.")
    assert "bear" not in judged(strong, strong | {"cost": 8.0}).sentence


def test_score_settles_what_points_both_ways():
    first = {"hours": 5.0, "support_needed_mm3": 100.0, "score": 0.30}
    assert judged(first, {"hours": 4.0, "support_needed_mm3": 900.0, "score": 0.25}).better is True
    assert judged(first, {"hours": 4.0, "support_needed_mm3": 900.0, "score": 0.45}).better is False
    assert judged(first, {"hours": 4.0, "support_needed_mm3": 900.0, "score": 0.301}).better is None


def test_same_shape_is_neither_better_nor_worse():
    verdict = judged({"hours": 5.0, "score": 0.3}, {"hours": 5.0, "score": 0.3}, unchanged=True)
    assert verdict.better is None
    assert verdict.sentence == "B is the same shape as A, and builds alike."


@pytest.mark.parametrize(
    ("first", "second", "word"),
    [
        (Value(3.0, 2.0, 4.0), Value(2.0, 1.3, 2.6), "worse"),
        (Value(3.0, 2.0, 4.0), Value(2.9, 1.9, 3.8), "tie"),  # under 5 %
        (Value(3.0, 2.0, 4.0), Value(2.7, 2.1, 3.5), "tie"),  # the ends do not agree
        (Value(3.0, 3.0, 3.0), Value(4.0, 4.0, 4.0), "better"),
    ],
)
def test_difference_inside_the_noise_is_a_tie(first, second, word):
    assert deltas({"safety_factor": first}, {"safety_factor": second})["safety_factor"].word == word

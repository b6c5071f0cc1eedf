import pytest

from orient.errors import OrientError
from orient.ranking.weights import (
    DEFAULT_WEIGHTS,
    NAMES,
    PRESETS,
    check_weights,
    counted_weights,
    read_weights,
)


def typed(text: str) -> dict[str, float]:
    """Weights as the shell uses what was typed."""
    preset, weights = read_weights(text)
    return check_weights(weights, preset)


def test_a_weight_that_is_not_named_keeps_its_default():
    assert typed("support=3, height=0.5") == {**DEFAULT_WEIGHTS, "support": 3.0, "height": 0.5}


def test_a_preset_can_be_changed_in_one_weight():
    assert typed("low-and-quick,load=3") == {**PRESETS["low-and-quick"].weights, "load": 3.0}


def test_what_was_typed_can_be_laid_over_a_brief():
    assert read_weights("first-layer=2") == (None, {"first_layer": 2.0})


def test_only_penalties_that_are_present_count():
    assert counted_weights({"faces": 4}, ["support", "height"]) == {"support": 1.0, "height": 0.5}


@pytest.mark.parametrize("name", PRESETS)
def test_a_preset_weighs_everything_and_leans_on_what_it_says(name):
    weights = PRESETS[name].weights
    assert tuple(weights) == NAMES
    heaviest = {
        "least-support": "support",
        "low-and-quick": "height",
        "strong": "load",
        "smooth": "finish",
        "sure-footed": "first_layer",
    }
    if name in heaviest:
        assert max(weights, key=lambda k: weights[k]) == heaviest[name]
    else:
        assert weights == DEFAULT_WEIGHTS


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("suport=1", "did you mean support?"),
        ("support=-1", "zero or more"),
        ("support=nan", "zero or more"),
        ("support=inf", "zero or more"),
        ("support=much", "write a number"),
        ("support", "support=1"),
        ("support=1,support=2", "given twice"),
        ("strng", "did you mean strong?"),
        ("strong,smooth", "second preset"),
        (" , ", "support=1,height=0.5"),
        ("xyzzy=1", ", ".join(NAMES)),
    ],
)
def test_a_slip_in_the_weights_gets_one_sentence_that_mends_it(text, said):
    with pytest.raises(OrientError) as caught:
        read_weights(text)
    assert said in str(caught.value)


def test_weights_that_all_count_for_nothing_are_refused():
    with pytest.raises(OrientError, match="give one of support, height more than zero"):
        counted_weights({"support": 0, "height": 0}, ["support", "height"])


def test_an_unknown_preset_gets_the_nearest_one():
    with pytest.raises(OrientError, match="did you mean smooth"):
        check_weights({}, "smoth")

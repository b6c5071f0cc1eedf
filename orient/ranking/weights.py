"""How much each penalty counts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite
from types import MappingProxyType

from orient.errors import OrientError

# The three that matter most to the job first: support to remove, height to wait for, strength to lose.
# The figures are a choice of this program, to be changed by whoever knows the job better.
DEFAULT_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "support": 1.0,
        "height": 0.5,
        "load": 1.5,
        "first_layer": 0.15,
        "finish": 0.15,
        "faces": 1.0,
        "cost": 0.0,
        # Hard features count in a second pass over the poses shown.
        "features": 0.0,
    }
)

NAMES = tuple(DEFAULT_WEIGHTS)


@dataclass(frozen=True)
class Preset:
    """A named set of weights.

    Parameters
    ----------
    favours : str
        What the set favours, in words for a help text.
    weights : Mapping[str, float]
        A weight for every penalty.
    """

    favours: str
    weights: Mapping[str, float]


def _preset(favours: str, **changes: float) -> Preset:
    return Preset(favours, MappingProxyType({**DEFAULT_WEIGHTS, **changes}))


PRESETS: Mapping[str, Preset] = MappingProxyType(
    {
        "all-round": _preset("a bit of everything; what is used when nothing is said"),
        "least-support": _preset(
            "as little support as can be, even if the build is taller", support=3.0, height=0.25, load=1.0
        ),
        "low-and-quick": _preset(
            "a low build with little on its first layers to hold it up",
            support=1.0,
            height=2.5,
            load=0.5,
            finish=0.1,
        ),
        "strong": _preset(
            "the load running in the layers, whatever it costs", support=0.5, height=0.25, load=5.0
        ),
        "smooth": _preset(
            "fine steps on slopes and few scars", support=1.5, height=0.25, load=0.5, finish=4.0
        ),
        "sure-footed": _preset(
            "a broad first layer that holds to the bed", support=1.0, height=1.0, load=1.0, first_layer=2.5
        ),
    }
)


def _nearest(word: str, known: Iterable[str]) -> str:
    known = tuple(known)
    close = get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean {close[0]}?" if close else f"the known ones are {', '.join(known)}."


def check_weights(weights: Mapping[str, float] | None, preset: str | None = None) -> dict[str, float]:
    """Complete a set of weights: one that is not named keeps the preset's value, or its default.

    Parameters
    ----------
    weights : Mapping[str, float] or None
        Penalty name to weight. Hyphens may stand for underscores.
    preset : str, optional
        Name of the set to start from.

    Returns
    -------
    dict[str, float]
        A weight for every penalty, in the order of `NAMES`.

    Raises
    ------
    OrientError
        For an unknown name, or a weight that is negative or not a finite number.

    Examples
    --------
    >>> check_weights({"first-layer": 1})["first_layer"]
    1.0
    """
    if preset is not None and preset not in PRESETS:
        raise OrientError(f"There is no preset called {preset!r}: {_nearest(preset, PRESETS)}")
    full = dict(PRESETS[preset].weights if preset else DEFAULT_WEIGHTS)
    for given, value in (weights or {}).items():
        name = given.strip().replace("-", "_")
        if name not in full:
            raise OrientError(f"There is no weight called {given!r}: {_nearest(name, NAMES)}")
        if not isfinite(value) or value < 0:
            raise OrientError(f"The weight {name} is {value:g}: give a number that is zero or more.")
        full[name] = float(value)
    return full


def read_weights(text: str) -> tuple[str | None, dict[str, float]]:
    """Read weights as typed in the shell: a preset, single weights, or a preset with changes.

    Parameters
    ----------
    text : str
        Items joined by commas: at most one preset name, and ``name=number`` items that override it.

    Returns
    -------
    preset : str or None
        The preset that was named.
    weights : dict[str, float]
        The single weights that were named, and no others.

    Raises
    ------
    OrientError
        For a name that is unknown or given twice, a value that is no number or negative, or a second
        preset.

    Examples
    --------
    >>> preset, weights = read_weights("strong, first-layer=1")
    >>> preset, weights
    ('strong', {'first_layer': 1.0})
    >>> check_weights(weights, preset) == {**PRESETS["strong"].weights, "first_layer": 1.0}
    True
    """
    items = [item.strip() for item in text.split(",") if item.strip()]
    if not items:
        raise OrientError("No weights were given: write them like support=1,height=0.5, or name a preset.")
    preset: str | None = None
    weights: dict[str, float] = {}
    for item in items:
        name, equals, number = (piece.strip() for piece in item.partition("="))
        if not equals:
            if name.replace("-", "_") in NAMES:
                raise OrientError(f"The weight {name} has no value: write it like {name}=1.")
            if preset is not None:
                raise OrientError(
                    f"{name} would be a second preset: name one, and change single weights after it."
                )
            preset = name
            continue
        name = name.replace("-", "_")
        if name in weights:
            raise OrientError(f"The weight {name} is given twice: give it once.")
        try:
            weights[name] = float(number)
        except ValueError:
            raise OrientError(f"The weight {name} is {number!r}: write a number, like {name}=1.") from None
    check_weights(weights, preset)
    return preset, weights


def counted_weights(weights: Mapping[str, float] | None, present: Iterable[str]) -> dict[str, float]:
    """Keep the weights of the penalties that exist for this part.

    Parameters
    ----------
    weights : Mapping[str, float] or None
        As for `check_weights`.
    present : iterable of str
        Names of the penalties that were computed.

    Returns
    -------
    dict[str, float]
        The weights that count, in the order of `NAMES`.

    Raises
    ------
    OrientError
        When nothing with a weight above zero is left.
    """
    full = check_weights(weights)
    there = set(present)
    counted = {name: full[name] for name in NAMES if name in there}
    if not sum(counted.values()) > 0:
        raise OrientError(
            f"Every weight that counts here is zero: give one of {', '.join(counted)} more than zero."
        )
    return counted

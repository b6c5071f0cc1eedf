"""How safe a pose is under its load cases, where it is weakest and how it would fail there, in words."""

from collections.abc import Mapping, Sequence
from math import isfinite

from orient.ranking.facts import Numbers

# Safety factors, and shares of strength, closer than this are shown as the same.
SAME = 0.02


def safety_note(
    safety: Mapping[str, float], place_mm: Sequence[float], case: str, between_layers: bool
) -> tuple[str, Numbers]:
    """Say where a pose is weakest, how it would fail there, and how far it is from that.

    Parameters
    ----------
    safety : Mapping[str, float]
        ``safety_factor``, ``safety_factor_low`` (NaN where the polymer's spread is not known).
    place_mm : sequence of 3 float
        The weakest place, file coordinates.
    case : str
        Name of the load case that governs.
    between_layers : bool
        True where layers would part, False where they would tear.

    Returns
    -------
    tuple of str and dict
        The sentence and the figures in it.

    Examples
    --------
    >>> figures = {"safety_factor": 2.06, "safety_factor_low": 1.88}
    >>> print(safety_note(figures, (-8.18, -6.0, 17.9), "gust", True)[0])
    It is weakest at (−8.2, −6.0, 17.9) mm under "gust", where its layers would part: safety factor 2.06, or \
1.88 with the least strengths that the sources give.
    """
    factor, low = float(safety["safety_factor"]), float(safety["safety_factor_low"])
    figures: Numbers = {
        "safety_factor": factor,
        "safety_factor_low": low if isfinite(low) else None,
        "weakest_at_mm": [float(x) for x in place_mm],
        "governing_case": case,
        "fails_by": "between layers" if between_layers else "within layers",
    }
    at = _at(place_mm)
    fails = "its layers would part" if between_layers else "it would tear within its layers"
    least = f", or {low:.2f} with the least strengths that the sources give" if isfinite(low) else ""
    return (
        f'It is weakest at ({at}) mm under "{case}", where {fails}: safety factor {factor:.2f}{least}.',
        figures,
    )


def axis_note(
    taken: tuple[int, Mapping[str, float]],
    by_axis: tuple[int, Mapping[str, float]],
    place_mm: Sequence[float],
    case: str,
    between_layers: bool,
) -> tuple[str, Numbers]:
    """Say what the stress axis alone would have chosen, and why the load cases say otherwise.

    Parameters
    ----------
    taken, by_axis : tuple of int and Mapping[str, float]
        Rank from 1, with ``safety_factor`` and ``axis_strength_retained``, of the pose to take and of the one
        that the stress axis alone would choose.
    place_mm, case, between_layers
        Of the latter, as for `safety_note`.

    Returns
    -------
    tuple of str and dict
        The sentence and the figures in it.
    """
    (rank, _), (other, _) = taken, by_axis
    figures = _side_by_side(taken, by_axis, "by_axis", place_mm)
    if other == rank:
        return "The stress axis alone would choose the same pose.", figures
    kept = figures["strength_retained_by_axis_percent"]
    said = (
        f"The stress axis alone would choose pose {other}, as it keeps {kept:.0f} % of the strength along "
        "that axis. "
    )
    ratio = figures["safety_factor"] / figures["safety_factor_by_axis"]
    pair = f"{figures['safety_factor']:.2f} against {figures['safety_factor_by_axis']:.2f}"
    first = _first_fault(place_mm, case, between_layers)
    if ratio > 1.0 + SAME:
        said += (
            f"{first[0].upper()}{first[1:]}, which the axis does not see: safety "
            f"factor {figures['safety_factor_by_axis']:.2f}, where the pose to take has "
            f"{figures['safety_factor']:.2f}."
        )
    elif ratio < 1.0 - SAME:
        said += f"It is the safer one ({pair}), but what it costs otherwise outweighs that."
    else:
        said += f"The two are as safe as each other ({pair}); they differ in the rest of the score."
    return said, figures


def unseen_note(
    taken: tuple[int, Mapping[str, float]],
    unseen: tuple[int, Mapping[str, float]],
    place_mm: Sequence[float],
    case: str,
    between_layers: bool,
) -> tuple[str, Numbers]:
    """Say of which pose the stress axis promises more than the load cases leave.

    Parameters
    ----------
    taken, unseen : tuple of int and Mapping[str, float]
        Rank from 1, with ``safety_factor`` and ``axis_strength_retained``, of the pose to take and of the one
        whose weakness the axis does not see.
    place_mm, case, between_layers
        Of the latter, as for `safety_note`.

    Returns
    -------
    tuple of str and dict
        The sentence and the figures in it.

    Examples
    --------
    >>> flat = {"safety_factor": 2.8, "axis_strength_retained": 1.0}
    >>> up = {"safety_factor": 2.2, "axis_strength_retained": 1.0}
    >>> print(unseen_note((1, flat), (13, up), (-8, 6, 18), "gust", True)[0])
    What the axis does not see: pose 13 keeps 100 % of its strength along it, but under "gust" its layers \
part at (−8.0, 6.0, 18.0) mm first: safety factor 2.20, where the pose to take has 2.80.
    """
    figures = _side_by_side(taken, unseen, "unseen", place_mm)
    return (
        f"What the axis does not see: pose {unseen[0]} keeps "
        f"{figures['strength_retained_unseen_percent']:.0f} % of its strength along it, but "
        f"{_first_fault(place_mm, case, between_layers)}: safety factor "
        f"{figures['safety_factor_unseen']:.2f}, where the pose to take has {figures['safety_factor']:.2f}."
    ), figures


def _side_by_side(
    taken: tuple[int, Mapping[str, float]],
    other: tuple[int, Mapping[str, float]],
    name: str,
    place_mm: Sequence[float],
) -> Numbers:
    """The figures of the pose to take and of another, whose keys end in a name of its own."""
    (rank, mine), (rank_of_other, theirs) = taken, other
    return {
        "rank": rank,
        f"rank_{name}": rank_of_other,
        "safety_factor": float(mine["safety_factor"]),
        f"safety_factor_{name}": float(theirs["safety_factor"]),
        f"strength_retained_{name}_percent": 100.0 * float(theirs["axis_strength_retained"]),
        "weakest_at_mm": [float(x) for x in place_mm],
    }


def _first_fault(place_mm: Sequence[float], case: str, between_layers: bool) -> str:
    fails = "its layers part" if between_layers else "it tears within its layers"
    return f'under "{case}" {fails} at ({_at(place_mm)}) mm first'


def _at(place_mm: Sequence[float]) -> str:
    return ", ".join(f"{x:.1f}".replace("-0.0", "0.0").replace("-", "−") for x in place_mm)


def failing_words(factor: float, low: float) -> str:
    """Say that a pose fails under its load, or may; empty where it bears it.

    Parameters
    ----------
    factor, low : float
        Its safety factor, and that with the least strengths that the sources give (NaN where not known).

    Returns
    -------
    str

    Examples
    --------
    >>> failing_words(2.06, 1.88)
    ''
    >>> failing_words(0.59, 0.18).partition(":")[0]
    'It is expected to fail under its load'
    """
    mend = "load it less, or make it thicker, fuller or of a stronger polymer."
    if factor < 1.0:
        return (
            f"It is expected to fail under its load: the pose to take has a safety factor of {factor:.2f}, "
            f"which is below 1; {mend}"
        )
    if low < 1.0:
        return (
            f"It may fail under its load: the safety factor of the pose to take is {factor:.2f}, but "
            f"{low:.2f} with the least strengths that the sources give; {mend}"
        )
    return ""

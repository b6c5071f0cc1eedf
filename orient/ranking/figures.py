"""How a figure is put into words."""

from collections.abc import Sequence
from math import floor, isfinite, log10


def decimals(value: float, unit: str) -> int:
    """Decimals that a figure of this unit and size deserves."""
    size = abs(value)
    match unit:
        case "mm³" | "mm²":
            return 0 if size >= 100 else 1
        case "mm":
            return 1 if size >= 1 else 3
        case "%" | "":
            return 0
        case "factor":
            return 2
        case "money":
            return 2
        case "weight":
            return min(6, max(0, 2 - floor(log10(size)))) if size > 0 else 0
        case _:
            return 3


def figure(value: float, unit: str) -> str:
    """Write a figure without its unit.

    Examples
    --------
    >>> figure(1240.4, "mm³"), figure(38.16, "mm"), figure(0.0412, "mm"), figure(0.4213, "weight")
    ('1,240', '38.2', '0.041', '0.421')
    """
    return f"{value:,.{decimals(value, unit)}f}"


def plain(value: float) -> str:
    """Write a figure as a person typed it: ``1``, ``0.25``.

    Examples
    --------
    >>> plain(1.0), plain(0.25), plain(1500.0)
    ('1', '0.25', '1,500')
    """
    for places in range(7):
        text = f"{value:,.{places}f}"
        if float(text.replace(",", "")) == value:
            return text
    return text


def apart(a: float, b: float, unit: str) -> tuple[str, str] | None:
    """Write two figures with as many decimals as it takes to tell them apart.

    Returns
    -------
    tuple[str, str] or None
        None when four decimals more than usual do not tell them apart.

    Examples
    --------
    >>> apart(38.2, 41.4, "mm")
    ('38.2', '41.4')
    >>> apart(200.03, 200.0, "mm")
    ('200.03', '200.00')
    >>> apart(1.0, 1.0, "mm") is None
    True
    """
    least = decimals(max(abs(a), abs(b)), unit)
    for places in range(least, least + 5):
        pair = f"{a:,.{places}f}", f"{b:,.{places}f}"
        if pair[0] != pair[1]:
            return pair
    return None


def differ(a: float, b: float, unit: str) -> bool:
    """Whether two figures differ as they are usually shown.

    Examples
    --------
    >>> differ(99.6, 99.8, "%"), differ(98.2, 99.8, "%")
    (False, True)
    """
    places = decimals(max(abs(a), abs(b)), unit)
    return f"{a:.{places}f}" != f"{b:.{places}f}"


def listing(items: Sequence[str], last: str = "and") -> str:
    """Join words as a sentence does.

    Examples
    --------
    >>> listing(["a", "b", "c"])
    'a, b and c'
    """
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {last} {items[-1]}"


def number_or_none(value: float) -> float | None:
    """Give a float that JSON can hold: None stands for a bound that does not exist."""
    return float(value) if isfinite(value) else None

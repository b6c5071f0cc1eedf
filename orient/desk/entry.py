"""A line of the job: words for what it names, and a button that takes it away; the vectors in it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

from nicegui import ui

from orient.desk.answers import Vector

_FIELDS = {
    "layer_height_mm": "Layer height",
    "line_width_mm": "Line width",
    "nozzle_mm": "Nozzle",
    "min_safety_factor": "the least safety factor",
    "max_deflection_mm": "the largest deflection",
    "max_height_mm": "the greatest height",
    "min_strength_retained": "the least strength kept",
}


def entry(words: str, remove: Callable[[], Any]) -> None:
    """A line that says what the job names, with a button that takes it away."""
    with ui.element("div").classes("entry"):
        ui.label(words)
        remove_button(remove, words)


def remove_button(remove: Callable[[], Any], what: str) -> None:
    """Take something away; what that is, is said to those who hear the page."""
    ui.button("Remove", on_click=remove).props("flat dense no-caps size=sm").props["aria-label"] = (
        f"Remove {what}"
    )


def selector_words(selector: str) -> str:
    """A selector as a list shows it.

    >>> selector_words("hole-near:-27,0,3")
    'hole near −27, 0, 3'
    >>> selector_words("plane:0,-1,0,26")
    'faces at y = −26'
    """
    kind, _, rest = selector.partition(":")
    if kind == "group":
        return f"faces of the group {rest}"
    numbers = rest.replace(",", ", ").replace("-", "−")
    if kind == "plane":
        return _plane_words(rest) or f"faces of the plane {numbers}"
    return f"{kind.replace('-', ' ')} {numbers}"


def _plane_words(rest: str) -> str:
    """Where faces of a plane lie that faces along an axis; empty for others, and for what is no plane."""
    try:
        *normal, distance = (float(one) for one in rest.split(","))
    except ValueError:
        return ""
    along = [k for k, value in enumerate(normal) if value]
    if len(normal) != 3 or len(along) != 1:
        return ""
    return f"faces at {'xyz'[along[0]]} = {vector_words([distance / normal[along[0]] + 0.0])}"


def as_fields(said: str) -> str:
    """A sentence with the fields of the job for the keys of a brief, and without what only a shell can do.

    >>> as_fields("It was probably drawn in inches (--units in).")
    'It was probably drawn in inches.'
    >>> as_fields("[process] line_width_mm is 60 but the nozzle is 0.4 mm.")
    'Line width is 60 but the nozzle is 0.4 mm.'
    >>> as_fields('selector "face-near:0,0,4" finds no face with an area; mend the mesh.')
    'The face near 0, 0, 4 finds no face with an area; mend the mesh.'
    """
    said = re.sub(
        r'[Ss]elector "([^"]+)"',
        lambda found: f"{'the' if found.start() else 'The'} {selector_words(found[1])}",
        said,
    )
    again = ": take it away under Job, and click it again nearer its middle"
    said = said.replace("; move the point into one of them", again)
    said = said.replace("ive infill in [process]", "ive the Fill, under Job,").replace("[process] ", "")
    for key, words in _FIELDS.items():
        said = said.replace(key, words)
    return re.sub(r" \(--[^)]*\)", "", said)


def vector_words(vector: Sequence[float]) -> str:
    """A vector as a list shows it.

    >>> vector_words((0, 0.5, -1.0))
    '0, 0.5, −1'
    """
    return ", ".join(f"{value:g}" for value in vector).replace("-", "−")


def unit_of(vector: Sequence[float]) -> Vector:
    """The same way, of length one."""
    length = math.hypot(*vector) or 1.0
    x, y, z = (value / length for value in vector)
    return x, y, z


def scaled(vector: Vector, by: float) -> Vector:
    """A vector that many times as long, as a brief keeps it: to six digits."""
    x, y, z = (round(value * by, 6) + 0.0 for value in vector)
    return x, y, z


def rounded(vector: Vector) -> Vector:
    """A vector to three digits, to be read."""
    x, y, z = (round(value, 3) + 0.0 for value in vector)
    return x, y, z

"""Letters of single strokes, thick enough to print: ids on test prints."""

from __future__ import annotations

from itertools import pairwise

import manifold3d
import numpy as np

# Strokes on a grid of 2 wide by 4 high, each a list of corners. Our own plain alphabet.
_STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "A": (((0, 0), (0, 3), (1, 4), (2, 3), (2, 0)), ((0, 2), (2, 2))),
    "B": (((0, 0), (0, 4), (1.6, 4), (2, 3.2), (1.6, 2), (0, 2)), ((1.6, 2), (2, 1), (1.6, 0), (0, 0))),
    "C": (((2, 4), (0.6, 4), (0, 3.3), (0, 0.7), (0.6, 0), (2, 0)),),
    "D": (((0, 0), (0, 4), (1.3, 4), (2, 3), (2, 1), (1.3, 0), (0, 0)),),
    "F": (((0, 0), (0, 4), (2, 4)), ((0, 2), (1.5, 2))),
    "G": (((2, 4), (0.6, 4), (0, 3.3), (0, 0.7), (0.6, 0), (2, 0), (2, 2), (1.2, 2)),),
    "H": (((0, 0), (0, 4)), ((2, 0), (2, 4)), ((0, 2), (2, 2))),
    "K": (((0, 0), (0, 4)), ((2, 4), (0, 2), (2, 0))),
    "L": (((0, 4), (0, 0), (2, 0)),),
    "M": (((0, 0), (0, 4), (1, 2.2), (2, 4), (2, 0)),),
    "N": (((0, 0), (0, 4), (2, 0), (2, 4)),),
    "O": (((0, 0), (0, 4), (2, 4), (2, 0), (0, 0)),),
    "P": (((0, 0), (0, 4), (1.6, 4), (2, 3.2), (1.6, 2), (0, 2)),),
    "R": (((0, 0), (0, 4), (1.6, 4), (2, 3.2), (1.6, 2), (0, 2)), ((0.8, 2), (2, 0))),
    "S": (((2, 4), (0, 4), (0, 2), (2, 2), (2, 0), (0, 0)),),
    "T": (((0, 4), (2, 4)), ((1, 4), (1, 0))),
    "V": (((0, 4), (1, 0), (2, 4)),),
    "W": (((0, 4), (0.4, 0), (1, 2), (1.6, 0), (2, 4)),),
    "X": (((0, 0), (2, 4)), ((0, 4), (2, 0))),
    "Z": (((0, 4), (2, 4), (0, 0), (2, 0)),),
    "0": (((0, 0.7), (0, 3.3), (0.7, 4), (1.3, 4), (2, 3.3), (2, 0.7), (1.3, 0), (0.7, 0), (0, 0.7)),),
    "1": (((0.3, 3.2), (1.2, 4), (1.2, 0)),),
    "2": (((0, 4), (2, 4), (2, 2.3), (0, 0), (2, 0)),),
    "3": (((0, 4), (2, 4), (2, 0), (0, 0)), ((0.6, 2), (2, 2))),
    "4": (((1.5, 0), (1.5, 4), (0, 1.2), (2, 1.2)),),
    "5": (((2, 4), (0, 4), (0, 2.2), (2, 2.2), (2, 0), (0, 0)),),
    "6": (((2, 4), (0, 3), (0, 0), (2, 0), (2, 2), (0, 2)),),
    "7": (((0, 4), (2, 4), (0.7, 0)),),
    "8": (((0, 0), (0, 4), (2, 4), (2, 0), (0, 0)), ((0, 2), (2, 2))),
    "9": (((0, 0), (2, 1), (2, 4), (0, 4), (0, 2), (2, 2)),),
    ".": (((1, 0), (1, 0.1)),),
}
STROKE_MM = 0.9
HEIGHT_MM = 4.0
_STEP = 1.45  # from one letter to the next, widths of a letter


def text_width_mm(text: str, height_mm: float = HEIGHT_MM) -> float:
    """Width of a text, strokes counted.

    >>> round(text_width_mm("B1"), 2)
    5.8
    """
    unit = height_mm / 4.0
    return (len(text) - 1) * 2 * unit * _STEP + 2 * unit + STROKE_MM if text else 0.0


def letters(text: str, raised_mm: float, height_mm: float = HEIGHT_MM) -> manifold3d.Manifold:
    """Give a text as a solid that stands on z = 0, its lower left corner at 0, 0.

    Parameters
    ----------
    text : str
        Capitals, digits and points; others are left out.
    raised_mm : float
        How high it is raised.
    height_mm : float
        Height of a letter between the middles of its strokes.

    Returns
    -------
    manifold3d.Manifold
    """
    unit, half = height_mm / 4.0, STROKE_MM / 2.0
    solids = []
    for k, letter in enumerate(text.upper()):
        shift = np.array([k * 2 * unit * _STEP + half, half])
        for stroke in _STROKES.get(letter, ()):
            corners = np.array(stroke) * unit + shift
            for a, b in pairwise(corners):
                along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9) * half
                across = np.array([-along[1], along[0]])
                ring = [a - along - across, b + along - across, b + along + across, a - along + across]
                solids.append(manifold3d.CrossSection([np.array(ring)]).extrude(raised_mm))
    return (
        manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add) if solids else manifold3d.Manifold()
    )

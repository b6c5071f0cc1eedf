"""Units of length: what a file's numbers mean in millimetres, and when that looks wrong.

STL, OBJ, PLY and OFF hold bare numbers. The reader is told the unit; this module knows the
factors and says when another unit would make a likelier part.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError

# Exact by definition: the international inch is 25.4 mm, the foot 12 inches (ISO 80000-3).
MM_PER = {"um": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

_SPELLINGS = {
    "um": ("um", "µm", "μm", "micron", "microns", "micrometre", "micrometer", "micrometres", "micrometers"),
    "mm": ("mm", "millimetre", "millimeter", "millimetres", "millimeters"),
    "cm": ("cm", "centimetre", "centimeter", "centimetres", "centimeters"),
    "m": ("m", "metre", "meter", "metres", "meters"),
    "in": ("in", "inch", "inches", '"', "″"),
    "ft": ("ft", "foot", "feet"),
}
_UNIT_OF = {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings}
_WORD = {
    "um": "micrometres",
    "mm": "millimetres",
    "cm": "centimetres",
    "m": "metres",
    "in": "inches",
    "ft": "feet",
}

# Common practice, no source: parts laid on a desktop or workshop machine are rarely smaller or larger.
SMALLEST_LIKELY_MM = 5.0
LARGEST_LIKELY_MM = 2000.0
# Common practice, no source: on a part smaller than this, holes finer than any screw's are doubted.
SMALL_WITH_HOLES_MM = 20.0

# ISO 273:1979 clearance holes, fine, medium and coarse, M2 to M20 (table in the standard), and
# ISO 261 nominal thread diameters with their tap drills d − P for the coarse pitch.
_CLEARANCE_MM = (
    (2.2, 2.4, 2.6),
    (2.7, 2.9, 3.1),
    (3.2, 3.4, 3.6),
    (3.7, 3.9, 4.2),
    (4.3, 4.5, 4.8),
    (5.3, 5.5, 5.8),
    (6.4, 6.6, 7.0),
    (8.4, 9.0, 10.0),
    (10.5, 11.0, 12.0),
    (13.0, 13.5, 14.5),
    (15.0, 15.5, 16.5),
    (17.0, 17.5, 18.5),
    (19.0, 20.0, 21.0),
    (21.0, 22.0, 24.0),
)
_THREAD_MM = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0)
_TAP_DRILL_MM = (1.6, 2.05, 2.5, 2.9, 3.3, 4.2, 5.0, 6.8, 8.5, 10.2, 12.0, 14.0, 15.5, 17.5)
STANDARD_HOLES_MM = np.unique(np.array([*sum(_CLEARANCE_MM, ()), *_THREAD_MM, *_TAP_DRILL_MM]))


def canonical_unit(name: str) -> str:
    """Give the short name of a unit of length.

    Parameters
    ----------
    name : str
        A unit in one of its common spellings, in any case.

    Returns
    -------
    str
        One of ``um``, ``mm``, ``cm``, ``m``, ``in``, ``ft``.

    Raises
    ------
    OrientError
        If the spelling is not known.

    Examples
    --------
    >>> canonical_unit("Inches")
    'in'
    """
    try:
        return _UNIT_OF[str(name).strip().lower()]
    except KeyError:
        raise OrientError(f"The unit '{name}' is not known: use one of mm, cm, m, in, ft or um.") from None


def unit_word(unit: str) -> str:
    """Give the plural word for a canonical unit, for sentences.

    Parameters
    ----------
    unit : str
        A canonical unit.

    Returns
    -------
    str
        For example ``inches`` for ``in``.
    """
    return _WORD[unit]


def likely_unit(
    extents: NDArray[np.float64], unit: str, circles: NDArray[np.float64] | None = None
) -> tuple[str, str] | None:
    """Say which unit a file was probably drawn in, when it is not the one it was read in.

    Three signs are weighed, strongest first:

    1. *Size.* A largest extent under 5 mm or over 2000 mm is unlikely; the first of
       millimetres, inches, centimetres, metres and micrometres that brings it back into that range is named.
    2. *Holes.* Read as mm, the circular edges become sizes of ISO 273 or ISO 261 (within 0.02 mm)
       at × 25.4, at least half of them and more than do as read. On a part under 20 mm, several edges
       that are all too small for an M2 thread, and all standard at × 10, speak for centimetres.
    3. *Inch fractions.* All extents, or most circles, are whole sixty-fourths of the file's unit,
       and at least one of them is no whole twentieth: 1.375 is a length people draw in inches,
       not in millimetres. Only where × 25.4 leaves the part smaller than 1 m.

    Parameters
    ----------
    extents : (3,) float64
        Size of the bounding box in the file's own numbers.
    unit : str
        Canonical unit that the file was read in.
    circles : (C,) float64, optional
        Distinct diameters of circular edges in the file's own numbers.

    Returns
    -------
    tuple of (str, str) or None
        The likelier unit and the reason as a clause, or None when the unit is plausible.
    """
    largest = float(np.max(extents))
    size_mm = largest * MM_PER[unit]
    if not SMALLEST_LIKELY_MM <= size_mm <= LARGEST_LIKELY_MM:
        size_words = f"{size_mm:,.0f}" if size_mm >= 100 else f"{size_mm:.4g}"
        for other in ("mm", "in", "cm", "m", "um"):
            if other != unit and SMALLEST_LIKELY_MM <= largest * MM_PER[other] <= LARGEST_LIKELY_MM:
                return other, f"its largest side would be {size_words} mm"
        return None
    if unit != "mm" or largest * MM_PER["in"] > LARGEST_LIKELY_MM / 2:
        return None
    circles = np.empty(0) if circles is None else np.asarray(circles, dtype=np.float64)
    if len(circles):
        as_inches = _standard(circles * MM_PER["in"])
        if as_inches * 2 >= len(circles) and as_inches > _standard(circles):
            return "in", f"{as_inches} of its {len(circles)} sizes of round edge fit standard holes at × 25.4"
        too_fine = largest < SMALL_WITH_HOLES_MM and circles.max() < STANDARD_HOLES_MM[0]
        if too_fine and len(circles) >= 2 and _standard(circles * MM_PER["cm"]) == len(circles):
            return (
                "cm",
                f"its {len(circles)} sizes of round edge, too fine for a screw, fit standard holes at × 10",
            )
    if _inch_fractions(extents, share=1.0):
        return "in", "its sides are whole fractions of an inch"
    if len(circles) >= 2 and _inch_fractions(circles, share=0.75):
        return "in", "its round edges are whole fractions of an inch"
    return None


def _standard(diameters_mm: NDArray[np.float64]) -> int:
    """Count the diameters within 0.02 mm of a standard hole."""
    gap = np.abs(diameters_mm[:, None] - STANDARD_HOLES_MM[None, :]).min(axis=1)
    return int(np.count_nonzero(gap <= 0.02))


def _inch_fractions(lengths: NDArray[np.float64], share: float) -> bool:
    """Tell whether lengths are sixty-fourths, not all of them twentieths (float32 rounding allowed)."""
    slack = 1e-5 * max(1.0, float(np.max(np.abs(lengths))))
    off_64ths = np.abs(lengths * 64 - np.round(lengths * 64)) / 64
    off_20ths = np.abs(lengths * 20 - np.round(lengths * 20)) / 20
    fractions = off_64ths <= slack
    return bool(fractions.mean() >= share and np.any(fractions & (off_20ths > slack)))

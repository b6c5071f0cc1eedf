"""Which metric screws a hole is drawn for: clearance holes of ISO 273, tap drills of ISO 261 threads."""

from __future__ import annotations

# Nominal size: tap drill, then clearance fine (H12), medium (H13), coarse (H14), mm. Clearances are those of
# ISO 273:1979; tap drills are the diameter less the coarse pitch of ISO 261, rounded to stock drills. Some
# lists give 14/15, 16/17 and 18/19 as medium and coarse for M12 to M16.
SIZES = {
    "M2": (1.6, 2.2, 2.4, 2.6),
    "M2.5": (2.05, 2.7, 2.9, 3.1),
    "M3": (2.5, 3.2, 3.4, 3.6),
    "M3.5": (2.9, 3.7, 3.9, 4.2),
    "M4": (3.3, 4.3, 4.5, 4.8),
    "M5": (4.2, 5.3, 5.5, 5.8),
    "M6": (5.0, 6.4, 6.6, 7.0),
    "M8": (6.8, 8.4, 9.0, 10.0),
    "M10": (8.5, 10.5, 11.0, 12.0),
    "M12": (10.2, 13.0, 13.5, 14.5),
    "M14": (12.0, 15.0, 15.5, 16.5),
    "M16": (14.0, 17.0, 17.5, 18.5),
    "M18": (15.5, 19.0, 20.0, 21.0),
    "M20": (17.5, 21.0, 22.0, 24.0),
}
_NAMES = ("tap drill", "clearance, fine", "clearance, medium", "clearance, coarse")
WITHIN_MM = 0.1
# Head of a socket head cap screw (ISO 4762, its greatest diameter) and the usual counterbore for it
# (DIN 974-1, row 1), mm, from memory.
HEADS = {
    "M2": (3.8, 4.3),
    "M2.5": (4.5, 5.0),
    "M3": (5.5, 6.5),
    "M4": (7.0, 8.0),
    "M5": (8.5, 10.0),
    "M6": (10.0, 11.0),
    "M8": (13.0, 15.0),
    "M10": (16.0, 18.0),
    "M12": (18.0, 20.0),
    "M16": (24.0, 26.0),
    "M20": (30.0, 33.0),
}
# A counterbore may be so much wider than the usual one, as for a washer under the head.
WIDER_MM = 1.5


def fits_of(diameter_mm: float) -> tuple[str, ...]:
    """Name the metric sizes that a hole's diameter matches within 0.1 mm.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm.

    Returns
    -------
    tuple of str
        The nearest first.

    Examples
    --------
    >>> fits_of(3.4)
    ('M3 clearance, medium', 'M4 tap drill')
    >>> fits_of(6.6)
    ('M6 clearance, medium',)
    """
    matches = [
        (abs(size - diameter_mm), f"{screw} {name}")
        for screw, sizes in SIZES.items()
        for name, size in zip(_NAMES, sizes, strict=True)
        # Meshes are stored to some hundred-thousandths of a millimetre.
        if abs(size - diameter_mm) <= WITHIN_MM + 1e-4
    ]
    return tuple(name for _, name in sorted(matches, key=lambda match: round(match[0], 6)))


def counterbores_of(diameter_mm: float, through_mm: float) -> tuple[str, ...]:
    """Name the heads that the wide step of a stepped hole takes, of screws that the narrow one is drawn for.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the wide step, mm.
    through_mm : float
        Diameter of the narrow one, mm.

    Returns
    -------
    tuple of str
        The screw that fits the narrow hole nearest first; empty where no head fits.

    Examples
    --------
    >>> counterbores_of(10.0, 5.5)
    ('M5 head, counterbore',)
    >>> counterbores_of(5.0, 4.2)
    ()
    """
    screws = dict.fromkeys(name.split()[0] for name in fits_of(through_mm) if "clearance" in name)
    return tuple(
        f"{screw} head, counterbore"
        for screw in screws
        if screw in HEADS and HEADS[screw][0] <= diameter_mm <= HEADS[screw][1] + WIDER_MM
    )

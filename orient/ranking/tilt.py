"""Whether a pose sits close to the overhang limit."""

from orient.ranking.facts import Numbers
from orient.ranking.figures import figure

# A pose is called touchy when laying it 1° askew raises its support by more than this share ...
TOUCHY_SHARE = 0.10
# ... and by more than this share of the hull's volume: a little more of next to nothing is no news.
TOUCHY_HULL_SHARE = 0.001


def tilt_note(support_mm3: float, tilted_mm3: float, hull_mm3: float) -> tuple[str, Numbers] | None:
    """Say that a small tilt would raise a pose's support, when it would.

    Parameters
    ----------
    support_mm3 : float
        Support volume of the pose.
    tilted_mm3 : float
        Largest support volume when it is laid 1° askew.
    hull_mm3 : float
        Volume of the part's hull.

    Returns
    -------
    tuple of str and dict, or None
        The sentence and the figures in it.
    """
    rise = tilted_mm3 - support_mm3
    if rise <= TOUCHY_SHARE * support_mm3 or rise <= TOUCHY_HULL_SHARE * hull_mm3:
        return None
    said = (
        "Lay it carefully: 1° askew, faces close to the overhang limit would pass it and need up to "
        f"{figure(rise, 'mm³')} mm³ more support."
    )
    return said, {"tilt_deg": 1.0, "support_volume_mm3": support_mm3, "support_added_mm3": rise}

"""How much a pose tends to lift its corners: a published model, and what it can and cannot rank.

T.-M. Wang, J.-T. Xi, Y. Jin, A model research for prototype warp deformation in the FDM process, Int. J. Adv.
Manuf. Technol. 33, 2007, 1087–1096, doi:10.1007/s00170-006-0556-9 (formula from memory; it equals
Timoshenko's bimetal strip, J. Opt. Soc. Am. 11, 1925, with equal moduli and one shrinking layer on n − 1
relaxed ones)::

    R = n³·Δh / (6·α·(Tg − Te)·(n − 1))        δ = R·(1 − cos(L / 2R))

There is no bed in it, no stress relief and no shrinkage across the strip. It says that the lift goes with the
square of the length on the bed and with α·(Tg − Te), so it ranks **footprints** and **polymers**. It falls
steadily with the number of layers, while A. Armillotta, M. Bellotti, M. Cavallaro (Robot. Comput.-Integr.
Manuf., doi:10.1016/j.rcim.2017.09.007) measured a maximum at middling heights: so it **cannot rank heights**.
Poses are therefore compared at one height, 5 mm, by which most corners have lifted or hold; the figure is an
index in mm, not a forecast.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.materials.properties import Properties
from orient.process import BRIM_MM

Floats = NDArray[np.float64]

# Height at which poses are compared, mm. This program's own choice.
AT_HEIGHT_MM = 5.0
ROOM_C = 23.0
# Air in a closed machine without chamber heating, warmed by its bed, °C. Common practice, no source.
CLOSED_C = 40.0

# Index from which a brim is advised, and a wide one; and the width of that, mm. Common practice, no source.
BRIM_FROM_MM = 0.3
WIDE_BRIM_FROM_MM = 1.0
WIDE_BRIM_MM = 10.0
# A part this many times as high as its footprint's narrow side is held by a brim as well. Common practice.
SLENDER = 5.0


def corner_lift_mm(
    length_mm: ArrayLike,
    layers: ArrayLike,
    layer_mm: float,
    expansion_per_k: float,
    glass_c: float,
    around_c: float,
) -> Floats:
    """Lift of the corners of a free strip.

    Parameters
    ----------
    length_mm : array_like
        Length of the section on the bed, mm.
    layers : array_like
        Layers laid, at least 2.
    layer_mm : float
        Height of a layer, mm.
    expansion_per_k : float
        Linear expansion, 1/K.
    glass_c, around_c : float
        Glass transition and temperature of the surroundings, °C.

    Returns
    -------
    float64
        Lift, mm; 0 where the surroundings are as warm as the glass transition. A strip that would roll up
        beyond a half turn is given the lift of the half turn.

    Examples
    --------
    Layers of 0.25 mm, 100 mm long, 90e-6/K, 30 K below the glass transition:

    >>> corner_lift_mm(100, [2, 5, 10, 20, 40], 0.25, 9e-5, 100, 70).round(4)
    array([9.9874, 2.5897, 0.7289, 0.1924, 0.0494])
    """
    n = np.asarray(layers, dtype=np.float64)
    length = np.asarray(length_mm, dtype=np.float64)
    cooling = max(glass_c - around_c, 0.0)
    curvature = 6.0 * expansion_per_k * cooling * (n - 1.0) / (n**3 * layer_mm)
    half_turn = np.minimum(length * curvature / 2.0, math.pi)
    with np.errstate(divide="ignore", invalid="ignore"):
        lift = (1.0 - np.cos(half_turn)) / curvature
    return np.where(curvature > 0.0, lift, 0.0)


def curl_index_mm(
    length_mm: ArrayLike, polymer: Properties, layer_mm: float, chamber_c: float, *, enclosed: bool = False
) -> Floats:
    """Tendency of poses to lift their corners, all at one height.

    Parameters
    ----------
    length_mm : array_like
        Longest side of each pose's footprint, mm.
    polymer : Properties
        Expansion and glass transition.
    layer_mm : float
        Height of a layer, mm.
    chamber_c : float
        Temperature the chamber is heated to, °C; 0 when it is not.
    enclosed : bool
        Whether the machine is closed.

    Returns
    -------
    float64
        Index, mm; NaN where there is no data on the polymer.
    """
    length = np.asarray(length_mm, dtype=np.float64)
    if polymer.cte_per_mk is None or polymer.glass_c is None:
        return np.full(length.shape, np.nan)
    glass = polymer.glass_c.nominal
    around = max(chamber_c, CLOSED_C if enclosed else ROOM_C)
    if polymer.chamber_c is not None:
        # A chamber is not driven hotter than the polymer wants.
        around = min(around, max(polymer.chamber_c.nominal, CLOSED_C))
    if polymer.surroundings.word == "cool":
        around = ROOM_C
    layers = max(AT_HEIGHT_MM / layer_mm, 2.0)
    return corner_lift_mm(length, layers, layer_mm, polymer.cte_per_mk.nominal * 1e-6, glass, around)


def brim_mm(index_mm: float, height_mm: float, narrow_mm: float) -> tuple[float, str]:
    """Advise a brim.

    Parameters
    ----------
    index_mm : float
        From `curl_index_mm`; NaN where there is no data.
    height_mm, narrow_mm : float
        Build height, and the narrow side of the footprint.

    Returns
    -------
    width : float
        Width in mm; 0 for none.
    reason : str
        Why, in one sentence; empty for none.

    Examples
    --------
    >>> brim_mm(1.7, 20.0, 60.0)[0], brim_mm(0.01, 20.0, 60.0)[0]
    (10.0, 0.0)
    """
    if index_mm >= WIDE_BRIM_FROM_MM:
        return (
            WIDE_BRIM_MM,
            f"Corners tend to lift (index {index_mm:.2f} mm): lay a brim of {WIDE_BRIM_MM:g} mm.",
        )
    if index_mm >= BRIM_FROM_MM:
        return BRIM_MM, f"Corners may lift (index {index_mm:.2f} mm): lay a brim of {BRIM_MM:g} mm."
    if narrow_mm > 0.0 and height_mm >= SLENDER * narrow_mm:
        return (
            BRIM_MM,
            f"The part is {height_mm / narrow_mm:.1f} times as high as its footprint is narrow: "
            f"lay a brim of {BRIM_MM:g} mm.",
        )
    return 0.0, ""


def brims_mm(index_mm: Floats, height_mm: Floats, narrow_mm: Floats) -> Floats:
    """Widths of the brims advised for many poses, as `brim_mm` advises them, (P,)."""
    each = zip(index_mm.tolist(), height_mm.tolist(), narrow_mm.tolist(), strict=True)
    return np.array([brim_mm(*pose)[0] for pose in each])


def shrinkage_scale(polymer: Properties) -> tuple[float, float, float] | None:
    """Scale along x, y and z of the pose's frame that makes up for shrinkage; off unless asked for.

    Mould shrinkage stands in for that of a build, which depends on fill and direction; a shop that has
    measured its own should use that. The same figure serves all axes, since no source gives them apart.

    Parameters
    ----------
    polymer : Properties
        The polymer.

    Returns
    -------
    (3,) tuple or None
        1 / (1 − shrinkage) each, or None where there is no data.

    Examples
    --------
    >>> from orient.materials.properties import properties_of
    >>> round(shrinkage_scale(properties_of("ABS"))[2], 5), shrinkage_scale(properties_of("PLA"))
    (1.00604, None)
    """
    if polymer.shrink_percent is None:
        return None
    factor = 1.0 / (1.0 - polymer.shrink_percent.nominal / 100.0)
    return factor, factor, factor

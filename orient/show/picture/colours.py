"""Colours that hold up for eyes that tell few hues apart, and on a black and white print.

Kinds take the palette of M. Okabe and K. Ito (Color Universal Design, 2008), values cividis (J. R. Nuñez,
C. R. Anderton, R. S. Renslow, Optimizing colormaps with consideration for color vision deficiency, PLoS ONE
13(7), 2018, e0199239). Trouble is never told by colour alone: a hatch or a letter goes with it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

RGB = tuple[int, int, int]

ORANGE: RGB = (230, 159, 0)
SKY: RGB = (86, 180, 233)
GREEN: RGB = (0, 158, 115)
YELLOW: RGB = (240, 228, 66)
BLUE: RGB = (0, 114, 178)
PURPLE: RGB = (204, 121, 167)

# A part where there is nothing to say.
PLAIN: RGB = (206, 210, 214)
# A part where nothing is known.
BLANK: RGB = (240, 241, 242)
INK: RGB = (28, 32, 36)
PAPER: RGB = (246, 247, 248)

# Every sixteenth entry of cividis, and its last.
_CIVIDIS = np.array(
    [
        (0, 34, 78), (0, 46, 106), (26, 56, 111), (50, 67, 109), (67, 78, 108), (83, 90, 109),
        (97, 101, 111), (111, 112, 115), (125, 124, 120), (140, 136, 120), (155, 148, 118),
        (171, 160, 114), (188, 174, 108), (205, 187, 99), (222, 201, 88), (240, 216, 70), (254, 232, 56),
    ],
    dtype=np.float64,
)  # fmt: skip


def cividis(values: ArrayLike) -> NDArray[np.uint8]:
    """Colours for values from 0 (dark blue) to 1 (light yellow); lightness grows with the value.

    Parameters
    ----------
    values : array_like
        0 to 1; what lies outside is clipped.

    Returns
    -------
    (…, 3) uint8

    Examples
    --------
    >>> cividis([0.0, 1.0]).tolist()
    [[0, 34, 78], [254, 232, 56]]
    """
    at = np.clip(np.asarray(values, dtype=np.float64), 0.0, 1.0) * (len(_CIVIDIS) - 1)
    low = np.minimum(at.astype(np.int64), len(_CIVIDIS) - 2)
    share = (at - low)[..., None]
    return np.rint(_CIVIDIS[low] * (1.0 - share) + _CIVIDIS[low + 1] * share).astype(np.uint8)

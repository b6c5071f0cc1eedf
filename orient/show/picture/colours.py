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

# Every fifth entry of cividis.
_CIVIDIS = np.array(
    [
        (0, 34, 78), (0, 38, 86), (0, 42, 95), (0, 45, 104), (0, 48, 112), (8, 51, 112),
        (22, 55, 112), (32, 58, 111), (39, 62, 110), (46, 65, 109), (52, 69, 108), (58, 72, 108),
        (63, 76, 108), (68, 79, 108), (73, 83, 108), (78, 86, 108), (83, 90, 109), (87, 93, 109),
        (92, 97, 110), (96, 100, 111), (101, 104, 112), (105, 107, 113), (109, 111, 114), (114, 114, 116),
        (118, 118, 118), (122, 122, 120), (126, 125, 120), (131, 129, 121), (136, 133, 120), (141, 136, 120),
        (146, 140, 120), (150, 144, 119), (155, 148, 118), (160, 152, 117), (165, 156, 116), (170, 160, 115),
        (175, 164, 113), (181, 168, 111), (186, 172, 109), (191, 176, 107), (196, 180, 104), (201, 185, 101),
        (207, 189, 98), (212, 193, 95), (218, 198, 91), (223, 202, 87), (229, 207, 82), (234, 211, 76),
        (240, 216, 70), (246, 221, 63), (252, 226, 54), (254, 232, 56),
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

"""Colours that hold up for eyes that tell few hues apart, and on a black and white print.

Kinds take the palette of M. Okabe and K. Ito (Color Universal Design, 2008), values cividis (J. R. Nuñez,
C. R. Anderton, R. S. Renslow, Optimizing colormaps with consideration for color vision deficiency, PLoS ONE
13(7), 2018, e0199239). The middle of cividis is grey, as is a part where there is nothing to say; safety,
whose middle matters, takes viridis, which has none (S. van der Walt, N. Smith, 2015, CC0). Trouble is never
told by colour alone: a hatch or a letter goes with it.
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


# Every fifth entry of viridis.
_VIRIDIS = np.array(
    [
        (68, 1, 84), (70, 8, 92), (71, 16, 99), (72, 23, 105), (72, 29, 111), (72, 36, 117),
        (71, 42, 122), (70, 48, 126), (69, 55, 129), (67, 61, 132), (65, 66, 135), (63, 72, 137),
        (61, 78, 138), (58, 83, 139), (56, 89, 140), (53, 94, 141), (51, 99, 141), (49, 104, 142),
        (46, 109, 142), (44, 113, 142), (42, 118, 142), (41, 123, 142), (39, 128, 142), (37, 132, 142),
        (35, 137, 142), (33, 142, 141), (32, 146, 140), (31, 151, 139), (30, 156, 137), (31, 161, 136),
        (33, 165, 133), (36, 170, 131), (40, 174, 128), (46, 179, 124), (53, 183, 121), (61, 188, 116),
        (70, 192, 111), (80, 196, 106), (90, 200, 100), (101, 203, 94), (112, 207, 87), (124, 210, 80),
        (137, 213, 72), (149, 216, 64), (162, 218, 55), (176, 221, 47), (189, 223, 38), (202, 225, 31),
        (216, 226, 25), (229, 228, 25), (241, 229, 29), (253, 231, 37),
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
    return _along(_CIVIDIS, values)


def viridis(values: ArrayLike) -> NDArray[np.uint8]:
    """Colours for values from 0 (dark purple) to 1 (light yellow), by way of green, never of grey.

    Parameters
    ----------
    values : array_like
        0 to 1; what lies outside is clipped.

    Returns
    -------
    (…, 3) uint8

    Examples
    --------
    >>> viridis([0.0, 0.5, 1.0]).tolist()
    [[68, 1, 84], [32, 144, 140], [253, 231, 37]]
    """
    return _along(_VIRIDIS, values)


def _along(table: NDArray[np.float64], values: ArrayLike) -> NDArray[np.uint8]:
    at = np.clip(np.asarray(values, dtype=np.float64), 0.0, 1.0) * (len(table) - 1)
    low = np.minimum(at.astype(np.int64), len(table) - 2)
    share = (at - low)[..., None]
    return np.rint(table[low] * (1.0 - share) + table[low + 1] * share).astype(np.uint8)

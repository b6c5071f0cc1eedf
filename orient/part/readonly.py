"""Arrays as a part keeps them, so that a compiled loop meets one kind only."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def readonly(array: NDArray[Any]) -> NDArray[Any]:
    """Give a view in C order that can't be written to.

    A part's own arrays are read-only and those of a part in the making are not. To the compiler these are
    two types, and a loop that meets both is compiled twice.

    >>> readonly(np.zeros(3)).flags.writeable
    False
    """
    view = np.ascontiguousarray(array).view()
    view.flags.writeable = False
    return view

"""From where a picture is taken: a camera at infinity, so that lengths across the view stay true."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError

Floats = NDArray[np.float64]

# Azimuth and elevation of where the camera stands, degrees. The part's longer side lies along x; front is −y.
VIEWS = {
    "corner": (-62.0, 24.0),
    "under": (-62.0, -30.0),
    "front": (-90.0, 0.0),
    "back": (90.0, 0.0),
    "left": (180.0, 0.0),
    "right": (0.0, 0.0),
    "above": (-90.0, 90.0),
    "below": (-90.0, -90.0),
}


@dataclass(frozen=True, eq=False)
class Camera:
    """A camera at infinity, in bed coordinates.

    Attributes
    ----------
    right, up, forward : (3,) float64
        Unit vectors: along a row of pixels, against a column, into the picture.
    centre : (3,) float64
        Bed point at the middle of the picture, mm.
    mm_per_px : float
        Size of a pixel.
    width, height : int
        Pixels.
    """

    right: Floats
    up: Floats
    forward: Floats
    centre: Floats
    mm_per_px: float
    width: int
    height: int

    def project(self, points: Floats) -> Floats:
        """Give column, row and depth of points.

        Parameters
        ----------
        points : (N, 3) float64
            Bed coordinates, mm.

        Returns
        -------
        (N, 3) float64
            Column and row in pixels, from the top left corner of the picture, and depth from the plane
            through the centre, mm, growing away from the camera.
        """
        away = np.asarray(points, dtype=np.float64) - self.centre
        return np.column_stack(
            [
                self.width / 2.0 + away @ self.right / self.mm_per_px,
                self.height / 2.0 - away @ self.up / self.mm_per_px,
                away @ self.forward,
            ]
        )

    def places(self, columns: NDArray[Any], rows: NDArray[Any]) -> Floats:
        """Give points of the plane through the centre, (N, 3), for places of the picture in pixels."""
        across = (columns - self.width / 2.0) * self.mm_per_px
        upward = (self.height / 2.0 - rows) * self.mm_per_px
        return self.centre + across[:, None] * self.right + upward[:, None] * self.up

    def finer(self, times: int) -> Camera:
        """Give the same view with so many times the pixels each way."""
        return Camera(
            self.right,
            self.up,
            self.forward,
            self.centre,
            self.mm_per_px / times,
            self.width * times,
            self.height * times,
        )


def view_angles(view: str) -> tuple[float, float]:
    """Read a view: a name of `VIEWS`, or azimuth and elevation in degrees.

    Parameters
    ----------
    view : str
        Such as ``under`` or ``30,20``.

    Returns
    -------
    azimuth, elevation : float
        Degrees.

    Raises
    ------
    OrientError
        If it is neither.

    Examples
    --------
    >>> view_angles("front"), view_angles("30,-20")
    ((-90.0, 0.0), (30.0, -20.0))
    """
    if view in VIEWS:
        return VIEWS[view]
    numbers = re.fullmatch(r"\s*([-+]?[\d.]+)\s*,\s*([-+]?[\d.]+)\s*", view)
    try:
        azimuth, elevation = (float(number) for number in numbers.groups()) if numbers else (math.nan, 99.0)
    except ValueError:
        azimuth, elevation = math.nan, 99.0
    if not abs(elevation) <= 90.0 or not math.isfinite(azimuth):
        raise OrientError(
            f'The view "{view}" is not known: take {", ".join(VIEWS)}, or azimuth and elevation in degrees, '
            "such as 30,20, the elevation from −90 to 90."
        )
    return azimuth, elevation


def axes_of(azimuth: float, elevation: float) -> tuple[Floats, Floats, Floats]:
    """Give right, up and forward of a camera that stands at an azimuth and elevation, degrees."""
    a, e = math.radians(azimuth), math.radians(elevation)
    forward = -np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])
    # Right does not depend on the elevation, so it holds from straight above too.
    right = np.array([-math.sin(a), math.cos(a), 0.0])
    return right, np.cross(right, forward), forward


def camera_for(
    points: Floats,
    azimuth: float,
    elevation: float,
    width: int,
    height: int,
    margins: tuple[float, float, float, float],
) -> Camera:
    """Place a camera so that points fill the picture inside its margins.

    Parameters
    ----------
    points : (N, 3) float64
        Bed coordinates, mm.
    azimuth, elevation : float
        Where the camera stands, degrees.
    width, height : int
        Pixels.
    margins : (4,) tuple of float
        Left, top, right, bottom, pixels.

    Returns
    -------
    Camera
    """
    right, up, forward = axes_of(azimuth, elevation)
    left_px, top_px, right_px, bottom_px = margins
    across, upward = points @ right, points @ up
    room = max(width - left_px - right_px, 8.0), max(height - top_px - bottom_px, 8.0)
    mm = max(float(np.ptp(across)) / room[0], float(np.ptp(upward)) / room[1], 1e-9)
    # The middle of what is shown goes to the middle of the room between the margins.
    middle = (
        (across.min() + across.max()) / 2.0 + (right_px - left_px) / 2.0 * mm,
        (upward.min() + upward.max()) / 2.0 + (top_px - bottom_px) / 2.0 * mm,
    )
    depth = float((points @ forward).mean())
    return Camera(right, up, forward, middle[0] * right + middle[1] * up + depth * forward, mm, width, height)

"""Which face every pixel shows, and how deep it lies."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.features.rays import Rays
from orient.measure.sharing import available_threads
from orient.part.mesh import Part
from orient.show.picture.camera import Camera

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

# Rays cast at once.
_CHUNK = 120_000


@dataclass(frozen=True, eq=False)
class Scene:
    """A part with what its pictures share.

    Attributes
    ----------
    part : Part
        The part.
    rays : Rays
        Rays cast at it.
    """

    part: Part
    rays: Rays


@dataclass(frozen=True, eq=False)
class Seen:
    """What a camera sees of a part.

    Attributes
    ----------
    camera : Camera
        The camera.
    transform : (4, 4) float64
        From the part's coordinates to the bed's.
    face : (H, W) int32
        Face at the middle of each pixel, −1 where there is none.
    depth : (H, W) float32
        Its depth from the camera's plane, mm; infinite where there is none.
    """

    camera: Camera
    transform: Floats
    face: Ints
    depth: NDArray[np.float32]

    def points(self, where: tuple[NDArray[Any], NDArray[Any]]) -> Floats:
        """Give what pixels show, bed coordinates, mm: (N, 3) for rows and columns."""
        camera = self.camera
        place = camera.places(where[1] + 0.5, where[0] + 0.5)
        return place + self.depth[where].astype(np.float64)[:, None] * camera.forward


def scene_of(part: Part, rays: Rays | None = None) -> Scene:
    """Make a part ready for pictures."""
    return Scene(part, rays or Rays(part))


def look(scene: Scene, transform: Floats, camera: Camera, cut_mm: float | None = None) -> Seen:
    """Cast a ray through the middle of every pixel.

    Parameters
    ----------
    scene : Scene
        The part.
    transform : (4, 4) float64
        From the part's coordinates to the bed's.
    camera : Camera
        The camera.
    cut_mm : float, optional
        Depth from the camera's plane before which the part is cut away.

    Returns
    -------
    Seen
    """
    part = scene.part
    turn, shift = transform[:3, :3], transform[:3, 3]
    corners = camera.project(part.bounds[_BOX_ROWS, (0, 1, 2)] @ turn.T + shift)
    # Only the box round the part can hold any of it.
    first = np.clip(np.floor(corners.min(axis=0)).astype(int) - 1, 0, None)
    last = np.minimum(np.ceil(corners.max(axis=0)).astype(int)[:2] + 1, (camera.width, camera.height))
    face = np.full((camera.height, camera.width), -1, dtype=np.int32)
    depth = np.full(face.shape, np.inf, dtype=np.float32)
    wide, high = int(last[0] - first[0]), int(last[1] - first[1])
    if wide <= 0 or high <= 0:
        return Seen(camera, transform, face, depth)
    # Rays start in a plane before the part, in the part's own coordinates, where one scene serves all poses.
    back = float(corners[:, 2].min()) - 1e-3 * part.size_mm
    if cut_mm is not None:
        back = max(back, cut_mm)
    origin = (camera.places(np.array([first[0] + 0.5]), np.array([first[1] + 0.5]))[0] - shift) @ turn
    right, down, ahead = camera.right @ turn, -camera.up @ turn, camera.forward @ turn
    origin += back * ahead
    steps = np.arange(wide) * camera.mm_per_px
    reach = float(np.ptp(corners[:, 2])) + 2e-3 * part.size_mm
    rows_at_once = max(1, _CHUNK // wide)

    def cast(top: int) -> None:
        rows = np.arange(top, min(top + rows_at_once, high))
        starts = (
            origin + steps[None, :, None] * right + (rows * camera.mm_per_px)[:, None, None] * down
        ).reshape(-1, 3)
        hit, far = scene.rays.first_hits(starts, np.broadcast_to(ahead, starts.shape), reach)
        block = slice(first[1] + top, first[1] + top + len(rows)), slice(first[0], first[0] + wide)
        face[block] = hit.reshape(len(rows), wide)
        depth[block] = (far + back).reshape(len(rows), wide)

    if rows_at_once >= high:
        cast(0)
    else:
        with ThreadPoolExecutor(available_threads()) as pool:
            list(pool.map(cast, range(0, high, rows_at_once)))
    return Seen(camera, transform, face, depth)


_BOX_ROWS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])

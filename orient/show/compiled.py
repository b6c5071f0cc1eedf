"""The compiled loops: whether they are at hand, and making them beside other work on a first run."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from orient.cost.bands import Pieces, bands_of
from orient.cost.envelope import fit_in, side_by_side
from orient.measure.blocks import sort_into_blocks
from orient.measure.columns import count_columns
from orient.measure.faces import NormalGroups, surface_of
from orient.measure.footprint import footprint_of, neighbours_in_blocks
from orient.measure.painting import count_poses
from orient.part.mesh import part_from_arrays
from orient.pose.resting import resting_poses
from orient.show.compiled_features import LOOPS, compile_features, compile_holes, compile_rough

_UP = np.array([[0.0, 0.0, 1.0], [0.0, 0.6, 0.8]])


def compiled_before() -> bool:
    """True when an earlier run left its compiled column kernel on this machine."""
    return _kept(count_poses)


def features_compiled_before() -> bool:
    """True when an earlier run left the compiled loops that look for hard features."""
    return all(_kept(loop) for loop in LOOPS)


def _kept(loop: Any) -> bool:
    cache = getattr(loop, "_cache", None)
    folder = getattr(cache, "cache_path", None)
    name = f"{loop.py_func.__module__.rsplit('.')[-1]}.{loop.py_func.__name__}-*.nbc"
    return folder is not None and any(Path(folder).glob(name))


def compile_beside(measures: bool = True, features: bool = False) -> Callable[[], None]:
    """Compile loops in a process of their own, while this one reads the part.

    A compiler holds one lock in a process, so threads would not help. The loops come back through the
    cache on disk; where that fails they are compiled here after all, only later.

    Parameters
    ----------
    measures : bool
        Those of the measures and costs, with those that find holes.
    features : bool
        Those that look for hard features.

    Returns
    -------
    callable
        Compiles the rest here and waits for the others.
    """
    wanted = [name for name, asked in (("measures", measures), ("features", features)) if asked]
    # The same files as here, whatever lies in the folder that the shell stands in: loops are kept by file.
    paths = [str(Path(__file__).parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
    try:
        work = subprocess.Popen(
            [sys.executable, "-P", "-m", "orient.show.compiled", *wanted],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        return lambda: None
    # A compiler makes objects by the million and keeps them: looking for litter among them takes an eighth.
    gc.disable()

    def wait() -> None:
        if measures:
            compile_the_rest()
        compile_holes()
        if features:
            compile_rough()
        gc.freeze()
        gc.enable()
        work.wait()

    return wait


def compile_measures() -> None:
    """Run what counts columns, cuts the first layer and fits a part into a machine once, on a tetrahedron."""
    part = _tetrahedron()
    blocks = sort_into_blocks(part)
    count_columns(blocks, _UP, np.eye(3), 0.5, 45.0, threads=1)
    footprint_of(part, blocks, neighbours_in_blocks(part, blocks), _UP, np.zeros(2), 0.2, threads=1)
    fit_in(_UP, part.vertices, (100.0, 100.0, 100.0))
    side_by_side(_UP[0], part.vertices, (100.0, 100.0, 100.0))


def compile_the_rest() -> None:
    """Run the other measures once: as much as lets two processes end together."""
    part = _tetrahedron()
    resting_poses(part_from_arrays(part.vertices, part.faces))
    surface_of(NormalGroups(part.normals, part.areas), _UP, 0.2)
    corners = part.vertices[part.faces]
    points = np.ascontiguousarray(part.vertices.T)
    vectors = part.areas[:, None] * part.normals
    pieces = Pieces(corners, np.zeros((0, 3)), np.zeros(0), vectors, part.areas, points, 10.0, True)
    bands_of(pieces, _UP, 0.8, 0.9, threads=1)


def _tetrahedron() -> Any:
    """Only what sorting into blocks and cutting ask of a part: a whole one would compile reading as well."""
    vertices = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 4.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32)
    corners = vertices[faces]
    crossed = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(crossed, axis=1)
    return SimpleNamespace(
        vertices=vertices,
        faces=faces,
        areas=length / 2.0,
        normals=crossed / length[:, None],
        centroids=corners.mean(axis=1),
        center_of_mass=vertices.mean(axis=0),
        neighbours=np.array([[3, 2, 1], [0, 2, 3], [0, 3, 1], [0, 1, 2]], dtype=np.int32),
    )


if __name__ == "__main__":
    gc.disable()
    if "measures" in sys.argv:
        compile_measures()
    if "features" in sys.argv:
        compile_features()

"""Nozzle and layer height against each other, for one pose: hours, steps, and walls that get too thin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.cost.bands import Pieces, bands_of
from orient.cost.plan import Plan
from orient.cost.time import build_of
from orient.process import LINE_OF_NOZZLE

# Layers as shares of the nozzle's bore: fine, usual, coarse. Common practice, no source.
LAYERS_OF_NOZZLE = (0.25, 0.5, 0.75)


@dataclass(frozen=True)
class LayerChoice:
    """One nozzle with one layer height.

    Attributes
    ----------
    nozzle_mm, layer_mm, line_mm : float
        Bore, height of a layer, width of a line.
    hours : float
        Build time of the pose.
    cusp_mm : float
        Area-weighted mean height of the steps.
    walls_below_two_lines : int or None
        How many of the part's walls are thinner than two lines; None where the walls were not measured.
    """

    nozzle_mm: float
    layer_mm: float
    line_mm: float
    hours: float
    cusp_mm: float
    walls_below_two_lines: int | None


def nozzle_layer_table(
    pieces: Pieces,
    direction: ArrayLike,
    plan: Plan,
    nozzles_mm: Sequence[float],
    *,
    support_mm3: float,
    overhang_mm2: float,
    mean_slope: float,
    brim_mm: float = 0.0,
    walls_mm: NDArray[np.float64] | None = None,
) -> tuple[LayerChoice, ...]:
    """Compare nozzles and layers for one pose.

    Parameters
    ----------
    pieces : Pieces
        The part's surface.
    direction : (3,) array_like
        Build direction.
    plan : Plan
        How the job is run; its layer and line are replaced.
    nozzles_mm : sequence of float
        Bores to compare.
    support_mm3, overhang_mm2 : float
        Of the pose.
    mean_slope : float
        Area-weighted mean of |n·b| over faces that are not level: mean cusp over layer height.
    brim_mm : float
        Width of the brim.
    walls_mm : (W,) float64, optional
        Thicknesses of the part's walls.

    Returns
    -------
    tuple of LayerChoice
        By nozzle, then by layer.
    """
    b = np.asarray(direction, dtype=np.float64).reshape(1, 3)
    found = []
    for nozzle in nozzles_mm:
        for share in LAYERS_OF_NOZZLE:
            layer, line = round(share * nozzle, 3), round(LINE_OF_NOZZLE * nozzle, 3)
            run = replace(plan, layer_mm=layer, line_mm=line)
            bands = bands_of(pieces, b, run.solid_mm, run.contours_mm, threads=1)
            build = build_of(bands, np.array([support_mm3]), np.array([overhang_mm2]), run, brim_mm=brim_mm)
            thin = None if walls_mm is None else int(np.count_nonzero(walls_mm < 2 * line - 1e-9))
            found.append(LayerChoice(nozzle, layer, line, float(build.hours[0]), mean_slope * layer, thin))
    return tuple(found)

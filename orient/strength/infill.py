"""A part that is not solid: full contours around a cellular inside. An estimate.

The inside is taken as an open-celled foam (L. J. Gibson and M. F. Ashby, Cellular Solids, 1997, ch. 5, its
constants from memory): stiffness p², strength 0.3 p^1.5 against the solid's, p the filled share, good below
p = 0.3. Beyond, strength goes on to the solid's along a straight line in logarithms, no source. No isotropic
inside can be stiffer than the bound of Z. Hashin and S. Shtrikman (J. Mech. Phys. Solids 11, 1963, 127–140),
nor stronger than its share of material.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from orient.strength.cells import Cells
from orient.strength.surface import Patches

Floats = NDArray[np.float64]

# The foam's law holds up to this share.
_FOAM = 0.3


@dataclass(frozen=True)
class Inside:
    """How the inside of a part is filled.

    Attributes
    ----------
    share : float
        Filled share, 0 to 1.
    shell_mm : float
        Thickness of the solid shell around it.
    poissons : float
        Poisson's ratio of the solid.
    """

    share: float
    shell_mm: float
    poissons: float


def foam_stiffness(share: float, poissons: float = 0.35) -> float:
    """Stiffness of the inside against the solid's.

    Parameters
    ----------
    share : float
        Filled share p, 0 to 1.
    poissons : float
        Of the solid.

    Returns
    -------
    float
        p², but no more than the Hashin–Shtrikman bound.

    Examples
    --------
    >>> round(foam_stiffness(0.2), 6), round(foam_stiffness(1.0), 6)
    (0.04, 1.0)
    """
    return min(share**2, hashin_shtrikman(share, poissons))


def hashin_shtrikman(share: float, poissons: float) -> float:
    """Greatest Young's modulus of an isotropic solid with voids, against the solid's.

    Parameters
    ----------
    share : float
        Filled share.
    poissons : float
        Of the solid.

    Returns
    -------
    float

    Examples
    --------
    >>> [round(hashin_shtrikman(p, 0.35), 4) for p in (0.2, 0.5, 1.0)]
    [0.1113, 0.3337, 1.0]
    """
    if share <= 0.0:
        return 0.0
    bulk, shear = 1.0 / (3 * (1 - 2 * poissons)), 1.0 / (2 * (1 + poissons))
    voids = 1.0 - share
    k = bulk + voids / (-1.0 / bulk + 3.0 * share / (3.0 * bulk + 4.0 * shear))
    factor = 6.0 * (bulk + 2.0 * shear) / (5.0 * shear * (3.0 * bulk + 4.0 * shear))
    g = shear + voids / (-1.0 / shear + share * factor)
    return 9.0 * k * g / (3.0 * k + g)


def foam_strength(share: float) -> float:
    """Strength of the inside against the solid's.

    Parameters
    ----------
    share : float
        Filled share p, 0 to 1.

    Returns
    -------
    float
        0.3 p^1.5 below p = 0.3, from there to 1 at p = 1 in logarithms; never more than p.

    Examples
    --------
    >>> round(foam_strength(0.2), 5), foam_strength(1.0)
    (0.02683, 1.0)
    """
    if share <= _FOAM:
        return float(0.3 * share**1.5)
    start = 0.3 * _FOAM**1.5
    return float(min(share, start ** (np.log(share) / np.log(_FOAM))))


def hollowed(cells: Cells, patches: Patches, normals: Floats, inside: Inside) -> Cells:
    """Fill the inside of a part sparsely, within a solid shell.

    Parameters
    ----------
    cells : Cells
        Solid cells.
    patches : Patches
        All of the surface.
    normals : (F, 3) float64
        Normals of the part's faces, along the grid's axes.
    inside : Inside
        How it is filled.

    Returns
    -------
    Cells
        Those that the shell cuts have a share of both.
    """
    grid = cells.grid
    centres = cells.centres * grid.sides_mm
    middles = patches.corners.mean(axis=1) * grid.sides_mm
    _, nearest = cKDTree(middles).query(centres)
    # The nearest patch is flat: the distance to its plane is nearer the truth than that to its middle.
    depth = np.abs(np.einsum("ij,ij->i", centres - middles[nearest], normals[patches.face[nearest]]))
    within = np.clip((depth - inside.shell_mm) / grid.pitch_mm + 0.5, 0.0, 1.0)
    soft, weak = foam_stiffness(inside.share, inside.poissons), foam_strength(inside.share)
    # Equal strains: the inside bears soft × the solid's stress, and fails at weak × its strength.
    return replace(
        cells,
        stiffness=1.0 - within + within * soft,
        hardship=np.where(within > 0.5, soft / max(weak, 1e-9), 1.0),
        density=1.0 - within + within * inside.share,
    )

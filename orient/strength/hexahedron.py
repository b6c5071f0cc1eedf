"""The stiffness of a brick cell, whole or cut: eight nodes and nine incompatible modes.

Displacements are trilinear between the corners, with one parabola more along each axis for each component,
so that a single cell bends as a beam does (Taylor, Beresford and Wilson, Int. J. Numerical Methods in
Engineering 10, 1976, 1211–1219). The parabolas belong to their cell alone and are eliminated in it. Their
gradients are taken from the centroid of what is filled, so that they do no work against a uniform stress
however the cell is cut: that is the patch test.

All integrals are linear in the cell's moments, so that one table of coefficients serves every cell.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from orient.errors import OrientError

Floats = NDArray[np.float64]

# Share of a cut cell's stiffness that is spread evenly over its corners, so that a corner with next to
# nothing around it is held. Measured: less makes the solver slower, more makes thin walls too stiff.
EVEN = 0.02
# The order of the corners: x slowest, z fastest.
CORNER = np.array([(a, b, c) for a in (0, 1) for b in (0, 1) for c in (0, 1)])
FULL_MOMENTS = np.array(
    [1.0 / ((a + 1) * (b + 1) * (c + 1)) for a in range(3) for b in range(3) for c in range(3)]
)


def isotropic(youngs_mpa: float, poissons: float) -> Floats:
    """Elastic constants of an isotropic solid, as a tensor.

    Parameters
    ----------
    youngs_mpa : float
        Young's modulus E, MPa.
    poissons : float
        Poisson's ratio ν, below 0.5.

    Returns
    -------
    (3, 3, 3, 3) float64
        C in σ_ij = C_ijkl ε_kl, MPa.

    Raises
    ------
    OrientError
        For constants that no solid has.
    """
    if not (youngs_mpa > 0 and -1.0 < poissons < 0.5):
        raise OrientError(
            f"A Young's modulus of {youngs_mpa:g} MPa with a Poisson's ratio of {poissons:g} is no solid: "
            "give a modulus above 0 and a ratio below 0.5 in [polymer]."
        )
    lame = youngs_mpa * poissons / ((1 + poissons) * (1 - 2 * poissons))
    shear = youngs_mpa / (2 * (1 + poissons))
    d = np.eye(3)
    first = np.einsum("ij,kl->ijkl", d, d)
    second = np.einsum("ik,jl->ijkl", d, d) + np.einsum("il,jk->ijkl", d, d)
    return lame * first + shear * second


def transversely_isotropic(
    in_layer_mpa: float,
    across_mpa: float,
    poissons: float,
    layer_normal: NDArray,
    shear_mpa: float | None = None,
) -> Floats:
    """Elastic constants of a layered solid that is alike in all directions of its layers.

    Parameters
    ----------
    in_layer_mpa, across_mpa : float
        Young's moduli along and across the layers, MPa.
    poissons : float
        ν in the layers, and the strain across for a pull in them.
    layer_normal : (3,) array
        Normal of the layers.
    shear_mpa : float, optional
        Shear modulus between layers; E_across / (2 (1 + ν)) by default.

    Returns
    -------
    (3, 3, 3, 3) float64
        C, MPa.

    References
    ----------
    Any text on composites, such as Jones, Mechanics of Composite Materials, 1999, ch. 2.
    """
    g = across_mpa / (2 * (1 + poissons)) if shear_mpa is None else shear_mpa
    s = np.zeros((6, 6))
    s[0, 0] = s[1, 1] = 1 / in_layer_mpa
    s[2, 2] = 1 / across_mpa
    s[0, 1] = s[1, 0] = -poissons / in_layer_mpa
    s[0, 2] = s[2, 0] = s[1, 2] = s[2, 1] = -poissons / in_layer_mpa
    s[3, 3] = s[4, 4] = 1 / g
    s[5, 5] = 2 * (1 + poissons) / in_layer_mpa
    c = np.linalg.inv(s)
    voigt = np.array([[0, 5, 4], [5, 1, 3], [4, 3, 2]])
    tensor = c[voigt[:, :, None, None], voigt[None, None, :, :]]
    normal = np.asarray(layer_normal, dtype=np.float64)
    normal = normal / np.linalg.norm(normal)
    side = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    side /= np.linalg.norm(side)
    turn = np.stack([side, np.cross(normal, side), normal])
    return turned_constants(tensor, turn.T)


def turned_constants(constants: Floats, rows: Floats) -> Floats:
    """Express elastic constants along other axes, the rows given in the present ones."""
    return np.einsum("ai,bj,ck,dl,ijkl->abcd", rows, rows, rows, rows, constants, optimize=True)


@cache
def _tables() -> tuple[Floats, Floats, Floats]:
    """Coefficients of the 27 moments: ∂kNa·∂lNb (3, 3, 8, 8, 27), ∂kNa (3, 8, 27), ξm·∂kNa (3, 3, 8, 27)."""
    gradient = np.zeros((3, 8, 3, 3, 3))
    for k in range(3):
        for a, corner in enumerate(CORNER):
            factors = [np.array([0.0, 1.0, 0.0]) if bit else np.array([1.0, -1.0, 0.0]) for bit in corner]
            factors[k] = np.array([1.0 if corner[k] else -1.0, 0.0, 0.0])
            gradient[k, a] = np.einsum("i,j,k->ijk", *factors)
    products = np.zeros((3, 3, 8, 8, 3, 3, 3))
    lower = gradient[:, :, :2, :2, :2]
    for i in range(2):
        for j in range(2):
            for k in range(2):
                part = np.einsum("ka,lbxyz->klabxyz", gradient[:, :, i, j, k], lower)
                products[..., i : i + 2, j : j + 2, k : k + 2] += part
    shifted = np.zeros((3, 3, 8, 3, 3, 3))
    shifted[0, :, :, 1:] = gradient[:, :, :2]
    shifted[1, :, :, :, 1:] = gradient[:, :, :, :2]
    shifted[2, :, :, :, :, 1:] = gradient[:, :, :, :, :2]
    return products.reshape(3, 3, 8, 8, 27), gradient.reshape(3, 8, 27), shifted.reshape(3, 3, 8, 27)


def brick_stiffness(moments: Floats, sides_mm: Floats, constants: Floats, even: float = EVEN) -> Floats:
    """Stiffness matrices of cells.

    Parameters
    ----------
    moments : (N, 27) float64
        Moments of what is filled, as in `Cells`.
    sides_mm : (3,) float64
        Sides of a cell.
    constants : (3, 3, 3, 3) float64
        Elastic constants along the grid's axes, MPa.
    even : float
        Share that is spread evenly over the corners of a cut cell.

    Returns
    -------
    (N, 24, 24) float64
        N/mm, the components of each corner together, corners in the order of `CORNER`.
    """
    products, gradients, shifted = _tables()
    out = np.empty((len(moments), 24, 24))
    whole = np.zeros((24, 24))
    scratch = (np.empty((3, 3, 8, 8)), np.empty((3, 3, 8)))
    _stiffness(FULL_MOMENTS, sides_mm, constants, products, gradients, shifted, 0.0, whole, *scratch, whole)
    for n in range(len(moments)):
        _stiffness(
            moments[n], sides_mm, constants, products, gradients, shifted, even, whole, *scratch, out[n]
        )
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _stiffness(m, sides, c, products, gradients, shifted, even, whole, d, g, out):  # type: ignore[no-untyped-def]
    """Stiffness of one cell, its modes eliminated, mixed with an even share of the whole cell's."""
    volume = sides[0] * sides[1] * sides[2]
    fill = m[0]
    for k in range(3):
        for el in range(k, 3):
            for a in range(8):
                for b in range(8):
                    s = 0.0
                    for t in range(27):
                        s += products[k, el, a, b, t] * m[t]
                    s *= volume / (sides[k] * sides[el])
                    d[k, el, a, b] = s
                    d[el, k, b, a] = s
    for a in range(8):
        for b in range(8):
            for p in range(3):
                for q in range(3):
                    s = 0.0
                    for k in range(3):
                        for el in range(3):
                            s += c[p, k, q, el] * d[k, el, a, b]
                    out[3 * a + p, 3 * b + q] = s
    middle = np.empty(3)
    middle[0], middle[1], middle[2] = m[9] / fill, m[3] / fill, m[1] / fill
    # Spread of the filled part about its centroid, and the modes made of it: ξm − ξ̄m, scaled to size one.
    spread = np.empty((3, 3))
    spread[0, 0] = m[18] / fill - middle[0] * middle[0]
    spread[1, 1] = m[6] / fill - middle[1] * middle[1]
    spread[2, 2] = m[2] / fill - middle[2] * middle[2]
    spread[0, 1] = spread[1, 0] = m[12] / fill - middle[0] * middle[1]
    spread[0, 2] = spread[2, 0] = m[10] / fill - middle[0] * middle[2]
    spread[1, 2] = spread[2, 1] = m[4] / fill - middle[1] * middle[2]
    size = np.empty(3)
    for k in range(3):
        size[k] = np.sqrt(max(spread[k, k], 1e-12))
    inner = np.empty((9, 9))
    outer = np.empty((9, 24))
    for i in range(3):
        for j in range(3):
            s = volume * fill * spread[i, j] / (size[i] * size[j] * sides[i] * sides[j])
            for p in range(3):
                for q in range(3):
                    inner[3 * i + p, 3 * j + q] = c[p, i, q, j] * s
    for i in range(9):
        inner[i, i] *= 1.0 + 1e-6
    for i in range(3):
        for k in range(3):
            for a in range(8):
                s = 0.0
                for t in range(27):
                    s += (shifted[i, k, a, t] - middle[i] * gradients[k, a, t]) * m[t]
                g[i, k, a] = s * volume / (size[i] * sides[i] * sides[k])
    for i in range(3):
        for p in range(3):
            for a in range(8):
                for q in range(3):
                    s = 0.0
                    for k in range(3):
                        s += c[p, i, q, k] * g[i, k, a]
                    outer[3 * i + p, 3 * a + q] = s
    eliminated = np.linalg.solve(inner, outer)
    cut = fill < 1.0
    for r in range(24):
        for s_ in range(r, 24):
            s = out[r, s_]
            for i in range(9):
                s -= outer[i, r] * eliminated[i, s_]
            if cut:
                s = (1.0 - even) * s + even * fill * whole[r, s_]
            out[r, s_] = s
            out[s_, r] = s

"""How strong a printed part is when layers part more easily than they tear: the one failure law.

A layered part fails either between its layers, by the traction on the layer plane, or within them, by the
equivalent stress. Between layers the quadratic traction criterion is used (Brewer and Lagace, J. Composite
Materials 22, 1988, 1141–1155, in its onset form without compressive failure; Camanho and Davila,
NASA/TM-2002-211737, 2002; both from memory); within them von Mises.

Every figure here is an estimate for choosing an orientation. Where failure can hurt, load-test and have
qualified people judge.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Kind = Literal["tension", "compression", "bending"]


def failure_index(stress: ArrayLike, layer_normal: ArrayLike, X: float, Z: float, S: float) -> NDArray:
    """Tell how near a stress is to failure in a layered part; 1 is failure.

    index = max( √((⟨n·σ·n⟩/Z)² + (τ/S)²), σ_vM/X ), with n the layer normal, ⟨⟩ keeping tension only, τ the
    shear traction on the layer plane and σ_vM the von Mises stress. It is homogeneous of degree one, so the
    safety factor is 1/index.

    Parameters
    ----------
    stress
        Stress tensors in MPa, symmetric (…, 3, 3), or (…, 6) in the order xx, yy, zz, yz, xz, xy.
    layer_normal
        Unit normals of the layers, (…, 3); broadcast against the leading axes of the stress.
    X
        Tensile strength in the layers, MPa.
    Z
        Tensile strength across the layers, MPa.
    S
        Shear strength between the layers, MPa.

    Returns
    -------
    ndarray
        The index, with the broadcast leading axes.

    Notes
    -----
    Compression across the layers does not open them, so only its shear counts there.

    References
    ----------
    Quadratic traction criterion: J. C. Brewer and P. A. Lagace, J. Composite Materials 22, 1988, 1141–1155;
    P. P. Camanho and C. G. Davila, NASA/TM-2002-211737, 2002 (both from memory).

    Examples
    --------
    Pulled square across its layers, a part fails at Z:

    >>> float(failure_index([0, 0, 30, 0, 0, 0], [0, 0, 1], X=50, Z=30, S=20))
    1.0
    """
    sigma = _tensors(stress)
    normal = np.asarray(layer_normal, dtype=np.float64)
    traction = np.einsum("...ij,...j->...i", sigma, normal)
    opening = np.einsum("...i,...i->...", traction, normal)
    shear = np.linalg.norm(traction - opening[..., None] * normal, axis=-1)
    between = np.hypot(np.maximum(opening, 0.0) / Z, shear / S)
    return np.maximum(between, von_mises(sigma) / X)


def von_mises(stress: ArrayLike) -> NDArray:
    """Return the von Mises equivalent stress.

    Parameters
    ----------
    stress
        Stress tensors in MPa, (…, 3, 3), or (…, 6) in the order xx, yy, zz, yz, xz, xy.

    Returns
    -------
    ndarray
        Equivalent stress in MPa, (…).

    References
    ----------
    Any text on the strength of materials, such as Gere and Timoshenko, Mechanics of Materials.

    Examples
    --------
    Pure shear τ is worth √3 τ:

    >>> round(float(von_mises([0, 0, 0, 0, 0, 10.0])), 4)
    17.3205
    """
    s = _tensors(stress)
    xx, yy, zz = s[..., 0, 0], s[..., 1, 1], s[..., 2, 2]
    yz, xz, xy = s[..., 1, 2], s[..., 0, 2], s[..., 0, 1]
    normal_part = (xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2
    return np.sqrt(0.5 * normal_part + 3.0 * (yz**2 + xz**2 + xy**2))


def load_angle_deg(directions: ArrayLike, axes: ArrayLike) -> NDArray:
    """Return the angle between each stress axis and the layer plane.

    Parameters
    ----------
    directions
        Build directions, (P, 3).
    axes
        Stress axes, (A, 3) or (3,); length and sign do not matter.

    Returns
    -------
    ndarray
        Degrees, (P, A): 0 the load runs in the layers, 90 it pulls them apart.

    Examples
    --------
    >>> load_angle_deg([[0, 0, 1], [1, 0, 0]], [[1, 0, 0]]).ravel().tolist()
    [0.0, 90.0]
    """
    normals = _unit(np.atleast_2d(np.asarray(directions, dtype=np.float64)))[:, None, :]
    along = _axes(axes)[None, :, :]
    across_layers = np.abs(np.sum(normals * along, axis=-1))
    # The tangent keeps its digits near 90°, where the sine is flat.
    in_layers = np.linalg.norm(np.cross(normals, along), axis=-1)
    return np.degrees(np.arctan2(across_layers, in_layers))


def strength_retained(
    directions: ArrayLike,
    axes: ArrayLike,
    kind: Kind = "tension",
    X: float | None = None,
    Z: float | None = None,
    S: float | None = None,
) -> NDArray:
    """Return the share of the in-layer strength that is left in each pose.

    It is the failure law at a uniaxial stress along the axis. In closed form, with α the load angle:
    retained = min(1, 1/√((X sin²α/Z)² + (X sinα cosα/S)²)); under compression the first term falls away.

    Parameters
    ----------
    directions
        Build directions, (P, 3), the layer normals.
    axes
        Stress axes, (A, 3) or (3,), in the same coordinates. The worst governs.
    kind
        ``"tension"``, ``"compression"`` or ``"bending"``; bending counts as tension: one side is pulled.
    X, Z, S
        Tensile strength in the layers, across them, and shear strength between them, MPa.

    Returns
    -------
    ndarray
        Shares from 0 to 1, (P,); NaN where there is no axis or a strength is not known.

    Examples
    --------
    >>> strength_retained([[0, 0, 1], [1, 0, 0]], [1, 0, 0], X=50, Z=30, S=20).tolist()
    [1.0, 0.6]
    """
    normals = _unit(np.atleast_2d(np.asarray(directions, dtype=np.float64)))
    along = _axes(axes)
    if X is None or Z is None or S is None or not len(along):
        return np.full(len(normals), np.nan)
    pull = -X if kind == "compression" else X
    stress = pull * along[:, :, None] * along[:, None, :]
    index = failure_index(stress[None], normals[:, None, :], X, Z, S)
    return np.minimum(1.0, 1.0 / index.max(axis=1))


def tsai_hill_retained(directions: ArrayLike, axes: ArrayLike, X: float, Z: float, S: float) -> NDArray:
    """Return the share of strength left by Tsai–Hill, for comparison only.

    Hill's criterion for a solid that is alike in all directions of its layers, loaded along one axis at load
    angle α: 1/s² = sin⁴α/Z² + cos⁴α/X² + (1/S² − 1/Z²) sin²α cos²α. It takes tension and compression alike.

    Parameters
    ----------
    directions
        Build directions, (P, 3).
    axes
        Stress axes, (A, 3) or (3,). The worst governs.
    X, Z, S
        Tensile strength in the layers, across them, and shear strength between them, MPa.

    Returns
    -------
    ndarray
        Shares from 0 to 1, (P,); NaN where there is no axis.

    Notes
    -----
    The constant taken off is 1/Z², of the unique axis; the fibre lamina's form takes off 1/X².

    References
    ----------
    R. Hill, Proc. R. Soc. A 193, 1948, 281–297.
    """
    normals = np.atleast_2d(np.asarray(directions, dtype=np.float64))
    along = _axes(axes)
    if not len(along):
        return np.full(len(normals), np.nan)
    angle = np.radians(load_angle_deg(normals, along))
    sin2, cos2 = np.sin(angle) ** 2, np.cos(angle) ** 2
    inverse_square = sin2**2 / Z**2 + cos2**2 / X**2 + (1 / S**2 - 1 / Z**2) * sin2 * cos2
    # Hill bounds nothing along some axes when S is large and Z below X/2; the share is then capped at 1.
    strength = 1.0 / np.sqrt(np.maximum(inverse_square.max(axis=1), 1.0 / X**2))
    return strength / X


def _tensors(stress: ArrayLike) -> NDArray:
    sigma = np.asarray(stress, dtype=np.float64)
    if sigma.shape[-1] != 6:
        return sigma
    return sigma[..., [[0, 5, 4], [5, 1, 3], [4, 3, 2]]]


def _unit(vectors: NDArray) -> NDArray:
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def _axes(axes: ArrayLike) -> NDArray:
    return _unit(np.asarray(axes, dtype=np.float64).reshape(-1, 3))

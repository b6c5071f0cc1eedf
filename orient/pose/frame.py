"""The part's own axes, which turn with it."""

from __future__ import annotations

import itertools
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from orient.part.mesh import Part

# Principal moments nearer than this share of their sum leave the axes between them open.
TIED = 1e-3
# Below this, in parts of the size, a moment is rounding about a symmetry.
SYMMETRIC = 1e-6
# Symmetry about an axis is looked for up to so many turns.
_MOST_FOLD = 36
_CHUNK = 8_192

# Rules of quadrature on the triangle, (point, weight) exact to the second and to the fourth degree: Dunavant,
# High degree efficient symmetrical Gaussian quadrature rules for the triangle, Int. J. Numerical Methods in
# Engineering 21, 1985, 1129–1148.
_RULES = {
    degree: [
        (np.array([1 - 2 * b if i == j else b for j in range(3)]), weight)
        for b, weight in rings
        for i in range(3)
    ]
    for degree, rings in {
        2: [(1 / 6, 1 / 3)],
        4: [(0.091576213509771, 0.109951743655322), (0.445948490915965, 0.223381589678011)],
    }.items()
}

_KNOWN: WeakKeyDictionary[Part, NDArray[np.float64]] = WeakKeyDictionary()


def part_frame(part: Part) -> NDArray[np.float64]:
    """Give a right-handed frame fixed to the part.

    The axes are those of the surface's second moments, longest first. Where two moments are tied, as for a
    square plate or a shaft, the skewness chooses, then the lowest harmonic of the face normals about the axis
    that is left: it points along the corners or flats of a part with that many of them. Of the four
    right-handed choices of sense the one with the largest third moments ∫r²a is taken, then with the largest
    fourth moments ∫a³b; only a part symmetric in all these falls back on the file's axes, and its
    symmetry makes the choices alike.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    (3, 3) float64
        Axes as rows, orthonormal, determinant +1. Moments are exact for the triangles, so neither splitting
        nor shuffling them changes the frame beyond rounding. Found once, and kept for as long as the part
        lives.
    """
    known = _KNOWN.get(part)
    if known is None:
        known = _KNOWN[part] = _own_axes(part)
    return known.copy()


def _own_axes(part: Part) -> NDArray[np.float64]:
    middle, power, axes = principal_axes(part)
    scale = np.sqrt(power.sum())
    if not scale > 0:
        return np.eye(3)
    *_, third, fourth = _moments(part, middle, axes / scale, degree=4)

    tied = -np.diff(power) < TIED * scale**2
    if tied.any():
        axes = _settled(part, axes, tied, third.sum(axis=0) @ axes)
        *_, third, fourth = _moments(part, middle, axes / scale, degree=4)
    return _sensed(axes, third, fourth) + 0.0


def principal_axes(
    part: Part,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Centroid, second moments and axes of a surface.

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    middle : (3,) float64
        Centroid of the surface, mm.
    power : (3,) float64
        Mean squares of the distance along the axes, largest first, mm².
    axes : (3, 3) float64
        Unit vectors as rows, right-handed.
    """
    base = part.bounds.mean(axis=0)
    mean, second, *_ = _moments(part, base, np.eye(3), degree=2)
    power, vectors = np.linalg.eigh(second - np.outer(mean, mean))
    axes = vectors[:, ::-1].T.copy()
    axes[2] *= np.linalg.det(axes)
    return base + mean, power[::-1].copy(), axes


def _settled(
    part: Part, axes: NDArray[np.float64], tied: NDArray[np.bool_], skew: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Choose axes that the second moments leave open by what else the part shows."""
    hints = [*part.hull.normals[:8], *np.eye(3)]
    if np.linalg.norm(skew) > 10 * SYMMETRIC:
        hints.insert(0, skew / np.linalg.norm(skew))
    if tied.all():
        fixed, place = hints[0], 0
    else:
        place = 2 if tied[0] else 0
        fixed = axes[place]
    harmonic = _harmonic(part, fixed, axes[1])
    if harmonic is not None:
        hints.insert(1 if np.linalg.norm(skew) > 10 * SYMMETRIC else 0, harmonic)
    level = np.array(hints) - np.outer(np.array(hints) @ fixed, fixed)
    length = np.linalg.norm(level, axis=1)
    second = level[np.argmax(length > 0.1)]
    second = second / np.linalg.norm(second)
    third = np.cross(fixed, second)
    return np.array([fixed, second, third] if place == 0 else [second, third, fixed])


def _harmonic(
    part: Part, axis: NDArray[np.float64], beside: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Find where normals crowd about an axis: the peak of their lowest harmonic nearest the file's axes."""
    across = beside - (beside @ axis) * axis
    across /= np.linalg.norm(across)
    circle = part.normals @ across + 1j * (part.normals @ np.cross(axis, across))
    power = part.areas.astype(np.complex128)
    for fold in range(1, _MOST_FOLD + 1):
        power *= circle
        total = power.sum()
        if abs(total) > 10 * SYMMETRIC * part.area_mm2:
            turns = (np.angle(total) + 2 * np.pi * np.arange(fold)) / fold
            peaks = np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * np.cross(axis, across)
            return peaks[np.lexsort(np.round(peaks, 6).T[::-1])[-1]]
    return None


def _sensed(
    axes: NDArray[np.float64], third: NDArray[np.float64], fourth: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Choose among the four right-handed senses of the axes."""
    own, twist = third.sum(axis=0), np.triu(fourth, 1)

    def worth(sense: tuple[float, ...]) -> tuple[float, float, float]:
        s = np.array(sense)
        return (
            round(float(s @ own) / SYMMETRIC),
            round(float(s @ twist @ s) / SYMMETRIC),
            round(float(s @ np.diag(axes)), 6),
        )

    senses = [s for s in itertools.product((1.0, -1.0), repeat=3) if s[0] * s[1] * s[2] > 0]
    return np.array(max(senses, key=worth))[:, None] * axes


def _moments(
    part: Part, middle: NDArray[np.float64], axes: NDArray[np.float64], degree: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Take means over the surface of a (3,), of ab, a²b and a³b (3, 3), a and b coordinates along axes.

    Those of a higher degree than asked for stay zero.
    """
    first, second, third, fourth = np.zeros(3), np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((3, 3))
    vertices, faces, areas = part.vertices, part.faces, part.areas
    for k in range(0, len(faces), _CHUNK):
        corners = (vertices[faces[k : k + _CHUNK]] - middle) @ axes.T
        for place, share in _RULES[degree]:
            at = place @ corners
            power = (share * areas[k : k + _CHUNK])[:, None] * at
            first += power.sum(axis=0)
            second += power.T @ at
            if degree == 2:
                continue
            power *= at
            third += power.T @ at
            power *= at
            fourth += power.T @ at
    area = max(float(areas.sum()), 1e-300)
    return first / area, second / area, third / area, fourth / area

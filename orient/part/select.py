"""Selectors: a line of text that names faces of a part, in the file's own coordinates, mm.

==================================  ==========================================================================
``face-near:x,y,z``                 the smooth face nearest the point
``plane:nx,ny,nz,d``                faces with outward normal n that lie at n·x = d
``box:x0,y0,z0,x1,y1,z1``           faces that lie wholly inside the box
``cylinder:x,y,z,ax,ay,az,r``       faces on the cylinder of radius r about the axis through a point
``group:NAME``                      the faces of a named group (OBJ)
==================================  ==========================================================================

A face here is what a person would call one, a plane or a whole smooth wall (`orient.part.regions`), not a
triangle; so what is selected does not depend on how the mesh was cut into triangles.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.errors import OrientError
from orient.part.cylinder import cylinder_of
from orient.part.mesh import Part
from orient.part.regions import SMOOTH_DEG, regions_of

# A face lies on a named plane or cylinder when it is this near and this little turned.
NEAR_MM = 0.02
TURNED_DEG = 1.0
# Distances closer than this share of the part's size are taken as equal.
_EQUAL = 1e-6

FORMS = {
    "face-near": "face-near:x,y,z",
    "plane": "plane:nx,ny,nz,d",
    "box": "box:x0,y0,z0,x1,y1,z1",
    "cylinder": "cylinder:x,y,z,ax,ay,az,r",
    "group": "group:NAME",
}


@dataclass(frozen=True, eq=False)
class Selection:
    """Faces that a selector named.

    Attributes
    ----------
    selector
        The selector as written.
    faces
        Indices of the triangles, ascending, (k,) int64.
    area_mm2
        Their area, mm².
    description
        What they are, in words.
    """

    selector: str
    faces: NDArray[np.int64]
    area_mm2: float
    description: str


def select(part: Part, selector: str) -> Selection:
    """Find the faces that a selector names.

    Parameters
    ----------
    part
        The part.
    selector
        One of the forms above.

    Returns
    -------
    Selection
        Never empty.

    Raises
    ------
    OrientError
        When the selector is malformed, or names no face; the sentence says what comes nearest.

    Notes
    -----
    ``plane`` takes faces turned less than 1° from n and nowhere more than 0.02 mm from the plane; n need not
    be of unit length, n and d are scaled together. ``cylinder`` takes flat facets along the axis that the
    circle of radius r passes through, within 0.02 mm, and the facets of the same wall beside them.
    ``face-near`` refuses a point equally near two faces, and one further from the part than the part is
    large.

    Examples
    --------
    >>> from orient.part.mesh import part_from_trimesh
    >>> import trimesh
    >>> box = part_from_trimesh(trimesh.creation.box(extents=(40, 30, 20)))
    >>> print(select(box, "face-near:1,2,11").description)
    flat face of 1200.0 mm² looking along (0, 0, 1)
    """
    kind, colon, rest = selector.strip().partition(":")
    kind = kind.strip().lower()
    if kind not in FORMS or not colon:
        close = difflib.get_close_matches(kind, FORMS, n=1)
        known = FORMS[close[0]] if close else " or ".join(FORMS.values())
        raise OrientError(f'selector "{selector}" has no known form; write {known}.')
    if kind == "group":
        faces = _group(part, selector, rest.strip())
    else:
        faces = _BY_NUMBERS[kind](part, selector, _numbers(selector, kind, rest))
    faces = np.sort(faces).astype(np.int64)
    area = float(part.areas[faces].sum())
    return Selection(selector, faces, area, described(part, faces))


def cylinder_axis(part: Part, faces: NDArray[np.int64]) -> NDArray[np.float64] | None:
    """Return the axis of a hole, a boss or a fillet.

    Parameters
    ----------
    part
        The part.
    faces
        Faces that `select` found on it, (k,).

    Returns
    -------
    ndarray or None
        Unit vector along the axis, (3,), its sign without meaning; None for flat faces and any other curve.
    """
    found = cylinder_of(part, faces)
    return None if found is None else found.direction


def _numbers(selector: str, kind: str, rest: str) -> NDArray[np.float64]:
    form = FORMS[kind]
    wanted = form.count(",") + 1
    try:
        numbers = [float(word) for word in rest.split(",")]
    except ValueError:
        raise OrientError(f'selector "{selector}" holds something that is no number; write {form}.') from None
    if len(numbers) != wanted:
        raise OrientError(f'selector "{selector}" has {len(numbers)} numbers, not {wanted}; write {form}.')
    if not all(map(math.isfinite, numbers)):
        raise OrientError(f'selector "{selector}" holds a number that is not finite; write {form}.')
    return np.array(numbers)


def _face_near(part: Part, selector: str, point: NDArray) -> NDArray:
    vertices, faces, centroids = part.vertices, part.faces, part.centroids
    size = _size(part)
    from_middle = np.linalg.norm(centroids - point, axis=1)
    reach = np.zeros(len(faces))
    for k in range(3):
        np.maximum(reach, np.linalg.norm(vertices[faces[:, k]] - centroids, axis=1), out=reach)
    # No triangle is nearer than its middle less its reach, and one is at least as near as the nearest middle.
    possible = np.flatnonzero(
        (from_middle - reach <= from_middle.min() * (1 + _EQUAL) + _EQUAL * size) & (part.areas > 0)
    )
    if not len(possible):
        raise OrientError(f'selector "{selector}" finds no face with an area; mend the mesh.')
    triangles = vertices[faces[possible]]
    import trimesh  # only here: it takes half a second to load

    closest = trimesh.triangles.closest_point(triangles, np.broadcast_to(point, (len(possible), 3)))
    distance = np.linalg.norm(closest - point, axis=1)
    if distance.min() > size:
        raise OrientError(
            f'selector "{selector}" is {distance.min():.1f} mm from the nearest face, more than the part is '
            f"large; the nearest point of the part is {_point(closest[distance.argmin()])}."
        )
    region = regions_of(part).region
    nearest = np.unique(region[possible[distance <= distance.min() + _EQUAL * size]])
    if len(nearest) > 1:
        raise OrientError(
            f'selector "{selector}" is equally near {len(nearest)} faces; move the point into one of them.'
        )
    return np.flatnonzero(region == nearest[0])


def _plane(part: Part, selector: str, numbers: NDArray) -> NDArray:
    length = np.linalg.norm(numbers[:3])
    if length < 1e-9:
        raise OrientError(f'selector "{selector}" has a normal without length; write {FORMS["plane"]}.')
    normal, offset = numbers[:3] / length, numbers[3] / length
    turned = part.normals @ normal
    facing = np.flatnonzero(turned >= math.cos(math.radians(TURNED_DEG)))
    if not len(facing):
        seen = part.normals[turned.argmax()]
        raise OrientError(
            f'selector "{selector}" selects nothing: no face looks along {_point(normal)}; '
            f"the nearest looks along {_point(seen)}."
        )
    height = (part.vertices @ normal)[part.faces[facing]]
    off = np.abs(height - offset).max(axis=1)
    chosen = facing[off <= NEAR_MM + _EQUAL * _size(part)]
    if not len(chosen):
        near = (part.centroids[facing] @ normal)[off.argmin()]
        raise OrientError(
            f'selector "{selector}" selects nothing: the nearest face that looks along {_point(normal)} '
            f"lies at d = {_short(near)}."
        )
    return chosen


def _box(part: Part, selector: str, numbers: NDArray) -> NDArray:
    margin = _EQUAL * _size(part)
    low = np.minimum(numbers[:3], numbers[3:]) - margin
    high = np.maximum(numbers[:3], numbers[3:]) + margin
    inside = ((part.vertices >= low) & (part.vertices <= high)).all(axis=1)
    region = regions_of(part).region
    cut = np.zeros(int(region.max()) + 1, dtype=bool)
    cut[region[~inside[part.faces].all(axis=1)]] = True
    chosen = np.flatnonzero(~cut[region])
    if not len(chosen):
        outside = np.maximum(np.maximum(low - part.centroids, part.centroids - high), 0.0)
        nearest = region == region[np.linalg.norm(outside, axis=1).argmin()]
        corners = part.vertices[np.unique(part.faces[nearest])]
        raise OrientError(
            f'selector "{selector}" selects nothing: no face lies wholly inside; the nearest reaches from '
            f"{_point(corners.min(axis=0))} to {_point(corners.max(axis=0))}."
        )
    return chosen


def _cylinder(part: Part, selector: str, numbers: NDArray) -> NDArray:
    point, axis, radius = numbers[:3], numbers[3:6], numbers[6]
    length = np.linalg.norm(axis)
    if length < 1e-9 or radius <= 0:
        wrong = "an axis without length" if length < 1e-9 else "a radius that is not more than 0"
        raise OrientError(f'selector "{selector}" has {wrong}; write {FORMS["cylinder"]}.')
    axis = axis / length
    near = NEAR_MM + _EQUAL * _size(part)
    labels = regions_of(part)

    outward = part.vertices - point
    outward -= (outward @ axis)[:, None] * axis
    farthest = np.zeros(int(labels.facet.max()) + 1)
    np.maximum.at(farthest, labels.facet, np.linalg.norm(outward, axis=1)[part.faces].max(axis=1))
    farthest = farthest[labels.facet]
    nearest = np.abs(np.sum(part.normals * (part.centroids - point), axis=1))
    along = (np.abs(part.normals @ axis) <= math.sin(math.radians(TURNED_DEG))) & (part.areas > 0)

    # A strip between two edges of the circle reaches inward by 1 − cos of half its angle.
    strip = math.cos(math.radians(SMOOTH_DEG / 2))
    about = along & (nearest >= strip * farthest - near)
    beside = about & (nearest >= strip * radius - near) & (farthest <= radius / strip + near)
    crossed = about & (nearest - near <= radius) & (radius <= farthest + near)
    chosen = np.flatnonzero(beside & np.isin(labels.region, np.unique(labels.region[crossed])))
    if not len(chosen):
        if not about.any():
            raise OrientError(f'selector "{selector}" selects nothing: no round wall lies about that axis.')
        radii = farthest[about]
        raise OrientError(
            f'selector "{selector}" selects nothing: the nearest wall about that axis has the radius '
            f"{_short(radii[np.abs(radii - radius).argmin()])}."
        )
    return chosen


def _group(part: Part, selector: str, name: str) -> NDArray:
    faces = part.groups.get(name)
    if faces is not None and len(faces):
        return np.asarray(faces)
    if not part.groups:
        raise OrientError(f'selector "{selector}" selects nothing: the file of {part.name} names no groups.')
    close = difflib.get_close_matches(name, part.groups, n=1, cutoff=0.0)
    raise OrientError(f'selector "{selector}" selects nothing: the nearest group is "{close[0]}".')


_BY_NUMBERS: dict[str, Callable[[Part, str, NDArray], NDArray]] = {
    "face-near": _face_near,
    "plane": _plane,
    "box": _box,
    "cylinder": _cylinder,
}


def described(part: Part, faces: NDArray[np.int64]) -> str:
    """Say what selected faces are: flat, round or curved, how many there are, and their area.

    Parameters
    ----------
    part
        The part.
    faces
        Faces that `select` found on it, (k,).

    Returns
    -------
    str
        A clause, such as ``flat face of 1200.0 mm² looking along (0, 0, 1)``.
    """
    area = float(part.areas[faces].sum())
    pieces = _pieces(part, faces)
    normals = part.normals[faces]
    mean = part.areas[faces] @ normals
    mean = mean / max(float(np.linalg.norm(mean)), 1e-300)
    solid = part.areas[faces] > 0
    many = f"{pieces} " if pieces > 1 else ""
    s = "s" if pieces > 1 else ""
    if solid.any() and (normals[solid] @ mean).min() >= math.cos(math.radians(TURNED_DEG)):
        return f"{many}flat face{s} of {area:.1f} mm² looking along {_point(mean)}"
    if found := cylinder_of(part, faces):
        where = "inside" if found.hollow else "outside"
        return (
            f"{many}round wall{s} of {area:.1f} mm², {where} of a cylinder of diameter "
            f"{2 * found.radius_mm:.2f} mm along {_point(found.direction)}"
        )
    return f"{many}faces of {area:.1f} mm² together" if pieces > 1 else f"curved face of {area:.1f} mm²"


def _pieces(part: Part, faces: NDArray[np.int64]) -> int:
    """Count the faces of a selection: regions, apart where they do not touch."""
    region = regions_of(part).region
    place = np.full(len(part.faces), -1, dtype=np.int64)
    place[faces] = np.arange(len(faces))
    other = part.neighbours[faces]
    touch = (other >= 0) & (place[other] >= 0) & (region[other] == region[faces][:, None])
    row, side = np.nonzero(touch)
    graph = coo_array((np.ones(len(row), np.int8), (row, place[other[row, side]])), shape=(len(faces),) * 2)
    return int(connected_components(graph, directed=False)[0])


def _size(part: Part) -> float:
    """Return the largest distance of a corner from the middle of the surface, however the part is turned."""
    middle = part.areas @ part.centroids / part.area_mm2
    return float(np.linalg.norm(part.vertices - middle, axis=1).max())


def _short(number: float) -> str:
    # Adding zero turns −0 into 0.
    return f"{round(float(number), 3) + 0.0:g}"


def _point(vector: NDArray) -> str:
    return f"({', '.join(_short(x) for x in vector)})"

"""``Part``: a mesh in millimetres, mended, with what measures ask of it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.errors import OrientError
from orient.part.bodies import Bodies, keep_body, list_bodies, sort_bodies
from orient.part.chord import chord_error_mm
from orient.part.circles import circle_diameters
from orient.part.edges import edge_angles, edges_of
from orient.part.faces import face_geometry, signed_volumes
from orient.part.health import Health, coarse_warning, open_warning
from orient.part.repair import mend
from orient.part.units import MM_PER, canonical_unit, likely_unit, unit_word

if TYPE_CHECKING:
    from orient.part.hull import Hull


class SeveralBodies(OrientError):
    """A file holds several bodies, and none of them was chosen.

    Attributes
    ----------
    extents_mm : (B, 3) float64
        Size of each body, largest first.
    volume_mm3 : (B,) float64
        Their volumes.
    """

    def __init__(
        self, sentence: str, extents_mm: NDArray[np.float64], volume_mm3: NDArray[np.float64]
    ) -> None:
        super().__init__(sentence)
        self.extents_mm = extents_mm
        self.volume_mm3 = volume_mm3


@dataclass(frozen=True, eq=False)
class Part:
    """A part to be laid: triangles in mm, in the file's own coordinates.

    Attributes
    ----------
    name : str
        Stem of the file's name.
    vertices : (V, 3) float64
        Corners, mm, merged, read-only.
    faces : (F, 3) int32
        Corners of each face, read-only; they look outward where the mesh is closed.
    units : str
        Unit that the file was read in.
    bodies : int
        Separate bodies kept.
    health : Health
        What was found on reading.
    groups : mapping of str to (k,) int64
        Named groups of faces: rows of ``faces``.
    """

    name: str
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    units: str
    bodies: int
    health: Health
    groups: Mapping[str, NDArray[np.int64]] = field(default_factory=dict)

    @cached_property
    def _geometry(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        normals, areas = face_geometry(self.vertices, self.faces)
        return _frozen(normals), _frozen(areas)

    @property
    def normals(self) -> NDArray[np.float64]:
        """Unit normals, (F, 3); zero for a face without area."""
        return self._geometry[0]

    @property
    def areas(self) -> NDArray[np.float64]:
        """Areas, (F,), mm²."""
        return self._geometry[1]

    @cached_property
    def centroids(self) -> NDArray[np.float64]:
        """Centroids of the faces, (F, 3), mm."""
        middle = self.vertices[self.faces[:, 0]]
        middle += self.vertices[self.faces[:, 1]]
        middle += self.vertices[self.faces[:, 2]]
        middle /= 3.0
        return _frozen(middle)

    @cached_property
    def neighbours(self) -> NDArray[np.int32]:
        """Face across the edges v0v1, v1v2, v2v0, (F, 3); −1 where none or more than one."""
        return _frozen(edges_of(self.faces, len(self.vertices)).neighbours)

    @cached_property
    def bounds(self) -> NDArray[np.float64]:
        """Lowest and highest corner of the bounding box, (2, 3), mm."""
        return _frozen(np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)]))

    @cached_property
    def extents_mm(self) -> NDArray[np.float64]:
        """Size of the bounding box, (3,), mm."""
        return _frozen(self.bounds[1] - self.bounds[0])

    @property
    def size_mm(self) -> float:
        """Diagonal of the bounding box, mm."""
        return float(np.linalg.norm(self.extents_mm))

    @cached_property
    def volume_mm3(self) -> float:
        """Volume by the divergence theorem, mm³.

        Taken from the middle of the box, and without its sign, so that an open mesh gives a fair guess.
        """
        return abs(float(signed_volumes(self.vertices, self.faces, self.bounds.mean(axis=0)).sum()))

    @cached_property
    def area_mm2(self) -> float:
        """Area of all faces, mm²."""
        return float(self.areas.sum())

    @cached_property
    def center_of_mass(self) -> NDArray[np.float64]:
        """Centroid of the volume, (3,), mm; of the surface where the mesh is not closed.

        Each face spans a tetrahedron from the middle o of the box with centroid (3c + o)/4, c the
        face's centroid; they are weighed with their signed volumes.
        """
        middle = self.bounds.mean(axis=0)
        if self.closed and self.volume_mm3 > 0:
            weight = signed_volumes(self.vertices, self.faces, middle)
            return _frozen(middle + 0.75 * (weight @ (self.centroids - middle)) / weight.sum())
        return _frozen(middle + self.areas @ (self.centroids - middle) / self.area_mm2)

    @property
    def closed(self) -> bool:
        """True when every edge joins exactly two faces."""
        return self.health.closed

    @property
    def notes(self) -> tuple[str, ...]:
        """Repairs and warnings, a sentence each."""
        return self.health.repairs + self.health.warnings

    @cached_property
    def content_hash(self) -> str:
        """SHA-256 of the vertices and faces, hexadecimal."""
        digest = hashlib.sha256(self.vertices.data)
        digest.update(self.faces.data)
        return digest.hexdigest()

    @cached_property
    def hull(self) -> Hull:
        """Convex hull."""
        from orient.part.hull import hull_of

        return hull_of(self.vertices)

    def turned(self, rotation: ArrayLike, shift: ArrayLike = (0.0, 0.0, 0.0)) -> Part:
        """Give the same part, turned and moved.

        Parameters
        ----------
        rotation : (3, 3) array_like
            Proper rotation applied to each vertex first.
        shift : (3,) array_like
            Moved by this after, mm.

        Returns
        -------
        Part
            New vertices, the same faces, groups and health.
        """
        vertices = self.vertices @ np.asarray(rotation, dtype=np.float64).T
        vertices += np.asarray(shift, dtype=np.float64)
        part = replace(self, vertices=_frozen(vertices))
        if "neighbours" in self.__dict__:
            part.__dict__["neighbours"] = self.neighbours
        return part


def part_from_arrays(
    vertices: ArrayLike,
    faces: ArrayLike,
    name: str = "part",
    units: str = "mm",
    groups: Mapping[str, ArrayLike] | None = None,
) -> Part:
    """Make a part of triangles: merged, mended, its health measured.

    Parameters
    ----------
    vertices : (N, 3) array_like
        Corners, in ``units``.
    faces : (F, 3) array_like of int
        Corners of each face, counter-clockwise seen from outside.
    name : str
        What to call it.
    units : str
        Unit of the vertices.
    groups : mapping of str to (k,) array_like of int, optional
        Named groups: rows of ``faces``.

    Returns
    -------
    Part
        Bodies that touch are joined; bodies apart keep their arrangement.

    Raises
    ------
    OrientError
        If the arrays are no mesh, or hold coordinates that are not finite.

    Examples
    --------
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> part = part_from_arrays(corners, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], units="cm")
    >>> round(part.volume_mm3, 6), part.closed
    (166.666667, True)
    """
    unit = canonical_unit(units)
    points = np.array(vertices, dtype=np.float64)
    corners = np.asarray(faces)
    if points.ndim != 2 or points.shape[1] != 3 or corners.ndim != 2 or corners.shape[1] != 3:
        raise OrientError("A part needs vertices of shape (N, 3) and faces of shape (F, 3).")
    named = {key: np.asarray(rows, dtype=np.int64) for key, rows in (groups or {}).items()}
    try:
        return assemble(points, corners, name=name, unit=unit, groups=named, together=True)
    except OrientError as error:
        raise OrientError(f"The part {error}") from None


def part_from_trimesh(mesh: Any, name: str = "part", units: str = "mm") -> Part:
    """Make a part of a ``trimesh.Trimesh``.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Anything with ``vertices`` and ``faces``.
    name, units : str
        As for ``part_from_arrays``.

    Returns
    -------
    Part
        The part.
    """
    return part_from_arrays(mesh.vertices, mesh.faces, name=name, units=units)


def assemble(
    points: NDArray[np.float32] | NDArray[np.float64],
    corners: NDArray[Any] | None,
    *,
    name: str,
    unit: str = "mm",
    groups: Mapping[str, NDArray[np.int64]] | None = None,
    body: int | None = None,
    together: bool = False,
    doubt_units: bool = False,
    notes: tuple[str, ...] = (),
) -> Part:
    """Take triangles as read through repair, bodies and health to a ``Part``.

    Parameters
    ----------
    points : (N, 3) float32 or float64
        Corners in the file's numbers. Taken over: the caller must not use them again.
    corners : (F, 3) int or None
        Rows of ``points`` for each face; None when every three points are a face.
    name : str
        What to call the part.
    unit : str
        Canonical unit of the points.
    groups : mapping of str to (k,) int64, optional
        Named groups of faces.
    body : int, optional
        Keep this body alone, counted from 1.
    together : bool
        Keep several bodies in their arrangement instead of refusing them.
    doubt_units : bool
        Whether to warn when another unit is likelier.
    notes : tuple of str
        Sentences to begin the warnings with.

    Returns
    -------
    Part
        The part.

    Raises
    ------
    OrientError
        If there is no usable face, or there are several bodies and none was chosen. The message is a
        predicate (``holds no faces: …``): the caller puts the file's name before it.
    """
    points, corners, nonfinite = _checked(points, corners)
    mended = mend(points, corners, MM_PER[unit])
    del points, corners
    _refuse_flat(mended.vertices)
    flat = _flat_faces(mended.vertices, mended.faces)
    bodies = sort_bodies(mended.vertices, mended.faces, mended.edges, trace=bool(groups))
    bodies = _chosen(bodies, body, together)
    vertices, faces = bodies.vertices, bodies.faces
    edges = mended.edges if faces is mended.faces else edges_of(faces, len(vertices))

    normals, areas = face_geometry(vertices, faces)
    angles = edge_angles(vertices, faces, normals, edges.neighbours)
    extents = np.ptp(vertices, axis=0)
    error = chord_error_mm(vertices, faces, normals, edges.neighbours, angles)
    repairs = list(mended.repairs + bodies.repairs)
    if nonfinite:
        repairs.insert(0, f"{nonfinite:,} unused vertices without finite coordinates were dropped.")
    warnings = list(notes)
    doubt = None
    if doubt_units:
        circles = circle_diameters(vertices, faces, angles) / MM_PER[unit]
        doubt = likely_unit(extents / MM_PER[unit], unit, circles)
    if doubt is not None:
        likely, reason = doubt
        warnings.append(
            f"Read in {unit_word(unit)}, but {reason}: it was probably drawn in {unit_word(likely)} "
            f"(--units {likely})."
        )
    warnings += bodies.warnings
    if not edges.closed:
        warnings.append(open_warning(edges.open, edges.nonmanifold, edges.inconsistent))
    if flat:
        warnings.append(f"{flat:,} faces have no area; they stay, since dropping them could open the mesh.")
    warnings += coarse_warning(error)
    health = Health(
        closed=edges.closed,
        open_edges=mended.open_edges,
        nonmanifold_edges=mended.nonmanifold_edges,
        degenerate_faces=mended.degenerate_faces + flat,
        duplicate_faces=mended.duplicate_faces,
        nonfinite_vertices=nonfinite,
        flipped_faces=mended.flipped_faces,
        inside_out_bodies=bodies.inside_out,
        chord_error_mm=error,
        repairs=tuple(repairs),
        warnings=tuple(warnings),
        unit_doubt=doubt,
    )
    part = Part(
        name=name,
        vertices=_frozen(vertices),
        faces=_frozen(faces),
        units=unit,
        bodies=bodies.count,
        health=health,
        groups=_followed(groups or {}, mended.source[bodies.source]),
    )
    part.__dict__["_geometry"] = (_frozen(normals), _frozen(areas))
    part.__dict__["neighbours"] = _frozen(edges.neighbours)
    return part


# A thousand kilometres in millimetres: past any part, and far from where doubles lose cubes of it.
_LARGEST = 1e9


def _checked(
    points: NDArray[Any], corners: NDArray[Any] | None
) -> tuple[NDArray[Any], NDArray[np.int32] | None, int]:
    """Refuse what is no mesh; drop unused vertices that are not finite."""
    count = len(points) // 3 if corners is None else len(corners)
    if count == 0:
        raise OrientError("holds no faces: export the part as a mesh of triangles.")
    if count == 1:
        raise OrientError("holds a single face: export the whole part.")
    if corners is not None:
        if corners.dtype.kind not in "iu":
            raise OrientError("has faces that are not whole numbers: export it again.")
        if int(corners.min()) < 0 or int(corners.max()) >= len(points):
            raise OrientError("has a face that names a corner which is not there: export it again.")
        corners = corners.astype(np.int32, copy=False)
    # The extremes are finite only where everything is; they need no array of their own.
    extreme = max(float(points.max()), -float(points.min()))
    if np.isfinite(extreme):
        if extreme > _LARGEST:
            raise OrientError("has coordinates too large to reckon with: export it again at its real size.")
        return points, corners, 0
    finite = np.isfinite(points).all(axis=1)
    bad = int(np.count_nonzero(~finite))
    if corners is None or not finite[corners].all():
        found = (
            "a corner that is no finite number"
            if bad == 1
            else f"{bad:,} corners that are not finite numbers"
        )
        raise OrientError(f"has {found} (NaN or infinity): export it again.")
    new_name = np.cumsum(finite, dtype=np.int32) - np.int32(1)
    return points[finite], new_name[corners], bad


def _flat_faces(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> int:
    """Count the faces without area, on the scale of the part."""
    extents = np.ptp(vertices, axis=0)
    return int(np.count_nonzero(face_geometry(vertices, faces)[1] <= 1e-12 * float(extents @ extents)))


def _refuse_flat(vertices: NDArray[np.float64]) -> None:
    """Refuse a mesh that lies in a plane: it has no inside and no way up."""
    spread = vertices - vertices.mean(axis=0)
    low, _, high = np.linalg.eigvalsh(spread.T @ spread)
    # Eigenvalues are squares: a thickness under a millionth of the size.
    if low <= 1e-13 * high:
        raise OrientError("lies in one plane: give it a thickness and export it again.")


def _chosen(bodies: Bodies, body: int | None, together: bool) -> Bodies:
    if body is not None:
        return keep_body(bodies, body)
    if bodies.count > 1 and not together:
        raise SeveralBodies(
            f"holds {bodies.count} separate bodies ({list_bodies(bodies)}): "
            "choose one with --body N, or keep them as they stand with --together.",
            bodies.extents_mm,
            bodies.volume_mm3,
        )
    return bodies


def _followed(
    groups: Mapping[str, NDArray[np.int64]], source: NDArray[np.int32]
) -> dict[str, NDArray[np.int64]]:
    """Find the faces kept that lie on the faces each group names."""
    if not groups:
        return {}
    faces = {key: np.flatnonzero(np.isin(source, rows)) for key, rows in groups.items()}
    return {key: _frozen(rows) for key, rows in faces.items() if len(rows)}


def _frozen(array: NDArray[Any]) -> NDArray[Any]:
    array = np.ascontiguousarray(array)
    array.flags.writeable = False
    return array

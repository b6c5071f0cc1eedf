"""Safe repairs: what can be mended without guessing at the shape.

Merging corners, dropping faces that are no faces and turning faces that look the wrong way leave
the surface where it is. Nothing is filled, moved or simplified; a crack or a T-junction stays and
is counted through its open edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

from orient.errors import OrientError
from orient.part.edges import Edges, edges_of
from orient.part.merge import merge_equal, merge_near


@dataclass(frozen=True, eq=False)
class Mended:
    """A mesh after safe repair, and what was found on the way.

    Attributes
    ----------
    vertices : (V, 3) float64
        Corners, mm, none unused.
    faces : (F, 3) int32
        Corners of each face.
    source : (F,) int32
        Which of the faces given each one is.
    edges : Edges
        Edges after repair.
    open_edges, nonmanifold_edges : int
        Counted after merging and dropping faces without three corners, before any other repair.
    degenerate_faces, duplicate_faces, flipped_faces : int
        Faces dropped, dropped and turned.
    repairs : tuple of str
        A sentence for each repair made.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    source: NDArray[np.int32]
    edges: Edges
    open_edges: int
    nonmanifold_edges: int
    degenerate_faces: int
    duplicate_faces: int
    flipped_faces: int
    repairs: tuple[str, ...]


def mend(
    points: NDArray[np.float32] | NDArray[np.float64],
    corners: NDArray[np.int32] | None,
    factor: float = 1.0,
) -> Mended:
    """Merge, drop and turn, and say so.

    Parameters
    ----------
    points : (N, 3) float32 or float64
        Finite corners in the file's own numbers; negative zeros may be overwritten by zeros.
    corners : (F, 3) int32 or None
        Rows of ``points`` for each face; None when every three points are a face.
    factor : float
        Millimetres to one of the file's numbers.

    Returns
    -------
    Mended
        The mesh in mm.

    Raises
    ------
    OrientError
        If no face with three different corners is left; a predicate that the file's name goes before.
    """
    repairs = []
    first, inverse = merge_equal(points)
    vertices = points[first].astype(np.float64)
    vertices *= factor
    faces = inverse.reshape(-1, 3) if corners is None else inverse[corners]
    if len(first) < len(points):
        repairs.append(f"{len(points):,} corners were merged into {len(first):,} vertices.")
    del first, inverse

    given = len(faces)
    source = np.arange(given, dtype=np.int32)
    faces, source = _with_three_corners(faces, source)
    edges = edges_of(faces, len(vertices))
    if edges.open:
        near = _weld_cracks(vertices, faces, edges)
        if near is not None:
            closed_up = edges.open
            faces, source = _with_three_corners(near[faces], source)
            edges = edges_of(faces, len(vertices))
            closed_up -= edges.open
            repairs.append(
                f"Corners a rounding error apart were merged, which closed {closed_up:,} open edges."
            )
    degenerate = given - len(faces)
    if degenerate:
        repairs.append(f"{_faces(degenerate)} with two equal corners {_was(degenerate)} dropped.")
    if len(faces) == 0:
        raise OrientError("has no face with three different corners: export the part again, finer.")
    open_edges, nonmanifold_edges = edges.open, edges.nonmanifold

    duplicates = 0
    if edges.nonmanifold or edges.inconsistent:
        keep = _first_of_duplicates(faces, edges)
        duplicates = len(faces) - int(np.count_nonzero(keep))
        if duplicates:
            faces, source = faces[keep], source[keep]
            edges = edges_of(faces, len(vertices))
            repairs.append(f"{_faces(duplicates)} given twice {_was(duplicates)} dropped.")

    flipped = 0
    if edges.inconsistent:
        turn = _against_the_rest(faces, edges)
        flipped = int(np.count_nonzero(turn))
        if flipped:
            faces[turn] = faces[turn][:, ::-1]
            edges = edges_of(faces, len(vertices))
            repairs.append(f"{_faces(flipped)} wound against the faces around {_was(flipped)} turned.")

    vertices, faces = used_only(vertices, faces)
    return Mended(
        vertices,
        faces,
        source,
        edges,
        open_edges,
        nonmanifold_edges,
        degenerate,
        duplicates,
        flipped,
        tuple(repairs),
    )


def used_only(
    vertices: NDArray[np.float64], faces: NDArray[np.int32]
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Leave out the vertices that no face names.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners.
    faces : (F, 3) int32
        Corners of each face.

    Returns
    -------
    vertices : (W, 3) float64
        Those in use, in their order.
    faces : (F, 3) int32
        The same faces.
    """
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces.ravel()] = True
    if used.all():
        return vertices, faces
    new_name = np.cumsum(used, dtype=np.int32)
    new_name -= 1
    return vertices[used], new_name[faces]


def components_of(edges: Edges) -> tuple[int, NDArray[np.int32]]:
    """Label the faces that hang together over edges of two faces.

    Parameters
    ----------
    edges : Edges
        Edges of the mesh.

    Returns
    -------
    count : int
        Number of connected pieces.
    label : (F,) int32
        Piece of each face, counted in the order of the faces.
    """
    n = len(edges.neighbours)
    ends = np.where(edges.neighbours < 0, np.arange(n, dtype=np.int32)[:, None], edges.neighbours)
    graph = csr_array(
        (np.ones(3 * n, dtype=np.int8), ends.ravel(), np.arange(0, 3 * n + 1, 3, dtype=np.int32)),
        shape=(n, n),
    )
    # The table is symmetric, so strong components are the pieces, without a transposed copy.
    count, label = connected_components(graph, directed=True, connection="strong")
    if count > 1:  # number the pieces by their first face
        _, first = np.unique(label, return_index=True)
        rank = np.empty(count, dtype=np.int32)
        rank[np.argsort(first)] = np.arange(count, dtype=np.int32)
        label = rank[label]
    return int(count), label


def _with_three_corners(
    faces: NDArray[np.int32], source: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Drop the faces two of whose corners are one."""
    good = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return (faces, source) if good.all() else (faces[good], source[good])


def _weld_cracks(
    vertices: NDArray[np.float64], faces: NDArray[np.int32], edges: Edges
) -> NDArray[np.int32] | None:
    """Rename corners of open edges that differ only by rounding; None where that closes nothing.

    The reach is a millionth of the part's diagonal plus four steps of a 32-bit coordinate: what
    writers lose when they print six digits or turn a part in single precision.
    """
    face, k = np.nonzero(edges.neighbours < 0)
    rim = np.unique(np.concatenate([faces[face, k], faces[face, (k + 1) % 3]]))
    points = vertices[rim]
    largest = float(np.abs(points).max())
    diagonal = float(np.linalg.norm(vertices.max(axis=0) - vertices.min(axis=0)))
    reach = 1e-6 * diagonal + 4 * float(np.finfo(np.float32).eps) * largest
    lowest = merge_near(points, reach)
    name = np.arange(len(vertices), dtype=np.int32)
    name[rim] = rim[lowest]
    welded, _ = _with_three_corners(name[faces], np.arange(len(faces), dtype=np.int32))
    if len(welded) == 0 or edges_of(welded, len(vertices)).open >= edges.open:
        return None
    return name


def _first_of_duplicates(faces: NDArray[np.int32], edges: Edges) -> NDArray[np.bool_]:
    """Mark every face but the second and later copies of one, wound the same way.

    Two faces on the same corners wound opposite ways are the two sides of a wall without
    thickness, or of two bodies that share a face: both stay.
    """
    keep = np.ones(len(faces), dtype=np.bool_)
    suspect = np.flatnonzero(~edges.sound)
    corner = np.argmin(faces[suspect], axis=1)
    turned = faces[suspect[:, None], (corner[:, None] + np.arange(3)) % 3]
    _, first = np.unique(turned, axis=0, return_index=True)
    keep[suspect] = False
    keep[suspect[first]] = True
    return keep


def _against_the_rest(faces: NDArray[np.int32], edges: Edges) -> NDArray[np.bool_]:
    """Mark the faces to turn so that neighbours agree: in each piece the smaller number.

    Each face stands in a graph twice, as given and turned. Neighbours that agree join like with
    like, those that don't join crosswise. A piece that can be wound one way falls into two
    components, the two windings; a one-sided surface falls into one and is left alone.
    """
    n = len(faces)
    face, k = np.nonzero(edges.neighbours > np.arange(n)[:, None])
    other = edges.neighbours[face, k]
    start, end = faces[face, k], faces[face, (k + 1) % 3]
    along = np.zeros(len(face), dtype=np.bool_)
    for c in range(3):
        along |= (faces[other, c] == start) & (faces[other, (c + 1) % 3] == end)
    rows = np.concatenate([face, face + n])
    columns = np.concatenate([np.where(along, other + n, other), np.where(along, other, other + n)])
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(2 * n, 2 * n))
    _, winding = connected_components(graph, directed=False)
    count, piece = components_of(edges)
    _, first = np.unique(piece, return_index=True)
    turned = winding[:n] != winding[first[piece]]
    one_sided = winding[:n] == winding[n:]
    size = np.bincount(piece, minlength=count)
    most = np.bincount(piece[turned], minlength=count) * 2 > size
    turned ^= most[piece]
    turned[one_sided] = False
    return turned


def _faces(count: int) -> str:
    return f"{count:,} face" if count == 1 else f"{count:,} faces"


def _was(count: int) -> str:
    return "was" if count == 1 else "were"

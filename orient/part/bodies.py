"""Which shells of a mesh are one body, which are voids, and which stand apart.

A mesh falls into shells: faces that hang together over edges. A closed shell that looks inward
and lies inside another is a void of that body. Closed shells that touch or overlap are joined
into one solid, so that no measure counts a wall inside the part. What is left apart is a body of
its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from manifold3d import Error, Manifold, Mesh64, OpType
from numpy.typing import NDArray
from rtree.index import Index, Property
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.errors import OrientError
from orient.part.crowded import tell_apart
from orient.part.edges import Edges, edges_of
from orient.part.faces import signed_volumes
from orient.part.merge import merge_equal
from orient.part.repair import components_of, used_only

# Nearer than this two bodies touch. A thousandth of a millimetre is far under what any machine
# that lays beads resolves and over what 32-bit coordinates lose on a part of a metre.
TOUCHING_MM = 0.001

# Above this many shells a mesh is a soup of triangles; looking each up against each tells nothing.
_SOUP = 5000

# A shell is judged inside out by its volume while no more than this share of its faces is open.
_FEW_OPEN = 0.05


@dataclass(frozen=True, eq=False)
class Bodies:
    """A mesh sorted into bodies.

    Attributes
    ----------
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int32
        Corners of each face, the closed bodies looking outward.
    source : (F,) int32
        Face of the mesh given that each face lies on; −1 where that was not traced.
    body : (F,) int32
        Body of each face, counted from 0, the largest volume first.
    extents_mm : (B, 3) float64
        Size of each body's bounding box.
    volume_mm3 : (B,) float64
        Volume of each body; an estimate where it is not closed.
    inside_out : int
        Closed bodies that looked inward and were turned.
    repairs, warnings : tuple of str
        Sentences on what was done, and on what could not be.
    """

    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]
    source: NDArray[np.int32]
    body: NDArray[np.int32]
    extents_mm: NDArray[np.float64]
    volume_mm3: NDArray[np.float64]
    inside_out: int
    repairs: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def count(self) -> int:
        """Number of bodies."""
        return len(self.volume_mm3)


def sort_bodies(
    vertices: NDArray[np.float64], faces: NDArray[np.int32], edges: Edges, trace: bool = True
) -> Bodies:
    """Sort a mended mesh into bodies; turn those inside out, join those that touch.

    Parameters
    ----------
    vertices : (V, 3) float64
        Corners, mm.
    faces : (F, 3) int32
        Corners of each face; neighbours wound alike.
    edges : Edges
        Edges of the mesh.
    trace : bool
        Whether ``source`` must be known for joined bodies too. It costs a finer mesh: where nobody
        asks, faces in one plane are cut afresh.

    Returns
    -------
    Bodies
        The bodies, largest first.
    """
    apart_vertices, apart_faces, apart_edges = vertices, faces, edges
    if edges.nonmanifold:
        apart_vertices, apart_faces = tell_apart(vertices, faces, edges)
        apart_edges = edges_of(apart_faces, len(apart_vertices))
    count, label = components_of(apart_edges)
    source = np.arange(len(faces), dtype=np.int32)
    if count == 1:
        repairs: tuple[str, ...] = ()
        if edges.nonmanifold and apart_edges.closed:
            met = "one edge" if edges.nonmanifold == 1 else f"{edges.nonmanifold:,} edges"
            repairs = (f"The surface meets itself along {met}; its sides were told apart there.",)
            vertices, faces, edges = apart_vertices, apart_faces, apart_edges
        middle = 0.5 * (vertices.min(axis=0) + vertices.max(axis=0))
        volume = float(signed_volumes(vertices, faces, middle).sum())
        turned = volume < 0 and np.count_nonzero(~edges.sound) <= _FEW_OPEN * len(faces)
        if turned:
            faces = np.ascontiguousarray(faces[:, ::-1])
        return Bodies(
            vertices,
            faces,
            source,
            np.zeros(len(faces), dtype=np.int32),
            np.ptp(vertices, axis=0)[None, :],
            np.array([abs(volume)]),
            int(turned),
            repairs + _turned_sentence(int(turned)),
            (),
        )
    if count > _SOUP:
        return Bodies(
            vertices,
            faces,
            source,
            np.zeros(len(faces), dtype=np.int32),
            np.ptp(vertices, axis=0)[None, :],
            np.abs(signed_volumes(vertices, faces, vertices.mean(axis=0)).sum(keepdims=True)),
            0,
            (),
            (f"The mesh falls into {count:,} loose shells and is taken as one body that is not closed.",),
        )
    shells = _Shells(apart_vertices, apart_faces, apart_edges, label, count)
    return _sort_shells(vertices, faces, shells, trace)


def _sort_shells(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int32],
    shells: _Shells,
    trace: bool,
) -> Bodies:
    count, label = shells.count, shells.label
    parent = shells.parents()
    solid, turned, inside_out = _orient(shells.volume, parent, shells.judged)
    flip = turned[label]
    faces = faces.copy()
    faces[flip] = faces[flip][:, ::-1]
    shells.flip(turned)

    # A void belongs to the shell around it; every other shell is a body to begin with.
    owner = np.where(solid, np.arange(count), parent)
    bodies = np.flatnonzero(solid)
    manifolds = {
        int(b): shells.manifold(np.flatnonzero(owner == b), trace) for b in bodies if shells.closed[b]
    }
    group = _touching(shells, parent, owner, manifolds)

    pieces = []
    repairs = list(_turned_sentence(inside_out))
    warnings = []
    joined = 0
    for g in range(group.max() + 1):
        members = np.flatnonzero(group == g)
        heads = [int(m) for m in members if solid[m]]
        rows = np.flatnonzero(group[label] == g).astype(np.int32)
        if len(heads) > 1:
            union = _union([manifolds.get(h) for h in heads])
            if union is not None:
                mesh = union.to_mesh64()
                source = np.asarray(mesh.face_id, dtype=np.int32) if trace else np.full(union.num_tri(), -1)
                corners = np.array(mesh.vert_properties[:, :3], dtype=np.float64)
                sides = np.asarray(mesh.tri_verts, dtype=np.int32)
                pieces.append(_Piece(union.volume(), int(rows[0]), source.astype(np.int32), corners, sides))
                joined += len(heads)
                continue
            warnings.append(
                f"{len(heads):,} pieces that meet or overlap are not all closed; they were taken as one body "
                "as they stand, with any walls between them."
            )
        volume = abs(float(shells.volume[members].sum()))
        if shells.closed[members].all():
            own = np.isin(label[shells.order], members)
            rows = shells.order[own]
            corners, sides = used_only(shells.vertices, shells.faces[own])
        else:
            corners, sides = used_only(vertices, faces[rows])
        pieces.append(_Piece(volume, int(rows.min()), rows, corners, sides))
    if joined:
        repairs.insert(0, f"{joined:,} bodies that touch or overlap were joined.")
    return _stack(pieces, inside_out, tuple(repairs), tuple(warnings))


def _union(solids: list[Manifold | None]) -> Manifold | None:
    """Unite solids; None where one of them is none."""
    known = [solid for solid in solids if solid is not None]
    if len(known) < len(solids):
        return None
    union = Manifold.batch_boolean(known, OpType.Add)
    return union if union.status() == Error.NoError and not union.is_empty() else None


@dataclass(frozen=True, eq=False)
class _Piece:
    """One body on its way into ``Bodies``; ``first`` is the first face of it in the mesh given."""

    volume: float
    first: int
    source: NDArray[np.int32]
    vertices: NDArray[np.float64]
    faces: NDArray[np.int32]


class _Shells:
    """The shells of a mesh, which share no corners, and what is known of each."""

    def __init__(
        self,
        vertices: NDArray[np.float64],
        faces: NDArray[np.int32],
        edges: Edges,
        label: NDArray[np.int32],
        count: int,
    ) -> None:
        self.count = count
        self.label = label
        self.order = np.argsort(label, kind="stable").astype(np.int32)
        size = np.bincount(label, minlength=count)
        self.start = np.concatenate([[0], np.cumsum(size)])
        # Rows of one shell side by side, faces and corners both; corners that shells share are split.
        key = label[self.order].astype(np.int64)[:, None] * len(vertices) + faces[self.order]
        corner, split = np.unique(key, return_inverse=True)
        self.vertices = vertices[corner % len(vertices)]
        self.shell_of_vertex = (corner // len(vertices)).astype(np.int32)
        self.faces = split.reshape(-1, 3).astype(np.int32)
        sound = edges.sound[self.order]
        self.closed = np.logical_and.reduceat(sound, self.start[:-1])
        self.judged = np.add.reduceat(~sound, self.start[:-1]) <= _FEW_OPEN * size
        first = np.searchsorted(self.shell_of_vertex, np.arange(count))
        self.first_vertex = np.append(first, len(self.vertices))
        self.low = np.minimum.reduceat(self.vertices, first, axis=0)
        self.high = np.maximum.reduceat(self.vertices, first, axis=0)
        # Each about the middle of its own box, so that an open shell's figure does not hang on where it is.
        middle = (0.5 * (self.low + self.high))[self.shell_of_vertex]
        det = signed_volumes(self.vertices - middle, self.faces, np.zeros(3))
        self.volume = np.add.reduceat(det, self.start[:-1])

    def flip(self, turned: NDArray[np.bool_]) -> None:
        """Turn the faces of some shells."""
        rows = np.repeat(turned, np.diff(self.start))
        self.faces[rows] = self.faces[rows][:, ::-1]
        self.volume = np.where(turned, -self.volume, self.volume)

    def rows(self, shell: int) -> slice:
        """Rows of ``faces`` of one shell."""
        return slice(int(self.start[shell]), int(self.start[shell + 1]))

    def near(self, slack: float) -> NDArray[np.int64]:
        """Pairs of shells whose boxes come within ``slack`` of each other, lower number first."""
        low, high = self.low - slack / 2, self.high + slack / 2
        boxes = ((i, (*low[i], *high[i]), None) for i in range(self.count))
        index = Index(boxes, properties=Property(dimension=3))
        ids, found = index.intersection_v(low, high)
        pairs = np.stack(
            [np.repeat(np.arange(self.count), found.astype(np.int64)), ids.astype(np.int64)], axis=1
        )
        pairs = pairs[pairs[:, 0] < pairs[:, 1]]
        return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]

    def holds(self, outer: int, inner: int) -> bool:
        """Tell whether a closed shell goes round another, by its winding number at three corners."""
        corners = np.linspace(self.first_vertex[inner], self.first_vertex[inner + 1] - 1, 3).astype(int)
        triangles = self.vertices[self.faces[self.rows(outer)]]
        turns = [abs(_winding_number(self.vertices[c], triangles)) for c in corners]
        return float(np.median(turns)) > 0.5

    def parents(self) -> NDArray[np.int64]:
        """Give the smallest closed shell round each closed shell, −1 for none."""
        parent = np.full(self.count, -1)
        pairs = self.near(0.0)
        # Each pair both ways round, in turn; most are ruled out at once by their boxes.
        inner, outer = np.stack([pairs, pairs[:, ::-1]], axis=1).reshape(-1, 2).T
        size = np.abs(self.volume)
        boxed = (self.low[inner] >= self.low[outer]).all(axis=1)
        boxed &= (self.high[inner] <= self.high[outer]).all(axis=1)
        boxed &= self.closed[inner] & self.closed[outer] & (size[inner] < size[outer])
        for one, other in zip(inner[boxed].tolist(), outer[boxed].tolist(), strict=True):
            now = parent[one]
            if (now < 0 or size[now] > size[other]) and self.holds(other, one):
                parent[one] = other
        return parent

    def manifold(self, shells: NDArray[np.int64], trace: bool) -> Manifold | None:
        """Build the solid bounded by some shells, or None where they bound none."""
        rows = np.concatenate([np.arange(self.start[s], self.start[s + 1]) for s in shells])
        vertices, faces = used_only(self.vertices, self.faces[rows])
        solid = Manifold(
            Mesh64(
                vert_properties=np.ascontiguousarray(vertices),
                tri_verts=faces.astype(np.uint64),
                face_id=self.order[rows].astype(np.uint64) if trace else None,
            )
        )
        return solid if solid.status() == Error.NoError and not solid.is_empty() else None


def _orient(
    volume: NDArray[np.float64], parent: NDArray[np.int64], judged: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], int]:
    """Tell solids from voids and find the shells to turn, from the outermost inward."""
    count = len(volume)
    solid = np.ones(count, dtype=np.bool_)
    turned = np.zeros(count, dtype=np.bool_)
    inside_out = 0
    depth = np.zeros(count, dtype=np.int64)
    for i in range(count):
        p = parent[i]
        while p >= 0:
            depth[i] += 1
            p = parent[p]
    for i in np.argsort(depth, kind="stable"):
        p = int(parent[i])
        # What lies inside a body that was turned was drawn inside out with it.
        turned[i] = p >= 0 and turned[p]
        inward = (volume[i] < 0) != turned[i]
        if not (inward and judged[i]):
            continue
        if p >= 0 and solid[p]:
            solid[i] = False
        else:
            turned[i] = ~turned[i]
            inside_out += 1
    return solid, turned, inside_out


def _touching(
    shells: _Shells,
    parent: NDArray[np.int64],
    owner: NDArray[np.int64],
    manifolds: dict[int, Manifold | None],
) -> NDArray[np.int32]:
    """Group the shells whose bodies touch or overlap; where one is not closed its box has to speak for it."""
    links = [np.stack([np.arange(shells.count), owner], axis=1)]
    first, where = merge_equal(shells.vertices.copy())
    links.append(np.stack([shells.shell_of_vertex, shells.shell_of_vertex[first][where]], axis=1))
    reach = TOUCHING_MM + 4 * float(np.finfo(np.float32).eps) * float(np.abs(shells.vertices).max())
    pairs = np.sort(owner[shells.near(reach)], axis=1)
    pairs = np.unique(pairs[pairs[:, 0] != pairs[:, 1]], axis=0)
    known = np.zeros(shells.count, dtype=np.bool_)
    known[[one for one, solid in manifolds.items() if solid is not None]] = True
    low, high = pairs.T
    sure = ~(known[low] & known[high]) | (parent[low] == high) | (parent[high] == low)
    links.append(pairs[sure])
    for a, b in pairs[~sure].tolist():
        one, other = manifolds[a], manifolds[b]
        if one is not None and other is not None and one.min_gap(other, 2 * reach) <= reach:
            links.append(np.array([[a, b]]))
    link = np.concatenate(links)
    graph = coo_array(
        (np.ones(len(link), dtype=np.int8), (link[:, 0], link[:, 1])), shape=(shells.count, shells.count)
    )
    _, group = connected_components(graph, directed=False)
    return group


def _winding_number(point: NDArray[np.float64], triangles: NDArray[np.float64]) -> float:
    """Give how often a closed surface goes round a point: solid angle of all triangles over 4π.

    A. Van Oosterom and J. Strackee, The solid angle of a plane triangle, IEEE Trans. Biomed. Eng.
    30(2), 1983, 125–126 (from memory).
    """
    a, b, c = (triangles[:, k] - point for k in range(3))
    la, lb, lc = (np.sqrt(np.einsum("ij,ij->i", v, v)) for v in (a, b, c))
    det = np.einsum("ij,ij->i", a, np.cross(b, c))
    dot = np.einsum("ij,ij->i", a, b) * lc
    dot += np.einsum("ij,ij->i", b, c) * la
    dot += np.einsum("ij,ij->i", c, a) * lb
    return float(np.arctan2(det, la * lb * lc + dot).sum() / (2 * np.pi))


def _stack(
    pieces: list[_Piece], inside_out: int, repairs: tuple[str, ...], warnings: tuple[str, ...]
) -> Bodies:
    """Lay the bodies one after the other, largest first, ties in the file's order."""
    pieces = sorted(pieces, key=lambda piece: (-piece.volume, piece.first))
    offset = np.cumsum([0] + [len(piece.vertices) for piece in pieces[:-1]]).astype(np.int32)
    return Bodies(
        np.concatenate([piece.vertices for piece in pieces]),
        np.concatenate([piece.faces + o for piece, o in zip(pieces, offset, strict=True)]),
        np.concatenate([piece.source for piece in pieces]),
        np.repeat(np.arange(len(pieces), dtype=np.int32), [len(piece.faces) for piece in pieces]),
        np.array([np.ptp(piece.vertices, axis=0) for piece in pieces]),
        np.array([piece.volume for piece in pieces]),
        inside_out,
        repairs,
        warnings,
    )


def keep_body(bodies: Bodies, number: int) -> Bodies:
    """Keep one body and leave out the rest.

    Parameters
    ----------
    bodies : Bodies
        All of them.
    number : int
        Which one, counted from 1.

    Returns
    -------
    Bodies
        The one.

    Raises
    ------
    OrientError
        If there is no body of that number; a predicate that the file's name goes before.
    """
    if not 1 <= number <= bodies.count:
        raise OrientError(
            f"holds no body {number}: choose one from 1 to {bodies.count}."
            if bodies.count > 1
            else f"holds one body, not {number}: leave the choice out."
        )
    rows = bodies.body == number - 1
    vertices, faces = used_only(bodies.vertices, bodies.faces[rows])
    return Bodies(
        vertices,
        faces,
        bodies.source[rows],
        np.zeros(len(faces), dtype=np.int32),
        bodies.extents_mm[number - 1 : number],
        bodies.volume_mm3[number - 1 : number],
        bodies.inside_out,
        bodies.repairs,
        bodies.warnings,
    )


def list_bodies(bodies: Bodies, most: int = 12) -> str:
    """List bodies in one line: number, size, volume.

    Parameters
    ----------
    bodies : Bodies
        What to list.
    most : int
        How many to name before the rest are counted.

    Returns
    -------
    str
        For example ``body 1 is 20 × 10 × 5 mm, 1000 mm³; body 2 …``.
    """
    named = []
    for number in range(1, min(most, bodies.count) + 1):
        size = " × ".join(f"{extent:.4g}" for extent in bodies.extents_mm[number - 1])
        named.append(f"body {number} is {size} mm, {_mm3(bodies.volume_mm3[number - 1])}")
    if bodies.count > most:
        named.append(f"and {bodies.count - most:,} smaller")
    return "; ".join(named)


def _mm3(volume: float) -> str:
    return f"{volume:,.0f} mm³" if volume >= 100 else f"{volume:.3g} mm³"


def _turned_sentence(inside_out: int) -> tuple[str, ...]:
    if not inside_out:
        return ()
    bodies = "A body" if inside_out == 1 else f"{inside_out} bodies"
    return (
        f"{bodies} whose faces looked inward {'was' if inside_out == 1 else 'were'} turned to look outward.",
    )

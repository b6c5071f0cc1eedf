"""The health of a mesh: what is wrong with it, in counts and in sentences."""

from __future__ import annotations

from dataclasses import dataclass

from orient.part.chord import COARSE_MM


@dataclass(frozen=True)
class Health:
    """What was found on reading a mesh.

    Counts are of the mesh as given, once equal corners are merged and before any other repair;
    ``closed`` is of the mesh as kept.

    Attributes
    ----------
    closed : bool
        After safe repair every edge is shared by exactly two faces that run along it in opposite
        directions.
    open_edges : int
        Edges with one face. Cracks, holes and T-junctions show here.
    nonmanifold_edges : int
        Edges with three or more faces.
    degenerate_faces : int
        Faces with two equal corners (dropped) or without area (kept: dropping one opens the mesh).
    duplicate_faces : int
        Faces given more than once, wound alike (dropped).
    nonfinite_vertices : int
        Vertices with NaN or infinite coordinates that no face uses (dropped).
    flipped_faces : int
        Faces wound against the faces around them (turned).
    inside_out_bodies : int
        Bodies whose faces looked inward (turned).
    chord_error_mm : float
        Largest estimated chord error of coarse facets, mm; 0 where nothing curves.
    repairs : tuple of str
        A sentence for each repair made.
    warnings : tuple of str
        A sentence for each thing a user should know and may want to mend.
    unit_doubt : (str, str) or None
        Unit that the file was probably drawn in, where that is another, and the reason as a clause.
    """

    closed: bool
    open_edges: int
    nonmanifold_edges: int
    degenerate_faces: int
    duplicate_faces: int
    nonfinite_vertices: int
    flipped_faces: int
    inside_out_bodies: int
    chord_error_mm: float
    repairs: tuple[str, ...]
    warnings: tuple[str, ...]
    unit_doubt: tuple[str, str] | None = None


def open_warning(open_edges: int, nonmanifold_edges: int, inconsistent_edges: int) -> str:
    """Say that a mesh is not closed and what follows from it.

    Parameters
    ----------
    open_edges, nonmanifold_edges, inconsistent_edges : int
        Edges left after repair.

    Returns
    -------
    str
        One sentence.
    """
    found = [
        f"{count:,} {one if count == 1 else many}"
        for count, one, many in (
            (open_edges, "open edge", "open edges"),
            (nonmanifold_edges, "edge with more than two faces", "edges with more than two faces"),
            (inconsistent_edges, "edge whose faces disagree", "edges whose faces disagree"),
        )
        if count
    ]
    return (
        f"The mesh is not closed ({', '.join(found)}): volumes, centre of mass, support and first layer "
        "are approximate."
    )


def coarse_warning(chord_error_mm: float) -> tuple[str, ...]:
    """Ask for a finer export where facets lie too far from the surface they stand for.

    Parameters
    ----------
    chord_error_mm : float
        Largest chord error, mm.

    Returns
    -------
    tuple of str
        Empty up to 0.1 mm.
    """
    if chord_error_mm <= COARSE_MM:
        return ()
    return (
        f"Curved faces are coarse: facets lie up to about {chord_error_mm:.2g} mm off the true surface; "
        f"export with a chord tolerance of {COARSE_MM / 2:g} mm or finer.",
    )

"""The stress in a part under its load cases, found once, in the part's own coordinates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from orient.clock import Clock
from orient.cost.plan import CONTOURS
from orient.errors import OrientError
from orient.measure.load import von_mises
from orient.measure.sharing import available_threads
from orient.part.mesh import Part
from orient.part.select import Selection
from orient.process import Process
from orient.strength.cases import Case
from orient.strength.cells import cut_into_cells
from orient.strength.grid import Grid, grid_axes, grid_over
from orient.strength.hexahedron import CORNER, isotropic
from orient.strength.infill import Inside
from orient.strength.memory import check_memory
from orient.strength.pitch import ACROSS, grid_of_cells, thinnest_loaded_mm
from orient.strength.recover import Places, Skin, averaged, fitted, places_of
from orient.strength.surface import Patches, Points, points_on
from orient.strength.system import Solved, solve_on

Floats = NDArray[np.float64]
Progress = Callable[[str, float], None]

# Cells unless told otherwise: at most so many, and no more than are needed.
MOST_CELLS = 100_000
# Cells of the first look, which finds the sections that bear load.
_FIRST_CELLS = 8_000
# Stress at a point is fitted through the cells within this many cells' length of it.
FIT_CELLS = 1.6
# The ball that robust stress is averaged over: two lines, but never less than this many cells' length.
BALL_LINES = 2.0
BALL_CELLS = 1.2
# The ball is shown well by cells that its radius holds this often: a sharp inner corner then changes the
# robust figure by less than 5 % with the grid; see tests/strength/test_field.py.
_BALL_SHOWN = 2.5
# Nearer to a fixed or loaded face than this many cells, or this many balls' radii, robust stress is not read:
# the ball must not touch the peaks there, however small the cells.
ZONE_CELLS = 2.0
ZONE_BALLS = 2.0
# What is taken when the data has no stiffness: stress under given forces does not depend on the first.
_ANY_YOUNGS_MPA = 2000.0
USUAL_POISSONS = 0.35
# Where the part turns further than this, a reckoning with small movements no longer holds. Common practice,
# no source: at 10° the sine is 0.5 % off the angle and lengths along the turned piece 1.5 %.
MOST_TURN_DEG = 10.0


@dataclass(frozen=True, eq=False)
class SolvedCase:
    """What was found about one load case.

    Attributes
    ----------
    name : str
        As in the brief.
    both_ways : bool
        Whether the reverse is judged too.
    selected : tuple of Selection
        What its selectors found.
    max_deflection_mm : float or None
        Greatest displacement of the surface; None where the polymer's stiffness is not known.
    raw : (Q, 6) float64
        Stress at every place, along the grid's axes, MPa, in the order xx, yy, zz, yz, xz, xy.
    robust : (R, 6) float64
        Averaged stress at the places `robust_at`.
    robust_at : (R,) int64
        Numbers of the places that robust stress is read at.
    """

    name: str
    both_ways: bool
    selected: tuple[Selection, ...]
    max_deflection_mm: float | None
    raw: Floats
    robust: Floats
    robust_at: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Field:
    """The stress in a part, and how it was found.

    Attributes
    ----------
    axes : (3, 3) float64
        The grid's axes, rows, in part coordinates.
    places_mm : (Q, 3) float64
        Where stress is read, part coordinates.
    skin : Skin
        Which of the places lie on each face of the part.
    cases : tuple of SolvedCase
        One for each load case.
    cells, unknowns : int
        Occupied cells; displacements solved for.
    pitch_mm : float
        Longest side of a cell.
    ball_mm, zone_mm : float
        Radius of the ball that robust stress is averaged over; distance kept from fixed and loaded faces.
    thinnest_mm : float
        Thinnest section that bears load; infinite when none was found.
    iterations : int
        Of the case that took most.
    residual : float
        Largest of the cases.
    notes : tuple of str
        What was assumed, and what to doubt.
    timing_s : dict of str to float
        Seconds by step.
    """

    axes: Floats
    places_mm: Floats
    skin: Skin
    cases: tuple[SolvedCase, ...]
    cells: int
    unknowns: int
    pitch_mm: float
    ball_mm: float
    zone_mm: float
    thinnest_mm: float
    iterations: int
    residual: float
    notes: tuple[str, ...]
    timing_s: dict[str, float]


def solve_field(
    part: Part,
    process: Process,
    cases: Sequence[Case],
    *,
    voxels: int | None = None,
    infill: float | None = None,
    density_g_cm3: float | None = None,
    grid: Grid | None = None,
    constants: Floats | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
) -> Field:
    """Find the stress in a part under its load cases.

    Parameters
    ----------
    part : Part
        A closed part.
    process : Process
        Line width and stiffness.
    cases : sequence of Case
        From `cases_of`, at least one.
    voxels : int, optional
        Cells to use. Without it a first look on few cells finds the thinnest section that bears load, and the
        cells are made small enough for it and for the ball of robust stress, as far as `MOST_CELLS` goes.
    infill : float, optional
        Filled share of the inside; solid by default.
    density_g_cm3 : float, optional
        Of the solid, for loads in the body.
    grid : Grid, optional
        A grid of one's own instead.
    constants : (3, 3, 3, 3) array, optional
        Elastic constants along the part's axes, MPa, instead of equal stiffness in all directions.
    threads : int, optional
        Threads to use; the answer does not depend on it.
    progress : callable, optional
        Called with a step's name and the share of it that is done.

    Returns
    -------
    Field

    Raises
    ------
    OrientError
        For a mesh that is not closed, a part that can move, a body load without a density, cells that do not
        fit in memory.
    """
    clock = Clock()
    workers = threads or available_threads()
    youngs, poissons, notes = _stiffness(process)
    if any(np.any(case.loads.body_m_s2) for case in cases) and not density_g_cm3:
        raise OrientError(
            f"No density is known for {process.polymer}, so gravity cannot load it: give density_g_cm3 in "
            "[polymer]."
        )
    shell = CONTOURS * process.line_width_mm
    inside = Inside(infill, shell, poissons) if infill is not None and infill < 1.0 else None
    ball = BALL_LINES * process.line_width_mm

    def on(grid: Grid, step: str) -> Solved:
        check_memory(round(1.1 * part.volume_mm3 / grid.cell_mm3))
        own = isotropic(youngs, poissons) if constants is None else _along(constants, grid)
        return solve_on(
            part,
            grid,
            cases,
            own,
            youngs,
            inside=inside,
            density_g_cm3=density_g_cm3 or 0.0,
            threads=workers,
            progress=None if progress is None else partial(progress, step),
        )

    if grid is None:
        axes = grid_axes(part)
        if voxels is None:
            first = on(grid_of_cells(part, _FIRST_CELLS, axes), "first look")
            thin = thinnest_loaded_mm(part, first.cells, first.patches, _bearing(first.stress))
            clock.lap("first_look")
            grid = _needed_grid(part, min(thin / ACROSS, ball / _BALL_SHOWN), axes)
        else:
            check_memory(voxels)
            grid = grid_of_cells(part, voxels, axes)
    found = on(grid, "solve")
    clock.lap("solve")

    pitch = grid.pitch_mm
    ball = max(ball, BALL_CELLS * pitch)
    zone = max(ZONE_CELLS * pitch, ZONE_BALLS * ball)
    normals = grid.turned(part.normals)
    places = places_of(found.cells, found.patches, normals)
    raw = fitted(found.cells, found.stress, places.place, FIT_CELLS * pitch, workers)
    robust = averaged(found.cells, found.stress, places.place, ball, workers)
    # At the surface is the shell, which is solid; inside, each cell fails as it is filled.
    hard = np.concatenate([found.cells.hardship, np.ones(len(places.place) - places.surface)])
    raw *= hard[:, None]
    robust *= hard[:, None]
    thin = thinnest_loaded_mm(part, found.cells, found.patches, _bearing(found.stress))
    solved = []
    for c, case in enumerate(cases):
        kept = _away(part, found, places, case, zone)
        if not len(kept):
            notes.append(
                f'In load case "{case.name}" every place is within {zone:.1f} mm of a fixed or loaded face: '
                "its robust figures are read there too."
            )
            kept = np.arange(len(places.place))
        solved.append(
            SolvedCase(
                case.name,
                case.both_ways,
                case.selected,
                _deflection(found, places, c) if process.youngs_in_layer_mpa else None,
                raw[c],
                robust[c][kept],
                kept,
            )
        )
    clock.lap("recover")
    if process.youngs_in_layer_mpa:
        for c, one in enumerate(solved):
            if (turn := _turned_deg(found, c)) > MOST_TURN_DEG:
                notes.append(
                    f'In load case "{one.name}" the part moves by {one.max_deflection_mm:.3g} mm and turns '
                    f"by up to {turn:.0f}°: far beyond the small movements that this reckoning holds for, so "
                    "its deflection and its safety are no more than a hint."
                )
    if inside is None:
        notes.append(
            "The part is judged as solid all through: give infill in [process] where it is printed with less."
        )
    notes += _doubts(thin, pitch, len(found.cells.fill), ball, BALL_LINES * process.line_width_mm)
    if inside is not None:
        notes.append(
            f"An inside filled to {100 * inside.share:.0f} % within a shell of {shell:.1f} mm is reckoned "
            "as an open-celled foam (Gibson and Ashby): an estimate."
        )
    return Field(
        axes=grid.axes,
        places_mm=grid.to_part(places.place),
        skin=places.skin,
        cases=tuple(solved),
        cells=len(found.cells.fill),
        unknowns=3 * len(found.nodes.index),
        pitch_mm=pitch,
        ball_mm=ball,
        zone_mm=zone,
        thinnest_mm=thin,
        iterations=found.iterations,
        residual=found.residual,
        notes=tuple(notes),
        timing_s=clock.laps,
    )


def _stiffness(process: Process) -> tuple[float, float, list[str]]:
    """Young's modulus and Poisson's ratio for the solve, and what was assumed."""
    notes = [
        "One solve serves every pose: it takes the solid as equally stiff in all directions, and only its "
        "strength as less across the layers."
    ]
    known = [e for e in (process.youngs_in_layer_mpa, process.youngs_across_mpa) if e is not None]
    if not known:
        notes.append(f"No stiffness is known for {process.polymer}: deflections are left out.")
    elif len(known) == 2 and known[0] != known[1]:
        notes.append(f"Deflections are reckoned with the softer of two moduli, {min(known):,.0f} MPa.")
    poissons = process.poissons_ratio
    if poissons is None:
        poissons = USUAL_POISSONS
        notes.append(f"No Poisson's ratio is known for {process.polymer}: {USUAL_POISSONS} is taken.")
    return min(known, default=_ANY_YOUNGS_MPA), poissons, notes


def _needed_grid(part: Part, needed_mm: float, axes: Floats) -> Grid:
    grid = grid_over(part, needed_mm, axes)
    rough = part.volume_mm3 / grid.cell_mm3
    if rough < MOST_CELLS and len(cut_into_cells(part, grid).fill) <= MOST_CELLS:
        return grid
    return grid_of_cells(part, MOST_CELLS, axes)


def _along(constants: Floats, grid: Grid) -> Floats:
    rows = grid.axes
    return np.einsum("ai,bj,ck,dl,ijkl->abcd", rows, rows, rows, rows, constants, optimize=True)


def _bearing(stress: Floats) -> Floats:
    return von_mises(stress).max(axis=0)


def _away(part: Part, found: Solved, places: Places, case: Case, zone_mm: float) -> NDArray[np.int64]:
    """Numbers of the places that are far enough from what is fixed and loaded."""
    near = np.concatenate([case.loads.faces, *(one.faces for one in case.held)])
    on = np.isin(found.patches.face, near)
    sides = found.cells.grid.sides_mm
    points = points_on(
        Patches(
            found.patches.corners[on],
            found.patches.face[on],
            found.patches.cell[on],
            found.patches.area_mm2[on],
        )
    ).place
    if not len(points):
        return np.arange(len(places.place))
    distance, _ = cKDTree(points * sides).query(places.place * sides, distance_upper_bound=zone_mm)
    return np.flatnonzero(~np.isfinite(distance))


def _deflection(found: Solved, places: Places, c: int) -> float:
    surface = Points(
        places.place[places.surface :],
        places.cell[places.surface :],
        np.zeros(0, dtype=np.int64),
        np.zeros(0),
    )
    return float(np.linalg.norm(found.moved(surface)[c], axis=1).max())


def _turned_deg(found: Solved, c: int) -> float:
    """How far the part's own pieces turn: half the curl of the displacement at the cells' middles.

    Exact for a small rigid turn. The hundredth of the cells that turns most is left out: slivers at the rim.
    """
    ends = (2.0 * CORNER - 1.0) / (4.0 * found.cells.grid.sides_mm)
    gradient = np.einsum("nap,ak->npk", found.displacement[c][found.nodes.of_cell], ends)
    twice = np.stack(
        [gradient[:, (k + 2) % 3, (k + 1) % 3] - gradient[:, (k + 1) % 3, (k + 2) % 3] for k in range(3)]
    )
    return float(np.degrees(np.quantile(np.linalg.norm(0.5 * twice, axis=0), 0.99)))


def _doubts(thin: float, pitch: float, cells: int, ball: float, wanted_ball: float) -> list[str]:
    doubts = []
    # Cells span the part in whole numbers, so a hair less than three is three.
    if thin < 0.97 * ACROSS * pitch:
        enough = cells * (ACROSS * pitch / thin) ** 3
        digits = 10 ** (len(str(int(enough))) - 2)
        doubts.append(
            f"The thinnest section that bears load is {thin:.2f} mm, only {thin / pitch:.1f} cells across: "
            f"its stress is rough, and about {int(np.ceil(enough / digits)) * digits:,} cells would show it "
            "(--voxels)."
        )
    if ball > 1.1 * wanted_ball:
        doubts.append(
            f"Robust stress is averaged over a ball of {ball:.2f} mm instead of {wanted_ball:.2f} mm, "
            f"because the cells are {pitch:.2f} mm long: sharp places look safer than they are."
        )
    return doubts

"""Test prints: the smallest solid that still shows how hard a feature is, in the same pose.

A window is cut out of the part as it lies, set down on a thin base where it would hang in the air, and
labelled. Windows are tried from the smallest up, until the program itself finds the feature in what was cut:
of the same kind, as large, and with the same verdict. Least layer times make height the dearest, so windows
are low.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import manifold3d
import numpy as np
from numpy.typing import NDArray

from orient.cost.bands import bands_of, surface_pieces
from orient.cost.plan import Plan
from orient.cost.time import build_of
from orient.errors import OrientError
from orient.features.model import Feature
from orient.features.register import Inspection, inspect_part
from orient.handover.lettering import HEIGHT_MM, STROKE_MM, letters, text_width_mm
from orient.handover.oriented import lay_part
from orient.measure.poses import measure_poses, sort_part
from orient.part.bends import bent_edges
from orient.part.mesh import Part, part_from_arrays
from orient.process import Process

Floats = NDArray[np.float64]

# A print of about five minutes is short enough to be made again and again.
MINUTES = 5.0
# What "about" may be over, as a share.
_ABOUT = 1.1
# How far a size may be off and still be the same.
SAME_SIZE = 0.02
# Kinds that a stretch of shows as well as the whole: their size is no length along the stretch, or the length
# is not what is hard.
_STRETCH = {"sharp_corner", "thin_wall", "narrow_gap", "vanishing"}
# Kinds whose size is one length across, so that they may be cut short along the other.
_ACROSS = {
    "bridge",
    "cantilever",
    "hole",
    "slot",
    "pin",
    "mixed_ceiling",
    "polygon_pocket",
    "insert_boss",
    "thread",
}
# What a stretch is compared by in place of its length.
_COMPARED = {"sharp_corner": ("turn_deg", "where")}
# Room beside, below and above the feature, mm: windows to try, the smallest first.
_WINDOWS = ((1.5, 1.6, 1.0), (2.5, 2.4, 1.4), (4.0, 3.2, 2.0), (7.0, 5.0, 3.0))
# Kinds that hang: a base below must not catch what sags. Common practice, no source: strands that sag more
# have failed anyway.
_HANGING = {"bridge", "cantilever", "mixed_ceiling", "overhang", "air_start"}
DROP_MM = 3.0
# Less than this along a way is nothing to cut short.
_SHORT_MM = 0.5
# Half the length of a stretch, mm.
_HALF_STRETCH = (3.0, 5.0, 8.0)
# Windows over the time that are looked at.
_LOOKS = 4
_BASE_LAYERS = 3
_LETTER_LAYERS = 2
# Least share of its rectangle that a print without a base must stand on.
_STANDS = 0.15
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class TestPrint:
    """A test print, or what is known of one that would take too long.

    Attributes
    ----------
    feature : Feature
        What it shows.
    vertices, faces : arrays
        The solid on the bed, mm.
    minutes : float
        Build time without heat-up.
    grams : float or None
        Part and support; None without data on the density.
    labelled : bool
        Whether its id stands on it.
    added_mm3 : float
        Volume of base and label, which are no part of the part.
    same : bool
        Whether the program found the feature in it: same kind, size and verdict.
    found_mm : float or None
        Size that was found in it.
    shown_mm : (float, float) or None
        How much of the feature is shown along the way that it was cut short, and how long it is there; None
        where all of it is.
    """

    __test__ = False

    feature: Feature
    vertices: Floats
    faces: NDArray[np.int64]
    minutes: float
    grams: float | None
    labelled: bool
    added_mm3: float
    same: bool
    found_mm: float | None
    shown_mm: tuple[float, float] | None = None

    @property
    def size_mm(self) -> Floats:
        """Extents along x, y and z."""
        return np.ptp(self.vertices, axis=0)

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid."""
        return float(_solid(self.vertices, self.faces).volume())


@dataclass(frozen=True, eq=False)
class _Cut:
    solid: manifold3d.Manifold
    added_mm3: float
    place: Floats
    base_mm: float


def feature_named(found: Inspection, ident: str) -> Feature:
    """Find a feature by its id.

    Raises
    ------
    OrientError
        With the ids that there are.
    """
    for one in found.features:
        if one.id.lower() == ident.lower():
            return one
    ids = [one.id for one in found.features if one.verdict != "fine"] or [one.id for one in found.features]
    some = ", ".join(ids[:30]) + (" …" if len(ids) > 30 else "")
    raise OrientError(
        f"There is no feature {ident} in this pose: there are {some}."
        if ids
        else f"There is no feature {ident}: this pose has none."
    )


def print_feature(
    found: Inspection, feature: Feature, process: Process, plan: Plan, *, minutes: float = MINUTES
) -> TestPrint:
    """Cut the smallest solid that shows a feature.

    Parameters
    ----------
    found : Inspection
        The part in its pose, from `orient.features.register.inspect_part`.
    feature : Feature
        One of its features.
    process : Process
        Limits, for the verdict.
    plan : Plan
        How it is printed, for the time.
    minutes : float
        How long it may take.

    Returns
    -------
    TestPrint
        Its ``minutes`` are over what was asked for where nothing smaller shows it; ``same`` is False where
        the program did not find the feature again in any window.

    Raises
    ------
    OrientError
        When the mesh is not closed.
    """
    laid = lay_part(found.part, found.direction)
    whole = _solid(laid.vertices, found.part.faces)
    if whole.status() != manifold3d.Error.NoError or whole.is_empty():
        raise OrientError(
            "A test print can only be cut from a closed mesh: mend the part first; `orient inspect` names "
            "its open edges."
        )
    turn = laid.transform[:3, :3]
    limit = minutes * _ABOUT
    best: TestPrint | None = None
    tries = 0
    for window in _windows(found.part, feature, laid.vertices, turn, laid.transform[:3, 3]):
        cut = _cut(whole, window, plan)
        if cut is None:
            continue
        took, grams = _time(cut.solid, process, plan)
        if best is not None and best.same and took >= best.minutes:
            continue
        if took > limit:
            # Longer than asked for: a few are looked at, to say how long it would take.
            if tries >= _LOOKS:
                continue
            tries += 1
        same, size = _shows(cut, feature, turn, process)
        made = _made(feature, cut.solid, took, grams, False, cut.added_mm3, same, size)
        made = replace(made, shown_mm=_shown(found.part, feature, laid.vertices, window))
        if best is None or (same, -took) > (best.same, -best.minutes):
            best = made
        if same and took <= limit:
            labelled = _with_label(made, cut, feature, turn, process, plan, limit)
            return replace(labelled, shown_mm=made.shown_mm)
    if best is not None and best.same:
        return best
    # Only the whole part shows it.
    whole_minutes, grams = _time(whole, process, plan)
    return _made(feature, whole, whole_minutes, grams, False, 0.0, True, feature.size_mm)


def _solid(vertices: Floats, faces: NDArray) -> manifold3d.Manifold:
    return manifold3d.Manifold(
        manifold3d.Mesh64(
            np.ascontiguousarray(vertices, dtype=np.float64), np.ascontiguousarray(faces, dtype=np.uint64)
        )
    )


def _windows(
    part: Part, feature: Feature, vertices: Floats, turn: Floats, shift: Floats
) -> Iterator[tuple[Floats, Floats]]:
    """Boxes to cut, lowest and highest corner, the smallest first."""
    top = float(vertices[:, 2].max())
    at = turn @ np.asarray(feature.at_mm) + shift
    corners = vertices[part.faces[feature.faces].ravel()] if len(feature.faces) else at[None]
    boxes: list[tuple[Floats, Floats]] = []
    if feature.kind in _STRETCH:
        middles = _middles(part, feature, vertices, at)
        for half in _HALF_STRETCH:
            for middle in middles:
                boxes += [(middle - half, middle + half * np.array([1, 1, 0.6]))]
    low, high = corners.min(axis=0), corners.max(axis=0)
    for beside, least, above in _WINDOWS:
        below = max(least, DROP_MM) if feature.kind in _HANGING else least
        if feature.kind in _ACROSS:
            boxes += list(_short(feature, low, high, at, turn, beside, below, above))
        boxes.append((low - np.array([beside, beside, below]), high + np.array([beside, beside, above])))
    boxes = [(np.maximum(a, [-np.inf, -np.inf, 0.0]), np.minimum(b, [np.inf, np.inf, top])) for a, b in boxes]
    # Height costs most: every layer waits until it has set.
    yield from sorted(boxes, key=lambda box: _weight(*box))


def _shown(
    part: Part, feature: Feature, vertices: Floats, window: tuple[Floats, Floats]
) -> tuple[float, float] | None:
    """How much of a feature lies in a window along the way that it is cut short most, of how much."""
    if not len(feature.faces):
        return None
    corners = vertices[part.faces[feature.faces].ravel()]
    if feature.kind == "sharp_corner" and len(edges := _laid_edges(part, feature, vertices)):
        corners = edges.reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    whole = high - low
    inside = np.maximum(np.minimum(high, window[1]) - np.maximum(low, window[0]), 0.0)
    share = np.where(whole > _SHORT_MM, inside / np.maximum(whole, _SHORT_MM), 1.0)
    axis = int(share.argmin())
    return (float(inside[axis]), float(whole[axis])) if share[axis] < 1.0 - SAME_SIZE else None


def _weight(low: Floats, high: Floats) -> float:
    wide = np.maximum(high - low, 0.0)
    return float(wide[2] * (1.0 + wide[0] * wide[1] / 150.0))


def _short(
    feature: Feature,
    low: Floats,
    high: Floats,
    at: Floats,
    turn: Floats,
    beside: float,
    below: float,
    above: float,
) -> Iterator[tuple[Floats, Floats]]:
    """The same feature cut short along the way that its size does not lie."""
    a, b = low - np.array([beside, beside, below]), high + np.array([beside, beside, above])
    way = turn @ np.asarray(feature.direction) if feature.direction is not None else None
    if feature.kind in ("hole", "pin", "slot", "polygon_pocket", "insert_boss", "thread"):
        axis = int(np.abs(way).argmax()) if way is not None else 2
        for depth in (2.0, 3.0, 5.0):
            for end in (low[axis] - 0.5, (low + high)[axis] / 2 - depth / 2, high[axis] - depth):
                c, d = a.copy(), b.copy()
                c[axis], d[axis] = max(end, c[axis]), min(end + depth + 0.5, d[axis])
                yield c, d
        return
    longest = int((high - low)[:2].argmax())
    across = longest if way is None else 1 - int(np.abs(way[:2]).argmax())
    for half in (3.0, 5.0):
        for middle in (at[across], low[across] + half, high[across] - half):
            c, d = a.copy(), b.copy()
            c[across], d[across] = max(c[across], middle - half), min(d[across], middle + half)
            yield c, d


def _laid_edges(part: Part, feature: Feature, vertices: Floats) -> Floats:
    """Bent edges between the faces of a corner as it lies, (E, 2, 3)."""
    return bent_edges(replace(part, vertices=vertices), feature.faces)


def _middles(part: Part, feature: Feature, vertices: Floats, at: Floats) -> list[Floats]:
    """Points on the feature itself: on its edge where it is an edge, else on its faces; the nearest first."""
    faces = feature.faces
    points = vertices[part.faces[faces]].mean(axis=1)
    if feature.kind == "sharp_corner" and len(edges := _laid_edges(part, feature, vertices)):
        points = edges.mean(axis=1)
    order = np.argsort(np.linalg.norm(points - at, axis=1), kind="stable")
    lowest = int(np.argmin(points[:, 2]))
    return [points[k] for k in dict.fromkeys([int(order[0]), lowest, int(order[len(order) // 2])])]


def _cut(whole: manifold3d.Manifold, window: tuple[Floats, Floats], plan: Plan) -> _Cut | None:
    """Cut a window out and set it on the bed; on a base where less than most of it would lie there."""
    low, high = window
    if (high - low).min() <= 0.2:
        return None
    block = manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))
    piece = whole ^ block
    if piece.is_empty() or piece.volume() < 0.5:
        return None
    x0, y0, z0, x1, y1, _ = piece.bounding_box()
    base = 0.0
    piece = piece.translate((-(x0 + x1) / 2, -(y0 + y1) / 2, -z0))
    place = np.array([-(x0 + x1) / 2, -(y0 + y1) / 2, -z0])
    standing = piece.slice(plan.layer_mm / 2)
    alone = len(piece.decompose()) == 1
    if z0 > 1e-6 and not (alone and standing.area() > 0.3 * (x1 - x0) * (y1 - y0)):
        base = _BASE_LAYERS * plan.layer_mm
        plate = manifold3d.Manifold.cube((x1 - x0, y1 - y0, base + 1e-3)).translate(
            (-(x1 - x0) / 2, -(y1 - y0) / 2, 0)
        )
        piece = piece.translate((0, 0, base))
        before = piece.volume()
        piece = piece + plate
        place[2] += base
        return _Cut(piece, piece.volume() - before, place, base) if len(piece.decompose()) == 1 else None
    if not alone or standing.area() < _STANDS * (x1 - x0) * (y1 - y0):
        # It would fall over, or come off the bed.
        return None
    return _Cut(piece, 0.0, place, base)


def _with_label(
    made: TestPrint, cut: _Cut, feature: Feature, turn: Floats, process: Process, plan: Plan, limit: float
) -> TestPrint:
    """The same with its id in raised letters on a tab, where there is time for it and it changes nothing."""
    y0 = cut.solid.bounding_box()[1]
    thick, raised = _BASE_LAYERS * plan.layer_mm, _LETTER_LAYERS * plan.layer_mm
    wide, deep = text_width_mm(feature.id) + 1.0, HEIGHT_MM + STROKE_MM + 1.0
    foot = cut.solid.slice(plan.layer_mm / 2)
    if foot.is_empty():
        return made
    left, _, right, _ = foot.bounds()
    middle = (left + right) / 2
    tab = manifold3d.Manifold.cube((wide, deep + 1.0, thick)).translate((middle - wide / 2, y0 - deep, 0))
    text = letters(feature.id, raised + 1e-3).translate(
        (middle - wide / 2 + 0.5, y0 - deep + 0.5, thick - 1e-3)
    )
    before = cut.solid.volume()
    solid = cut.solid + tab + text
    if len(solid.decompose()) != 1:
        return made
    took, grams = _time(solid, process, plan)
    added = cut.added_mm3 + solid.volume() - before
    labelled = _Cut(solid, added, cut.place, cut.base_mm)
    same, size = _shows(labelled, feature, turn, process)
    if not same or took > limit:
        return made
    return _made(feature, solid, took, grams, True, added, same, size)


def _made(
    feature: Feature,
    solid: manifold3d.Manifold,
    minutes: float,
    grams: float | None,
    labelled: bool,
    added: float,
    same: bool,
    size: float | None,
) -> TestPrint:
    vertices, faces = _mesh(solid)
    return TestPrint(feature, vertices, faces, minutes, grams, labelled, float(added), same, size)


def _mesh(solid: manifold3d.Manifold) -> tuple[Floats, NDArray[np.int64]]:
    mesh = solid.to_mesh64()
    vertices = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3].copy()
    vertices[np.abs(vertices[:, 2]) < 1e-9, 2] = 0.0
    return vertices, np.asarray(mesh.tri_verts, dtype=np.int64)


def _part(solid: manifold3d.Manifold) -> Part:
    return part_from_arrays(*_mesh(solid), name="test print")


def _time(solid: manifold3d.Manifold, process: Process, plan: Plan) -> tuple[float, float | None]:
    """Minutes and grams by the shop's model, support counted."""
    part = _part(solid)
    return minutes_of(part, process, plan)


def minutes_of(part: Part, process: Process, plan: Plan) -> tuple[float, float | None]:
    """Minutes, without heat-up, and grams of a solid as it stands, by the shop's model."""
    columns = measure_poses(sort_part(part), process, _UP[None]).columns
    support = columns.get("support_needed_mm3", columns["support_volume_mm3"])
    bands = bands_of(surface_pieces(part), _UP[None], plan.solid_mm, plan.contours_mm)
    build = build_of(bands, support, columns["overhang_projected_mm2"], plan)
    grams = float(build.part_g[0] + build.support_g[0])
    return 60.0 * float(build.hours[0]), grams if np.isfinite(grams) else None


def _shows(cut: _Cut, feature: Feature, turn: Floats, process: Process) -> tuple[bool, float | None]:
    """Look for the feature in a cut: whether it is the same, and the size that was found."""
    try:
        found = inspect_part(_part(cut.solid), process, _UP)
    except OrientError:
        return False, None
    alike = [one for one in found.features if one.kind == feature.kind and one.verdict == feature.verdict]
    best: float | None = None
    for one in alike:
        if feature.kind in _COMPARED:
            if all(_close(one.more.get(name), feature.more.get(name)) for name in _COMPARED[feature.kind]):
                return True, one.size_mm
        elif _close(one.size_mm, feature.size_mm):
            return True, one.size_mm
        if best is None or abs(one.size_mm - feature.size_mm) < abs(best - feature.size_mm):
            best = one.size_mm
    return False, best


def is_like(one: Feature, other: Feature) -> bool:
    """Whether a test print of one feature shows as well how hard another is."""
    if (one.kind, one.verdict) != (other.kind, other.verdict):
        return False
    if one.kind in _COMPARED:
        return all(_close(one.more.get(name), other.more.get(name)) for name in _COMPARED[one.kind])
    # What a hundredth of a millimetre or of a degree makes is how a mesh was cut.
    figures = [(one.more[name], other.more.get(name)) for name in one.more]
    return _close(one.size_mm, other.size_mm) and all(
        _close(a, b) or (isinstance(a, float) and isinstance(b, float) and abs(a - b) <= 0.01)
        for a, b in figures
        if isinstance(a, (float, str))
    )


def _close(a: object, b: object) -> bool:
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return abs(a - b) <= SAME_SIZE * max(abs(a), abs(b))
    return a == b

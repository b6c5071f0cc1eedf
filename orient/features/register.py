"""Every kind of hard feature, in order, and the one function that looks for them all."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from orient.errors import OrientError
from orient.features import (
    air_start,
    bridge,
    cantilever,
    closed_void,
    curl,
    first_layer,
    hole,
    insert_boss,
    mixed_ceiling,
    narrow_gap,
    overhang,
    pin,
    polygon_pocket,
    sharp_corner,
    slender,
    slot,
    thin_wall,
    thread,
    trapped_support,
    vanishing,
)
from orient.features.laid import Laid
from orient.features.model import VERDICTS, Feature, Hole
from orient.features.order import numbered
from orient.features.shape import Shape, shape_of
from orient.part.mesh import Part
from orient.process import Process

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """One kind of hard feature.

    Attributes
    ----------
    name : str
        As in the JSON.
    letter : str
        What its ids begin with.
    title : str
        In words.
    size : str
        What `size_mm` is.
    in_pose : bool
        Whether it is sought anew in every pose.
    turned : bool
        Whether its verdict can change as the part is turned, though it is found once.
    """

    name: str
    letter: str
    title: str
    size: str
    in_pose: bool
    turned: bool = False

    @property
    def by_pose(self) -> bool:
        """Whether the pose decides how hard it is."""
        return self.in_pose or self.turned


KINDS = (
    Kind("overhang", "O", "overhang", "area", True),
    Kind("bridge", "B", "bridge", "span", True),
    Kind("cantilever", "L", "cantilever", "reach", True),
    Kind("mixed_ceiling", "M", "part-held ceiling", "span", True),
    Kind("air_start", "A", "start in the air", "height above what is below", True),
    Kind("thin_wall", "W", "thin wall", "median thickness", False),
    Kind("narrow_gap", "G", "narrow gap", "median clearance", False),
    Kind("hole", "H", "hole", "diameter", False, turned=True),
    Kind("slot", "S", "slot", "width", False, turned=True),
    Kind("pin", "P", "pin", "diameter", False, turned=True),
    Kind("sharp_corner", "C", "sharp corner", "length of its edges", False),
    Kind("curl", "R", "curl", "longest run on the bed", True),
    Kind("slender", "Z", "slender part", "height", True),
    Kind("first_layer", "F", "first layer", "area", True),
    Kind("closed_void", "V", "closed void", "largest extent", False, turned=True),
    Kind("trapped_support", "X", "trapped support", "largest extent", True),
    Kind("vanishing", "D", "vanishing detail", "width", False),
    Kind("thread", "T", "modelled thread", "nominal diameter", False, turned=True),
    Kind("insert_boss", "N", "insert boss", "hole", False),
    Kind("polygon_pocket", "K", "polygon pocket", "across flats", False, turned=True),
)
BY_NAME: Mapping[str, Kind] = {kind.name: kind for kind in KINDS}

IN_POSE: tuple[Callable[[Laid], list[Feature]], ...] = (
    overhang.find,
    bridge.find,
    cantilever.find,
    mixed_ceiling.find,
    air_start.find,
    curl.find,
    slender.find,
    first_layer.find,
)
_JUDGED: Mapping[str, Callable[[Any, Process, Floats], Feature]] = {
    "thin_wall": thin_wall.judge,
    "narrow_gap": narrow_gap.judge,
    "slot": slot.judge,
    "pin": pin.judge,
    "sharp_corner": sharp_corner.judge,
    "closed_void": closed_void.judge,
    "vanishing": vanishing.judge,
    "thread": thread.judge,
    "insert_boss": insert_boss.judge,
    "polygon_pocket": polygon_pocket.judge,
}


@dataclass(frozen=True, eq=False)
class Inspection:
    """The hard features of a part in one pose.

    Attributes
    ----------
    part : Part
        The part.
    direction : (3,) float64
        Build direction.
    features : tuple of Feature
        Worst verdict first, then in order of kinds, the largest first.
    holes : tuple of Hole
        The inventory, with tilts.
    counts : Mapping[str, int]
        Features by verdict.
    unreliable : Mapping[str, str]
        Why a kind cannot be trusted on this mesh, by kind.
    cautions : tuple of str
        Sentences.
    needs_nothing : (k,) int64
        Ceilings that need no support after all: those of holes and bridges within their limits.
    timing_s : Mapping[str, float]
        Seconds spent, by step.
    """

    part: Part
    direction: Floats
    features: tuple[Feature, ...]
    holes: tuple[Hole, ...]
    counts: Mapping[str, int]
    unreliable: Mapping[str, str]
    cautions: tuple[str, ...]
    needs_nothing: NDArray[np.int64]
    timing_s: Mapping[str, float]


def inspect_part(
    part: Part, process: Process, direction: ArrayLike, shape: Shape | None = None
) -> Inspection:
    """List the hard features of a part in one pose.

    Parameters
    ----------
    part : Part
        The part. An open or broken mesh still gives a list, with the kinds that cannot be trusted.
    process : Process
        Limits.
    direction : (3,) array_like
        Build direction, of any length but zero.
    shape : Shape, optional
        What was found of the part before, for another pose.

    Returns
    -------
    Inspection

    Raises
    ------
    OrientError
        If the direction has no length or is not finite.

    Examples
    --------
    >>> import trimesh
    >>> from orient.part.mesh import part_from_trimesh
    >>> cube = part_from_trimesh(trimesh.creation.box((20, 20, 20)))
    >>> inspect_part(cube, Process(), (0, 0, 1)).counts
    {'redesign': 0, 'support': 0, 'tune': 0, 'fine': 1}
    """
    up = np.asarray(direction, dtype=np.float64).reshape(3)
    length = float(np.linalg.norm(up))
    if not np.isfinite(length) or length == 0.0:
        raise OrientError("A build direction needs three finite numbers, not all zero, such as 0,0,1.")
    up = up / length
    shape = shape or shape_of(part, process)
    start = time.perf_counter()
    laid = shape.laid(process, up)
    found = [feature for find in IN_POSE for feature in find(laid)]
    judged = time.perf_counter()
    found += _judged(shape, process, up)
    bridged = _bridged(found, process)
    held = _held(found, part)
    found = _shut_in(found, shape, process, up)
    trapped = trapped_support.find(
        part,
        shape.samples,
        shape.rays,
        shape.reached,
        process,
        up,
        shape.found["closed_void"],
        held,
    )
    found += [trapped_support.judge(one, process, up) for one in trapped]
    done = time.perf_counter()
    features = _in_order(_named(found, shape))
    return Inspection(
        part=part,
        direction=up,
        features=features,
        holes=tuple(replace(one, tilt_deg=hole.tilt_deg(one.axis, up)) for one in shape.holes),
        counts={verdict: sum(one.verdict == verdict for one in features) for verdict in VERDICTS},
        unreliable=shape.doubts,
        cautions=_cautions(shape),
        needs_nothing=np.unique(np.concatenate([hole_faces(shape.holes, process), *bridged])),
        timing_s=shape.timing_s | {"pose": round(judged - start, 4), "judge": round(done - judged, 4)},
    )


def _judged(shape: Shape, process: Process, up: Floats) -> list[Feature]:
    """Judge in a pose what was found without one."""
    found = [hole.judge(one, process, up) for one in shape.holes]
    for kind, judge in _JUDGED.items():
        if kind != closed_void.KIND:
            found += [judge(one, process, up) for one in shape.found[kind]]
    outlines = sharp_corner.find_outline(shape.part, up, shape.frame)
    found += [sharp_corner.judge(one, process, up) for one in outlines]
    return found


def _shut_in(found: list[Feature], shape: Shape, process: Process, up: Floats) -> list[Feature]:
    """Judge the closed voids, and leave to each the ceilings that lie wholly in it: they are one entry."""
    within = np.full(len(shape.part.faces), -1, dtype=np.int32)
    for number, void in enumerate(shape.found[closed_void.KIND]):
        within[void.faces] = number
    ceilings: dict[int, list[Feature]] = {}
    kept = []
    for feature in found:
        owners = np.unique(within[feature.faces]) if feature.kind in _CEILINGS else np.empty(0)
        if len(owners) == 1 and owners[0] >= 0:
            ceilings.setdefault(int(owners[0]), []).append(feature)
        else:
            kept.append(feature)
    voids = enumerate(shape.found[closed_void.KIND])
    return kept + [closed_void.judge(void, process, up, ceilings.get(number, [])) for number, void in voids]


def _held(found: list[Feature], part: Part) -> NDArray[np.bool_]:
    """Faces that support will stand under."""
    held = np.zeros(len(part.faces), dtype=bool)
    for feature in found:
        if feature.verdict == "support" and BY_NAME[feature.kind].in_pose and feature.kind in _CEILINGS:
            held[feature.faces] = True
    return held


_CEILINGS = ("overhang", "bridge", "cantilever", "mixed_ceiling", "air_start")


def _named(found: list[Feature], shape: Shape) -> list[Feature]:
    """Number the features of each kind by place; holes keep the number they have in the inventory."""
    middle = shape.part.bounds.mean(axis=0)
    named = [feature for feature in found if feature.kind == "hole"]
    for kind in KINDS:
        if kind.name == "hole":
            continue
        own = [feature for feature in found if feature.kind == kind.name]
        # Outlines on the bed change with the pose: inner corners come first and keep their names.
        first = [feature for feature in own if feature.more.get("where") != "outline"]
        last = [feature for feature in own if feature.more.get("where") == "outline"]
        for some, before in ((first, 0), (last, len(first))):
            places = [feature.at_mm for feature in some]
            sizes = [feature.size_mm for feature in some]
            named += numbered(some, kind.letter, shape.frame, middle, places, sizes, before)
    return named


def _in_order(features: list[Feature]) -> tuple[Feature, ...]:
    place = {kind.name: number for number, kind in enumerate(KINDS)}
    return tuple(
        sorted(
            features,
            key=lambda one: (VERDICTS.index(one.verdict), place[one.kind], -one.size_mm, len(one.id), one.id),
        )
    )


def _bridged(found: list[Feature], process: Process) -> list[NDArray[np.int64]]:
    """Faces of the bridges so short that they need no support, those in closed voids too."""
    return [one.faces for one in found if one.kind == "bridge" and one.size_mm <= process.bridge_limit_mm]


def hole_faces(holes: Iterable[Hole], process: Process) -> NDArray[np.int64]:
    """Walls of the holes so small that their ceilings need no support in any pose.

    Parameters
    ----------
    holes : iterable of Hole
        The part's holes.
    process : Process
        Largest lying hole whose ceiling needs nothing.

    Returns
    -------
    (k,) int64
        Faces of the part.
    """
    small = [one.faces for one in holes if one.diameter_mm <= process.lying_hole_limit_mm]
    return np.concatenate([*small, np.zeros(0, dtype=np.int64)])


def _cautions(shape: Shape) -> tuple[str, ...]:
    """What to be careful about, a sentence each."""
    said = list(dict.fromkeys(shape.doubts.values()))
    noise = shape.surface.noise_mm
    if noise > 0:
        said.append(
            f"The mesh is rough by about {1000.0 * noise:.0f} µm, as scans and remeshed files are, so "
            "sizes are that uncertain."
        )
    return tuple(said)

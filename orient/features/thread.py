"""Modelled threads: helical surfaces of at least two turns.

A screw motion moves a helical surface in itself: at every point p of it the velocity c̄ + c × p is square to
the normal n. That is linear in (c, c̄), so the motion is found by least squares over a patch (kinematic
surface fitting; H. Pottmann, J. Wallner, Computational Line Geometry, 2001, from memory). Its axis is that of
the thread, its pitch 2π c·c̄ / c·c. What to try first is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from orient.features.cylinders import Cylinder
from orient.features.growth import Floats, frame_of
from orient.features.model import Feature
from orient.features.places import numbered, triple
from orient.part.edges import edge_angles
from orient.part.mesh import Part
from orient.part.regions import regions_of
from orient.process import Process

# Flanks of a 60° thread meet crests at 60°; a face and the bore through it meet at 90°.
EDGE_DEG = 72.0
# A facet this many times as large as the usual one is a face of the part, not of a thread.
LARGE_FACET = 25.0
LEAST_FACES = 80
LEAST_TURNS = 1.5
# Flanks of a 60° thread lean by 0.87 (cosine of 30°); what is squarer to the axis than this is an end face.
END_FACE = 0.97
# Mean sine of the angle between surface and motion.
SLIP = 0.12
# Pitches of threads as a share of the diameter (ISO 261: M2 × 0.4 has 0.2, M20 × 1 has 0.05), and some room.
PITCH_SHARE = (0.02, 0.6)
# An upright thread leans by no more than this.
UPRIGHT_DEG = 10.0


@dataclass(frozen=True, eq=False)
class Thread:
    """A modelled thread.

    Attributes
    ----------
    id : str
        ``T1`` …
    diameter_mm, minor_mm, pitch_mm, length_mm : float
        Outer diameter of the helix (nominal), inner diameter, pitch, length.
    axis, centre_mm : (3,) tuple
        Axis and the middle of the thread on it.
    internal : bool
        True in a hole, False on a stud.
    faces : (k,) int64
        Faces of the helix.
    """

    id: str
    diameter_mm: float
    minor_mm: float
    pitch_mm: float
    length_mm: float
    axis: tuple[float, float, float]
    centre_mm: tuple[float, float, float]
    internal: bool
    faces: NDArray[np.int64]


_KNOWN: WeakKeyDictionary[Part, list[Thread]] = WeakKeyDictionary()


def find(part: Part) -> list[Thread]:
    """Find the modelled threads of a part.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    list of Thread
        Numbered by place. Kept for as long as the part lives.
    """
    if part not in _KNOWN:
        threads = [t for faces in _patches(part) if (t := _thread_of(part, faces)) is not None]
        _KNOWN[part] = numbered(_whole(part, threads), "T", lambda t: (*t.centre_mm, t.diameter_mm))
    return _KNOWN[part]


def judge(thread: Thread, process: Process, direction: Floats) -> Feature:
    """Judge one thread in one pose.

    Parameters
    ----------
    thread : Thread
        From `find`.
    process : Process
        Limits.
    direction : (3,)
        Build direction, unit.

    Returns
    -------
    Feature
        Its kind is ``thread``, its size the nominal diameter.
    """
    cross = float(np.linalg.norm(np.cross(thread.axis, direction)))
    tilt = math.degrees(math.atan2(cross, abs(float(np.dot(thread.axis, direction)))))
    tips: tuple[str, ...]
    if tilt > UPRIGHT_DEG:
        verdict = "redesign"
        why = f"The thread tilts by {tilt:.0f}° from upright, so the flanks below hang and print rough."
        tips = ("Turn the part so that the thread stands.", "Model a plain hole and use an insert or a nut.")
    elif thread.pitch_mm < 4 * process.layer_height_mm:
        verdict = "tune"
        why = (
            f"A pitch of {thread.pitch_mm:.2f} mm is drawn by fewer than four layers of "
            f"{process.layer_height_mm:g} mm."
        )
        tips = ("Take thinner layers.", "Tap or cut the thread after printing.", "Use a threaded insert.")
    else:
        verdict = "tune"
        why = f"A thread of Ø {thread.diameter_mm:.1f} mm that stands works in print, with clearance to tune."
        tips = ("Leave 0.2 to 0.3 mm of clearance on the diameter.", "Run a tap or a screw through it once.")
    return Feature(
        id=thread.id,
        kind="thread",
        verdict=verdict,
        size_mm=thread.diameter_mm,
        limit_mm=None,
        at_mm=thread.centre_mm,
        direction=thread.axis,
        area_mm2=math.pi * thread.diameter_mm * thread.length_mm,
        why=why,
        try_first=tips,
        faces=thread.faces,
        more={
            "pitch_mm": thread.pitch_mm,
            "length_mm": thread.length_mm,
            "minor_mm": thread.minor_mm,
            "internal": thread.internal,
            "tilt_deg": tilt,
            "layer_height_mm": process.layer_height_mm,
        },
    )


def belongs_to_thread(cylinder: Cylinder, threads: list[Thread]) -> bool:
    """Tell whether a cylindrical wall is the crest or root of a thread.

    Parameters
    ----------
    cylinder : Cylinder
        A wall.
    threads : list of Thread
        The threads of its part.

    Returns
    -------
    bool
        True where it runs round a thread's axis, between its diameters, along its length; or where it is a
        scrap of the helix.
    """
    for thread in threads:
        axis = np.array(thread.axis)
        gap = cylinder.point_mm - np.array(thread.centre_mm)
        along = float(gap @ axis)
        off = float(np.linalg.norm(gap - along * axis))
        outer, half = thread.diameter_mm / 2, thread.length_mm / 2
        if abs(along) > half + thread.pitch_mm:
            continue
        if off + cylinder.radius_mm < 1.1 * outer and len(np.intersect1d(cylinder.faces, thread.faces)):
            return True
        if off > 0.1 * outer or abs(float(cylinder.axis @ axis)) < 0.98:
            continue
        if 0.95 * thread.minor_mm / 2 <= cylinder.radius_mm <= 1.05 * outer:
            return cylinder.length_mm < thread.length_mm + 2 * thread.pitch_mm
    return False


def winds_through(point: Floats, threads: list[Thread]) -> bool:
    """Tell whether a place lies where a thread winds: between its diameters, along its length.

    Parameters
    ----------
    point : (3,)
        Place, mm.
    threads : list of Thread
        The threads of a part.

    Returns
    -------
    bool
    """
    for thread in threads:
        offset = point - np.array(thread.centre_mm)
        along = float(offset @ np.array(thread.axis))
        off = float(np.linalg.norm(offset - along * np.array(thread.axis)))
        between = 0.48 * thread.minor_mm < off < 0.51 * thread.diameter_mm
        if between and abs(along) < thread.length_mm / 2 + thread.pitch_mm / 2:
            return True
    return False


def _patches(part: Part) -> list[NDArray[np.int64]]:
    """List the patches of small facets that hang together over edges below 72°."""
    label = regions_of(part).facet
    facet_area = np.bincount(label, weights=part.areas)
    small = (
        facet_area[label] <= LARGE_FACET * np.median(facet_area[facet_area > 0]) if len(label) else label > 0
    )
    angles = np.abs(edge_angles(part.vertices, part.faces, part.normals, part.neighbours))
    linked = (
        (angles < np.radians(EDGE_DEG)) & small[:, None] & (part.neighbours > np.arange(len(small))[:, None])
    )
    face, side = np.nonzero(linked)
    other = part.neighbours[face, side]
    both = small[other]
    face, other = face[both], other[both]
    graph = coo_array((np.ones(len(face), np.int8), (face, other)), shape=(len(small),) * 2)
    patch = connected_components(graph, directed=False)[1]
    counts = np.bincount(patch)
    order = np.argsort(patch, kind="stable")
    begin = np.append(0, np.cumsum(counts))
    return [order[begin[k] : begin[k + 1]] for k in np.flatnonzero(counts >= LEAST_FACES)]


def _thread_of(part: Part, faces: NDArray[np.int64]) -> Thread | None:
    """Fit a screw motion to a patch; None when it is no helix."""
    whole = float(part.areas[faces].sum())
    for _ in range(3):
        areas, normals, centroids = part.areas[faces], part.normals[faces], part.centroids[faces]
        total = float(areas.sum())
        if len(faces) < LEAST_FACES or not total > 0.5 * whole:
            return None
        middle = areas @ centroids / total
        turn, shift, energy = _screw(normals, centroids - middle, areas)
        # What is left over of the part around the thread, such as the face at its end, drops out.
        motion = shift + np.cross(turn, centroids - middle)
        speed = np.maximum(np.linalg.norm(motion, axis=1), 1e-300)
        slip = np.abs(np.einsum("ij,ij->i", motion, normals)) / speed
        kept = (slip < 0.5) & (np.abs(normals @ turn) < END_FACE)
        if kept.all():
            break
        faces = faces[kept]
    pitch = 2 * math.pi * float(turn @ shift)
    point = middle + np.cross(turn, shift)
    local = (part.vertices[part.faces[faces]] - point) @ frame_of(turn).T
    radius = np.hypot(local[..., 0], local[..., 1])
    outer, inner = float(np.quantile(radius, 0.98)), float(np.quantile(radius, 0.02))
    length = float(np.ptp(local[..., 2]))
    areas, normals = part.areas[faces], part.normals[faces]
    rough = math.sqrt(max(energy, 0.0) / total) > SLIP * 0.5 * (inner + outer)
    if rough or inner < 0.4 * outer or areas.sum() < 0.6 * math.pi * (inner + outer) * length:
        return None
    if not PITCH_SHARE[0] * 2 * outer < abs(pitch) < PITCH_SHARE[1] * 2 * outer:
        return None
    # A plain bore slides in itself too: flanks must lean, and hold the pitch in place.
    lean = np.abs(normals @ turn)
    flanks = float(areas[lean > 0.4].sum())
    if flanks < 0.25 * float(areas.sum()) or length < LEAST_TURNS * abs(pitch):
        return None
    across = part.centroids[faces] - point
    across = across - np.outer(across @ turn, turn)
    outward = float(areas @ np.einsum("ij,ij->i", across, normals))
    axis = turn * np.sign(turn[np.argmax(np.abs(turn))])
    centre = point + 0.5 * float(local[..., 2].max() + local[..., 2].min()) * turn
    return Thread(
        id="",
        diameter_mm=2 * outer,
        minor_mm=2 * inner,
        pitch_mm=abs(pitch),
        length_mm=length,
        axis=triple(axis),
        centre_mm=triple(centre),
        internal=outward < 0,
        faces=np.sort(faces),
    )


def _screw(normals: Floats, points: Floats, areas: Floats) -> tuple[Floats, Floats, float]:
    """Find the screw motion (c, c̄), |c| = 1, with the least Σ A (n·(c̄ + c × p))², and that sum."""
    moment = np.cross(points, normals)
    weighed = areas[:, None] * normals
    a = (areas[:, None] * moment).T @ moment
    b = moment.T @ weighed
    c = normals.T @ weighed
    back = np.linalg.pinv(c, rcond=1e-3) @ b.T
    value, vector = np.linalg.eigh(a - b @ back)
    turn = vector[:, 0]
    return turn, -back @ turn, float(value[0])


def _whole(part: Part, threads: list[Thread]) -> list[Thread]:
    """Keep one entry of the pieces of one thread: flanks, crests and roots on one axis with one pitch."""
    kept: list[Thread] = []
    for thread in sorted(threads, key=lambda t: (-len(t.faces), t.centre_mm)):
        axis, centre = np.array(thread.axis), np.array(thread.centre_mm)
        twin = None
        for index, other in enumerate(kept):
            gap = centre - np.array(other.centre_mm)
            along = float(gap @ np.array(other.axis))
            off = float(np.linalg.norm(gap - along * np.array(other.axis)))
            near = abs(along) < 0.55 * (thread.length_mm + other.length_mm)
            alike = abs(thread.pitch_mm - other.pitch_mm) < 0.1 * other.pitch_mm
            if (
                near
                and alike
                and off < 0.1 * other.diameter_mm
                and abs(float(axis @ np.array(other.axis))) > 0.98
            ):
                twin = index
        if twin is None:
            kept.append(thread)
        else:
            other = kept[twin]
            kept[twin] = Thread(
                id="",
                diameter_mm=max(other.diameter_mm, thread.diameter_mm),
                minor_mm=min(other.minor_mm, thread.minor_mm),
                pitch_mm=other.pitch_mm,
                length_mm=max(other.length_mm, thread.length_mm),
                axis=other.axis,
                centre_mm=other.centre_mm,
                internal=other.internal,
                faces=np.union1d(other.faces, thread.faces),
            )
    return kept

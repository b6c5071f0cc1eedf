"""Time and material of every pose, in closed form.

The model, and what it assumes
------------------------------
A part is cut, in thought, into bands of height (`orient.cost.bands`). Each band has a mean section A and a
mean outline L; height / layer layers are shared out evenly over the bands. On every layer of a band:

1. **Contours.** c outlines lie side by side, one spacing s apart (bead area / layer height). They cover
   min(L·c·s − corners, A): a wall thinner than they are is solid and no more. Round a compact section, such
   as a square, they overlap in the corners by 4·(c·s)²; this fades out as L²/4πA goes from 1 (a disc) to 4
   (a ring or a strip, whose inner and outer corners cancel or do not matter).
2. **Skin.** Under and over faces that are level, or nearly, the inside is filled solid for 0.8 mm in whole
   layers; a sloping face needs it only where the contours do not reach, and never more than they leave.
3. **Filling.** What is left is filled to the share the brief gives. Skin and filling are laid in straight
   lines whose mean length is that of random chords of the region, π·A/L (Crofton; L. A. Santaló, Integral
   Geometry and Geometric Probability, 1976, ch. 3), L the outline of the region inside the contours, taken
   as A_inside/A of the section's outline where they take much of it. Every line starts and stops:
   t = ℓ/v + v/a, or 2·√(ℓ/a) when it is too short to reach v, and is followed by a step to the next line.
4. **Speed.** v is the polymer's usual speed, or what the nozzle melts over the bead's area, the lower of the
   two. Contours run at v throughout; the first layer runs at half of it.
5. **Layer change.** A fixed time a layer, and a travel across the section, √A, before contours and filling.
6. **Least time.** A layer that would be done sooner than the polymer sets waits. This governs small sections.
7. **Support.** Its volume is filled to a fifth and laid in lines as long as the mean chord of a square of the
   projected overhang. It is added after the waiting, although it fills some of it: small parts on tall
   supports are overestimated. A second material costs a change on every layer that has support.
8. **Heat-up** is reported apart: it is paid once a bed, not once a part.
9. The machine's own ``time_factor``, hours measured over hours estimated, multiplies the build and not the
   heat-up.

The flow is that of a nozzle of 0.4 mm also where a wider one is asked for: no source gives flows by nozzle.
Wider nozzles melt somewhat more, so their hours are upper ends.

Not in it: travels between islands, retraction, seams, slow outer contours, fans, pauses. The time factor is
where a shop puts what its machines lose on them. The sum Tb = deposition + layers·(change) + delay is that of
I. Gibson, D. Rosen, B. Stucker, Additive Manufacturing Technologies, 2nd ed., 2015, sec. 16.6. The tests hold
the model to within 15 % of toolpaths summed line by line from the sections of a box, a cylinder, a plate and
a hollow tube. No published build time was found that gives part, settings and machine fully enough to be set
against it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.cost.bands import Bands
from orient.cost.plan import Plan

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Build:
    """Time and material of P poses; every array is (P,).

    Attributes
    ----------
    hours : float64
        Build time without heat-up.
    waiting_hours : float64
        Part of it that layers wait to set.
    heat_up_hours : float
        Waiting before the build, once a bed.
    part_mm3, support_mm3 : float64
        Volumes that are extruded.
    contour_mm3, skin_mm3, fill_mm3 : float64
        What `part_mm3` is made of.
    part_g, support_g : float64
        The same weighed; NaN where there is no data on the density.
    """

    hours: Floats
    waiting_hours: Floats
    heat_up_hours: float
    part_mm3: Floats
    support_mm3: Floats
    contour_mm3: Floats
    skin_mm3: Floats
    fill_mm3: Floats
    part_g: Floats
    support_g: Floats


def build_of(
    bands: Bands,
    support_mm3: Floats,
    overhang_mm2: Floats,
    plan: Plan,
    *,
    parts: int = 1,
    brim_mm: float | Floats = 0.0,
) -> Build:
    """Time and material of every pose: the model at the head of this file.

    Parameters
    ----------
    bands : Bands
        Sections, outlines and skins, counted with ``plan.solid_mm`` and ``plan.contours_mm``.
    support_mm3 : (P,) float64
        Volume to be held up, empty or full.
    overhang_mm2 : (P,) float64
        Projected area that stands on it.
    plan : Plan
        How the job is run.
    parts : int
        Parts side by side on one bed: they share layer changes and waiting. Hours are those of the bed,
        volumes those of one part.
    brim_mm : float or (P,) float64
        Width of a brim round the first layer.

    Returns
    -------
    Build
    """
    count = bands.section_mm2.shape[1]
    step = np.maximum(bands.height_mm, 1e-12)[:, None] / count
    section, outline = bands.section_mm2, bands.outline_mm
    bead, v, a = plan.bead_mm2, plan.line_speed_mm_s, plan.acceleration_mm_s2

    slenderness = outline**2 / np.maximum(4.0 * np.pi * section, 1e-12)
    corners = 4.0 * plan.contours_mm**2 * np.clip((4.0 - slenderness) / 3.0, 0.0, 1.0)
    contour = np.clip(outline * plan.contours_mm - corners, 0.0, section)
    inside = section - contour
    skin = np.minimum(bands.skin_mm3 / step, inside)
    sparse = inside - skin
    filled = skin + plan.infill * sparse
    # Lines per layer follow from area over spacing; their mean length from the shape of the inside.
    shrunk = outline * np.sqrt(inside / np.maximum(section, 1e-300))
    chord = np.pi * inside / np.maximum(shrunk, 1e-300)
    fill_mm = filled * plan.layer_mm / bead
    lines = fill_mm / np.maximum(chord, plan.spacing_mm)
    apart = plan.spacing_mm * inside / np.maximum(filled, 1e-300)
    moving = lines * (_move_s(chord, v, a) + _move_s(np.minimum(apart, chord), plan.travel_mm_s, a))
    laying = contour * plan.layer_mm / (bead * v) + np.where(filled > 0, moving, 0.0)
    across = np.sqrt(section) / plan.travel_mm_s
    brim_mm2 = outline[:, 0] * brim_mm + np.pi * np.square(brim_mm)

    busy = parts * (laying + 2.0 * across)
    layer_s = np.maximum(busy + plan.layer_change_s, plan.min_layer_s)
    layers = bands.height_mm / plan.layer_mm
    first = parts * laying[:, 0] * (1.0 / plan.first_layer_speed - 1.0)
    first = first + parts * brim_mm2 * plan.layer_mm / (bead * v * plan.first_layer_speed)
    support = plan.support_fill * support_mm3
    run = np.maximum(np.sqrt(np.maximum(overhang_mm2, 0.0)) * np.pi / 4.0, plan.line_mm)
    support_s = parts * support / (bead * run) * _move_s(run, v, a)
    if plan.material_change_s > 0:
        tall = support_mm3 / np.maximum(overhang_mm2, 1e-300)
        support_s = support_s + plan.material_change_s * np.minimum(tall / plan.layer_mm, layers)
    build_s = layer_s.mean(axis=1) * layers + first + support_s
    waiting_s = (layer_s - busy - plan.layer_change_s).mean(axis=1) * layers

    to_hours = plan.time_factor / 3600.0
    volumes = {name: (band * step).sum(axis=1) for name, band in (("contour", contour), ("skin", skin))}
    fill = plan.infill * (sparse * step).sum(axis=1)
    part = volumes["contour"] + volumes["skin"] + fill + brim_mm2 * plan.layer_mm
    return Build(
        hours=build_s * to_hours,
        waiting_hours=waiting_s * to_hours,
        heat_up_hours=plan.heat_up_min / 60.0,
        part_mm3=part,
        support_mm3=support,
        contour_mm3=volumes["contour"],
        skin_mm3=volumes["skin"],
        fill_mm3=fill,
        part_g=_weighed(part, plan.density_g_cm3),
        support_g=_weighed(support, plan.support_density_g_cm3),
    )


def _move_s(length: Floats, v: float, a: float) -> Floats:
    """Seconds of a straight move from rest to rest: L/v + v/a, or 2·√(L/a) when it is too short to reach v.

    >>> [round(float(t), 5) for t in _move_s(np.array([1.0, 3.6, 10.0, 50.0]), 60.0, 3000.0)]
    [0.03651, 0.08, 0.18667, 0.85333]
    """
    length = np.asarray(length, dtype=np.float64)
    return np.where(length >= v * v / a, length / v + v / a, 2.0 * np.sqrt(np.maximum(length, 0.0) / a))


def _weighed(volume_mm3: Floats, density_g_cm3: float | None) -> Floats:
    if density_g_cm3 is None:
        return np.full(len(volume_mm3), np.nan)
    return volume_mm3 * density_g_cm3 / 1000.0

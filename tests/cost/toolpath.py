"""A toolpath summed by hand: every layer cut by trimesh, every line laid by shapely and timed one by one."""

import math

import numpy as np
import shapely
from shapely.geometry import MultiLineString
from shapely.ops import unary_union


def move_s(length, v, a):
    """A straight move from rest to rest."""
    return length / v + v / a if length >= v * v / a else 2.0 * math.sqrt(length / a)


def layer_regions(mesh, layer_mm):
    """Section of every layer at its middle, as shapely polygons in one frame."""
    low, high = mesh.bounds[:, 2]
    count = round((high - low) / layer_mm)
    heights = (np.arange(count) + 0.5) * layer_mm
    cut = mesh.section_multiplane([0, 0, low], [0, 0, 1], heights)
    return [unary_union(one.polygons_full) if one is not None else shapely.Polygon() for one in cut]


def raster(region, spacing):
    """Lengths of parallel lines, a spacing apart, inside a region."""
    if region.is_empty or region.area < spacing**2:
        return []
    x0, y0, x1, y1 = region.bounds
    rows = np.arange(y0 + spacing / 2, y1, spacing)
    lines = MultiLineString([[(x0 - 1, y), (x1 + 1, y)] for y in rows]) if len(rows) else MultiLineString()
    inside = lines.intersection(region)
    parts = getattr(inside, "geoms", [inside])
    return [part.length for part in parts if part.length > 1e-6]


def summed(mesh, plan):
    """Hours and extruded volume of a toolpath without support or heat-up."""
    regions = layer_regions(mesh, plan.layer_mm)
    solid_layers = math.ceil(plan.skin_mm / plan.layer_mm - 1e-9)
    spacing, v, a = plan.spacing_mm, plan.line_speed_mm_s, plan.acceleration_mm_s2
    seconds, length_mm = 0.0, 0.0
    for k, region in enumerate(regions):
        laid = 0.0
        time = 0.0
        for i in range(plan.contours):
            ring = region.buffer(-(i + 0.5) * spacing, join_style="mitre")
            for polygon in getattr(ring, "geoms", [ring]):
                for loop in (polygon.exterior, *polygon.interiors) if not polygon.is_empty else ():
                    laid += loop.length
                    time += loop.length / v + v / a
        inside = region.buffer(-plan.contours * spacing, join_style="mitre")
        near = [*range(k - solid_layers, k), *range(k + 1, k + solid_layers + 1)]
        covered = inside
        for j in near:
            covered = covered.intersection(regions[j]) if 0 <= j < len(regions) else shapely.Polygon()
        for part, pitch in (
            (inside.difference(covered), spacing),
            (covered, spacing / max(plan.infill, 1e-9)),
        ):
            for line in raster(part, pitch):
                laid += line
                time += move_s(line, v, a) + move_s(min(pitch, line), plan.travel_mm_s, a)
        x0, y0, x1, y1 = region.bounds
        time += 2.0 * move_s(math.hypot(x1 - x0, y1 - y0) / 2.0, plan.travel_mm_s, a)
        if k == 0:
            time /= plan.first_layer_speed
        seconds += max(time + plan.layer_change_s, plan.min_layer_s)
        length_mm += laid
    return seconds * plan.time_factor / 3600.0, length_mm * plan.bead_mm2

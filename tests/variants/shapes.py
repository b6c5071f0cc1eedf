"""A plate with a wall, a rib and three holes, and known edits of it, built by manifold3d."""

from __future__ import annotations

import math

import numpy as np
from manifold3d import CrossSection, Manifold

from orient.part.mesh import Part, part_from_arrays

FILLET_MM = 3.0


def box(x, y, z) -> Manifold:
    return Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))


def plate(hole_x=10.0, rib=True, wall=2.0, fillet=False, sections=48) -> Manifold:
    """Every argument but the last is one edit; the last cuts the same circles into other chords."""

    def bore(diameter, length):
        return CrossSection.circle(diameter / 2, sections).extrude(length)

    solid = box((-30, 30), (-20, 20), (0, 5)) + box((-30, 30), (-20, -20 + wall), (0, 25))
    if rib:
        solid += box((-20, -18), (-19, 5), (4, 20))
    if fillet:
        r = FILLET_MM
        corner = CrossSection([[(-18, 5), (-18 + r, 5), (-18 + r, 5 + r), (-18, 5 + r)]])
        corner -= CrossSection.circle(r, 64).translate((-18 + r, 5 + r))
        solid += corner.extrude(30).rotate((90, 0, 90)).translate((-10, 0, 0))
    solid -= bore(6.6, 7).translate((hole_x, 5, -1)) + bore(6.6, 7).translate((-10, 8, -1))
    return solid - bore(9.0, 10).rotate((90, 0, 0)).translate((15, -12, 15))


def part_of(solid: Manifold, name: str = "plate") -> Part:
    """As a file would hold it: in single precision."""
    mesh = solid.to_mesh64()
    corners = np.asarray(mesh.vert_properties)[:, :3].astype(np.float32).astype(np.float64)
    return part_from_arrays(corners, np.asarray(mesh.tri_verts).astype(np.int64), name=name)


def turned(part: Part, rotation, shift) -> Part:
    """Turned, moved and exported again."""
    moved = (part.vertices @ np.asarray(rotation).T + np.asarray(shift)).astype(np.float32)
    return part_from_arrays(moved.astype(np.float64), np.asarray(part.faces), name=f"{part.name}_turned")


def lens_mm3(diameter: float, apart: float, depth: float) -> float:
    """Volume that one round hole has beside another: πr² less the lens 2r²·acos(d/2r) − (d/2)·√(4r² − d²)."""
    r = diameter / 2
    lens = 2 * r * r * math.acos(apart / diameter) - apart / 2 * math.sqrt(diameter**2 - apart**2)
    return (math.pi * r * r - lens) * depth

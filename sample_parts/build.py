"""Build the sample parts: hardware for a mountain weather station.

Every part is a function that returns a solid. Lengths are millimetres, and the axes are the ones the briefs
speak of. Clearance holes follow ISO 273:1979 (medium), pilot holes for screws the tap drills of ISO 261
coarse threads. The station, its parts and their loads are made up.

Run ``python sample_parts/build.py`` to write the STL files beside this one, or with ``--check`` to compare
the files that are there with what the functions build. Files are compared by geometry (volume, area,
extents, centre of mass, inertia, topology), since another version of the solid modeller may number the same
triangles otherwise.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import trimesh
from manifold3d import CrossSection, Error, Manifold, Mesh64, OpType

HERE = Path(__file__).resolve().parent
CHORD_ERROR_MM = 0.01  # an arc's chord lies at most this far inside the true circle


# --- shapes the parts are made of -------------------------------------------------------------------------


def segments(radius: float) -> int:
    """Count the chords of a circle.

    Parameters
    ----------
    radius : float
        Radius in mm.

    Returns
    -------
    int
        A multiple of 8, so that corners fall on the axes and on the 45° lines. The sagitta r·(1 − cos(π/n))
        is at most `CHORD_ERROR_MM`.

    Examples
    --------
    >>> segments(3.3)
    48
    """
    least = math.pi / math.acos(1 - CHORD_ERROR_MM / radius)
    return 8 * math.ceil(least / 8)


def circle(diameter: float) -> CrossSection:
    """Return a circle whose corners, not its flats, lie on the diameter: true across vertices."""
    return CrossSection.circle(diameter / 2, segments(diameter / 2))


def rounded(x: tuple[float, float], y: tuple[float, float], radius: float) -> CrossSection:
    """Return a rectangle from x[0] to x[1] and y[0] to y[1] with rounded corners."""
    corner = circle(2 * radius)
    centres = [(cx, cy) for cx in (x[0] + radius, x[1] - radius) for cy in (y[0] + radius, y[1] - radius)]
    return CrossSection.batch_hull([corner.translate(c) for c in centres])


def hexagon(across_flats: float) -> CrossSection:
    """Return a hexagon with two flats facing ±y."""
    return CrossSection.circle(across_flats / math.sqrt(3), 6)


def teardrop(diameter: float) -> CrossSection:
    """Return a circle under a 45° roof that points to +y: a lying hole which needs no support."""
    r = diameter / 2
    ring = circle(diameter).to_polygons()[0]
    return CrossSection.hull_points(np.vstack([ring, [[0.0, r * math.sqrt(2)]]]))


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Manifold:
    """Return a block from its limits along the three axes."""
    return Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))


def along_z(section: CrossSection, x: float, y: float, z: tuple[float, float]) -> Manifold:
    """Extrude a section upward, its origin at (x, y)."""
    return section.extrude(z[1] - z[0]).translate((x, y, z[0]))


def along_x(section: CrossSection, x: tuple[float, float], y: float, z: float) -> Manifold:
    """Extrude a section towards +x: the section's x becomes y, its y becomes z."""
    return section.extrude(x[1] - x[0]).rotate((90, 0, 90)).translate((x[0], y, z))


def along_y(section: CrossSection, x: float, y: tuple[float, float], z: float) -> Manifold:
    """Extrude a section along y: the section's x stays x, its y becomes z."""
    return section.extrude(y[1] - y[0]).rotate((90, 0, 0)).translate((x, y[1], z))


def loft(rings: np.ndarray) -> Manifold:
    """Skin a stack of rings and close both ends.

    Parameters
    ----------
    rings : ndarray, shape (m, n, 3)
        m rings of n points each, counter-clockwise seen from the last ring towards the first. Neighbouring
        points may coincide. The two end rings are flat and convex, or star-shaped about their mean.

    Returns
    -------
    Manifold
        The solid between them.
    """
    m, n, _ = rings.shape
    ends = np.stack([rings[0].mean(axis=0), rings[-1].mean(axis=0)])
    points = np.vstack([rings.reshape(-1, 3), ends])
    here = np.arange(n)
    after = (here + 1) % n
    faces = [np.column_stack([np.full(n, m * n), after, here])]
    for low in range(0, (m - 1) * n, n):
        high = low + n
        faces.append(np.column_stack([low + here, low + after, high + after]))
        faces.append(np.column_stack([low + here, high + after, high + here]))
    top = (m - 1) * n
    faces.append(np.column_stack([np.full(n, m * n + 1), top + here, top + after]))
    return Manifold(Mesh64(points, np.vstack(faces).astype(np.uint64)))


# --- the parts --------------------------------------------------------------------------------------------

BASE = rounded((-38, 38), (-24, 20), 8)
# x, y, diameter: two M6 bolts into the leg, one M4 screw for the earth strap.
BASE_HOLES = ((-27.0, 0.0, 6.6), (27.0, 0.0, 6.6), (30.0, -16.0, 4.5))
STRAP_XY = ((12.5, -10.5), (12.5, 10.5))  # M5 U-bolt that straps the mast to its seat


def mast_bracket() -> Manifold:
    """Hold the anemometer mast off the leg of the station's tower; the wind loads it.

    The base is bolted flat to the leg, z points away from it; one edge is broader for the earth strap. A
    web rises from the base and carries an arm, and the mast is strapped to the seat on the arm by a U-bolt.
    A gust pushes the seat towards the leg (−z) and the lull behind it pulls back. The seat lies 25 mm
    beside the web, so the arm and the base bend along x and the web bends along z.

    Shows: a deep flat ceiling under the arm (a cantilever of 30 mm), a lying hole of Ø 12 in the web for
    the cable, sharp inner corners that raise the stress, an end stop only 1 mm thick, and the choice
    between standing it on its base as it is mounted (broad first layer, but the web's bending pulls the
    layers apart) and laying it on the side where base, web and arm end flush.
    """
    web = box((-17, -8), (-16, 20), (0, 39))
    arm = box((-17, 22), (-16, 20), (30, 39))
    seat = box((4, 21), (-16, 20), (38, 40))
    end_stop = box((21, 22), (-16, 20), (38, 45))
    solid = along_z(BASE, 0, 0, (0, 6)) + web + arm + seat + end_stop
    for x, y, diameter in BASE_HOLES:
        solid -= along_z(circle(diameter), x, y, (-1, 7))
    for x, y in STRAP_XY:
        solid -= along_z(circle(5.5), x, y, (29, 41))
    return solid - along_x(circle(12), (-18, -7), 0, 18)


def mast_bracket_rev_b() -> Manifold:
    """Hold the same mast by the same bolts, redesigned to be built standing on its base.

    Two ribs flush with the arm's sides run at 45° from the foot of the web to the tip of the arm, and the
    ceiling between them is a 45° gable: no flat ceiling is left. The cable hole is a teardrop, the corner
    behind the web has a 45° chamfer, the end stop is 2 mm thick, and the nuts of the U-bolt sit in hex
    pockets. Arm and web are 4 mm narrower: nothing has to end flush with the base any more.

    Shows: what a redesign takes away (support, the sharp corner, the sagging hole, the thin wall) and what
    it adds (two hex pockets with a flat ceiling, more material, and a second rib that hangs free when it
    lies on its side).
    """
    profile = CrossSection([[(-17, 0), (-8, 0), (-8, 6), (22, 36), (22, 39), (-17, 39)]])
    gable = CrossSection([[(-10, 6), (10, 6), (10, 25), (0, 35), (-10, 25)]])
    chamfer = CrossSection([[(-21, 5), (-17, 5), (-17, 10), (-21, 6)]])
    solid = along_y(profile, 0, (-16, 16), 0) - along_x(gable, (-8, 23), 0, 0)
    solid += along_z(BASE, 0, 0, (0, 6)) + along_y(chamfer, 0, (-16, 16), 0)
    solid += box((4, 21), (-16, 16), (38, 40)) + box((21, 23), (-16, 16), (38, 45))
    # The tip grows with the thicker stop, and keeps the 45° underside.
    solid += along_y(CrossSection([[(22, 36), (23, 37), (23, 39), (22, 39)]]), 0, (-16, 16), 0)
    for x, y, diameter in BASE_HOLES:
        solid -= along_z(circle(diameter), x, y, (-1, 7))
    for x, y in STRAP_XY:
        solid -= along_z(circle(5.5), x, y, (20, 41))
        solid -= along_z(hexagon(8.2), x, y, (15, 34))
    return solid - along_x(teardrop(12), (-18, -7), 0, 18)


def fillet(corner: tuple[float, float], radius: float, toward: tuple[int, int]) -> CrossSection:
    """Return what rounds an inner corner: a square on the corner less the circle in its far corner."""
    (x, y), (dx, dy) = corner, toward
    centre = (x + dx * radius, y + dy * radius)
    square = CrossSection([[(x, y), (centre[0], y), centre, (x, centre[1])]])
    if dx * dy < 0:
        square = CrossSection([[(x, y), (x, centre[1]), centre, (centre[0], y)]])
    return square - CrossSection.circle(radius, segments(radius)).translate(centre)


def mast_bracket_rev_c() -> Manifold:
    """Hold the same mast by the same bolts, redesigned to be built lying on its side as A lies best.

    Everything that A had is drawn for that pose: web, arm and end stop are one profile that runs straight up
    from the bed, so its inner corners can be rounded for nothing; the base is square where it stands on the
    bed, the cable hole is a teardrop that points up, the end stop is 2 mm thick.

    Shows: what a redesign gains when it keeps the pose that the load asks for: nothing is left to support, it
    bends less, and it bears as much.
    """
    profile = CrossSection([[(-17, 0), (-8, 0), (-8, 30), (23, 30), (23, 39), (-17, 39)]])
    profile += CrossSection([[(4, 38), (21, 38), (21, 40), (4, 40)]])
    profile += CrossSection([[(21, 38), (23, 38), (23, 45), (21, 45)]])
    profile += fillet((-8, 30), 10, (1, -1)) + fillet((-8, 6), 8, (1, 1)) + fillet((-17, 6), 4, (-1, 1))
    corners = [circle(16).translate((x, -16)) for x in (-30, 30)]
    corners += [CrossSection.square((2, 2)).translate((x, 18)) for x in (-38, 36)]
    solid = along_z(CrossSection.batch_hull(corners), 0, 0, (0, 6)) + along_y(profile, 0, (-16, 20), 0)
    for x, y, diameter in BASE_HOLES:
        solid -= along_z(circle(diameter), x, y, (-1, 7))
    for x, y in STRAP_XY:
        solid -= along_z(circle(5.5), x, y, (20, 41))
    return solid - along_x(teardrop(12).rotate(90), (-18, -7), 0, 18)


def cable_guide() -> Manifold:
    """Lead the sensor cable round a corner of the cabinet; an L of 40 mm with arms 12 mm wide.

    The cable lies in a channel 6.2 mm wide, three pairs of lips keep it in, two countersunk M3 screws in
    the floor hold the guide, and a tie goes through the slots in the outer wall.

    Shows: lips that reach 1.2 mm into the air, slots 1.8 mm high in an upright wall, countersunk holes, an
    inner corner without a fillet, and a plan that packs far closer than its rectangle.
    """
    plan = CrossSection([[(0, 0), (40, 0), (40, 12), (12, 12), (12, 40), (0, 40)]])
    channel = rounded((2.9, 60), (2.9, 60), 5) - rounded((9.1, 60), (9.1, 60), 2)
    solid = plan.extrude(14) - along_z(channel, 0, 0, (5, 15))
    for lip in ((16.0, 20.0), (25.0, 29.0), (34.0, 38.0)):
        for side in ((2.0, 4.1), (7.9, 10.0)):
            solid += box(lip, side, (12.8, 14)) + box(side, lip, (12.8, 14))
    for x, y in ((31.5, 6), (6, 31.5)):
        sink = Manifold.cylinder(1.3, 1.7, 3.0, segments(3.0)).translate((x, y, 3.7))
        solid -= along_z(circle(3.4), x, y, (-1, 6)) + sink + along_z(circle(6), x, y, (5, 6))
    for start in (14, 22):
        solid -= box((start, start + 4), (-1, 3.5), (6, 7.8)) + box((-1, 3.5), (start, start + 4), (6, 7.8))
    return solid


def gusset() -> Manifold:
    """Stiffen a corner of the instrument frame; a right triangle with legs of 40 mm, 12 mm thick.

    One M4 screw goes through each leg into the frame, its head sunk from the long side. A bore in the
    middle saves material and lets the guy line pass.

    Shows: two lying counterbored holes whose mouths are cut off at 45°, beside a triangle that packs in
    pairs.
    """
    triangle = CrossSection([[(0, 0), (40, 0), (0, 40)]])
    solid = triangle.extrude(12) - along_z(circle(12), 10, 10, (-1, 13))
    for bore in (along_y(circle(4.5), 26, (-1, 7), 6), along_y(circle(8), 26, (6, 30), 6)):
        solid -= bore
    for bore in (along_x(circle(4.5), (-1, 7), 26, 6), along_x(circle(8), (6, 30), 26, 6)):
        solid -= bore
    return solid


def _duct_rings(wall: float, overrun: float) -> np.ndarray:
    """Return the rings of the fan duct, grown outward by `wall` and longer at each end by `overrun`."""
    rise, bend, run = 9.0, 30.0, 10.0
    stations = [(0.0, -overrun), (0.0, rise)]
    stations += [(angle, 0.0) for angle in np.linspace(0, math.pi / 2, 29)[1:]]
    stations += [(math.pi / 2, run + overrun)]
    turn = np.linspace(0, math.pi / 2, 17)
    quarter = np.concatenate([turn + k * math.pi / 2 for k in range(4)])
    corner_u, corner_v = np.repeat([1, -1, -1, 1], 17), np.repeat([1, 1, -1, -1], 17)
    rings = []
    for k, (angle, straight) in enumerate(stations):
        s = angle / (math.pi / 2)
        blend = s * s * (3 - 2 * s)  # no kink where the bend begins and ends
        width, height, radius = (np.array([18, 18, 18]) * (1 - blend) + np.array([13, 6, 2]) * blend) + wall
        u = corner_u * (width - radius) + radius * np.cos(quarter)  # across the bend, along y
        v = corner_v * (height - radius) + radius * np.sin(quarter)  # in the bend's plane, outward
        along_rise = straight if k < 2 else rise
        along_run = straight if k == len(stations) - 1 else 0.0
        x = bend - (bend + v) * math.cos(angle) + along_run
        z = along_rise + (bend + v) * math.sin(angle)
        rings.append(np.column_stack([x, u, z]))
    return np.array(rings)


def fan_duct() -> Manifold:
    """Turn the air of a 40 mm fan by 90° and squeeze it from round (Ø 36) to flat (26 × 12) past the sensor.

    A flange with four M3 holes on a 32 mm square takes the fan; the probe goes in through a hole Ø 6.5
    beside the mouth.

    Shows: a curved roof inside and out that steepens from a wall to a ceiling, walls of 1.6 mm, and the
    mouth's flat ceiling as a bridge when the flange lies on the bed. Support inside the bend is hard to
    pull out.
    """
    flange = along_z(rounded((-21, 21), (-21, 21), 4), 0, 0, (0, 3))
    solid = flange + loft(_duct_rings(1.6, 0.0)) - loft(_duct_rings(0.0, 1.0))
    for x in (-16, 16):
        for y in (-16, 16):
            solid -= along_z(circle(3.4), x, y, (-1, 4))
    return solid - along_y(circle(6.5), 35, (10, 20), 39)


def sensor_housing() -> Manifold:
    """House the humidity sensor: an open box with two ears, closed by a lid that is screwed on.

    Walls are 1.6 (front), 0.8 (back), 1.2 (left) and 2.0 mm (right) thick. Inside stand four lid bosses
    with pilot holes for M3 screws, two bosses for heat-set inserts, a slot for the 1.6 mm board between two
    ribs, and a pair of fins 0.4 mm apart as a light trap. The front has five louvres, the right wall a hole
    for the cable gland, the rim a lip that centres the lid.

    Shows: thin walls, narrow gaps, small blind holes, slots with long flat ceilings, a lying hole of Ø
    12.5, a ledge under the rim, and a visible face that no support should touch.
    """
    ears = rounded((-46, 46), (-7, 7), 6)
    shell = rounded((-36, 36), (-26, 26), 4)
    cavity = rounded((-34.8, 34.0), (-24.4, 25.2), 2.4)
    mouth = rounded((-33.6, 33.6), (-23.6, 23.6), 1.6)
    lip = rounded((-35.3, 35.3), (-25.3, 25.3), 3.3) - rounded((-34.3, 34.3), (-24.3, 24.3), 2.3)
    solid = along_z(shell, 0, 0, (0, 30)) + along_z(ears, 0, 0, (0, 3)) + along_z(lip, 0, 0, (29, 31.5))
    solid -= along_z(cavity, 0, 0, (2, 26)) + along_z(mouth, 0, 0, (25, 33))
    inside = [along_z(circle(7), x, y, (1, 30)) for x in (-29, 29) for y in (-19, 19)]
    inside += [along_z(circle(8), x, 12, (1, 10)) for x in (-2, 24)]
    inside += [box((x, x + 1.2), (-22, -12), (1, 20)) for x in (13.0, 15.9)]
    inside += [box((x, x + 1.0), (4, 18), (1, 22)) for x in (-17.0, -15.6)]
    solid += Manifold.batch_boolean(inside, OpType.Add)
    for x in (-29, 29):
        for y in (-19, 19):
            solid -= along_z(circle(2.5), x, y, (18, 31))
    for x in (-2, 24):
        solid -= along_z(circle(4.0), x, 12, (4, 11))
    for z in (6, 10, 14, 18, 22):
        solid -= along_y(rounded((-22, 2), (-1, 1), 1), 0, (-27, -23), z)
    for x in (-41, 41):
        solid -= along_z(circle(4.5), x, 0, (-1, 4))
    return solid - along_x(circle(12.5), (33, 37), 0, 14)


def knob() -> Manifold:
    """Clamp the sun shield: a knob with six lobes, an M6 nut in its collar and a bore for the bolt's end.

    The grip is hollow: a ring-shaped void is enclosed in it. It saves material, and whatever is printed
    into it stays.

    Shows: a closed void that hides its own ceiling, a hex pocket and a blind bore on the same axis, a grip
    that hangs 6.5 to 9.5 mm over its collar when it is built as it is used, and a rounded top that is in
    sight.
    """
    phi = np.arange(168) * (2 * math.pi / 168)
    lobes = 18 + 1.5 * np.cos(6 * phi)
    rounding = np.linspace(0, math.pi / 2, 13)
    profile = [(0.0, 4.0), *((-5 * (1 - math.cos(a)), 15 + 5 * math.sin(a)) for a in rounding)]
    rings = [
        np.column_stack([(lobes + inset) * np.cos(phi), (lobes + inset) * np.sin(phi), np.full(168, z)])
        for inset, z in profile
    ]
    solid = loft(np.array(rings)) + along_z(circle(20), 0, 0, (0, 5))
    solid -= along_z(hexagon(10.2), 0, 0, (-1, 5.5)) + along_z(circle(6.6), 0, 0, (5, 13))
    return solid - along_z(circle(29) - circle(20), 0, 0, (7, 13))


WEDGE_ANGLES_DEG = (30, 40, 45, 50, 55, 60, 70)


def test_wedge() -> Manifold:
    """Show in a few minutes how steep an overhang prints clean: seven steps from 30° to 70°.

    The angle is measured from the vertical wall. Each step is 5 mm wide and reaches 5 mm out, so the
    steeper the overhang the lower the step, and the row makes a wedge. Dots on top of a step count its
    place in the row.

    Shows: overhangs of known angle side by side, and dots Ø 1.2 that are near the smallest a nozzle can draw.
    """
    solid = box((0, 5 * len(WEDGE_ANGLES_DEG)), (0, 5), (0, 2))
    for place, angle in enumerate(WEDGE_ANGLES_DEG):
        top = 2 + 5 / math.tan(math.radians(angle))
        profile = CrossSection([[(0, 1), (5, 1), (5, 2), (10, top), (10, top + 1), (0, top + 1)]])
        solid += along_x(profile, (5 * place, 5 * place + 5), 0, 0)
        for dot in range(place + 1):
            x, y = 5 * place + (1.4, 3.6)[dot % 2], 1.7 + 2.2 * (dot // 2)
            solid += along_z(circle(1.2), x, y, (top + 0.5, top + 1.5))
    return solid


PARTS: dict[str, Callable[[], Manifold]] = {
    part.__name__: part
    for part in (
        mast_bracket,
        mast_bracket_rev_b,
        mast_bracket_rev_c,
        cable_guide,
        gusset,
        fan_duct,
        sensor_housing,
        knob,
        test_wedge,
    )
}


# --- files ------------------------------------------------------------------------------------------------


def mesh_of(name: str) -> trimesh.Trimesh:
    """Build a part and return it as a file would hold it: float32 corners, triangles in a fixed order.

    Parameters
    ----------
    name : str
        A key of `PARTS`.

    Returns
    -------
    trimesh.Trimesh
        Closed, outward-facing, merged at the precision of the file.
    """
    solid = PARTS[name]()
    if solid.status() != Error.NoError:
        raise RuntimeError(f"{name} is not a valid solid: {solid.status()}")
    surface = solid.to_mesh()
    corners = np.asarray(surface.vert_properties[:, :3], dtype=np.float32)
    triangles = corners[np.asarray(surface.tri_verts)] + np.float32(0)  # −0 and 0 are one number
    # Start each triangle at its least corner, then sort: the modeller's numbering no longer matters.
    order = np.lexsort((triangles[:, :, 2], triangles[:, :, 1], triangles[:, :, 0]), axis=1)
    first = (order[:, :1] + np.arange(3)) % 3
    triangles = np.take_along_axis(triangles, first[:, :, None], axis=1)
    triangles = triangles[np.lexsort(triangles.reshape(-1, 9).T[::-1])]
    mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(triangles.astype(float)), process=False)
    mesh.merge_vertices()
    return mesh


def differences(built: trimesh.Trimesh, filed: trimesh.Trimesh) -> list[str]:
    """Compare two meshes as shapes.

    Parameters
    ----------
    built, filed : trimesh.Trimesh
        The part as its function builds it and as its file holds it, in mm.

    Returns
    -------
    list of str
        What differs by more than the rounding of float32; empty when they are the same shape.
    """
    found = []
    for what, tolerance in (("volume", 1e-6), ("area", 1e-6), ("moment_inertia", 1e-5)):
        a, b = (np.asarray(getattr(mesh, what), dtype=float) for mesh in (built, filed))
        if np.abs(a - b).max() > tolerance * np.abs(a).max():
            found.append(f"{what} {b} should be {a}")
    for what in ("bounds", "center_mass"):
        a, b = (np.asarray(getattr(mesh, what)) for mesh in (built, filed))
        if np.abs(a - b).max() > 1e-4:
            found.append(f"{what} {b.tolist()} should be {a.tolist()}")
    for what in ("euler_number", "is_watertight", "body_count"):
        a, b = (getattr(mesh, what) for mesh in (built, filed))
        if a != b:
            found.append(f"{what} {b} should be {a}")
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the files, or compare them; return the exit code."""
    parser = argparse.ArgumentParser(description="Build the sample parts, or check the files that are there.")
    parser.add_argument(
        "--check", action="store_true", help="compare the files with what is built; write nothing"
    )
    check = parser.parse_args(arguments).check
    wrong = 0
    for name in PARTS:
        built, path = mesh_of(name), HERE / f"{name}.stl"
        if not check:
            path.write_bytes(built.export(file_type="stl"))
            print(f"{path.name}: {len(built.faces)} faces, {built.volume:.1f} mm³")
            continue
        found = differences(built, trimesh.load_mesh(path)) if path.exists() else ["the file is missing"]
        wrong += bool(found)
        print(f"{path.name}: {'; '.join(found) or 'as built'}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())

"""Gauges of known truth for walls, gaps, corners, voids and details, and the ways a file may spoil them.

Every gauge says what is on it: for each kind the true sizes in mm. Curved surfaces are drawn with the
number of chords asked for, their corners on the true circle.
"""

from dataclasses import dataclass, field

import numpy as np
from manifold3d import CrossSection, Manifold

from orient.part.mesh import Part, part_from_arrays

DENSITIES = (16, 32, 64, 128)


@dataclass(frozen=True)
class Gauge:
    """A solid and the true sizes of what is on it, by kind."""

    name: str
    solid: Manifold
    truth: dict = field(default_factory=dict)


def box(x, y, z):
    return Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))


def disc(radius, z, n, x=0.0, y=0.0):
    return CrossSection.circle(radius, n).extrude(z[1] - z[0]).translate((x, y, z[0]))


def joined(*solids):
    return sum(solids[1:], solids[0])


def plate_walls(n=32):
    """Seven ribs on a base: the walls are 0.3 to 3 mm thick, 12 mm high, 20 mm long, 10 mm apart."""
    sizes = (0.3, 0.4, 0.6, 0.8, 1.2, 2.0, 3.0)
    solid = box((-5, 65), (-5, 25), (-6, 0))
    for place, size in enumerate(sizes):
        solid += box((10 * place, 10 * place + size), (0, 20), (-1, 12))
    return Gauge("plate walls", solid, {"thin_wall": sizes})


def tube(wall, n=32, radius=8.0):
    """A tube standing on a disc."""
    solid = disc(radius, (0, 20), n) - disc(radius - wall, (5, 21), n)
    return Gauge(f"tube {wall:g}", solid, {"thin_wall": (wall,)})


def ligament(size, n=32, r1=4.0, r2=2.5):
    """A block with two bores; what is left between them is a ligament."""
    centre = r1 + r2 + size
    solid = box((-12, centre + 12), (-12, 12), (0, 10))
    solid -= disc(r1, (-1, 11), n) + disc(r2, (-1, 11), n, x=centre)
    return Gauge(f"ligament {size:g}", solid, {"thin_wall": (size,)})


def tapered(low, high, n=32):
    """A wall that tapers over its height; its median is that of the thickness along the height."""
    section = CrossSection([[(-high / 2, 0), (high / 2, 0), (low / 2, 15), (-low / 2, 15)]])
    solid = section.extrude(20).rotate((90, 0, 0)) + box((-12, 12), (-22, 2), (-6, 0.0))
    return Gauge(f"tapered {low:g}-{high:g}", solid, {"thin_wall": ((low + high) / 2,)})


def slots(n=32):
    """Six open slots, 0.1 to 2 mm wide, 8 mm deep, between blocks 8 mm thick."""
    sizes = (0.1, 0.2, 0.4, 0.8, 1.2, 2.0)
    solid = box((-8, 100), (0, 15), (-10, 8))
    for place, size in enumerate(sizes):
        solid -= box((10 * place + 4, 10 * place + 4 + size), (-1, 16), (0, 9))
    return Gauge("slots", solid, {"narrow_gap": sizes})


def clearance(size, n=32):
    """A pin in a bore: the gap round it is one."""
    solid = box((-12, 12), (-12, 12), (0, 14)) - disc(4.0, (4, 15), n)
    solid += disc(4.0 - size, (3, 14), n)
    return Gauge(f"clearance {size:g}", solid, {"narrow_gap": (size,)})


def two_bodies(size, n=32):
    """Two blocks apart."""
    solid = box((-10, 0), (0, 10), (0, 10)) + box((size, size + 10), (0, 10), (0, 10))
    return Gauge(f"bodies {size:g}", solid, {"narrow_gap": (size,)})


def corner(kind, size=0.0, n=16, length=30.0):
    """An angle 30 mm long whose inner corner is sharp, chamfered, or filleted with n chords a turn."""
    if kind == "sharp":
        profile = [(0, 0), (20, 0), (20, 6), (6, 6), (6, 20), (0, 20)]
    elif kind == "chamfer":
        profile = [(0, 0), (20, 0), (20, 6), (6 + size, 6), (6, 6 + size), (6, 20), (0, 20)]
    else:
        # Corners of the arc lie on the true circle, and the arc touches both walls.
        turn = np.linspace(-np.pi / 2, -np.pi, max(n // 4, 1) + 1)
        arc = [(6 + size + size * np.cos(a), 6 + size + size * np.sin(a)) for a in turn]
        profile = [(0, 0), (20, 0), (20, 6), *arc, (6, 20), (0, 20)]
    sharp = kind == "sharp" or (kind == "fillet" and size < 0.45)
    truth = {"sharp_corner": (length,)} if sharp else {}
    name = f"corner {kind} {size:g}" + (f" {n}-gon" if kind == "fillet" else "")
    return Gauge(name, CrossSection([profile]).extrude(length), truth)


def foot(n=32):
    """A boss on a plate, no fillet: one closed foot of n chords."""
    solid = box((-15, 15), (-15, 15), (0, 6)) + disc(7.0, (5, 14), n)
    return Gauge("foot", solid, {"sharp_corner": (2 * 7.0 * n * np.sin(np.pi / n),)})


def hollow(n=32):
    """A block with a closed void 12 × 8 × 6 mm and another 7 mm high, Ø 5."""
    solid = box((-15, 15), (-15, 15), (0, 30)) - box((-6, 6), (-4, 4), (4, 10))
    solid -= disc(2.5, (17, 24), n)
    return Gauge("voids", solid, {"closed_void": (12.0, 7.0)})


def engraved(n=32):
    """A plate with three engraved strokes, 0.2, 0.3 and 0.8 mm wide: the last can be drawn."""
    solid = box((0, 30), (0, 20), (0, 8))
    for place, width in enumerate((0.2, 0.3, 0.8)):
        solid -= box((5 + 8 * place, 5 + 8 * place + width), (4, 16), (7.4, 9))
    return Gauge("engraved", solid, {"vanishing": (0.2, 0.3)})


def knife(angle_deg=15.0, n=32):
    """A wedge that tapers to nothing."""
    half = 10 * np.tan(np.radians(angle_deg / 2))
    section = CrossSection([[(-half, 0), (half, 0), (0, 10)]])
    solid = section.extrude(20).rotate((90, 0, 0)) + box((-10, 10), (-22, 2), (-6, 0))
    return Gauge(f"knife edge {angle_deg:g}°", solid, {"vanishing": (0.0,)})


def plain():
    """Shapes with nothing on them."""
    profile = ((10, 10, 0), (10, 10, 15), (7, 7, 18))
    chamfered = Manifold.hull_points(
        [(sx * a, sy * b, z) for sx in (-1, 1) for sy in (-1, 1) for a, b, z in profile]
    )
    return [
        Gauge("cube", box((0, 20), (0, 20), (0, 20))),
        Gauge("cylinder", disc(10, (0, 30), 64)),
        Gauge("chamfered block", chamfered),
    ]


def all_gauges(n):
    """Every gauge, its curves drawn with n chords."""
    gauges = [plate_walls(n), slots(n), foot(n), hollow(n), engraved(n), knife(15, n), knife(25, n)]
    gauges += [tube(w, n) for w in (0.4, 0.8, 1.6, 3.0)]
    gauges += [ligament(w, n) for w in (0.3, 0.8, 1.5, 2.5)]
    gauges += [tapered(0.6, 1.8, n), tapered(0.4, 0.8, n), tapered(1.0, 3.0, n)]
    gauges += [clearance(g, n) for g in (0.1, 0.2, 0.5, 1.5)]
    gauges += [two_bodies(g, n) for g in (0.1, 0.3, 1.0, 2.0)]
    gauges += [corner("sharp"), corner("chamfer", 1.0), corner("chamfer", 3.0)]
    gauges += [corner("fillet", r, n) for r in (0.2, 1.0, 2.0, 3.0)]
    gauges += [corner("fillet", r, 8) for r in (0.2, 1.0, 3.0)]
    return gauges + plain()


# --- how a file may spoil a shape --------------------------------------------------------------------------


def arrays_of(solid):
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def turned(vertices, seed):
    """Turn at random and move; the same for one seed."""
    rng = np.random.default_rng(seed)
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q *= np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] *= -1
    return vertices @ q.T + rng.uniform(-50, 50, 3)


def part_of(solid, spoil="clean", seed=0):
    """Make a part of a gauge.

    ``clean`` doubles; ``turned``; ``float32`` turned and stored as a binary STL stores it; ``ascii3``
    turned, three digits after the point; ``split`` cut into finer triangles; ``noisy`` turned, triangles
    no longer than 1.5 mm, every corner off by a normal deviate of 10 µm.
    """
    vertices, faces = arrays_of(solid)
    if spoil != "clean" and spoil != "split":
        vertices = turned(vertices, seed)
    if spoil == "float32":
        vertices = vertices.astype(np.float32).astype(np.float64)
    if spoil == "ascii3":
        vertices = vertices.round(3)
    if spoil == "split":
        vertices, faces = arrays_of(solid.refine(3))
    if spoil == "noisy":
        fine = solid.refine_to_length(1.5)
        vertices, faces = arrays_of(fine)
        vertices = turned(vertices, seed)
        vertices = vertices + np.random.default_rng(seed).normal(scale=0.01, size=vertices.shape)
    return part_from_arrays(vertices, faces, name="gauge")


__all__ = ["DENSITIES", "Gauge", "Part", "all_gauges", "part_of"]

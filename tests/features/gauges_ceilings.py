"""Gauges of known truth for ceilings: bridges, ledges, hanging posts, arches and overhangs, built upright.

Each gauge says what a person finds on it, kind by kind, with sizes worked out by hand from the figures it
is drawn with. Round shapes are drawn with their corners on the true circle.
"""

from dataclasses import dataclass, field

import numpy as np
from manifold3d import CrossSection, Manifold
from scipy.spatial.transform import Rotation

from orient.part.mesh import part_from_arrays

UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Gauge:
    """A solid standing on z = 0, and the true sizes by kind."""

    name: str
    solid: Manifold
    truth: dict = field(default_factory=dict)


def box(x, y, z):
    return Manifold.cube((x[1] - x[0], y[1] - y[0], z[1] - z[0])).translate((x[0], y[0], z[0]))


def disc(radius, z, n, x=0.0, y=0.0):
    return CrossSection.circle(radius, n).extrude(z[1] - z[0]).translate((x, y, z[0]))


def prism(profile, y):
    """A profile in x and z drawn out along y."""
    return CrossSection([profile]).extrude(y[1] - y[0]).rotate((90, 0, 0)).translate((0, y[1], 0))


def portal(span, n=32):
    """A gateway: a ceiling held on two sides, open in front and behind."""
    solid = box((-5, span + 5), (0, 24), (0, 16)) - box((0, span), (-1, 25), (-1, 10))
    return Gauge(f"portal {span:g}", solid, {"bridge": (span,)})


def pocket(length=30.0, width=12.0, n=32):
    """A pocket open to the bed, held all round."""
    solid = box((-5, length + 5), (-5, width + 5), (0, 15)) - box((0, length), (0, width), (-1, 8))
    return Gauge(f"pocket {length:g} × {width:g}", solid, {"bridge": (min(length, width),)})


def angle_pocket(arm=8.0, side=40.0, n=32):
    """An L-shaped pocket: lines run best at 45°, over arm · √2."""
    hollow = CrossSection([[(0, 0), (side, 0), (side, arm), (arm, arm), (arm, side), (0, side)]]).extrude(9)
    solid = box((-5, side + 5), (-5, side + 5), (0, 14)) - hollow.translate((0, 0, -1))
    return Gauge("L pocket", solid, {"bridge": (arm * np.sqrt(2),)})


def ring_pocket(outer=20.0, inner=12.0, n=32):
    """A ring-shaped pocket: the longest line touches the inner circle, 2 √(R² − r²)."""
    solid = disc(outer + 6, (0, 14), n) - (disc(outer, (-1, 8), n) - disc(inner, (-2, 9), n))
    return Gauge("ring pocket", solid, {"bridge": (2 * np.sqrt(outer**2 - inner**2),)})


def round_pocket(diameter=20.0, n=32):
    """A blind hole from below: its flat end is a ceiling."""
    solid = box((-20, 20), (-20, 20), (0, 16)) - disc(diameter / 2, (-1, 9), n)
    return Gauge(f"round pocket {diameter:g}", solid, {"bridge": (diameter,)})


def sloped_along(span=14.0, slope=15.0, n=32):
    """A gateway whose ceiling rises from front to back: lines run across it, level."""
    rise = 40 * np.tan(np.radians(slope))
    hollow = prism([(0, -1), (span, -1), (span, 10), (0, 10)], (-1, 41))
    roof = Manifold.hull_points(
        [
            (x, y, z)
            for x in (0, span)
            for y, z in ((-1, 9), (-1, 10 - rise / 40), (41, 9), (41, 10 + 41 * rise / 40))
        ]
    )
    solid = box((-5, span + 5), (0, 40), (0, 30)) - hollow - roof
    return Gauge("slope along", solid, {"bridge": (span,)})


def sloped_across(span=14.0, slope=15.0, n=32):
    """A gateway whose ceiling rises from one side to the other."""
    rise = span * np.tan(np.radians(slope))
    solid = box((-5, span + 5), (0, 30), (0, 22)) - prism(
        [(0, -1), (span, -1), (span, 8 + rise), (0, 8)], (-1, 31)
    )
    return Gauge("slope across", solid, {"bridge": (span,)})


def pierced(span=20.0, hole=4.0, n=32):
    """A gateway with a hole up through its ceiling: nine tenths of the lines are still held."""
    solid = box((-5, span + 5), (0, 40), (0, 16)) - box((0, span), (-1, 41), (-1, 10))
    solid -= disc(hole / 2, (5, 20), n, span / 2, 20)
    return Gauge("pierced", solid, {"bridge": (span,)})


def ledge(reach, n=32):
    """A shelf from a wall."""
    solid = box((-8, 0), (0, 30), (0, 20)) + box((-1, reach), (0, 30), (16, 20))
    return Gauge(f"ledge {reach:g}", solid, {"cantilever": (reach,)})


def mushroom(cap=12.0, stem=4.0, n=32):
    """A round cap on a round stem: it sticks out by the difference of the radii."""
    solid = disc(stem, (0, 14), n) + disc(cap, (12, 18), n)
    return Gauge("mushroom", solid, {"cantilever": (cap - stem,)})


def hanging_post(span=30.0, post=4.0, length=6.0, n=32):
    """A gateway with a post hanging from its ceiling: the post holds nothing, and begins in the air."""
    height = 14.0
    solid = box((-5, span + 5), (0, 24), (0, height + 6)) - box((0, span), (-1, 25), (-1, height))
    solid += box((span / 2 - post / 2, span / 2 + post / 2), (10, 10 + post), (height - length, height + 1))
    return Gauge("hanging post", solid, {"bridge": (span,), "air_start": (height - length,)})


def hook(reach=12.0, drop=5.0, n=32):
    """An arm whose tip hangs down: the tip begins in the air, the arm reaches out as far as the tip."""
    solid = box((-8, 0), (0, 20), (0, 24)) + box((-1, reach), (0, 20), (18, 24))
    solid += box((reach - 3, reach), (0, 20), (18 - drop, 19))
    return Gauge("hook", solid, {"cantilever": (reach - 3,), "air_start": (18 - drop,)})


def stalactite(n=32):
    """A cone hanging in a gateway, tip down."""
    solid = box((-15, 15), (0, 20), (0, 24)) - box((-10, 10), (-1, 21), (-1, 18))
    solid += Manifold.cylinder(9, 0.0, 4.0, n).translate((0, 10, 9.5))
    return Gauge("stalactite", solid, {"bridge": (20.0,), "air_start": (9.5,)})


def corner_shelf(side=15.0, n=32):
    """A square shelf in a corner of two walls: half its lines are held at both ends, over side · √2."""
    solid = box((-6, 0), (-6, side), (0, 22)) + box((-6, side), (-6, 0), (0, 22))
    solid += box((-1, side), (-1, side), (18, 22))
    return Gauge("corner shelf", solid, {"mixed_ceiling": (side * np.sqrt(2),)})


def leaning(angle=60.0, height=20.0, n=32):
    """A slab that leans out at an angle from the wall."""
    out = height * np.tan(np.radians(angle))
    solid = prism([(0, 0), (12, 0), (12, 4), (12 + out, 4 + height), (out, 4 + height), (0, 4)], (0, 25))
    return Gauge(
        f"leaning {angle:g}°", solid, {"overhang": (np.sqrt(25 * height / np.cos(np.radians(angle))),)}
    )


def arch(radius=12.0, n=32):
    """A round arch: one feature, what lies beyond 45° of half a cylinder, L · r · (π − 2 · 45°)."""
    profile = [(radius * np.cos(a), 6 + radius * np.sin(a)) for a in np.linspace(0, np.pi, n // 2 + 1)]
    hollow = prism([(-radius, -1), (radius, -1), (radius, 6), *profile[1:-1], (-radius, 6)], (-1, 31))
    solid = box((-radius - 5, radius + 5), (0, 30), (0, radius + 12)) - hollow
    return Gauge("arch", solid, {"overhang": (np.sqrt(30 * radius * np.pi / 2),)})


def lying_rod(radius=10.0, length=30.0, n=32):
    """A rod lying on the bed: what looks down beyond 45°, one feature however it is rolled."""
    solid = CrossSection.circle(radius, n).extrude(length).rotate((90, 0, 0))
    low = solid.bounding_box()[2]
    return Gauge(
        "lying rod", solid.translate((0, 0, -low)), {"overhang": (np.sqrt(length * radius * np.pi / 2),)}
    )


def table(n=32):
    """A top on four legs at its corners."""
    solid = box((0, 60), (0, 40), (20, 24))
    for x in (0, 52):
        for y in (0, 32):
            solid += box((x, x + 8), (y, y + 8), (0, 21))
    return Gauge("table", solid, {"mixed_ceiling": (44.0,)})


def niche(n=32):
    """A lip of 1.2 mm along the back of a niche 40 mm wide: a ledge, though lines could run along it."""
    solid = box((-6, 46), (-6, 25), (0, 20)) - box((0, 40), (0, 26), (-1, 21))
    solid += box((0, 40), (-1, 1.2), (15, 20))
    return Gauge("niche lip", solid, {"cantilever": (1.2,)})


def floating(n=32):
    """Two blocks, the second 3 mm above the bed and joined to the first at the top alone."""
    solid = box((0, 10), (0, 20), (0, 20)) + box((9, 26), (0, 20), (16, 20)) + box((16, 26), (0, 20), (3, 17))
    return Gauge("apron", solid, {"cantilever": (6.0,), "air_start": (3.0,)})


def plain():
    """Shapes with nothing to hold up."""
    chamfered = Manifold.hull_points(
        [
            (sx * a, sy * a, z)
            for sx in (-1, 1)
            for sy in (-1, 1)
            for a, z in ((7, 0), (10, 3), (10, 15), (7, 18))
        ]
    )
    return [
        Gauge("cube", box((0, 20), (0, 20), (0, 20))),
        Gauge("cylinder", disc(10, (0, 30), 64)),
        Gauge("chamfered block", chamfered),
        Gauge("leaning 44°", leaning(44.0).solid),
    ]


def flat_gauges():
    """Every gauge with flat faces alone."""
    gauges = [portal(span) for span in (2, 5, 10, 20, 40, 60)]
    gauges += [pocket(), pocket(8, 8), angle_pocket(), sloped_along(), sloped_across(), sloped_across(20, 30)]
    gauges += [ledge(reach) for reach in (1, 2, 5, 10, 20)]
    gauges += [hanging_post(), hook(), corner_shelf(), table(), niche(), floating()]
    return gauges + [leaning(angle) for angle in (50.0, 60.0, 70.0)]


def round_gauges(n):
    """Every gauge with curved faces, drawn with n chords a turn."""
    gauges = [ring_pocket(n=n), round_pocket(n=n), round_pocket(6.0, n), pierced(n=n), mushroom(n=n)]
    return [*gauges, stalactite(n), arch(n=n), lying_rod(n=n)]


def all_gauges(n):
    """Every gauge, its curves drawn with n chords a turn."""
    return [*flat_gauges(), *round_gauges(n), *plain()]


SPOILS = ("clean", "turned", "float32", "ascii3", "split")
NOISY = "noisy"


def spoiled(gauge, how, seed=0):
    """Make a part of a gauge as a file would hold it, and give its build direction.

    ``clean``; ``turned`` at random, the direction with it; ``float32`` and ``ascii3`` turned and stored with
    seven digits, or three after the point; ``split`` cut into finer triangles; ``noisy`` turned, triangles no
    longer than 1.5 mm, every corner off by a normal deviate of 10 µm.
    """
    solid = gauge.solid
    if how == "split":
        solid = solid.refine(3)
    if how == NOISY:
        solid = solid.refine_to_length(1.5)
    mesh = solid.to_mesh64()
    vertices = np.array(mesh.vert_properties[:, :3])
    direction = UP
    if how not in ("clean", "split"):
        turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
        vertices, direction = vertices @ turn.T + (30.0, -20.0, 10.0), turn @ UP
    if how == "float32":
        vertices = vertices.astype(np.float32).astype(np.float64)
    if how == "ascii3":
        vertices = vertices.round(3)
    if how == NOISY:
        vertices = vertices + np.random.default_rng(seed).normal(scale=0.01, size=vertices.shape)
    return part_from_arrays(vertices, np.array(mesh.tri_verts), name="gauge"), direction

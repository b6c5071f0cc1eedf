"""Support volume down real columns: against closed forms, rays and hand computation."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from orient.measure import columns
from orient.measure.blocks import sort_into_blocks
from orient.measure.columns import column_pitch, count_columns
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.pose.frame import part_frame
from tests.measure.measured import (
    DOWN,
    UP,
    block_with_hole,
    box,
    count,
    join,
    perforated,
    support_by_rays,
    table,
)

# A face counts beyond the limit by more than this, so closed forms are taken at limit + 0.1°.
TOLERANCE_DEG = 0.1
SPREAD = np.array(
    [[0.3, -0.5, 0.81], [0.05, 0.02, 1.0], [-0.8, 0.6, 0.1], [0.2, 0.9, -0.4], [0.5, 0.1, -0.9]]
)
SPREAD /= np.linalg.norm(SPREAD, axis=1, keepdims=True)


@pytest.fixture(scope="module")
def sphere():
    return part_from_trimesh(trimesh.creation.icosphere(subdivisions=6, radius=10.0))


@pytest.fixture(scope="module")
def torus():
    return part_from_trimesh(trimesh.creation.torus(20.0, 5.0, major_sections=128, minor_sections=360))


@pytest.mark.parametrize("limit_deg", [30.0, 45.0, 60.0])
def test_sphere_on_the_bed(sphere, limit_deg):
    # Cap of a sphere below the limit t: area 2πr²(1 − sin t), shadow πr²cos²t, and down to the bed
    # V = πr³(cos²t − ⅔(1 − sin³t)); derived, as in any table of solids of revolution. The cap within 1° of
    # level lies on the bed. 81,920 facets quantise the limit by up to 0.3 % of the area, 0.6 % of the volume.
    r, t = 10.0, math.radians(limit_deg + TOLERANCE_DEG)
    got = count(sphere, limit_deg=limit_deg)
    on_bed = 2 * math.pi * r**2 * (1 - math.cos(math.radians(1)))
    assert got.overhang_area[0] == pytest.approx(2 * math.pi * r**2 * (1 - math.sin(t)) - on_bed, rel=3e-3)
    assert got.overhang_projected[0] == pytest.approx(math.pi * r**2 * math.cos(t) ** 2 - on_bed, rel=3e-3)
    volume = math.pi * r**3 * (math.cos(t) ** 2 - 2 / 3 * (1 - math.sin(t) ** 3))
    assert got.volume[0] == pytest.approx(volume, rel=6e-3)
    assert got.volume_on_part[0] == 0.0


@pytest.mark.parametrize("limit_deg", [30.0, 45.0, 60.0])
def test_torus_on_the_bed(torus, limit_deg):
    # Overhang 2πRr(π − 2t), shadow 4πRr cos t, V = 2πRr²(2cos t − sin t cos t − π/2 + t) by Pappus; derived.
    # Facets of 1° end on whole degrees, so the limit is met to 0.1° on both sides: 0.3 % of the area.
    big, small, t = 20.0, 5.0, math.radians(limit_deg + TOLERANCE_DEG)
    got = count(torus, limit_deg=limit_deg)
    ring = 2 * math.pi * big * small
    on_bed = ring * math.radians(2)
    assert got.overhang_area[0] == pytest.approx(ring * (math.pi - 2 * t) - on_bed, rel=6e-3)
    assert got.overhang_projected[0] == pytest.approx(2 * ring * math.cos(t) - on_bed, rel=6e-3)
    volume = ring * small * (2 * math.cos(t) - math.sin(t) * math.cos(t) - math.pi / 2 + t)
    assert got.volume[0] == pytest.approx(volume, rel=1.5e-2)


def test_cone_on_its_tip_is_all_or_nothing():
    # Wall angle atan(R/H) = 43.603°, area πR√(R² + H²), volume under the wall ⅔πR²H; derived.
    cone = trimesh.creation.cone(radius=10, height=10.5, sections=720)
    held = count(cone, DOWN, limit_deg=43.0)
    assert held.overhang_area[0] == pytest.approx(math.pi * 10 * math.hypot(10, 10.5), rel=1e-4)
    assert held.volume[0] == pytest.approx(2 / 3 * math.pi * 100 * 10.5, rel=1e-3)
    assert count(cone, DOWN, limit_deg=44.0).volume[0] == 0.0
    assert count(cone, UP, limit_deg=43.0).overhang_area[0] == 0.0


def test_a_face_at_the_limit_is_left_alone_within_a_tenth_of_a_degree():
    cone = trimesh.creation.cone(radius=10, height=10.5, sections=720)
    assert count(cone, DOWN, limit_deg=43.55).overhang_area[0] == 0.0
    assert count(cone, DOWN, limit_deg=43.45).overhang_area[0] > 400.0


def test_horizontal_hole_is_held_from_its_own_floor():
    # Roof area Lr(π − 2t), volume between roof and floor Lr²(sin 2t + π − 2t); derived.
    t = math.radians(45 + TOLERANCE_DEG)
    got = count(block_with_hole())
    area = 20 * 5 * (math.pi - 2 * t)
    assert got.overhang_area[0] == pytest.approx(area, rel=4e-3)
    assert got.volume[0] == pytest.approx(20 * 25 * (math.sin(2 * t) + math.pi - 2 * t), rel=5e-3)
    assert got.volume_on_part[0] == pytest.approx(got.volume[0], rel=1e-6)
    # Roof and floor are alike, and support touches both.
    assert got.scar_area[0] == pytest.approx(2 * area, rel=2e-2)


def in_hole(part):
    """Faces on the wall of the hole of `block_with_hole`, whose radius is 5."""
    x, y, z = (part.centroids - part.bounds.mean(axis=0)).T
    return (np.hypot(x, z) < 5.001) & (np.abs(y) < 9.999)


def test_a_hole_that_holds_itself_up_needs_nothing():
    part = part_from_trimesh(block_with_hole(48))
    plain, free = count(part), count(part, free=in_hole(part))
    assert plain.needed[0] == plain.volume[0] > 1000
    assert plain.needed_weighted[0] == plain.volume_weighted[0]
    assert (free.needed[0], free.needed_weighted[0]) == (0.0, 0.0)
    # What the geometry asks for stays.
    assert free.volume[0] == plain.volume[0]
    assert free.volume_weighted[0] == plain.volume_weighted[0]
    assert free.scar_area[0] == plain.scar_area[0]


def test_the_rest_of_a_part_with_a_free_hole_is_counted_as_if_the_hole_were_not_there():
    # A ledge of 10 × 20 mm, 12 mm above the bed, beside the block: 2,400 mm³.
    whole = join(block_with_hole(48), box((10.5, 20, 4), (9.5, -10, 2)))
    part = part_from_trimesh(whole)
    free = (np.hypot(part.centroids[:, 0], part.centroids[:, 2]) < 5.001) & (
        np.abs(part.centroids[:, 1]) < 9.999
    )
    got = count(part, free=free)
    assert got.needed[0] == pytest.approx(10 * 20 * 12, rel=5e-3)
    assert got.volume[0] == pytest.approx(10 * 20 * 12 + count(block_with_hole(48)).volume[0], rel=1e-2)


def test_support_may_land_on_faces_that_hold_themselves_up():
    # A plate above a trough: the trough's floor is free, and still the support of the plate ends on it.
    shape = join(
        box((40, 20, 5), (0, 0, 0)),
        box((5, 20, 20), (0, 0, 0)),
        box((40, 20, 5), (0, 0, 19)),
    )
    part = part_from_trimesh(shape)
    floor = part.normals[:, 2] > 0.9
    got = count(part, free=floor)
    assert got.needed[0] == got.volume[0] == pytest.approx(35 * 20 * 14, rel=1e-3)


def test_cube_on_its_edge_has_no_overhang_at_45():
    edge = np.array([[1.0, 1.0, 0.0]]) / math.sqrt(2)
    cube = trimesh.creation.box((10, 10, 10))
    assert count(cube, edge).overhang_area[0] == 0.0
    # Tighter than 45° its two lower faces count: 2a², and the prism below them, a³/2.
    held = count(cube, edge, limit_deg=44.8)
    assert held.overhang_area[0] == pytest.approx(200.0, rel=1e-6)
    assert held.volume[0] == pytest.approx(500.0, rel=1e-5)


def test_cube_on_its_corner_stands_at_35_degrees():
    # The lower faces are at asin(1/√3) = 35.264° from the vertical.
    corner = np.array([[1.0, 1.0, 1.0]]) / math.sqrt(3)
    cube = trimesh.creation.box((10, 10, 10))
    assert count(cube, corner).overhang_area[0] == 0.0
    assert count(cube, corner, limit_deg=35.2).overhang_area[0] == 0.0
    assert count(cube, corner, limit_deg=35.1).overhang_area[0] == pytest.approx(300.0, rel=1e-6)


def test_what_lies_on_the_bed_needs_no_support():
    cube = trimesh.creation.box((10, 20, 30))
    directions = np.vstack([np.eye(3), -np.eye(3)])
    assert np.all(count(cube, directions).overhang_area == 0.0)
    # Lifted on a foot 0.5 mm high, the same face does.
    lifted = join(box((10, 20, 30), (0, 0, 0.5)), box((2, 2, 1), (4, 9, 0)))
    got = count(lifted)
    assert got.overhang_area[0] == pytest.approx(196.0, rel=1e-6)
    assert got.volume[0] == pytest.approx(98.0, rel=1e-4)


def test_table_stands_partly_on_its_base():
    # By hand: 60² − 4² of plate overhang; 40² − 4² of it stand 17 mm above the base, the rest 19 mm above
    # the bed.
    got = count(table())
    assert got.overhang_area[0] == pytest.approx(3584.0, rel=1e-6)
    assert got.volume[0] == pytest.approx(1584 * 17 + 2000 * 19, rel=1e-3)
    assert got.volume_on_part[0] == pytest.approx(1584 * 17, rel=3e-3)
    assert got.scar_area[0] == pytest.approx(3584 + 1584, rel=1e-3)


def test_a_ledge_of_1_mm_on_a_200_mm_part_is_seen():
    ledge = box((1.5, 200, 5), (199.5, 0, 150))
    on_bed = join(box((200, 200, 200), (0, 0, 0)), ledge)
    assert count(on_bed).volume[0] == pytest.approx(1 * 200 * 150, rel=1e-4)
    on_part = join(on_bed, box((30, 200, 10), (190, 0, 0)))
    got = count(on_part)
    assert got.volume[0] == pytest.approx(1 * 200 * 140, rel=0.01)
    assert got.volume_on_part[0] == pytest.approx(got.volume[0])


def test_a_scrap_too_small_for_any_column_still_stands_on_the_bed():
    scrap = join(box((200, 200, 200), (0, 0, 0)), box((0.4, 0.3, 5), (199.9, 100, 150)))
    assert count(scrap).volume[0] == pytest.approx(0.3 * 0.3 * 150, rel=1e-4)


MESHES = {
    "perforated wall": perforated,
    "table": table,
    "torus": lambda: trimesh.creation.torus(20, 5),
    "capsule": lambda: trimesh.creation.capsule(height=30, radius=8),
    "annulus": lambda: trimesh.creation.annulus(5, 12, 25),
    "icosahedron": lambda: trimesh.creation.icosahedron().apply_scale(15),
}


@pytest.mark.parametrize("name", MESHES)
def test_volume_agrees_with_embree_rays(name):
    pytest.importorskip("embreex")
    mesh = MESHES[name]()
    got = count(mesh, SPREAD)
    wanted = np.array([support_by_rays(mesh, b) for b in SPREAD])
    # Within 1 % of the larger of the volume itself and a thousandth of the hull: slivers weigh nothing.
    slack = 0.01 * np.maximum(wanted[:, 0], 1e-3 * mesh.convex_hull.volume)
    assert np.all(np.abs(got.volume - wanted[:, 0]) <= slack)
    assert np.all(np.abs(got.volume_on_part - wanted[:, 1]) <= np.maximum(4 * slack, 0.03 * wanted[:, 1]))


def heap(seed):
    """Boxes, cylinders and balls of all sizes, thrown together and joined."""
    rng = np.random.default_rng(seed)
    shapes = []
    for kind in rng.integers(3, size=rng.integers(3, 8)):
        if kind == 0:
            shape = trimesh.creation.box(rng.uniform(1, 40, 3))
        elif kind == 1:
            shape = trimesh.creation.cylinder(rng.uniform(1, 10), rng.uniform(2, 50), sections=24)
        else:
            shape = trimesh.creation.icosphere(subdivisions=2, radius=rng.uniform(2, 12))
        place = np.eye(4)
        place[:3, :3] = Rotation.random(random_state=int(rng.integers(10**6))).as_matrix()
        place[:3, 3] = rng.uniform(-15, 15, 3)
        shapes.append(shape.apply_transform(place))
    return part_from_trimesh(join(*shapes))


@pytest.mark.parametrize("seed", range(5))
def test_heaps_of_solids_agree_with_embree_rays(seed):
    pytest.importorskip("embreex")
    part = heap(seed)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    got = count(part, SPREAD[:3])
    for i, b in enumerate(SPREAD[:3]):
        volume, _ = support_by_rays(mesh, b, edge_mm=0.7)
        assert got.volume[i] == pytest.approx(volume, rel=0.01, abs=1e-5 * part.hull.volume_mm3)


@pytest.mark.parametrize("embree", [True, False], ids=["embree", "no embree"])
def test_both_ray_paths_give_the_same_reference(embree):
    if embree:
        pytest.importorskip("embreex")
    mesh = table()
    volume, on_part = support_by_rays(mesh, UP[0], edge_mm=2.0, embree=embree)
    assert volume == pytest.approx(1584 * 17 + 2000 * 19, rel=0.02)
    assert on_part == pytest.approx(1584 * 17, rel=0.04)
    assert count(mesh).volume[0] == pytest.approx(volume, rel=0.02)


def test_a_finer_grid_changes_little():
    part = part_from_trimesh(perforated())
    blocks, frame = sort_into_blocks(part), part_frame(part)
    coarse, fine = (
        count_columns(blocks, SPREAD, frame, column_pitch(part.hull.area_mm2, blocks.radius, n), 45.0)
        for n in (columns.COLUMNS, 10 * columns.COLUMNS)
    )
    assert np.allclose(coarse.volume, fine.volume, rtol=5e-3)


def test_weighing_fades_in_over_four_degrees():
    # A plane wedge underside at 46°: 1° beyond the limit is three quarters of the way from 43° to 47°.
    out = 10 * math.tan(math.radians(46.0))
    wedge = part_from_arrays(
        [[0, 0, 0], [0, 10, 0], [out, 0, 10], [out, 10, 10], [0, 0, 10], [0, 10, 10]],
        [[0, 2, 3], [0, 3, 1], [0, 4, 2], [1, 3, 5], [2, 4, 5], [2, 5, 3], [0, 1, 5], [0, 5, 4]],
    )  # fmt: skip
    got = count(wedge)
    assert got.volume_weighted[0] == pytest.approx(0.75 * got.volume[0], rel=1e-4)
    assert count(wedge, limit_deg=45.5).volume_weighted[0] == pytest.approx(0.625 * got.volume[0], rel=1e-4)
    assert count(wedge, limit_deg=47.0).volume[0] == 0.0
    assert count(wedge, limit_deg=47.0).volume_weighted[0] == pytest.approx(0.25 * got.volume[0], rel=1e-4)


def test_tags_tell_whose_face_is_scarred():
    part = part_from_trimesh(table())
    height = part.centroids[:, 2]
    tags = np.zeros(len(part.faces), dtype=np.uint8)
    tags[(part.normals[:, 2] > 0.9) & (np.abs(height - 2) < 0.01)] = 1
    tags[(part.normals[:, 2] < -0.9) & (np.abs(height - 19) < 0.01)] = columns.TAGS
    got = count(part, tags=tags)
    assert got.tag_landing_area[0, 0] == pytest.approx(1584, rel=3e-3)
    assert got.tag_overhang_area[0, columns.TAGS - 1] == pytest.approx(3584, rel=1e-6)
    assert got.tag_overhang_area[0, 0] == got.tag_landing_area[0, columns.TAGS - 1] == 0.0


def fields(support):
    return [getattr(support, name) for name in support.__dataclass_fields__]


def same_bits(one, other):
    return all(np.array_equal(a, b) for a, b in zip(fields(one), fields(other), strict=True))


def test_same_bits_on_any_number_of_threads_and_over_runs():
    rng = np.random.default_rng(1)
    directions = rng.normal(size=(90, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    part = part_from_trimesh(perforated())
    once = count(part, directions, threads=1)
    for threads in (1, 2, 4, 4, 2, 1):
        assert same_bits(once, count(part, directions, threads=threads))


def test_a_pose_alone_gives_the_bits_it_gives_in_company():
    part = part_from_trimesh(perforated())
    blocks, frame = sort_into_blocks(part), part_frame(part)
    pitch = column_pitch(part.hull.area_mm2, blocks.radius)
    together = count_columns(blocks, SPREAD, frame, pitch, 45.0)
    for threads in (1, 2):
        for i in range(len(SPREAD)):
            alone = count_columns(blocks, SPREAD[i : i + 1], frame, pitch, 45.0, threads=threads)
            assert all(
                np.array_equal(a[0], b[i]) for a, b in zip(fields(alone), fields(together), strict=True)
            )


def test_more_painted_points_than_were_made_room_for_change_nothing(monkeypatch):
    part = part_from_trimesh(perforated())
    plenty = count(part, SPREAD, threads=1)
    monkeypatch.setattr(columns, "HITS", 7)
    assert same_bits(plenty, count(part, SPREAD, threads=1))
    assert same_bits(plenty, count(part, SPREAD, threads=2))


def test_progress_adds_up_to_all_poses():
    part = part_from_trimesh(table())
    directions = np.tile(SPREAD, (30, 1))
    for poses, threads in ((150, 1), (150, 2), (1, 1), (1, 2), (3, 2)):
        seen = []
        count(part, directions[:poses], threads=threads, progress=seen.append)
        assert sum(seen) == poses


# Shapes without a symmetry that would leave their own axes open.
LOPSIDED = {name: MESHES[name] for name in ("perforated wall", "table", "icosahedron")}
turns = st.integers(0, 10_000).map(lambda seed: Rotation.random(random_state=seed).as_matrix())


def generic_directions(seed):
    d = np.random.default_rng(seed).normal(size=(6, 3))
    return d / np.linalg.norm(d, axis=1, keepdims=True)


@settings(max_examples=8, deadline=None)
@given(turn=turns, seed=st.integers(0, 999), name=st.sampled_from(sorted(LOPSIDED)))
def test_turning_part_and_direction_together_changes_nothing(turn, seed, name):
    part = part_from_trimesh(LOPSIDED[name]())
    b = generic_directions(seed)
    one, other = count(part, b), count(part.turned(turn, [300.0, -20.0, 55.0]), b @ turn.T)
    assert np.allclose(one.overhang_area, other.overhang_area, rtol=1e-9)
    assert np.allclose(one.overhang_projected, other.overhang_projected, rtol=1e-5)
    scale = part.hull.volume_mm3
    assert np.allclose(one.volume, other.volume, rtol=0.01, atol=1e-5 * scale)
    assert np.allclose(one.volume_weighted, other.volume_weighted, rtol=0.01, atol=1e-5 * scale)


@settings(max_examples=8, deadline=None)
@given(scale=st.floats(0.1, 20.0), seed=st.integers(0, 999), name=st.sampled_from(sorted(LOPSIDED)))
def test_scaling_goes_by_the_square_and_the_cube(scale, seed, name):
    mesh = LOPSIDED[name]()
    b = generic_directions(seed)
    one, other = count(mesh, b), count(mesh.copy().apply_scale(scale), b)
    assert np.allclose(one.overhang_area * scale**2, other.overhang_area, rtol=1e-6)
    assert np.allclose(one.volume * scale**3, other.volume, rtol=0.01, atol=1e-5 * mesh.volume * scale**3)
    assert np.allclose(one.scar_area * scale**2, other.scar_area, rtol=0.03)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 999), name=st.sampled_from(sorted(LOPSIDED)))
def test_splitting_and_shuffling_faces_changes_nothing(seed, name):
    mesh = LOPSIDED[name]()
    vertices, faces = trimesh.remesh.subdivide(mesh.vertices, mesh.faces)
    rng = np.random.default_rng(seed)
    faces = rng.permutation(faces)
    faces = np.stack([np.roll(face, rng.integers(3)) for face in faces])
    b = generic_directions(seed)
    one, other = count(mesh, b), count(part_from_arrays(vertices, faces), b)
    assert np.allclose(one.overhang_area, other.overhang_area, rtol=1e-6)
    assert np.allclose(one.overhang_projected, other.overhang_projected, rtol=1e-5)
    assert np.allclose(one.volume, other.volume, rtol=2e-3, atol=1e-6 * mesh.volume)


def assert_sound(support):
    for field in fields(support):
        assert np.all(np.isfinite(field))
        assert np.all(field >= 0.0)
    assert np.all(support.volume_on_part <= support.volume * (1 + 1e-9))


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 999), keep=st.floats(0.2, 0.98))
def test_an_open_mesh_is_still_measured(seed, keep):
    mesh = perforated()
    chosen = np.random.default_rng(seed).random(len(mesh.faces)) < keep
    part = part_from_arrays(mesh.vertices, mesh.faces[chosen])
    assert not part.closed
    assert_sound(count(part, np.vstack([generic_directions(seed), np.eye(3)])))


def test_on_an_open_mesh_support_lands_on_the_back_of_a_face():
    # Two level sheets that look down, 10 mm apart, over a third on the bed: as facets from a hollow model.
    def sheet(z):
        return [[0, 0, z], [0, 20, z], [20, 20, z], [20, 0, z]]

    vertices = np.vstack([sheet(0.0), sheet(10.0), sheet(20.0)])
    faces = [[4 * k + i for i in face] for k in range(3) for face in ([0, 1, 2], [0, 2, 3])]
    got = count(part_from_arrays(vertices, faces))
    # The wall faces of nothing: each sheet of 400 mm² stands 10 mm above the next.
    assert got.volume[0] == pytest.approx(2 * 400 * 10, rel=1e-3)
    assert got.volume_on_part[0] == pytest.approx(2 * 400 * 10, rel=1e-3)


def needle():
    # 1000 : 1 and 1 : 1000 triangles at all angles.
    mesh = trimesh.creation.cylinder(radius=0.1, height=200, sections=7)
    mesh.apply_transform(trimesh.transformations.rotation_matrix(0.3, [1, 2, 3]))
    return mesh


def far_away():
    return table().apply_translation([1e5, -1e5, 1e5])


def crossed():
    # Two boxes through each other, not joined: faces inside the part.
    one, other = trimesh.creation.box((30, 10, 10)), trimesh.creation.box((10, 30, 8))
    return trimesh.util.concatenate([one, other])


def crumbs():
    # Many small bodies in a lattice.
    grid = np.stack(np.meshgrid(*[np.arange(9)] * 3), axis=-1).reshape(-1, 3) * 4.0
    return trimesh.util.concatenate([trimesh.creation.box((1, 1, 1)).apply_translation(p) for p in grid])


NASTY = {"needle": needle, "far away": far_away, "crossed": crossed, "crumbs": crumbs}


@pytest.mark.parametrize("name", NASTY)
@pytest.mark.parametrize("closed", [True, False])
def test_nasty_meshes_stay_finite(name, closed):
    directions = np.vstack([generic_directions(3), np.eye(3), -np.eye(3)])
    part = part_from_trimesh(NASTY[name]())
    for limit_deg in (0.0, 45.0, 90.0):
        assert_sound(count(part, directions, limit_deg=limit_deg, closed=closed))


def test_a_part_far_from_the_origin_is_measured_as_if_it_were_near():
    near, far = count(table(), SPREAD), count(far_away(), SPREAD)
    assert np.allclose(near.volume, far.volume, rtol=1e-3)
    assert np.allclose(near.overhang_area, far.overhang_area, rtol=1e-6)


def test_crumbs_in_a_lattice_stand_on_each_other():
    # Each of 9³ cubes of 1 mm³ hangs 3 mm over the next; those of the lowest layer lie on the bed.
    got = count(part_from_trimesh(crumbs()))
    assert got.overhang_area[0] == pytest.approx(81 * 8, rel=1e-6)
    assert got.volume[0] == pytest.approx(81 * 8 * 3, rel=1e-3)
    assert got.volume_on_part[0] == pytest.approx(got.volume[0], rel=1e-6)

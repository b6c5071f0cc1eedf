"""Selectors name faces as a person would, whatever the triangles."""

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold
from scipy.spatial.transform import Rotation

from orient.errors import OrientError
from orient.part.cylinder import cylinder_of
from orient.part.mesh import part_from_arrays, part_from_trimesh
from orient.part.regions import regions_of
from orient.part.select import cylinder_axis, select


def part_of(solid):
    mesh = solid.to_mesh64()
    return part_from_arrays(mesh.vert_properties[:, :3], mesh.tri_verts)


def rounded(width, depth, radius, steps):
    section = CrossSection.square((width - 2 * radius, depth - 2 * radius), center=True)
    corner = CrossSection.circle(radius, steps)
    spots = [(x, y) for x in (-1, 1) for y in (-1, 1)]
    corners = [corner.translate((x * (width / 2 - radius), y * (depth / 2 - radius))) for x, y in spots]
    return CrossSection.batch_hull([section, *corners])


def plate(holes=((0.0, 0.0, 4.0),), steps=48):
    """A plate 40 × 30 × 6 with upright holes (x, y, radius), its top at z = 6."""
    section = CrossSection.square((40, 30), center=True)
    for x, y, radius in holes:
        section -= CrossSection.circle(radius, steps).translate((x, y))
    return section.extrude(6)


def split(part, seed):
    """Cut some triangles at their middles and some at their edges' middles; shuffle everything."""
    rng = np.random.default_rng(seed)
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    vertices, faces = mesh.subdivide().vertices, mesh.subdivide().faces
    cut = rng.random(len(faces)) < 0.3
    middle = len(vertices) + np.arange(cut.sum())
    vertices = np.vstack([vertices, vertices[faces[cut]].mean(axis=1)])
    a, b, c = faces[cut].T
    fans = [np.column_stack(corner) for corner in ((a, b, middle), (b, c, middle), (c, a, middle))]
    faces = np.vstack([faces[~cut], *fans])
    return part_from_arrays(vertices, faces[rng.permutation(len(faces))])


def refusal(part, selector):
    with pytest.raises(OrientError) as caught:
        select(part, selector)
    sentence = str(caught.value)
    assert selector in sentence
    assert sentence.endswith(".")
    return sentence


PLATE = part_of(plate())
HOLE_AREA = 48 * 2 * 4 * math.sin(math.pi / 48) * 6  # 48 chords of a circle of radius 4, 6 high


# --- face-near ---


def test_a_point_on_the_top_selects_the_top_alone():
    found = select(PLATE, "face-near:15,10,6")
    # Plate less a regular 48-gon: area (n/2) r² sin(2π/n).
    assert found.area_mm2 == pytest.approx(40 * 30 - 24 * 16 * math.sin(2 * math.pi / 48))
    assert (PLATE.normals[found.faces] @ [0, 0, 1] > 0.999).all()
    assert found.description == f"flat face of {found.area_mm2:.1f} mm² looking along (0, 0, 1)"


def test_a_point_on_a_holes_wall_selects_the_whole_wall():
    found = select(PLATE, "face-near:4,0,3")
    assert found.area_mm2 == pytest.approx(HOLE_AREA)
    assert "inside of a cylinder of diameter 8.00 mm along (0, 0, 1)" in found.description


def test_the_middle_of_a_hole_means_its_wall():
    assert select(PLATE, "face-near:0,0,3").area_mm2 == pytest.approx(HOLE_AREA)


@pytest.mark.parametrize("steps", [12, 24, 64, 200])
def test_a_wall_is_whole_however_coarse(steps):
    found = select(part_of(plate(steps=steps)), "face-near:0,0,3")
    assert found.area_mm2 == pytest.approx(steps * 8 * math.sin(math.pi / steps) * 6)


@pytest.mark.parametrize("steps", [16, 24, 48, 96])
def test_a_plane_stays_a_plane_beside_a_fillet(steps):
    block = part_of(rounded(40, 30, 5, steps).extrude(6))
    side = select(block, "face-near:20,0,3")
    # The flat may take in no facet of the fillet: it is 20 × 6, or that and nothing more.
    assert side.area_mm2 == pytest.approx(20 * 6)
    fillet = select(block, f"face-near:{15 + 5 * math.sqrt(0.5)},{10 + 5 * math.sqrt(0.5)},3")
    assert fillet.area_mm2 == pytest.approx(steps / 4 * 10 * math.sin(math.pi / steps) * 6)


def test_a_plane_hardly_wider_than_the_fillets_strips_stays_a_plane():
    # Strips of 0.94 mm, flats of 2.4 and 3.2 mm between them.
    block = part_of(rounded(8, 7.2, 2.4, 16).extrude(6))
    assert select(block, "face-near:4,0,3").area_mm2 == pytest.approx(2.4 * 6)
    assert select(block, "face-near:0,3.6,3").area_mm2 == pytest.approx(3.2 * 6)


def test_the_ends_of_a_slot_are_not_its_sides():
    slot = CrossSection.batch_hull([CrossSection.circle(4, 64).translate((x, 0)) for x in (-6, 6)])
    block = part_of((CrossSection.square((40, 30), center=True) - slot).extrude(6))
    side = select(block, "face-near:0,4,3")
    assert side.area_mm2 == pytest.approx(12 * 6, rel=1e-4)
    end = select(block, "face-near:10,0,3")
    assert end.area_mm2 == pytest.approx(32 * 8 * math.sin(math.pi / 64) * 6, rel=1e-4)


def test_a_face_all_of_whose_edges_are_rounded_is_still_flat():
    ball = Manifold.sphere(3, 48)
    spots = [(x, y, z) for x in (-10, 10) for y in (-8, 8) for z in (-6, 6)]
    soap = part_of(Manifold.batch_hull([ball.translate(spot) for spot in spots]))
    assert select(soap, "face-near:0,0,9").area_mm2 == pytest.approx(20 * 16)


def test_two_planes_at_a_shallow_angle_stay_two():
    roof = CrossSection([[(-20, 0), (20, 0), (20, 10), (0, 12), (-20, 10)]]).extrude(30)
    slope = select(part_of(roof), "face-near:10,11.2,15")
    assert slope.area_mm2 == pytest.approx(30 * math.hypot(20, 2))


def test_a_chamfered_plate_keeps_its_top():
    # Chamfers at 22.5°, as wide as one step of a coarse fillet would be.
    profile = CrossSection([[(-20, 0), (20, 0), (20, 9), (18, 9.8284271), (-18, 9.8284271), (-20, 9)]])
    top = select(part_of(profile.extrude(30)), "face-near:0,9.8284271,15")
    assert top.area_mm2 == pytest.approx(36 * 30)


def test_an_end_cut_short_belongs_to_its_wall():
    # A half-round rod, cut off the grid of its strips.
    half = CrossSection.circle(6, 48) - CrossSection.square((20, 20)).translate((-10, 0.3))
    rod = part_of(half.extrude(10))
    wall = select(rod, "face-near:0,-6,5")
    assert wall.area_mm2 == pytest.approx(rod.area_mm2 - sum(select(rod, s).area_mm2 for s in ENDS_AND_FLAT))


ENDS_AND_FLAT = ("plane:0,0,1,10", "plane:0,0,-1,0", "plane:0,1,0,0.3")


@pytest.mark.parametrize(
    ("mesh", "point"),
    [
        (trimesh.creation.icosphere(subdivisions=3, radius=10), "0,0,11"),
        (trimesh.creation.uv_sphere(radius=10), "3,4,9"),
        (trimesh.creation.torus(20, 5), "20,0,5.5"),
    ],
    ids=["icosphere", "sphere", "torus"],
)
def test_a_curved_face_is_taken_whole(mesh, point):
    part = part_from_trimesh(mesh)
    found = select(part, f"face-near:{point}")
    assert found.area_mm2 == pytest.approx(part.area_mm2)
    assert found.description.startswith("curved face")


@pytest.mark.parametrize("stretch", [0.4, 1.0, 2.5])
def test_a_twisted_duct_is_one_face_inside_though_its_quads_are_bent(stretch):
    # An oval tube that turns 60° on its way up: no two of its triangles lie in one plane.
    around, rows = 48, 40
    angle = np.linspace(0, 2 * math.pi, around, endpoint=False)
    oval = np.column_stack([12 * np.cos(angle), 8 * np.sin(angle), np.zeros(around)])
    turns = Rotation.from_rotvec(np.outer(np.radians(np.linspace(0, 60, rows)), [0, 0, 1])).as_matrix()
    rings = np.concatenate([oval @ turn.T + [0, 0, stretch * row] for row, turn in enumerate(turns)])
    here = np.arange(around)
    after = (here + 1) % around
    first, last = np.full(around, rows * around), np.full(around, rows * around + 1)
    faces = [np.column_stack([first, after, here])]
    for low in range(0, (rows - 1) * around, around):
        high = low + around
        faces += [np.column_stack([low + here, low + after, high + after])]
        faces += [np.column_stack([low + here, high + after, high + here])]
    top = (rows - 1) * around
    faces += [np.column_stack([last, top + here, top + after])]
    part = part_from_arrays(np.vstack([rings, [[0, 0, 0], [0, 0, stretch * (rows - 1)]]]), np.vstack(faces))
    ends = sum(
        select(part, f"plane:0,0,{n},{n * d}").area_mm2 for n, d in ((-1, 0), (1, stretch * (rows - 1)))
    )
    wall = select(part, f"face-near:0,9,{stretch * 3}")
    assert wall.area_mm2 == pytest.approx(part.area_mm2 - ends)


def test_a_box_and_an_icosahedron_have_only_flat_faces():
    assert set(np.bincount(regions_of(part_from_trimesh(trimesh.creation.box())).region)) == {2}
    assert len(set(regions_of(part_from_trimesh(trimesh.creation.icosahedron())).region)) == 20


def test_a_point_on_an_edge_between_two_faces_is_refused():
    assert "equally near 2 faces" in refusal(PLATE, "face-near:20,0,6")


def test_a_point_far_away_is_refused_with_the_nearest():
    sentence = refusal(PLATE, "face-near:15,10,500")
    assert "494.0 mm from the nearest face" in sentence
    assert "(15, 10, 6)" in sentence


# --- plane, box, cylinder, group ---


def test_a_plane_takes_every_face_that_lies_in_it():
    comb = part_of(plate(()) + sum(PINS[1:], PINS[0]))
    found = select(comb, "plane:0,0,1,16")
    assert found.area_mm2 == pytest.approx(3 * 16)
    assert found.description == "3 flat faces of 48.0 mm² looking along (0, 0, 1)"


PINS = [Manifold.cube((4, 4, 10)).translate((x, -2, 6)) for x in (-12, -2, 8)]


def test_a_planes_normal_may_have_any_length():
    assert select(PLATE, "plane:0,0,2,12").area_mm2 == select(PLATE, "plane:0,0,1,6").area_mm2


def test_a_plane_looks_outward():
    assert "lies at d = 0" in refusal(PLATE, "plane:0,0,-1,-6")
    assert select(PLATE, "plane:0,0,-1,0").area_mm2 == select(PLATE, "plane:0,0,1,6").area_mm2


def test_a_plane_that_misses_names_the_nearest():
    assert "lies at d = 6" in refusal(PLATE, "plane:0,0,1,7")
    assert "no face looks along (0, 0.707, 0.707); the nearest looks along" in refusal(PLATE, "plane:0,1,1,6")


def test_a_box_takes_the_faces_wholly_inside_it():
    two = part_of(plate(((-10, 0, 4), (10, 0, 3))))
    found = select(two, "box:14.5,5,7,5,-5,-1")
    assert found.area_mm2 == pytest.approx(48 * 6 * math.sin(math.pi / 48) * 6)
    assert cylinder_of(two, found.faces).point[:2] == pytest.approx([10, 0], abs=1e-9)


def test_a_box_that_misses_names_the_nearest_face():
    sentence = refusal(PLATE, "box:-1,-1,0,1,1,6")
    assert "the nearest reaches from (-4, -4, 0) to (4, 4, 6)" in sentence


def test_a_cylinder_takes_the_wall_of_that_radius_only():
    step = part_of(Manifold.cylinder(5, 6, 6, 64) + Manifold.cylinder(12, 4, 4, 64))
    assert select(step, "cylinder:0,0,0,0,0,1,6").area_mm2 == pytest.approx(
        64 * 12 * math.sin(math.pi / 64) * 5
    )
    assert select(step, "cylinder:0,0,3,0,0,-9,4").area_mm2 == pytest.approx(
        64 * 8 * math.sin(math.pi / 64) * 7
    )


def test_a_cylinder_drawn_round_the_circle_is_found_too():
    # Flats on the circle instead of corners: corners at r/cos(π/n).
    around = part_of(Manifold.cylinder(5, 6 / math.cos(math.pi / 24), circular_segments=24))
    assert "outside of a cylinder" in select(around, "cylinder:0,0,0,0,0,1,6").description


def test_a_square_peg_is_no_cylinder():
    # Its edges lie on the circle of radius 5√2, its sides do not.
    peg = part_from_trimesh(trimesh.creation.box(extents=(10, 10, 20)))
    refusal(peg, f"cylinder:0,0,0,0,0,1,{5 * math.sqrt(2)}")
    assert cylinder_of(peg, select(peg, "face-near:5,0,0").faces) is None
    assert cylinder_of(peg, np.abs(peg.normals[:, 2]) < 0.5) is None


def test_a_cylinder_that_misses_names_the_nearest_radius():
    assert "has the radius 4" in refusal(PLATE, "cylinder:0,0,0,0,0,1,4.2")
    assert "no round wall" in refusal(PLATE, "cylinder:0,0,0,1,0,0,4")


def test_both_lugs_of_a_hinge_are_one_cylinder():
    lug = Manifold.cube((16, 16, 5), True) - Manifold.cylinder(9, 3, 3, 48, True)
    found = select(part_of(lug + lug.translate((0, 0, 20))), "cylinder:0,0,0,0,0,1,3")
    assert found.description.startswith("2 round walls of ")


def test_a_group_is_found_by_name_and_missed_by_a_typo():
    mesh = trimesh.creation.box(extents=(2, 2, 2))
    named = part_from_arrays(mesh.vertices, mesh.faces, groups={"seal face": [0, 1], "rim": [2]})
    assert len(select(named, "group:seal face").faces) == 2
    assert 'the nearest group is "seal face"' in refusal(named, "group:seal fase")
    assert "names no groups" in refusal(PLATE, "group:rim")


# --- wording ---


@pytest.mark.parametrize(
    ("selector", "said"),
    [
        ("face-near:1,2", "has 2 numbers, not 3; write face-near:x,y,z"),
        ("face-near:1,2,here", "no number; write face-near:x,y,z"),
        ("face-near:1,2,nan", "not finite"),
        ("plain:0,0,1,6", "write plane:nx,ny,nz,d"),
        ("plane:0,0,0,6", "normal without length"),
        ("cylinder:0,0,0,0,0,0,4", "axis without length"),
        ("cylinder:0,0,0,0,0,1,-4", "radius that is not more than 0"),
        ("top", "write face-near:x,y,z or plane:nx,ny,nz,d or "),
    ],
)
def test_a_malformed_selector_is_told_the_right_form(selector, said):
    assert said in refusal(PLATE, selector)


# --- axis ---


def test_the_axis_of_a_hole_is_the_holes():
    found = cylinder_of(PLATE, select(PLATE, "face-near:0,0,3").faces)
    assert found.point == pytest.approx([0, 0, 3], abs=1e-9)
    assert found.direction == pytest.approx([0, 0, 1], abs=1e-9)
    assert found.radius_mm == pytest.approx(4)
    assert found.hollow


def test_a_fillet_has_an_axis_and_a_boss_is_not_hollow():
    block = part_of(rounded(40, 30, 5, 48).extrude(6))
    found = cylinder_of(block, select(block, "face-near:19,14,3").faces)
    assert found.point[:2] == pytest.approx([15, 10], abs=1e-6)
    assert found.radius_mm == pytest.approx(5)
    assert not found.hollow


def test_planes_cones_and_spheres_have_no_axis():
    assert cylinder_axis(PLATE, select(PLATE, "plane:0,0,1,6").faces) is None
    cone = part_from_trimesh(trimesh.creation.cone(5, 12, sections=48))
    assert cylinder_of(cone, cone.normals[:, 2] > -0.9) is None
    ball = part_from_trimesh(trimesh.creation.icosphere(subdivisions=2))
    assert cylinder_of(ball, np.arange(len(ball.faces))) is None


# --- what must hold however the part is cut, turned or scaled ---

MIXED = part_of(
    rounded(40, 30, 5, 32).extrude(6)
    - Manifold.cylinder(8, 4, 4, 40).translate((3, 2, -1))
    - Manifold.cylinder(60, 1.5, 1.5, 24, True).rotate((90, 0, 0)).translate((12, 0, 3))
)
POINTS = [(-10.0, 0, 6), (3 + 4.0, 2, 3), (12, 12, 1.5), (20, 4, 3), (18.5355, 13.5355, 3)]
CUTS = [f"face-near:{x},{y},{z}" for x, y, z in POINTS]
CUTS += ["plane:0,0,1,6", "cylinder:3,2,0,0,0,1,4", "cylinder:12,0,3,0,1,0,1.5", "box:-2,-3,-1,8,7,7"]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=10, deadline=None)
def test_cutting_the_triangles_otherwise_changes_nothing(seed):
    other = split(MIXED, seed)
    for selector in CUTS:
        before, after = select(MIXED, selector), select(other, selector)
        assert after.area_mm2 == pytest.approx(before.area_mm2, rel=1e-9)
        assert after.description == before.description


@given(st.integers(0, 2**32 - 1), st.tuples(*[st.floats(-50, 50)] * 3))
@settings(max_examples=15, deadline=None)
def test_turning_part_and_selector_together_changes_nothing(seed, shift):
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    turned = MIXED.turned(turn, shift)

    def written(kind, *vectors):
        return f"{kind}:{','.join(repr(float(x)) for x in np.concatenate(vectors))}"

    for point in POINTS:
        moved = turn @ point + shift
        before = select(MIXED, written("face-near", point)).faces
        assert np.array_equal(select(turned, written("face-near", moved)).faces, before)
    up = turn @ [0, 0, 1]
    plane = select(turned, written("plane", up, [6 + up @ shift]))
    assert np.array_equal(plane.faces, select(MIXED, "plane:0,0,1,6").faces)
    hole = select(turned, written("cylinder", turn @ [3, 2, 0] + shift, up, [4]))
    assert np.array_equal(hole.faces, select(MIXED, "cylinder:3,2,0,0,0,1,4").faces)
    assert abs(cylinder_axis(turned, hole.faces) @ up) == pytest.approx(1, abs=1e-9)


@given(st.floats(0.2, 20))
@settings(max_examples=10, deadline=None)
def test_areas_grow_with_the_square_of_the_size(scale):
    grown = part_from_arrays(MIXED.vertices * scale, MIXED.faces)
    for point in POINTS:
        selector = "face-near:" + ",".join(repr(scale * x) for x in point)
        small = select(MIXED, "face-near:" + ",".join(map(repr, point)))
        assert select(grown, selector).area_mm2 == pytest.approx(small.area_mm2 * scale**2, rel=1e-6)


def test_seven_digits_of_a_file_are_enough():
    # STL files hold float32; the labels must not break up on its rounding.
    coarse = part_from_arrays(MIXED.vertices.astype(np.float32) + np.float32(100), MIXED.faces)
    for point in POINTS:
        selector = "face-near:" + ",".join(str(x + 100) for x in point)
        near = select(MIXED, "face-near:" + ",".join(map(str, point)))
        assert select(coarse, selector).area_mm2 == pytest.approx(near.area_mm2, rel=1e-4)


def test_slivers_of_a_file_stay_in_their_plane():
    # A corner 0.2 µm inside each top edge of a tilted box: in float32 the slivers beside
    # the edges lean by far more than a plane may.
    box = trimesh.creation.box(extents=(40, 30, 20))
    corners, low = box.vertices, box.faces[(box.vertices[box.faces][:, :, 2] < 10).any(axis=1)]
    ring = [
        int(np.flatnonzero((corners[:, :2] * spot > 0).all(axis=1) & (corners[:, 2] > 0))[0]) for spot in RING
    ]
    middles = [0.5 * (corners[a] + corners[b]) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    inside = [middle - 0.0002 * np.sign(middle.round(6)) * [1, 1, 0] for middle in middles]
    slivers = [(ring[i], ring[(i + 1) % 4], 8 + i) for i in range(4)]
    inner = [(ring[i], 8 + i, 8 + (i - 1) % 4) for i in range(4)] + [(8, 9, 10), (8, 10, 11)]
    turn = Rotation.from_euler("xyz", [25, 40, 10], degrees=True).as_matrix()
    points = np.vstack([corners, inside]) @ turn.T + 100
    part = part_from_arrays(points.astype(np.float32), np.vstack([low, slivers, inner]))
    lean = np.degrees(np.arccos(np.clip(part.normals @ turn[:, 2], -1, 1)))
    assert 0.1 < lean[part.areas < 0.05].max() < 31
    point = turn @ [5, 5, 10] + 100
    assert select(part, "face-near:" + ",".join(map(str, point))).area_mm2 == pytest.approx(1200, rel=1e-5)


RING = ((1, 1), (-1, 1), (-1, -1), (1, -1))

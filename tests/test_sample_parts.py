"""The committed sample parts are what their functions build, and what their functions say they are."""

from __future__ import annotations

import importlib.util
import math
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import trimesh
from shapely import Polygon

import orient
from orient.part.select import select

FOLDER = Path(__file__).resolve().parent.parent / "sample_parts"
_spec = importlib.util.spec_from_file_location("sample_parts_build", FOLDER / "build.py")
build = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(build)

NAMES = list(build.PARTS)

# Counted on the drawing: a through hole or a slot adds one handle, and one more for each further mouth.
HANDLES = {
    "mast_bracket": 6,  # two bolts, the earth strap, two straps, the cable
    "mast_bracket_rev_b": 6,
    "mast_bracket_rev_c": 6,
    "cable_guide": 6,  # two screws; four tie slots into the open channel
    "gusset": 3,  # two screws, the middle bore
    "fan_duct": 6,  # the duct, four screws, the probe
    "sensor_housing": 8,  # five louvres, the gland, two ears
    "knob": 1,  # none through it; the enclosed void is a ring
    "test_wedge": 0,
}
SHELLS = {name: 2 if name == "knob" else 1 for name in NAMES}
EXTENTS = {
    "mast_bracket": ((-38, -24, 0), (38, 20, 45)),
    "mast_bracket_rev_b": ((-38, -24, 0), (38, 20, 45)),
    "mast_bracket_rev_c": ((-38, -24, 0), (38, 20, 45)),
    "cable_guide": ((0, 0, 0), (40, 40, 14)),
    "gusset": ((0, 0, 0), (40, 40, 12)),
    "fan_duct": ((-21, -21, 0), (40, 21, 46.6)),
    "sensor_housing": ((-46, -26, 0), (46, 26, 31.5)),
    "knob": ((-19.5, None, 0), (19.5, None, 20)),
    "test_wedge": ((0, 0, 0), (35, 10, 2 + 5 / math.tan(math.radians(30)) + 1.5)),
}
# Diameter, a point on the axis, the axis: read off the drawing.
HOLES = [
    ("mast_bracket", 6.6, (-27, 0, 3), "z"),  # ISO 273:1979 medium, M6
    ("mast_bracket", 6.6, (27, 0, 3), "z"),
    ("mast_bracket", 4.5, (30, -16, 3), "z"),  # medium, M4
    ("mast_bracket", 5.5, (12.5, 10.5, 35), "z"),  # medium, M5
    ("mast_bracket", 12.0, (-12.5, 0, 18), "x"),
    ("mast_bracket_rev_b", 6.6, (-27, 0, 3), "z"),
    ("mast_bracket_rev_b", 6.6, (27, 0, 3), "z"),
    ("mast_bracket_rev_c", 6.6, (-27, 0, 3), "z"),
    ("mast_bracket_rev_c", 6.6, (27, 0, 3), "z"),
    ("mast_bracket_rev_c", 5.5, (12.5, 10.5, 35), "z"),
    ("cable_guide", 3.4, (31.5, 6, 2), "z"),  # medium, M3
    ("gusset", 4.5, (26, 3, 6), "y"),
    ("gusset", 8.0, (26, 8, 6), "y"),
    ("gusset", 12.0, (10, 10, 6), "z"),
    ("fan_duct", 3.4, (16, 16, 1.5), "z"),
    ("fan_duct", 36.0, (0, 0, 4), "z"),
    ("fan_duct", 6.5, (35, 13.8, 39), "y"),
    ("sensor_housing", 2.5, (29, 19, 25), "z"),  # tap drill, M3
    ("sensor_housing", 4.0, (-2, 12, 7), "z"),
    ("sensor_housing", 4.5, (41, 0, 1.5), "z"),
    ("sensor_housing", 12.5, (35, 0, 14), "x"),
    ("knob", 6.6, (0, 0, 9), "z"),
]


@pytest.fixture(scope="module")
def filed() -> dict[str, trimesh.Trimesh]:
    return {name: trimesh.load_mesh(FOLDER / f"{name}.stl") for name in NAMES}


def polygon_area(diameter: float) -> float:
    """Area of the regular n-gon that stands for a circle: ½·n·r²·sin(2π/n), any handbook."""
    n = build.segments(diameter / 2)
    return 0.5 * n * (diameter / 2) ** 2 * math.sin(2 * math.pi / n)


def hexagon_area(across_flats: float) -> float:
    """Area of a regular hexagon: (√3/2)·s², s across flats."""
    return math.sqrt(3) / 2 * across_flats**2


# --- the files --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_file_is_the_shape_its_function_builds(name, filed):
    assert build.differences(build.mesh_of(name), filed[name]) == []


def test_a_moved_hole_is_told_from_the_filed_part(filed):
    drawn = filed["gusset"]
    moved = drawn.copy()
    on_bore = np.hypot(*(moved.vertices[:, :2] - 10).T) < 6.001
    moved.vertices[on_bore, 0] += 0.05
    assert moved.volume == pytest.approx(drawn.volume, rel=1e-9)
    assert any("center_mass" in line for line in build.differences(drawn, moved))


def test_check_finds_the_committed_files_as_built():
    done = subprocess.run([sys.executable, FOLDER / "build.py", "--check"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("as built") == len(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_file_is_binary_and_light(name, filed):
    data = (FOLDER / f"{name}.stl").read_bytes()
    # Binary STL: 80 bytes of header, a count, 50 bytes a triangle; text STL begins with 'solid'.
    assert not data.startswith(b"solid")
    assert len(data) == 84 + 50 * int.from_bytes(data[80:84], "little") < 1_000_000
    assert 500 <= len(filed[name].faces) <= 20_000


@pytest.mark.parametrize("name", NAMES)
def test_surface_is_closed_outward_and_has_the_holes_of_the_drawing(name, filed):
    mesh = filed[name]
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0
    assert mesh.area_faces.min() > 1e-6
    assert mesh.body_count == SHELLS[name]
    # Euler's formula for closed surfaces: χ = 2·shells − 2·handles.
    assert mesh.euler_number == 2 * SHELLS[name] - 2 * HANDLES[name]


@pytest.mark.parametrize("name", NAMES)
def test_extents_are_those_of_the_drawing(name, filed):
    for found, drawn in zip(filed[name].bounds, EXTENTS[name], strict=True):
        for coordinate, limit in zip(found, drawn, strict=True):
            assert limit is None or coordinate == pytest.approx(limit, abs=1e-5)


def test_only_the_enclosed_void_of_the_knob_is_inside_out(filed):
    shells = sorted(filed["knob"].split(only_watertight=False), key=lambda shell: shell.volume)
    assert shells[0].volume == pytest.approx(-(polygon_area(29) - polygon_area(20)) * 6, rel=1e-6)
    assert shells[1].volume > 0


# --- true sizes -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("radius", [0.6, 1.25, 3.3, 8.0, 18.0, 50.0])
def test_arcs_are_finer_than_five_hundredths(radius):
    n = build.segments(radius)
    assert radius * (1 - math.cos(math.pi / n)) <= build.CHORD_ERROR_MM <= 0.05
    assert n % 8 == 0


def test_curves_of_the_lofts_are_finer_than_five_hundredths(filed):
    # A chord of length c across an edge where the surface turns by φ stands off by about c·tan(φ/4)/2.
    for name in ("fan_duct", "knob"):
        mesh = filed[name]
        smooth = (mesh.face_adjacency_angles > 0.003) & (mesh.face_adjacency_angles < math.radians(20))
        pairs, turn = mesh.face_adjacency[smooth], mesh.face_adjacency_angles[smooth]
        edge = mesh.vertices[mesh.face_adjacency_edges[smooth]]
        length = np.linalg.norm(edge[:, 1] - edge[:, 0], axis=1)
        across = 2 * mesh.area_faces[pairs].min(axis=1) / length
        assert (across * np.tan(turn / 4) / 2).max() <= 0.05


@pytest.mark.parametrize(("name", "diameter", "at", "axis"), HOLES)
def test_hole_has_its_diameter_across_vertices(name, diameter, at, axis, filed):
    along = "xyz".index(axis)
    across = [k for k in range(3) if k != along]
    mesh, radius = filed[name], diameter / 2
    off = mesh.vertices[:, across] - np.array(at)[across]
    on_wall = np.abs(np.hypot(*off.T) - radius) < 1e-5
    # A ring of chords with a sagitta of 0.05 mm would have this many corners; the wall must have more.
    assert on_wall.sum() > math.pi / math.acos(1 - 0.05 / radius)
    # Every way out from the axis meets the wall first, between the sagitta and the true radius.
    turn = np.linspace(0, 2 * math.pi, 24, endpoint=False) + 0.05
    ways = np.zeros((24, 3))
    ways[:, across] = np.column_stack([np.cos(turn), np.sin(turn)])
    hits, ray, _ = mesh.ray.intersects_location(np.broadcast_to(at, (24, 3)), ways, multiple_hits=False)
    reach = np.linalg.norm(hits - at, axis=1)
    assert sorted(ray) == list(range(24))
    assert reach.min() > radius - 0.05
    assert reach.max() < radius + 1e-4


def test_walls_of_the_housing_are_as_thick_as_drawn(filed):
    mesh = filed["sensor_housing"]
    starts = np.array([[12, -30, 25], [0, 30, 25], [-50, 0, 25], [50, 0, 24]], dtype=float)
    inward = np.array([[0, 1, 0], [0, -1, 0], [1, 0, 0], [-1, 0, 0]], dtype=float)
    for start, way, thickness in zip(starts, inward, (1.6, 0.8, 1.2, 2.0), strict=True):
        hits, _, _ = mesh.ray.intersects_location([start], [way])
        depth = np.sort((hits - start) @ way)
        assert depth[1] - depth[0] == pytest.approx(thickness, abs=1e-4)


# --- volumes by hand --------------------------------------------------------------------------------------


def test_volume_of_the_mast_bracket_by_hand(filed):
    base = 76 * 44 - 4 * 8**2 + polygon_area(16) - 2 * polygon_area(6.6) - polygon_area(4.5)
    web, arm = 9 * 36 * (39 - 6), (22 - -8) * 36 * 9
    seat, stop = 17 * 36 * 1, 1 * 36 * 6
    holes = 2 * polygon_area(5.5) * (40 - 30) + polygon_area(12) * 9
    assert filed["mast_bracket"].volume == pytest.approx(6 * base + web + arm + seat + stop - holes, rel=1e-6)


def test_volume_of_the_gusset_by_hand(filed):
    # A counterbore ends in the slanted long side: its mean depth is that on its axis, 40 − 26 − 6 = 8.
    screw = 6 * polygon_area(4.5) + 8 * polygon_area(8)
    by_hand = 12 * (40 * 40 / 2 - polygon_area(12)) - 2 * screw
    assert filed["gusset"].volume == pytest.approx(by_hand, rel=1e-6)


def test_volume_of_the_test_wedge_by_hand(filed):
    by_hand = 0.0
    for place, angle in enumerate((30, 40, 45, 50, 55, 60, 70)):
        rise = 5 / math.tan(math.radians(angle))
        by_hand += 5 * (5 * 2 + (5 + 10) / 2 * rise + 10 * 1) + (place + 1) * polygon_area(1.2) * 0.5
    assert filed["test_wedge"].volume == pytest.approx(by_hand, rel=1e-6)


def test_volume_of_the_bore_and_pocket_of_the_knob_by_hand():
    # Fill the knob's hollows one by one: what is gained is what was drawn.
    solid = build.knob()
    filled = solid + build.along_z(build.circle(19), 0, 0, (0, 13.5))
    hollows = hexagon_area(10.2) * 5.5 + polygon_area(6.6) * (13 - 5.5)
    assert filled.volume() - solid.volume() == pytest.approx(hollows, rel=1e-6)


# --- what each part is there to show ----------------------------------------------------------------------


def area_beyond_45_degrees(mesh: trimesh.Trimesh) -> float:
    """Area off the bed that looks down steeper than 45° by more than 0.1°, as the part stands in its file."""
    steep = mesh.face_normals[:, 2] < -math.sin(math.radians(45.1))
    off_bed = mesh.triangles[:, :, 2].max(axis=1) > 0.02
    return float(mesh.area_faces[steep & off_bed].sum())


def test_bracket_has_a_flat_ceiling_under_its_arm(filed):
    ceiling = 30 * 36 - 2 * polygon_area(5.5)
    assert area_beyond_45_degrees(filed["mast_bracket"]) > ceiling


def test_redesigned_bracket_keeps_only_the_ceilings_of_its_nut_pockets(filed):
    pockets = 2 * (hexagon_area(8.2) - polygon_area(5.5))
    assert area_beyond_45_degrees(filed["mast_bracket_rev_b"]) == pytest.approx(pockets, rel=1e-5)


def test_steps_of_the_wedge_lean_at_the_angles_it_names(filed):
    mesh = filed["test_wedge"]
    down = (mesh.face_normals[:, 2] < -0.01) & (mesh.face_normals[:, 2] > -0.99)
    angles = np.degrees(np.arcsin(-mesh.face_normals[down, 2]))
    assert sorted({round(float(angle), 3) for angle in angles}) == [30, 40, 45, 50, 55, 60, 70]
    for angle in (30, 40, 45, 50, 55, 60, 70):
        area = mesh.area_faces[down][np.isclose(angles, angle, atol=1e-3)].sum()
        assert area == pytest.approx(5 * 5 / math.sin(math.radians(angle)), rel=1e-5)


def test_fins_of_the_light_trap_stand_four_tenths_apart(filed):
    hits, _, _ = filed["sensor_housing"].ray.intersects_location([[-25.0, 10, 12]], [[1.0, 0, 0]])
    assert np.sort(hits[:, 0])[:4] == pytest.approx([-17, -16, -15.6, -14.6], abs=1e-4)


@pytest.mark.parametrize(("name", "plan_area"), [("gusset", 40 * 40 / 2), ("cable_guide", 40 * 12 + 28 * 12)])
def test_plan_is_a_plain_outline_for_packing(name, plan_area, filed):
    outline = trimesh.path.polygons.projected(filed[name], normal=(0, 0, 1), precise=True)
    assert Polygon(outline.exterior).area == pytest.approx(plan_area, rel=1e-5)


# --- the briefs -------------------------------------------------------------------------------------------


def selectors(brief: dict) -> list[str]:
    found = [face["on"] for face in brief.get("faces", [])]
    for case in brief.get("load", {}).get("case", []):
        found += case["fixed"] + [force["on"] for force in case["force"]]
    return found


@pytest.fixture(scope="module")
def briefs() -> dict[str, dict]:
    return {name: tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8")) for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
def test_brief_names_its_part_and_how_it_is_printed(name, briefs):
    brief = briefs[name]
    assert brief["part"] == {"file": f"{name}.stl", "units": "mm"}
    assert brief["process"]["polymer"]
    assert (
        brief["process"]["layer_height_mm"] <= 0.8 * brief["process"]["nozzle_mm"]
    )  # common practice, no source
    assert {"number", "revision", "customer_ref", "quantity"} <= set(brief["job"])


@pytest.mark.parametrize("name", NAMES)
def test_selectors_of_the_brief_hit_the_part(name, briefs, filed):
    mesh = filed[name]
    for selector in selectors(briefs[name]):
        kind, numbers = selector.split(":")
        values = np.array([float(number) for number in numbers.split(",")])
        if kind == "face-near":
            _, distance, _ = trimesh.proximity.closest_point(mesh, [values])
            assert distance[0] < 0.01, selector
            # Away from every sharp edge of its region, so that the nearest face is in no doubt.
            sharp = mesh.face_adjacency_edges[mesh.face_adjacency_angles > math.radians(20)]
            ends = mesh.vertices[sharp]
            way = ends[:, 1] - ends[:, 0]
            t = np.clip(((values - ends[:, 0]) * way).sum(axis=1) / (way**2).sum(axis=1), 0, 1)
            assert np.linalg.norm(ends[:, 0] + t[:, None] * way - values, axis=1).min() > 0.5, selector
        elif kind == "plane":
            lies = np.abs(mesh.triangles @ values[:3] - values[3]).max(axis=1) < 1e-4
            faces_out = mesh.face_normals @ values[:3] > 0.999
            assert mesh.area_faces[lies & faces_out].sum() > 100, selector
        elif kind == "box":
            inside = (mesh.triangles >= values[:3] - 1e-4) & (mesh.triangles <= values[3:] + 1e-4)
            assert mesh.area_faces[inside.all(axis=(1, 2))].sum() > 100, selector
        else:
            assert kind == "hole-near", selector
            ring = np.hypot(*(mesh.vertices[:, :2] - values[:2]).T)
            assert (np.abs(ring - 3.3) < 1e-5).sum() >= 2 * build.segments(3.3), selector


def test_gust_presses_on_the_seat_and_both_bolts_hold(briefs, filed):
    for name in ("mast_bracket", "mast_bracket_rev_b"):
        (case,) = briefs[name]["load"]["case"]
        assert case["fixed"] == ["hole-near:-27,0,3", "hole-near:27,0,3"]
        assert case["force"] == [{"on": "face-near:12.5,0,40", "newtons": [0, 0, -120]}]
        _, _, face = trimesh.proximity.closest_point(filed[name], [[12.5, 0, 40]])
        assert filed[name].face_normals[face[0]] == pytest.approx([0, 0, 1], abs=1e-6)


def test_the_whole_inside_of_the_duct_must_stay_free_of_support():
    # Rays from the middle of the air's way: whatever they meet first is a wall of the inside.
    part = orient.load(FOLDER / "fan_duct.stl")
    brief = orient.read_brief(FOLDER / "fan_duct.toml")
    free = [select(part, one.on).faces for one in brief.faces if one.matters == "no_support"]
    mesh = trimesh.Trimesh(part.vertices, part.faces, process=False)
    around = np.radians(np.arange(20, 341, 15))  # past the hole for the probe
    inlet = np.column_stack([np.cos(around), np.sin(around), 0 * around])
    mouth = np.column_stack([0 * around, np.cos(around), np.sin(around)])
    origins = np.repeat([[0.0, 0.0, 5.0], [35.0, 0.0, 39.0]], len(around), axis=0)
    met = mesh.ray.intersects_first(origins, np.vstack([inlet, mouth]))
    assert np.isin(met, np.concatenate(free)).all()


def test_both_revisions_are_judged_by_one_brief(briefs):
    a, b = briefs["mast_bracket"], briefs["mast_bracket_rev_b"]
    assert {key: a[key] for key in ("process", "load", "faces")} == {
        key: b[key] for key in ("process", "load", "faces")
    }

import struct

import numpy as np
import pytest
import trimesh

from orient.errors import OrientError
from orient.part.read import read_part
from tests.part.shapes import box, prism, stacked


def written(tmp_path, name, mesh, **options):
    path = tmp_path / name
    trimesh.Trimesh(*mesh, process=False).export(path, **options)
    return path


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("part.stl", {}),
        ("part.STL", {"file_type": "stl_ascii"}),
        ("part.obj", {}),
        ("part.ply", {"encoding": "ascii"}),
        ("part.ply", {"encoding": "binary"}),
        ("part.off", {}),
        ("part.3mf", {}),
    ],
)
def test_every_format_gives_the_same_part(tmp_path, name, options):
    # Written by trimesh, read here: a prism on 24 corners, whose volume is (n/2)·r²·sin(2π/n)·h.
    part = read_part(written(tmp_path, name, prism(24, 10, 30), **options))
    assert part.name == "part"
    assert (len(part.vertices), len(part.faces), part.bodies) == (50, 96, 1)
    assert part.closed
    assert part.volume_mm3 == pytest.approx(12 * 100 * np.sin(2 * np.pi / 24) * 30, rel=1e-6)
    assert part.extents_mm == pytest.approx([20, 20, 30], rel=1e-6)


def test_glb_is_in_metres(tmp_path):
    vertices, faces = prism(24, 0.010, 0.030)
    part = read_part(written(tmp_path, "part.glb", (vertices, faces)))
    assert part.units == "m"
    assert part.extents_mm == pytest.approx([20, 20, 30], rel=1e-6)


def test_a_glb_that_holds_millimetres_is_doubted_and_can_be_read_so(tmp_path):
    path = written(tmp_path, "part.glb", prism(24, 10, 30))
    assert any("probably drawn in millimetres (--units mm)" in note for note in read_part(path).notes)
    part = read_part(path, units="mm")
    assert part.units == "mm"
    assert part.extents_mm == pytest.approx([20, 20, 30], rel=1e-6)
    assert part.notes[-1:] == ("Read in millimetres as asked, though GLB is in metres by its standard.",)


def test_glb_keeps_mirrored_copies_the_right_way_out(tmp_path):
    scene = trimesh.Scene()
    wedge = trimesh.Trimesh(*box((0.01, 0.02, 0.03)))
    scene.add_geometry(wedge, transform=np.diag([-1.0, 1, 1, 1]))
    scene.export(tmp_path / "mirrored.glb")
    part = read_part(tmp_path / "mirrored.glb")
    assert part.volume_mm3 == pytest.approx(6000, rel=1e-5)
    assert part.bounds[0] == pytest.approx([-10, 0, 0], abs=1e-5)


def test_units_of_bare_numbers_are_taken_from_the_caller(tmp_path):
    path = written(tmp_path, "part.stl", prism(24, 1, 3))
    assert read_part(path, units="in").extents_mm == pytest.approx([50.8, 50.8, 76.2], rel=1e-6)
    assert read_part(path, units=None).extents_mm == pytest.approx([2, 2, 3], rel=1e-6)


def test_a_unit_that_the_file_contradicts_is_noted_and_not_used(tmp_path):
    path = written(tmp_path, "part.3mf", prism(24, 10, 30))
    part = read_part(path, units="in")
    assert part.extents_mm == pytest.approx([20, 20, 30])
    assert any("unit in was not used" in note for note in part.notes)
    assert not any("not used" in note for note in read_part(path).notes)


def test_a_likelier_unit_is_named(tmp_path):
    part = read_part(written(tmp_path, "part.stl", prism(24, 1, 3)))
    assert any("probably drawn in inches" in note for note in part.notes)


def test_holes_of_iso_273_in_an_inch_part_are_noticed(tmp_path):
    # A plate of 6 × 6 inches, its hole 11 mm: the medium clearance hole for M10 (ISO 273:1979).
    plate = trimesh.creation.extrude_polygon(_plate_with_hole(6.1, 11 / 25.4), 0.51)
    plate.export(tmp_path / "plate.stl")
    assert any("--units in" in note for note in read_part(tmp_path / "plate.stl").notes)
    assert not any("probably" in note for note in read_part(tmp_path / "plate.stl", units="in").notes)


def _plate_with_hole(side, diameter):
    from shapely.geometry import Point
    from shapely.geometry import box as rectangle

    return rectangle(0, 0, side, side).difference(Point(side / 2, side / 2).buffer(diameter / 2, 16))


def test_a_binary_stl_that_begins_with_solid_is_read(tmp_path):
    path = written(tmp_path, "part.stl", box())
    data = path.read_bytes()
    path.write_bytes(b"solid made by nobody".ljust(80) + data[80:])
    assert read_part(path).volume_mm3 == pytest.approx(1000)


def test_an_ascii_stl_of_two_solids_is_read_whole(tmp_path):
    one = trimesh.Trimesh(*box()).export(file_type="stl_ascii")
    two = trimesh.Trimesh(*box(at=(10, 0, 0))).export(file_type="stl_ascii")
    path = tmp_path / "two.stl"
    path.write_text(one + "\n" + two)
    assert read_part(path).volume_mm3 == pytest.approx(2000)


def test_an_stl_named_obj_is_read_and_told(tmp_path):
    part = read_part(written(tmp_path, "part.obj", box(), file_type="stl"))
    assert part.volume_mm3 == pytest.approx(1000)
    assert any("says OBJ, but it holds binary STL" in note for note in part.notes)


def test_bytes_after_the_last_facet_are_ignored_and_told(tmp_path):
    path = written(tmp_path, "part.stl", box())
    path.write_bytes(path.read_bytes() + b"colours")
    part = read_part(path)
    assert part.volume_mm3 == pytest.approx(1000)
    assert any("7 bytes after the last facet" in note for note in part.notes)


def test_obj_keeps_groups_and_materials(tmp_path):
    vertices, faces = box((10, 20, 30))
    lines = ["# a box", "mtllib none.mtl"] + [f"v {x} {y} {z}" for x, y, z in vertices]
    lines += ["g walls outer", "usemtl steel"]
    lines += [f"f {a + 1}/1/1 {b + 1}//1 {c + 1}" for a, b, c in faces[:8]]
    lines += ["g caps", "usemtl paint"] + [f"f {a - 8} {b - 8} \\\n {c - 8}" for a, b, c in faces[8:]]
    path = tmp_path / "box.obj"
    path.write_text("\n".join(lines))
    part = read_part(path)
    assert part.closed
    assert {name: len(rows) for name, rows in part.groups.items()} == {
        "walls": 8,
        "outer": 8,
        "steel": 8,
        "caps": 4,
        "paint": 4,
    }
    np.testing.assert_array_equal(part.vertices[part.faces[part.groups["caps"]]], vertices[faces[8:]])


def test_obj_polygons_become_fans(tmp_path):
    corners = [(x, y, z) for z in (0, 10) for x, y in ((0, 0), (10, 0), (10, 10), (0, 10))]
    sides = ["4 3 2 1", "5 6 7 8", "1 2 6 5", "2 3 7 6", "3 4 8 7", "4 1 5 8"]
    path = tmp_path / "box.obj"
    path.write_text("\n".join([*(f"v {x} {y} {z}" for x, y, z in corners), *(f"f {side}" for side in sides)]))
    part = read_part(path)
    assert len(part.faces) == 12
    assert part.volume_mm3 == pytest.approx(1000)


def test_bodies_apart_are_listed_with_size_and_volume(tmp_path):
    path = written(tmp_path, "two.stl", stacked(box((5, 5, 5)), box((10, 20, 30), at=(20, 0, 0))))
    with pytest.raises(OrientError) as refusal:
        read_part(path)
    said = str(refusal.value)
    assert "two.stl" in said
    assert "2 separate bodies" in said
    assert "body 1 is 10 × 20 × 30 mm, 6,000 mm³; body 2 is 5 × 5 × 5 mm, 125 mm³" in said
    assert "--body N" in said
    assert "--together" in said


def test_one_body_can_be_chosen(tmp_path):
    path = written(tmp_path, "two.stl", stacked(box((5, 5, 5)), box((10, 20, 30), at=(20, 0, 0))))
    first, second = read_part(path, body=1), read_part(path, body=2)
    assert (first.volume_mm3, second.volume_mm3) == pytest.approx((6000, 125))
    assert second.bodies == 1
    assert first.bounds[0] == pytest.approx([20, 0, 0])  # where it stood
    with pytest.raises(OrientError, match="no body 3: choose one from 1 to 2"):
        read_part(path, body=3)
    with pytest.raises(OrientError, match="--body N or --together"):
        read_part(path, body=1, together=True)


def test_together_keeps_the_arrangement(tmp_path):
    path = written(tmp_path, "two.stl", stacked(box((5, 5, 5)), box((10, 20, 30), at=(20, 0, 0))))
    part = read_part(path, together=True)
    assert part.bodies == 2
    assert part.extents_mm == pytest.approx([30, 20, 30])


def test_a_long_list_of_bodies_is_cut(tmp_path):
    path = written(tmp_path, "many.stl", stacked(*(box(at=(20 * i, 0, 0)) for i in range(15))))
    with pytest.raises(OrientError, match=r"15 separate bodies.*body 12 .*and 3 smaller"):
        read_part(path)


def test_an_open_mesh_is_read_and_says_what_is_approximate(tmp_path):
    vertices, faces = prism(24, 10, 30)
    part = read_part(written(tmp_path, "open.stl", (vertices, faces[:-1])))
    assert not part.closed
    assert part.health.open_edges == 3
    assert any("approximate" in note for note in part.notes)


def test_reading_twice_gives_the_same_bits(tmp_path):
    path = written(tmp_path, "two.stl", stacked(prism(30, 5, 9), box(at=(3, 0, 0))))
    assert read_part(path).content_hash == read_part(path).content_hash


def test_step_arrives_in_millimetres(tmp_path):
    pytest.importorskip("cascadio")
    path = tmp_path / "block.step"
    path.write_text(step_block(40, 30, 20))
    part = read_part(path)
    assert part.extents_mm == pytest.approx([40, 30, 20], rel=1e-5)
    assert part.volume_mm3 == pytest.approx(24000, rel=1e-5)
    assert part.closed


def test_a_damaged_step_is_refused_without_a_word_from_its_kernel(tmp_path, capfd):
    pytest.importorskip("cascadio")
    path = tmp_path / "block.step"
    path.write_text(step_block(40, 30, 20)[:-400])
    with pytest.raises(OrientError, match=r"block\.step' cannot be read as STEP"):
        read_part(path)
    assert capfd.readouterr() == ("", "")


def test_a_step_that_its_kernel_cannot_survive_is_refused_like_any_other(tmp_path):
    pytest.importorskip("cascadio")
    path = tmp_path / "block.step"
    # An edge without its direction: the kernel reads what is not there.
    lines = step_block(40, 30, 20).splitlines()
    lines.remove(next(line for line in lines if "=VECTOR(" in line))
    path.write_text("\n".join(lines))
    with pytest.raises(OrientError, match=r"block\.step' cannot be read as STEP"):
        read_part(path)


def test_step_where_no_process_can_be_started_says_so(tmp_path, monkeypatch):
    pytest.importorskip("cascadio")
    path = tmp_path / "block.step"
    path.write_text(step_block(40, 30, 20))
    monkeypatch.setattr("sys.executable", str(tmp_path / "none"))
    with pytest.raises(OrientError, match=r"block\.step' is a STEP file, and Python cannot be started"):
        read_part(path)


def test_step_without_its_extra_says_what_to_install(tmp_path, monkeypatch):
    path = tmp_path / "block.step"
    path.write_text(step_block(40, 30, 20))
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(OrientError, match=r"block\.step.*pip install cascadio"):
        read_part(path)


def step_block(x, y, z):
    """Write a block as an ISO 10303-21 file: a faceted B-rep after AP214, in millimetres."""
    lines = []

    def add(text):
        lines.append(f"#{len(lines) + 1}={text};")
        return f"#{len(lines)}"

    corners = [(i * x, j * y, k * z) for k in (0, 1) for j in (0, 1) for i in (0, 1)]
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6)]

    def triple(v):
        return "({},{},{})".format(*(float(c) for c in v))

    points = [add(f"CARTESIAN_POINT('',{triple(c)})") for c in corners]
    vertex = [add(f"VERTEX_POINT('',{p})") for p in points]
    curves = {}
    faces = []
    for quad in quads:
        loop = []
        for a, b in zip(quad, quad[1:] + quad[:1], strict=True):
            low, high = min(a, b), max(a, b)
            if (low, high) not in curves:
                step = np.subtract(corners[high], corners[low])
                direction = add(f"DIRECTION('',{triple(step / np.linalg.norm(step))})")
                vector = add(f"VECTOR('',{direction},1.)")
                line = add(f"LINE('',{points[low]},{vector})")
                curves[low, high] = add(f"EDGE_CURVE('',{vertex[low]},{vertex[high]},{line},.T.)")
            loop.append(add(f"ORIENTED_EDGE('',*,*,{curves[low, high]},.{'T' if a < b else 'F'}.)"))
        p, q, r = (np.array(corners[i], dtype=float) for i in quad[:3])
        normal = np.cross(q - p, r - q)
        axis = add(f"DIRECTION('',{triple(normal / np.linalg.norm(normal))})")
        along = add(f"DIRECTION('',{triple((q - p) / np.linalg.norm(q - p))})")
        place = add(f"AXIS2_PLACEMENT_3D('',{points[quad[0]]},{axis},{along})")
        plane = add(f"PLANE('',{place})")
        edge_loop = add(f"EDGE_LOOP('',({','.join(loop)}))")
        bound = add(f"FACE_OUTER_BOUND('',{edge_loop},.T.)")
        faces.append(add(f"ADVANCED_FACE('',({bound}),{plane},.T.)"))
    shell = add(f"CLOSED_SHELL('',({','.join(faces)}))")
    solid = add(f"MANIFOLD_SOLID_BREP('block',{shell})")
    millimetre = add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))")
    radian = add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))")
    steradian = add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())")
    blur = add(f"UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE(1.E-07),{millimetre},'distance','')")
    context = add(
        "(GEOMETRIC_REPRESENTATION_CONTEXT(3)"
        f"GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT(({blur}))"
        f"GLOBAL_UNIT_ASSIGNED_CONTEXT(({millimetre},{radian},{steradian}))"
        "REPRESENTATION_CONTEXT('',''))"
    )
    up, ahead = add("DIRECTION('',(0.,0.,1.))"), add("DIRECTION('',(1.,0.,0.))")
    origin = add(f"AXIS2_PLACEMENT_3D('',{points[0]},{up},{ahead})")
    shape = add(f"ADVANCED_BREP_SHAPE_REPRESENTATION('',({origin},{solid}),{context})")
    application = add("APPLICATION_CONTEXT('automotive_design')")
    stage = add(f"PRODUCT_CONTEXT('',{application},'mechanical')")
    product = add(f"PRODUCT('block','block','',({stage}))")
    formation = add(f"PRODUCT_DEFINITION_FORMATION('','',{product})")
    design = add(f"PRODUCT_DEFINITION_CONTEXT('part definition',{application},'design')")
    definition = add(f"PRODUCT_DEFINITION('design','',{formation},{design})")
    of = add(f"PRODUCT_DEFINITION_SHAPE('','',{definition})")
    add(f"SHAPE_DEFINITION_REPRESENTATION({of},{shape})")
    return (
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nFILE_NAME('','',(''),(''),'','','');\n"
        "FILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n"
        + "\n".join(lines)
        + "\nENDSEC;\nEND-ISO-10303-21;\n"
    )


def test_a_header_that_lies_about_its_count_allocates_nothing(tmp_path):
    import tracemalloc

    path = tmp_path / "liar.stl"
    path.write_bytes(b"\0" * 80 + struct.pack("<I", 0xFFFFFFFF) + b"\0" * 500)
    tracemalloc.start()
    with pytest.raises(OrientError, match="promises 4,294,967,295 facets and 10 are there"):
        read_part(path)
    assert tracemalloc.get_traced_memory()[1] < 10_000_000
    tracemalloc.stop()

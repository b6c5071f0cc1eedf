"""3MF Core Specification v1.4.0 (3MF Consortium, 2025): units, components, transforms, copies."""

import zipfile

import numpy as np
import pytest

from orient.errors import OrientError
from orient.part.read import read_part
from orient.part.threemf import read_3mf
from tests.part.shapes import box, prism

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"


def mesh_xml(mesh):
    vertices, faces = mesh
    corners = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces.tolist())
    return f"<mesh><vertices>{corners}</vertices><triangles>{triangles}</triangles></mesh>"


def package(tmp_path, resources, build, attributes='unit="millimeter"', name="3D/3dmodel.model", **others):
    path = tmp_path / "part.3mf"
    model = (
        f'<?xml version="1.0"?><model xmlns="{CORE}" xmlns:p="{PRODUCTION}" {attributes}>'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr(
            "_rels/.rels",
            f'<Relationships xmlns="{RELATIONS}"><Relationship Id="r" Target="/{name}" '
            'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>',
        )
        file.writestr(name, model)
        for other, text in others.items():
            file.writestr(f"3D/{other}.model", text)
    return path


def one(mesh, kind="model"):
    return f'<object id="1" type="{kind}">{mesh_xml(mesh)}</object>'


ITEM = '<item objectid="1"/>'


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        ("micron", 0.001),
        ("millimeter", 1),
        ("centimeter", 10),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000),
    ],
)
def test_the_unit_of_the_model_scales_corners_and_translations(tmp_path, unit, mm):
    moved = '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 1 2 3"/>'
    part = read_part(package(tmp_path, one(box((1, 2, 3))), moved, f'unit="{unit}"'))
    assert part.extents_mm == pytest.approx(np.array([1, 2, 3]) * mm)
    assert part.bounds[0] == pytest.approx(np.array([1, 2, 3]) * mm)


def test_without_a_unit_it_is_millimetres(tmp_path):
    assert read_part(package(tmp_path, one(box()), ITEM, "")).extents_mm == pytest.approx([10, 10, 10])


def test_points_are_row_vectors_and_the_translation_comes_last(tmp_path):
    # "0 1 0 -1 0 0 0 0 1 10 20 30" takes (1, 0, 0) to (10, 21, 30): x turns to y, then the move.
    mesh = (
        np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0]]),
        np.array([[0, 1, 2], [0, 3, 1], [1, 3, 2], [2, 3, 0]]),
    )
    turned = '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 20 30"/>'
    points = read_3mf(package(tmp_path, one(mesh), turned)).points
    assert points.tolist() == [[10, 21, 30], [9, 20, 30], [10, 20, 31], [10, 20, 30]]


def test_a_component_goes_through_its_own_transform_first(tmp_path):
    # Moved by 5 along x, then turned by 90° about z with the item: it ends up 5 along y.
    resources = one(box((1, 2, 3))) + (
        '<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>'
        "</components></object>"
    )
    build = '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>'
    part = read_part(package(tmp_path, resources, build))
    assert part.bounds.tolist() == [[-2, 5, 0], [0, 6, 3]]


def test_every_copy_is_built_in_its_place(tmp_path):
    resources = one(box()) + (
        '<object id="2"><components><component objectid="1"/>'
        '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 20 0 0"/></components></object>'
    )
    build = '<item objectid="2"/><item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 20 0"/>'
    part = read_part(package(tmp_path, resources, build), together=True)
    assert part.bodies == 4
    assert part.extents_mm == pytest.approx([30, 30, 10])


def test_an_object_that_is_not_built_is_not_made(tmp_path):
    resources = one(box()) + f'<object id="2" type="model">{mesh_xml(box(at=(50, 0, 0)))}</object>'
    assert read_part(package(tmp_path, resources, ITEM)).volume_mm3 == pytest.approx(1000)


def test_items_that_overlap_are_united(tmp_path):
    build = ITEM + '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>'
    assert read_part(package(tmp_path, one(box()), build)).volume_mm3 == pytest.approx(1500)


def test_a_mirrored_copy_is_not_turned_inside_out(tmp_path):
    mirrored = '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    part = read_part(package(tmp_path, one(prism(24, 10, 30)), mirrored))
    assert part.health.inside_out_bodies == 0
    assert part.closed
    assert part.volume_mm3 == pytest.approx(12 * 100 * np.sin(2 * np.pi / 24) * 30)


def test_support_objects_are_left_out_and_told(tmp_path):
    resources = one(box()) + f'<object id="2" type="support">{mesh_xml(box(at=(20, 0, 0)))}</object>'
    part = read_part(package(tmp_path, resources, ITEM + '<item objectid="2"/>'))
    assert part.bodies == 1
    assert "Support objects in the file were left out (1)." in part.notes


def test_the_model_is_found_through_the_package_relationships(tmp_path):
    assert read_part(package(tmp_path, one(box()), ITEM, name="parts/first.model")).bodies == 1


def test_objects_in_files_of_their_own_are_followed(tmp_path):
    other = f'<model xmlns="{CORE}"><resources>{one(box())}</resources><build/></model>'
    resources = (
        '<object id="5"><components><component objectid="1" p:path="/3D/other.model"/></components></object>'
    )
    attributes = 'unit="centimeter" requiredextensions="p"'
    part = read_part(package(tmp_path, resources, '<item objectid="5"/>', attributes, other=other))
    # The unit is that of the root model.
    assert part.extents_mm == pytest.approx([100, 100, 100])


@pytest.mark.parametrize(
    ("resources", "build", "attributes", "says"),
    [
        (one(box()), '<item objectid="9"/>', "", "object 9"),
        (one(box()), "", "", "no faces"),
        (one(box()), '<item objectid="1" transform="1 0 0"/>', "", "item that cannot be read"),
        (one(box()), ITEM, 'unit="cubit"', "states the unit 'cubit', which 3MF does not know"),
        (one(box()), ITEM, 'xmlns:q="urn:secret" requiredextensions="q"', "extension 'q'"),
        (one(box()).replace('x="', 'x="?', 1), ITEM, "", "vertex that cannot be read"),
        (one((box()[0], box()[1] + 3)), ITEM, "", "not there"),
        (
            '<object id="1"><components><component objectid="1"/></components></object>',
            ITEM,
            "",
            "hold themselves",
        ),
        ("<object", ITEM, "", "well-formed"),
    ],
)
def test_a_bad_model_ends_in_one_sentence(tmp_path, resources, build, attributes, says):
    with pytest.raises(OrientError, match=r"part\.3mf") as refusal:
        read_part(package(tmp_path, resources, build, attributes))
    assert says in str(refusal.value)


def test_components_that_multiply_without_end_are_refused(tmp_path):
    # Each object holds the one before ten times: ten levels are ten thousand million boxes.
    levels = "".join(
        f'<object id="{i + 2}"><components>{f"<component objectid={chr(34)}{i + 1}{chr(34)}/>" * 10}'
        "</components></object>"
        for i in range(10)
    )
    with pytest.raises(OrientError, match="more copies"):
        read_part(package(tmp_path, one(box()) + levels, '<item objectid="11"/>'))


def test_entities_are_not_followed(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("12345")
    path = tmp_path / "part.3mf"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr(
            "3D/3dmodel.model",
            f'<!DOCTYPE model [<!ENTITY e SYSTEM "{secret.as_uri()}">]>'
            f'<model xmlns="{CORE}"><metadata>&e;</metadata>'
            f"<resources>{one(box())}</resources><build>{ITEM}</build></model>",
        )
    assert read_part(path).volume_mm3 == pytest.approx(1000)

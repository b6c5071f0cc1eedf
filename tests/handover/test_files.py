"""Files read back by the reference implementation of 3MF and by a general mesh library."""

import io

import lib3mf
import numpy as np
import pytest
import trimesh

import orient
from orient.brief import Brief
from orient.errors import OrientError
from orient.handover.meshfile import FORMATS, refuse_unlike
from orient.handover.oriented import laid_pose, metadata_of, oriented_bytes, oriented_document
from orient.handover.threemf import Item, threemf_bytes
from orient.part.mesh import part_from_trimesh


@pytest.fixture(scope="module")
def found():
    solid = trimesh.util.concatenate(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [60, 20, 6]]),
            trimesh.creation.box(bounds=[[0, 0, 6], [6, 20, 40]]),
        ]
    )
    brief = Brief.model_validate(
        {"job": {"number": "J-17", "revision": "C"}, "process": {"polymer": "PETG", "machine": "entry"}}
    )
    return orient.evaluate(part_from_trimesh(solid, "angle"), brief, directions=30)


def read_3mf(data, tmp_path):
    """Read with the consortium's own library: corners at their place, unit, metadata, transforms."""
    path = tmp_path / "read.3mf"
    path.write_bytes(data)
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    return model


def meshes(model):
    items = model.GetBuildItems()
    read = []
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = model.GetMeshObjectByID(item.GetObjectResource().GetResourceID())
        fields = np.array([list(row) for row in item.GetObjectTransform().Fields])
        corners = np.array([list(p.Coordinates) for p in mesh.GetVertices()])
        faces = np.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
        read.append((mesh, fields, corners, faces))
    return read


def test_reference_library_reads_the_same_solid(found, tmp_path):
    model = read_3mf(oriented_bytes(found, "3mf"), tmp_path)
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    ((mesh, fields, corners, faces),) = meshes(model)
    assert mesh.GetName() == "angle"
    assert mesh.IsManifoldAndOriented()
    read = trimesh.Trimesh(corners, faces, process=False)
    assert read.volume == pytest.approx(found.part.volume_mm3, rel=1e-6)
    bed = found.shop.shop.machine.envelope_mm
    assert fields[3] == pytest.approx([bed[0] / 2, bed[1] / 2, 0], abs=1e-6)
    assert corners == pytest.approx(laid_pose(found).vertices, abs=1e-5)  # lib3mf holds single precision


def test_reference_library_reads_where_it_is_from(found, tmp_path):
    model = read_3mf(oriented_bytes(found, "3mf"), tmp_path)
    group = model.GetMetaDataGroup()
    said = {group.GetMetaData(k).GetKey()[0]: group.GetMetaData(k) for k in range(group.GetMetaDataCount())}
    values = {one.GetName(): one.GetValue() for one in said.values()}
    values |= {
        group.GetMetaData(k).GetName(): group.GetMetaData(k).GetValue()
        for k in range(group.GetMetaDataCount())
    }
    assert values["Title"] == "angle"
    assert values["job"] == "J-17"
    assert values["revision"] == "C"
    assert values["part_sha256"] == found.part.content_hash
    assert "load-test" in values["caution"]


def test_transform_of_the_specification_is_read_as_the_specification_says(tmp_path):
    # 3MF core specification 1.4.0, transforms: "0 1 0 -1 0 0 0 0 1 10 20 30" sends (1, 0, 0) to (10, 21, 30).
    place = np.array([[0, -1, 0, 10], [1, 0, 0, 20], [0, 0, 1, 30], [0, 0, 0, 1.0]])
    box = trimesh.creation.box((2, 4, 6))
    data = threemf_bytes([Item("box", box.vertices, box.faces, True, (place,))], {})
    assert b'transform="0.0 1.0 0.0 -1.0 0.0 0.0 0.0 0.0 1.0 10.0 20.0 30.0"' in _model(data)
    ((_, fields, _, _),) = meshes(read_3mf(data, tmp_path))
    assert np.array([1, 0, 0, 1]) @ np.column_stack([fields, [0, 0, 0, 1]]) == pytest.approx([10, 21, 30, 1])


def _model(data):
    import zipfile

    return zipfile.ZipFile(io.BytesIO(data)).read("3D/3dmodel.model")


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_keeps_the_volume(found, kind):
    read = trimesh.load(io.BytesIO(oriented_bytes(found, kind)), file_type=kind, force="mesh")
    assert read.is_watertight
    assert read.volume == pytest.approx(found.part.volume_mm3, rel=1e-6)
    assert read.bounds[0, 2] == pytest.approx(0.0, abs=1e-9)


def test_same_part_gives_the_same_file(found):
    assert oriented_bytes(found, "3mf") == oriented_bytes(found, "3mf")


def test_what_does_not_read_back_is_not_called_written():
    box = trimesh.creation.box((10, 20, 30))
    data = box.export(file_type="stl")
    refuse_unlike(data, "stl", np.asarray(box.vertices), np.asarray(box.faces))
    with pytest.raises(OrientError, match="does not read back"):
        refuse_unlike(data, "stl", np.asarray(box.vertices) * 1.001, np.asarray(box.faces))


def test_long_part_lies_along_the_long_side_of_the_bed(found):
    size = laid_pose(found).size_mm
    bed = found.shop.shop.machine.envelope_mm
    assert (size[0] >= size[1]) == (bed[0] >= bed[1])


def test_document_says_what_the_file_holds(found):
    told = oriented_document(found, "a.3mf")
    assert told["schema"] == "orient/handover/1"
    assert told["volume_mm3"] == pytest.approx(found.part.volume_mm3)
    turn = np.array(told["transform"])
    assert np.linalg.det(turn[:3, :3]) == pytest.approx(1.0)
    assert metadata_of(found)["pose"] == str(told["pose"])

"""The part written in the pose to take, read back by trimesh."""

import zipfile

import numpy as np
import pytest
import trimesh
from lxml import etree

import orient
from orient.brief import Brief
from orient.errors import OrientError
from orient.pose.rotation import rotation_to_bed
from orient.show.save import FORMATS, save_pose
from tests.evaluated import sample


def laid(rank):
    found = sample("mast_bracket")
    transform = rotation_to_bed(found.ranking.directions[rank - 1], found.part.hull.points)
    return found.part.vertices @ transform[:3, :3].T + transform[:3, 3]


@pytest.mark.parametrize("rank", [1, 7])
@pytest.mark.parametrize("ending", FORMATS)
def test_saved_part_reads_back_as_the_part_laid_down(ending, rank, tmp_path):
    found = sample("mast_bracket")
    path = tmp_path / f"laid.{ending}"
    save_pose(found, path, rank)
    back = trimesh.load_mesh(path)
    back.merge_vertices()
    expected = laid(rank)
    if ending == "3mf":
        # stands in the middle of the bed, whose corner is the origin (3MF core specification)
        expected += [*(np.array(found.shop.shop.machine.envelope_mm[:2]) / 2), 0.0]
    # STL holds 32-bit floats, text formats eight decimals.
    assert back.is_watertight
    assert len(back.faces) == len(found.part.faces)
    assert back.volume == pytest.approx(found.part.volume_mm3, rel=1e-5)
    assert back.bounds == pytest.approx(np.array([expected.min(axis=0), expected.max(axis=0)]), abs=1e-4)
    assert abs(back.bounds[0, 2]) < 1e-6
    assert back.extents[2] == pytest.approx(found.ranking.columns["height_mm"][rank - 1], abs=1e-4)
    assert list(tmp_path.iterdir()) == [path]


def test_a_part_on_its_face_lies_at_zero_to_the_bit(tmp_path):
    found = sample("mast_bracket")
    assert found.ranking.rests_on_flat[found.ranking.recommended - 1]
    save_pose(found, tmp_path / "laid.stl")
    heights = trimesh.load_mesh(tmp_path / "laid.stl").vertices[:, 2]
    assert heights.min() == 0.0
    # All of the face lies there, not one corner of it.
    assert np.count_nonzero(heights == 0.0) >= 4
    assert np.count_nonzero((heights > 0.0) & (heights < 1e-3)) == 0


def test_without_a_rank_the_recommended_pose_is_written(tmp_path):
    found = sample("mast_bracket")
    save_pose(found, tmp_path / "a.stl")
    save_pose(found, tmp_path / "b.stl", found.ranking.recommended)
    assert (tmp_path / "a.stl").read_bytes() == (tmp_path / "b.stl").read_bytes()


@pytest.mark.parametrize(
    ("process", "scale"),
    [
        ({"polymer": "ABS", "make_up_shrinkage": True}, (1 / 0.99400,) * 3),  # ABS shrinks by 0.6 %
        ({"polymer": "PLA", "scale_xyz": [1.004, 1.004, 1.01]}, (1.004, 1.004, 1.01)),
        ({"polymer": "ABS"}, (1.0, 1.0, 1.0)),
    ],
)
def test_shrinkage_is_made_up_for_along_the_axes_of_the_pose_only_when_asked(process, scale, tmp_path):
    # 10 × 20 × 60 mm lies on its largest face, longer side along x.
    part = orient.part_from_trimesh(trimesh.creation.box((10.0, 20.0, 60.0)))
    found = orient.evaluate(part, Brief.model_validate({"process": process}), directions=20)
    save_pose(found, tmp_path / "laid.stl")
    assert trimesh.load_mesh(tmp_path / "laid.stl").extents == pytest.approx(
        np.multiply((60.0, 20.0, 10.0), scale), rel=1e-6
    )
    assert any("saved part is scaled" in note for note in found.notes) == (scale != (1.0, 1.0, 1.0))
    assert found.ranking.columns["height_mm"][found.ranking.recommended - 1] == pytest.approx(10.0)


def test_3mf_says_millimetres(tmp_path):
    # 3MF core specification 1.4.0, section 3.4: the model's unit attribute.
    save_pose(sample("mast_bracket"), tmp_path / "laid.3mf")
    with zipfile.ZipFile(tmp_path / "laid.3mf") as archive:
        (model,) = [name for name in archive.namelist() if name.endswith(".model")]
        root = etree.fromstring(archive.read(model))
    assert root.get("unit") == "millimeter"


@pytest.mark.parametrize("ending", FORMATS)
def test_what_is_saved_can_be_read_and_ranked_again(ending, tmp_path):
    found = sample("mast_bracket")
    save_pose(found, tmp_path / f"laid.{ending}")
    again = orient.load(tmp_path / f"laid.{ending}")
    assert again.closed
    assert again.volume_mm3 == pytest.approx(found.part.volume_mm3, rel=1e-5)


@pytest.mark.parametrize("name", ["laid.step", "laid", "laid.stl.gz"])
def test_an_ending_that_cannot_be_written_is_refused(name, tmp_path):
    with pytest.raises(OrientError, match=r"use one of \.stl"):
        save_pose(sample("mast_bracket"), tmp_path / name)
    assert not list(tmp_path.iterdir())

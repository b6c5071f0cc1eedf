"""A brief is carried to another variant's frame, or refused by the name of its selector."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from orient.brief import Brief
from orient.errors import OrientError
from orient.part.select import select
from orient.strength.places import select_place
from orient.variants.carry import carried
from orient.variants.register import register
from tests.variants.shapes import part_of, plate, turned

A = part_of(plate(), "a")
ROTATION, SHIFT = Rotation.from_euler("xyz", [20, 50, -70], degrees=True).as_matrix(), (7.0, 8.0, 9.0)
SEAT = "face-near:0,10,5"


def brief(**case):
    return Brief.model_validate(
        {
            "load": {
                "stress_axis": [1, 2, 0],
                "case": [
                    {
                        "fixed": ["hole-near:-10,8,2.5"],
                        "force": [{"on": SEAT, "newtons": [0, 0, -50]}],
                        "gravity": [0, 0, -1],
                        **case,
                    }
                ],
            },
            "faces": [{"on": "plane:0,0,1,5", "matters": "visible"}],
        }
    )


def to(other, asked=None):
    return carried(asked or brief(), A, other, register(A, other), ("a", "b"))


def test_brief_of_variants_in_one_frame_stays_as_written():
    got = to(part_of(plate(rib=False), "b"))
    assert got.faces == brief().faces
    assert got.load.case[0].force == brief().load.case[0].force
    assert got.load.stress_axis == brief().load.stress_axis


def test_axes_and_forces_turn_with_the_part():
    got = to(turned(A, ROTATION, SHIFT))
    # scipy's rotation is the outside answer.
    assert got.load.stress_axis[0] == pytest.approx(ROTATION @ [1, 2, 0], abs=1e-6)
    assert got.load.case[0].force[0].newtons == pytest.approx(ROTATION @ [0, 0, -50], abs=1e-5)
    assert got.load.case[0].gravity == pytest.approx(ROTATION @ [0, 0, -1], abs=1e-6)


def test_selectors_find_the_same_faces_in_the_turned_part():
    other = turned(A, ROTATION, SHIFT)
    got = to(other)
    assert select(other, got.faces[0].on).area_mm2 == pytest.approx(select(A, "plane:0,0,1,5").area_mm2)
    assert select(other, got.load.case[0].force[0].on).area_mm2 == pytest.approx(select(A, SEAT).area_mm2)
    wall = select_place(other, got.load.case[0].fixed[0])
    middle = other.centroids[wall.faces].mean(axis=0)
    assert middle == pytest.approx(ROTATION @ [-10, 8, 2.5] + np.array(SHIFT), abs=0.05)


def test_cylinder_and_moment_turn_as_well():
    asked = brief(moment=[{"on": "cylinder:10,5,0,0,0,1,3.3", "newton_mm": [0, 100, 0], "about": [1, 2, 3]}])
    other = turned(A, ROTATION, SHIFT)
    moment = to(other, asked).load.case[0].moment[0]
    assert moment.newton_mm == pytest.approx(ROTATION @ [0, 100, 0], abs=1e-5)
    assert moment.about == pytest.approx(ROTATION @ [1, 2, 3] + np.array(SHIFT), abs=1e-5)
    assert select(other, moment.on).area_mm2 == pytest.approx(select(A, "cylinder:10,5,0,0,0,1,3.3").area_mm2)


def test_moment_of_a_mirror_image_is_mirrored():
    # A moment is r × F: with both mirrored in x it keeps x and turns y and z round.
    other = part_of(plate().mirror((1, 0, 0)), "b")
    asked = brief(moment=[{"on": SEAT, "newton_mm": [10, 20, 30], "about": [0, 0, 0]}])
    assert to(other, asked).load.case[0].moment[0].newton_mm == pytest.approx([10, -20, -30], abs=1e-4)


def test_hole_that_moved_is_still_the_hole():
    asked = brief(fixed=["hole-near:10,5,2.5"])
    other = part_of(plate(hole_x=12.0), "b")
    wall = select_place(other, to(other, asked).load.case[0].fixed[0])
    assert other.centroids[wall.faces].mean(axis=0) == pytest.approx([12, 5, 2.5], abs=0.05)


def test_selector_of_a_face_that_went_is_refused_by_name():
    asked = brief(force=[{"on": "face-near:-18,-5,12", "newtons": [1, 0, 0]}])
    with pytest.raises(OrientError, match=r"face-near:-18,-5,12.* in a but not in b .*turned by 90°"):
        to(part_of(plate(rib=False), "b"), asked)


def test_hole_that_is_far_away_is_refused_by_name():
    asked = brief(fixed=["hole-near:10,5,2.5"])
    with pytest.raises(OrientError, match=r"hole-near:10,5,2\.5.*lies 1[0-9]\.[0-9] mm away"):
        to(part_of(plate(hole_x=26.0), "b"), asked)


def test_box_cannot_be_turned_by_any_angle():
    asked = Brief.model_validate({"faces": [{"on": "box:-31,-21,-1,31,-18,26", "matters": "fit"}]})
    with pytest.raises(OrientError, match="box along the axes of a"):
        to(turned(A, ROTATION, SHIFT), asked)
    quarter = turned(A, Rotation.from_euler("z", 90, degrees=True).as_matrix(), (0.0, 0.0, 0.0))
    assert select(quarter, to(quarter, asked).faces[0].on).area_mm2 == pytest.approx(
        select(A, asked.faces[0].on).area_mm2
    )

"""What a brief says about holding and pushing."""

import numpy as np
import pytest
from manifold3d import Manifold

from orient.brief import Brief
from orient.errors import OrientError
from orient.features.register import inspect_part
from orient.process import Process
from orient.strength.assemble import nodes_of
from orient.strength.cases import cases_of
from orient.strength.cells import cut_into_cells
from orient.strength.grid import grid_over
from orient.strength.loads import nodal_forces
from orient.strength.places import select_place
from tests.strength.shapes import solid


def _plate():
    """A plate with two holes of 6 and 4 mm along z."""
    plate = Manifold.cube((40, 20, 6))
    for x, diameter in ((10.0, 6.0), (30.0, 4.0)):
        plate -= Manifold.cylinder(8, diameter / 2, diameter / 2, 48).translate((x, 10, -1))
    return solid(plate, "plate")


PART = _plate()


def _brief(**case):
    return Brief.model_validate({"load": {"case": [{"name": "push", **case}]}})


def _forces(**more):
    (one,) = cases_of(PART, _brief(fixed=["hole-near:10,10,3"], **more))
    cells = cut_into_cells(PART, grid_over(PART, 1.0))
    nodes = nodes_of(cells)
    force = nodal_forces(PART, cells, nodes, one.loads, 1.2) @ cells.grid.axes
    return force, cells.grid.to_part(nodes.index)


def test_hole_near_takes_the_wall_of_the_nearest_bore():
    found = select_place(PART, "hole-near:10,10,3")
    radius = np.hypot(*(PART.vertices[np.unique(PART.faces[found.faces])][:, :2] - [10, 10]).T)
    assert radius == pytest.approx(3.0)
    assert "diameter 6.00 mm" in found.description
    assert (select_place(PART, "hole:H1").faces == found.faces).all()
    assert select_place(PART, "hole-near:26,10,3").area_mm2 < found.area_mm2


def test_hole_has_the_name_that_the_inspection_gives_it():
    hook = Manifold.cube((6, 40, 60)).translate((0, -20, 0)) + Manifold.cube((45, 12, 10)).translate(
        (0, -6, 20)
    )
    for z in (8, 52):
        hook -= Manifold.cylinder(20, 2.6, 2.6, 48, True).rotate((0, 90, 0)).translate((3, 0, z))
    part = solid(
        hook - Manifold.cylinder(30, 3, 3, 48, True).rotate((90, 0, 0)).translate((25, 0, 25)), "hook"
    )
    holes = inspect_part(part, Process(), [0, 0, 1]).holes
    assert len(holes) == 3
    for hole in holes:
        assert (select_place(part, f"hole:{hole.id}").faces == np.sort(hole.faces)).all()


@pytest.mark.parametrize(
    ("selector", "said"),
    [
        ("hole-near:20,10", "three numbers"),
        ("hole-near:900,0,0", "more than the part is large"),
        ("hole:H9", "it has H1, H2"),
        ("box:-1,-1,-1,50,50,50", "the whole surface"),
        ("plane:0,0,1,99", "selects nothing"),
    ],
)
def test_wrong_places_are_told_in_a_sentence(selector, said):
    with pytest.raises(OrientError, match=said):
        select_place(PART, selector)


def test_part_without_holes_says_so():
    with pytest.raises(OrientError, match="no cylindrical hole was found in block"):
        select_place(solid(Manifold.cube((5, 5, 5)), "block"), "hole-near:0,0,0")


def test_forces_add_up_to_what_was_asked():
    force, _ = _forces(force=[{"on": "plane:0,0,1,6", "newtons": [3, -4, 12]}])
    assert force.sum(axis=0) == pytest.approx([3, -4, 12])


def test_pressure_pushes_into_the_face():
    force, _ = _forces(pressure=[{"on": "plane:1,0,0,40", "mpa": 0.5}])
    assert force.sum(axis=0) == pytest.approx([-0.5 * 120, 0, 0], abs=1e-9)


def test_moment_about_a_holes_axis_is_a_pure_couple():
    force, places = _forces(moment=[{"on": "hole-near:30,10,3", "newton_mm": 250}])
    assert force.sum(axis=0) == pytest.approx([0, 0, 0], abs=1e-9)
    assert np.cross(places, force).sum(axis=0) == pytest.approx([0, 0, 250], abs=1e-6)


def test_moment_may_be_a_vector_on_any_face():
    force, places = _forces(moment=[{"on": "plane:1,0,0,40", "newton_mm": [10, -20, 30]}])
    assert np.cross(places, force).sum(axis=0) == pytest.approx([10, -20, 30], abs=1e-6)


def test_gravity_draws_the_parts_weight_and_acceleration_the_other_way():
    weight = 1.2e-6 * PART.volume_mm3
    force, _ = _forces(gravity=[0, 0, -1])
    assert force.sum(axis=0) == pytest.approx([0, 0, -9.80665 * weight], rel=2e-3, abs=1e-12)
    force, _ = _forces(acceleration_m_s2=[20, 0, 0])
    assert force.sum(axis=0) == pytest.approx([-20 * weight, 0, 0], rel=2e-3, abs=1e-12)


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ({"force": [{"on": "plane:0,0,1,6", "newtons": [1, 0, 0]}]}, "holds the part nowhere"),
        ({"fixed": ["hole-near:10,10,3"]}, "loads nothing"),
        (
            {"fixed": ["hole-near:10,10,3"], "force": [{"on": "plane:0,0,1,6", "newtons": [0, 0, 0]}]},
            "loads nothing",
        ),
        (
            {"fixed": ["plane:0,0,1,6"], "force": [{"on": "plane:0,0,1,6", "newtons": [1, 0, 0]}]},
            "acts on a face that is held",
        ),
        (
            {"fixed": ["hole-near:10,10,3"], "moment": [{"on": "plane:0,0,1,6", "newton_mm": 5}]},
            "give newton_mm as three numbers",
        ),
        ({"fixed": ["hole-near:10,10,3"], "gravity": [0, 0, 0]}, "gravity has no length"),
        (
            {"fixed": ["plane:0,0,1,7"], "gravity": [0, 0, -1]},
            'In load case "push": selector .* selects nothing',
        ),
    ],
)
def test_case_that_makes_no_sense_is_told_in_a_sentence(case, said):
    with pytest.raises(OrientError, match=said):
        cases_of(PART, _brief(**case))


def test_brief_without_cases_says_what_is_missing():
    with pytest.raises(OrientError, match=r"no \[\[load.case\]\]"):
        cases_of(PART, Brief())


def test_cases_of_one_name_are_refused():
    one = {"name": "push", "fixed": ["hole-near:10,10,3"], "gravity": [0, 0, -1]}
    with pytest.raises(OrientError, match='Two load cases are called "push"'):
        cases_of(PART, Brief.model_validate({"load": {"case": [one, one]}}))

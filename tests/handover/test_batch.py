"""Orders on beds: what is written reads back where it was placed, and what cannot be is said."""

import json
from datetime import datetime

import lib3mf
import numpy as np
import pytest
import shapely
import trimesh

import orient
from orient.brief import Brief
from orient.errors import OrientError
from orient.handover.batch import bed_bytes, order_document, order_parts
from orient.part.mesh import part_from_trimesh


def wedge(x=40.0, y=40.0, z=8.0):
    outline = shapely.Polygon([(0, 0), (x, 0), (0, y)])
    return part_from_trimesh(trimesh.creation.extrude_polygon(outline, z), "wedge")


def found(part, **sections):
    brief = {"process": {"polymer": "PETG", "machine": "entry"}} | sections
    return orient.evaluate(part, Brief.model_validate(brief), directions=30)


@pytest.fixture(scope="module")
def order():
    one = found(wedge(), rates={"machine_per_hour": 3.0, "material_per_kg": 25.0}, job={"due": "2030-01-31"})
    return order_parts([one], [100], gap_mm=2.0, start=datetime(2030, 1, 1, 8))


def test_every_copy_is_placed_or_counted(order):
    assert sum(len(bed.placements) * bed.times for bed in order.beds) == 100
    assert order.bed_count == sum(bed.times for bed in order.beds)
    assert len(order.beds[0].placements) > order.grid


def test_reference_library_reads_every_copy_where_it_was_placed(order, tmp_path):
    path = tmp_path / "bed.3mf"
    path.write_bytes(bed_bytes(order, order.beds[0], "3mf"))
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    items = model.GetBuildItems()
    read = []
    while items.MoveNext():
        fields = np.array([list(row) for row in items.GetCurrent().GetObjectTransform().Fields])
        read.append([fields[3, 0], fields[3, 1], np.degrees(np.arctan2(fields[0, 1], fields[0, 0])) % 360])
    said = [[one.x_mm, one.y_mm, one.turn_deg] for one in order.beds[0].placements]
    assert np.array(read)[:, :2] == pytest.approx(np.array(said)[:, :2], abs=1e-4)  # single precision
    off = (np.array(read)[:, 2] - np.array(said)[:, 2] + 180) % 360 - 180
    assert off == pytest.approx(np.zeros(len(said)), abs=1e-3)


def test_bed_holds_as_many_volumes_as_parts(order, tmp_path):
    path = tmp_path / "bed.stl"
    path.write_bytes(bed_bytes(order, order.beds[0], "stl"))
    mesh = trimesh.load(path)
    count = len(order.beds[0].placements)
    assert mesh.volume == pytest.approx(count * 40 * 40 / 2 * 8.0, rel=1e-5)
    assert mesh.body_count == count


def test_hours_grams_and_cost_add_up(order):
    told = json.loads(json.dumps(order_document(order, ["bed.3mf"])))
    assert told["schema"] == "orient/handover/1"
    assert told["part_count"] == 100
    assert told["grams"] == pytest.approx(sum(bed["grams"] * bed["times"] for bed in told["beds"]), abs=0.1)
    assert told["cost"] == pytest.approx(told["cost_each"] * 100, rel=1e-3)
    assert set(told["placements"][0]) == {"part", "copy", "x_mm", "y_mm", "turn_deg", "bed"}
    assert told["late"] is False
    assert told["poses"]


def test_due_day_that_passes_is_said():
    one = found(wedge(), job={"due": "2030-01-01"})
    assert order_parts([one], [5000], start=datetime(2030, 1, 1, 8)).late is True


def test_two_parts_share_beds():
    both = [found(wedge()), found(part_from_trimesh(trimesh.creation.box((30, 12, 6)), "bar"))]
    order = order_parts(both, [10, 10])
    assert {one.kind for one in order.beds[0].placements} == {0, 1}
    told = order_document(order, [])
    assert told["part_count"] == 20


def test_part_too_large_for_the_bed_says_by_how_much_and_which_pose_fits():
    long = found(part_from_trimesh(trimesh.creation.box((400, 30, 10)), "rail"), process={"polymer": "PETG"})
    with pytest.raises(OrientError, match=r"rail in pose 1 is \d+\.\d mm too (wide|tall)"):
        order_parts([long], [1])


def test_ten_thousand_copies_make_two_layouts_at_most():
    order = order_parts([found(wedge())], [10_000])
    assert len(order.beds) <= 2
    assert len(order_document(order, [])["placements"]) < 1000


def test_a_3mf_of_a_bed_says_the_hours_and_grams_of_the_bed_and_the_fill(order, tmp_path):
    path = tmp_path / "bed.3mf"
    path.write_bytes(bed_bytes(order, order.beds[0], "3mf"))
    model = lib3mf.get_wrapper().CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    group = model.GetMetaDataGroup()
    entries = [group.GetMetaData(k) for k in range(group.GetMetaDataCount())]
    said = {one.GetName(): one.GetValue() for one in entries}
    assert float(said["hours"]) == pytest.approx(order.figures[0].hours, rel=1e-3)
    assert float(said["grams"]) == pytest.approx(order.figures[0].grams, rel=1e-3)
    priced = order.parts[0].evaluation.shop.poses
    assert float(said["hours"]) > 2.0 * priced.hours[order.parts[0].row]
    assert float(said["infill"]) == order.parts[0].evaluation.shop.shop.plan.infill

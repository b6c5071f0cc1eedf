"""Faces that matter: scars, stairs, bed contact and tilt, by hand on a table."""

import math

import numpy as np
import pytest
import trimesh

from orient.errors import OrientError
from orient.measure.columns import TAGS
from orient.measure.surfaces import TROUBLES, NamedFaces, measure_named, tags_of
from orient.part.mesh import part_from_trimesh
from tests.measure.measured import UP, block_with_hole, count, table

LAYER = 0.2


def part_faces(part):
    return np.arange(len(part.faces))


def facing(part, normal, height):
    """Faces with this outward normal that lie at this height along it."""
    normal = np.asarray(normal, dtype=float)
    lies = np.abs(part.centroids @ normal - height) < 0.01
    return np.flatnonzero((part.normals @ normal > 0.999) & lies)


def measure(part, named, directions=UP):
    directions = np.asarray(directions, dtype=float)
    tags = tags_of(part, named)
    support = count(part, directions, tags=tags.of_face)
    lowest = (part.vertices @ directions.T).min(axis=0)
    return measure_named(part, named, tags, support, directions, lowest, LAYER)


@pytest.fixture(scope="module")
def part():
    return part_from_trimesh(table())


def named(part, matters, normal, height):
    return NamedFaces("by hand", matters, facing(part, normal, height), None)


def test_support_scars_the_top_of_the_base_and_the_underside_of_the_plate(part):
    base, plate = named(part, "seal", [0, 0, 1], 2.0), named(part, "no_support", [0, 0, -1], -19.0)
    of_base, of_plate = measure(part, [base, plate])
    # The base's top is 40² − 4², the plate's underside 60² − 4²; support touches all of both.
    assert of_base.scar_mm2[0] == pytest.approx(1584.0, rel=3e-3)
    assert of_plate.scar_mm2[0] == pytest.approx(3584.0, rel=1e-6)
    assert of_base.trouble[0] == pytest.approx(1.0, abs=3e-3)
    assert of_plate.trouble[0] == pytest.approx(1.0)


def test_upside_down_the_underside_of_the_base_is_held_from_the_plate(part):
    bottom, underside = named(part, "visible", [0, 0, -1], 0.0), named(part, "visible", [0, 0, 1], 21.0)
    _, lying = measure(part, [bottom, underside], -UP)
    # The table's top lies on the bed: all of it takes the bed's texture, and that is its trouble.
    assert lying.on_bed_mm2[0] == pytest.approx(3600.0, rel=1e-6)
    assert lying.scar_mm2[0] == 0.0
    assert lying.trouble[0] == pytest.approx(1.0)


def test_only_visible_faces_mind_the_bed(part):
    for matters in TROUBLES:
        (got,) = measure(part, [named(part, matters, [0, 0, 1], 21.0)], -UP)
        assert got.on_bed_mm2[0] == pytest.approx(3600.0, rel=1e-6)
        assert got.trouble[0] == pytest.approx(1.0 if matters == "visible" else 0.0)


def test_stairs_on_a_leaning_face(part):
    # The base's top seen at 60° from its normal: c = t·|n·b| = t/2, and the plate above is out of its way.
    lean = np.array([[math.sin(math.radians(60)), 0.0, math.cos(math.radians(60))]])
    (got,) = measure(part, [named(part, "visible", [0, 0, 1], 21.0)], lean)
    assert got.stair_step_mm[0] == pytest.approx(LAYER / 2, rel=1e-6)
    assert got.scar_mm2[0] == 0.0
    assert got.trouble[0] == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize(
    ("tilt_deg", "direction"),
    [(90.0, [0, 0, 1]), (0.0, [0, 1, 0]), (0.0, [0, -1, 0]), (30.0, [0.5, math.cos(math.radians(30)), 0])],
)
def test_a_bore_wants_to_stand_upright(tilt_deg, direction):
    part = part_from_trimesh(block_with_hole(96))
    away = part.centroids - part.centroids[:, 1:2] * np.array([0.0, 1.0, 0.0])
    wall = np.flatnonzero(np.linalg.norm(away, axis=1) < 5.01)
    bore = NamedFaces("bore", "fit", wall, np.array([0.0, 1.0, 0.0]))
    (got,) = measure(part, [bore], [direction])
    assert got.tilt_deg[0] == pytest.approx(tilt_deg, abs=1e-6)
    if tilt_deg == 0.0:
        assert got.trouble[0] == pytest.approx(0.0, abs=1e-6)
    else:
        assert got.trouble[0] >= math.sin(math.radians(tilt_deg)) - 1e-9


def test_without_an_axis_there_is_no_tilt(part):
    (got,) = measure(part, [named(part, "fit", [0, 0, 1], 2.0)])
    assert np.isnan(got.tilt_deg[0])
    assert np.isfinite(got.trouble[0])


def test_a_face_named_twice_is_scarred_for_both(part):
    seal, whole = named(part, "seal", [0, 0, 1], 2.0), NamedFaces("all", "visible", part_faces(part), None)
    apart = [measure(part, [one])[0] for one in (seal, whole)]
    together = measure(part, [seal, whole])
    assert [one.scar_mm2[0] for one in together] == pytest.approx([one.scar_mm2[0] for one in apart])
    assert together[0].scar_mm2[0] == pytest.approx(1584.0, rel=3e-3)


def test_more_groups_than_can_be_told_apart_are_refused(part):
    each = [NamedFaces("one", "fit", np.array([k]), None) for k in range(TAGS + 1)]
    with pytest.raises(OrientError, match="9 different groups"):
        tags_of(part, each)
    # The same faces under many names are one group.
    again = [NamedFaces("same", "fit", np.array([0, 1]), None)] * (TAGS + 1)
    assert tags_of(part, again).held.shape == (TAGS + 1, 1)


def test_as_many_selections_as_there_are_tags(part):
    box = part_from_trimesh(trimesh.creation.box((10, 20, 30)))
    normals = np.vstack([np.eye(3), -np.eye(3)])
    half = np.array([5.0, 10.0, 15.0, 5.0, 10.0, 15.0])
    each = [named(box, "visible", n, h) for n, h in zip(normals, half, strict=True)]
    assert len(each) < TAGS
    got = measure(box, each)
    assert [one.on_bed_mm2[0] for one in got] == pytest.approx([0, 0, 0, 0, 0, 200.0], abs=1e-9)

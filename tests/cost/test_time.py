"""The closed form against toolpaths summed line by line, and what must hold of any build time."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from orient.cost.bands import Bands, bands_of, surface_pieces
from orient.cost.plan import Plan
from orient.cost.time import build_of
from orient.part.mesh import part_from_trimesh
from tests.cost.toolpath import summed

UP = np.array([[0.0, 0.0, 1.0]])
PLAN = Plan(density_g_cm3=1.24, support_density_g_cm3=1.24)


def standing(mesh, height=None):
    mesh = mesh.copy()
    mesh.apply_translation(-mesh.bounds[0])
    return mesh


SHAPES = {
    "box": standing(trimesh.creation.box((40, 30, 20))),
    "cylinder": standing(trimesh.creation.cylinder(radius=15, height=30, sections=128)),
    "plate": standing(trimesh.creation.box((80, 60, 3))),
    "hollow tube": standing(trimesh.creation.annulus(r_min=10, r_max=12, height=40, sections=128)),
    "slender post": standing(trimesh.creation.box((6, 6, 60))),
    "solid block": standing(trimesh.creation.box((12, 12, 12))),
}


def built(mesh, plan=PLAN, directions=UP, **more):
    pieces = surface_pieces(part_from_trimesh(mesh))
    bands = bands_of(pieces, np.asarray(directions, dtype=float), plan.solid_mm, plan.contours_mm)
    nothing = np.zeros(len(bands.height_mm))
    return build_of(bands, more.pop("support", nothing), more.pop("overhang", nothing), plan, **more)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize(
    "plan",
    [
        PLAN,
        replace(PLAN, infill=1.0),
        replace(PLAN, layer_mm=0.3, line_mm=0.6),
        replace(PLAN, min_layer_s=0.0),
    ],
    ids=["usual", "solid", "coarse", "no waiting"],
)
def test_hours_and_material_are_those_of_a_toolpath_summed_by_hand(name, plan):
    hours, volume = summed(SHAPES[name], plan)
    found = built(SHAPES[name], plan)
    assert found.hours[0] == pytest.approx(hours, rel=0.15)
    assert found.part_mm3[0] == pytest.approx(volume, rel=0.15)


def test_a_solid_part_weighs_its_volume():
    found = built(SHAPES["box"], replace(PLAN, infill=1.0))
    assert found.part_mm3[0] == pytest.approx(40 * 30 * 20, rel=1e-6)
    assert found.part_g[0] == pytest.approx(40 * 30 * 20 * 1.24e-3, rel=1e-6)


def test_contours_are_capped_by_the_part():
    # A wall of 0.5 mm is less than two lines a side: it is all contour, and no more than its volume.
    found = built(standing(trimesh.creation.box((40, 0.5, 20))))
    assert found.contour_mm3[0] == pytest.approx(40 * 0.5 * 20, rel=1e-6)
    assert found.skin_mm3[0] == found.fill_mm3[0] == 0.0


def test_a_small_section_waits_for_the_polymer_to_set():
    # 300 layers of 6 × 6 mm would be laid in about 4 s each; 10 s are needed: 3,000 s in all.
    found = built(SHAPES["slender post"])
    assert found.hours[0] == pytest.approx(3000 / 3600, rel=0.02)
    assert found.waiting_hours[0] > 0.4 * found.hours[0]


@pytest.mark.parametrize("height", [10, 20, 40, 80])
def test_taller_with_all_else_equal_is_never_quicker(height):
    low = built(standing(trimesh.creation.box((20, 20, height))))
    high = built(standing(trimesh.creation.box((20, 20, height + 1))))
    assert high.hours[0] > low.hours[0]


def test_the_same_sections_on_more_layers_are_never_quicker():
    # The same volume, skin and wall area, drawn out to ever greater height.
    hours = []
    for height in (5.0, 10.0, 20.0, 40.0, 80.0):
        flat = np.full((1, 48), 8000.0 / height)
        bands = Bands(np.array([height]), flat, np.full((1, 48), 800.0 / height), np.zeros((1, 48)))
        hours.append(build_of(bands, np.zeros(1), np.zeros(1), PLAN).hours[0])
    assert hours == sorted(hours)


def test_a_bar_stood_up_takes_longest():
    bar = standing(trimesh.creation.box((10, 20, 80)))
    lying, edge, up = built(bar, directions=[[1, 0, 0], [0, 1, 0], [0, 0, 1]]).hours
    assert up > edge > lying


def test_support_costs_time_and_material():
    none = built(SHAPES["box"])
    some = built(SHAPES["box"], support=np.array([5000.0]), overhang=np.array([400.0]))
    assert some.hours[0] > none.hours[0]
    assert some.support_mm3[0] == pytest.approx(1000.0)  # filled to a fifth
    assert some.part_mm3[0] == none.part_mm3[0]


def test_a_second_material_is_changed_on_every_supported_layer():
    two = replace(PLAN, material_change_s=10.0)
    given = {"support": np.array([4000.0]), "overhang": np.array([400.0])}
    # 10 mm of support, 50 layers, 10 s each.
    more = built(SHAPES["box"], two, **given).hours - built(SHAPES["box"], **given).hours
    assert more[0] == pytest.approx(500 / 3600)


def test_flow_limits_the_speed():
    fast = replace(PLAN, speed_mm_s=500.0)
    assert fast.line_speed_mm_s == pytest.approx(135.1, abs=0.1)  # 11 mm³/s through 0.45 × 0.2: 135.1 mm/s
    wide = replace(fast, line_mm=0.88, layer_mm=0.4)
    assert wide.line_speed_mm_s == pytest.approx(34.6, abs=0.1)


def test_the_time_factor_multiplies_the_build_and_not_the_heat_up():
    slow = built(SHAPES["box"], replace(PLAN, time_factor=1.5))
    assert slow.hours[0] == pytest.approx(1.5 * built(SHAPES["box"]).hours[0])
    assert slow.heat_up_hours == pytest.approx(5 / 60)


def test_parts_side_by_side_share_the_waiting():
    post = SHAPES["slender post"]
    one, four = built(post).hours[0], built(post, parts=4).hours[0]
    assert one <= four < 4 * one


def test_a_brim_costs_what_its_area_weighs():
    # Outline 140 mm and 5 mm of brim, round at the corners: 140·5 + π·25 mm² (Steiner), one layer.
    with_brim = built(SHAPES["box"], brim_mm=5.0)
    more = with_brim.part_mm3 - built(SHAPES["box"]).part_mm3
    assert more[0] == pytest.approx((140 * 5 + np.pi * 25) * 0.2, rel=1e-6)
    assert with_brim.hours[0] > built(SHAPES["box"]).hours[0]


def test_no_density_no_grams():
    found = built(SHAPES["box"], replace(PLAN, density_g_cm3=None))
    assert np.isnan(found.part_g[0])


def test_the_textbook_build_of_twenty_cubic_centimetres():
    # 20 cm³ through a bead of 0.45 × 0.2 mm at 60 mm/s in moves of 10 mm (factor 1.12) on 150 layers with 2 s
    # each: 1.35709 h. A solid block laid in lines alone, without contours, comes to the same.
    plan = replace(
        PLAN,
        contours=0,
        infill=1.0,
        min_layer_s=0.0,
        layer_change_s=2.0,
        first_layer_speed=1.0,
        travel_mm_s=1e9,
    )
    height = 30.0
    section = 20000.0 / height
    outline = np.pi * section / 10.0
    bands = Bands(np.array([height]), np.full((1, 48), section), np.full((1, 48), outline), np.zeros((1, 48)))
    # The step to the next line is not in the textbook's sum: 0.024 s for each 10 mm line.
    steps = 20000.0 / plan.bead_mm2 / 10.0 * 2 * np.sqrt(plan.spacing_mm / plan.acceleration_mm_s2) / 3600
    found = build_of(bands, np.zeros(1), np.zeros(1), plan).hours[0]
    assert found - steps == pytest.approx(1.35709, rel=1e-3)

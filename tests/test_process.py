"""A brief becomes plain numbers, and what was taken for granted is said."""

import json
import math

import pytest

from orient.brief import Brief
from orient.errors import OrientError
from orient.process import Process, process_from, resolved_brief


def process(**sections):
    return process_from(Brief.model_validate(sections))


def test_an_empty_brief_gives_the_documented_defaults():
    plain = process()
    assert (plain.layer_height_mm, plain.line_width_mm, plain.nozzle_mm) == (0.2, 0.45, 0.4)
    assert plain.overhang_limit_deg == 45.0
    assert Process().layer_height_mm == plain.layer_height_mm
    assert plain.polymer == "PLA"
    assert plain.assumptions[0] == "No polymer was named: typical PLA is taken."


def test_every_number_has_a_source():
    plain = process()
    numbers = set(plain.numbers()) - {"polymer"} | set(plain.feature_limits()) | set(plain.spreads())
    assert numbers == set(plain.sources)
    assert all(plain.sources.values())


def test_a_named_polymer_is_not_called_an_assumption():
    said = process(process={"polymer": "ABS"}).assumptions
    assert not any("No polymer" in sentence for sentence in said)


def test_shear_between_layers_is_von_mises_of_the_across_strength_and_says_so():
    plain = process(process={"polymer": "PETG"})
    # von Mises: yield in shear is yield in tension / √3 (any strength-of-materials text).
    assert plain.strength_shear_mpa == pytest.approx(plain.strength_across_mpa / math.sqrt(3))
    assert any("√3" in sentence for sentence in plain.assumptions)
    assert "no source" in plain.sources["strength_shear_mpa"]


def test_the_shops_own_figures_go_first():
    own = {
        "strength_in_layer_mpa": 48.0,
        "strength_across_mpa": 31.0,
        "strength_shear_mpa": 19.0,
        "source": "bars of May",
    }
    plain = process(polymer=own)
    assert (plain.strength_in_layer_mpa, plain.strength_across_mpa, plain.strength_shear_mpa) == (48, 31, 19)
    assert plain.sources["strength_shear_mpa"] == "the brief (bars of May)"
    assert not any("typical, not measured" in sentence or "√3" in sentence for sentence in plain.assumptions)


def test_an_own_figure_across_layers_carries_the_assumed_shear_with_it():
    plain = process(polymer={"strength_across_mpa": 30.0})
    assert plain.strength_shear_mpa == pytest.approx(30.0 / math.sqrt(3))


def test_no_data_stays_no_data():
    plain = process(process={"polymer": "PPSU"})
    assert plain.strength_in_layer_mpa is None
    assert plain.strength_across_mpa is None
    assert plain.strength_shear_mpa is None
    assert not plain.strengths_known
    assert plain.sources["strength_across_mpa"] == "no data"
    assert any(
        "No strength across the layers is known for PPSU" in sentence for sentence in plain.assumptions
    )


def test_layer_and_line_follow_the_nozzle_unless_given():
    wide = process(process={"nozzle_mm": 0.8})
    assert wide.layer_height_mm == pytest.approx(0.4)
    assert wide.line_width_mm == pytest.approx(0.9)
    given = process(process={"nozzle_mm": 0.8, "layer_height_mm": 0.25})
    assert given.layer_height_mm == 0.25
    assert given.sources["layer_height_mm"] == "the brief"


def test_default_limit_is_below_what_half_a_supported_line_allows():
    # Half of the line rests on the one below as long as tan(angle) < w/(2h): atan(0.45/0.4) = 48.4°.
    plain = process()
    assert plain.overhang_limit_deg < math.degrees(
        math.atan(plain.line_width_mm / (2 * plain.layer_height_mm))
    )


def test_a_layer_in_microns_is_refused():
    with pytest.raises(OrientError, match=r"layer_height_mm is 200 but the nozzle is 0\.4 mm"):
        process(process={"layer_height_mm": 200})


@pytest.mark.parametrize("line", [60.0, 0.045])
def test_a_line_that_no_such_nozzle_lays_is_refused(line):
    with pytest.raises(OrientError, match=rf"line_width_mm is {line:g} but the nozzle is 0\.4 mm"):
        process(process={"line_width_mm": line})


def test_an_unknown_polymer_is_refused_with_the_nearest():
    with pytest.raises(OrientError, match="PETG"):
        process(process={"polymer": "PEGT"})


def test_the_resolved_brief_is_json_and_holds_the_numbers_used():
    brief = Brief.model_validate({"process": {"polymer": "abs"}, "load": {"stress_axis": [0, 0, 1]}})
    plain = process_from(brief)
    back = json.loads(json.dumps(resolved_brief(brief, plain)))
    assert back["process"]["layer_height_mm"] == plain.layer_height_mm
    assert back["process"]["polymer"] == "ABS"
    assert back["polymer"]["strength_across_mpa"] == plain.strength_across_mpa
    assert back["load"]["stress_axis"] == [[0.0, 0.0, 1.0]]


def test_the_geometry_says_what_half_a_supported_line_allows():
    # atan(w / 2h): line 0.45, layers 0.10, 0.20, 0.225, 0.30 give 66.0, 48.4, 45.0, 36.9 degrees.
    for layer, angle in ((0.10, 66.0), (0.20, 48.4), (0.225, 45.0), (0.30, 36.9)):
        plain = process(process={"layer_height_mm": layer})
        assert plain.geometric_overhang_deg == pytest.approx(angle, abs=0.05)


def test_a_polymer_that_takes_no_cooling_hangs_and_bridges_less():
    pla, peek = process(), process(process={"polymer": "PEEK"})
    assert peek.overhang_limit_deg < pla.overhang_limit_deg == 45.0
    assert peek.bridge_limit_mm < pla.bridge_limit_mm
    assert peek.lying_hole_limit_mm < pla.lying_hole_limit_mm == 8.0
    assert process(process={"polymer": "PEEK", "overhang_limit_deg": 52.0}).overhang_limit_deg == 52.0


def test_small_things_grow_with_the_nozzle():
    # The trade's tables are for a nozzle of 0.4 mm: wall 0.8, hole 2, pin 3, gap 0.3 joined and 0.4 moving.
    wide = process(process={"nozzle_mm": 0.8})
    found = (
        wide.wall_limit_mm,
        wide.hole_limit_mm,
        wide.pin_limit_mm,
        wide.gap_limit_mm,
        wide.moving_gap_limit_mm,
    )
    assert found == pytest.approx((1.6, 4.0, 6.0, 0.6, 0.8))


def test_a_fibre_that_clogs_widens_the_nozzle_unless_one_is_asked_for():
    # The one sheet on high-temperature PA with fibre asks for 0.6 mm.
    plain = process(process={"polymer": "PA-HT-CF"})
    assert (plain.nozzle_mm, plain.layer_height_mm) == (0.6, 0.3)
    assert "PA-HT-CF" in plain.sources["nozzle_mm"]
    asked = process(process={"polymer": "PA-HT-CF", "nozzle_mm": 0.4})
    assert (asked.nozzle_mm, asked.sources["nozzle_mm"]) == (0.4, "the brief")


def test_limits_for_the_usual_nozzle_are_the_tables_own_figures():
    assert process().feature_limits()["pin_limit_mm"] == 3.0
    assert process().feature_limits()["moving_gap_limit_mm"] == 0.4


def test_low_and_high_are_not_called_a_median():
    sources = process().sources
    assert sources["strength_in_layer_mpa"].startswith("median of")
    assert sources["strength_in_layer_low_mpa"].startswith("low end of the cited figures")
    assert sources["strength_across_high_mpa"].startswith("high end of the cited figures")


def test_shrinkage_is_expansion_from_the_glass_transition_to_the_room():
    # ABS: 90e-6/K from 105 °C to 20 °C.
    assert process(process={"polymer": "ABS"}).shrinkage_strain == pytest.approx(90e-6 * 85)
    unknown = process(process={"polymer": "PETG-CF"})
    assert unknown.sources["shrinkage_strain"].startswith("no data for PETG-CF")


def test_low_and_high_frame_every_strength_there_is():
    for key in ("PLA", "PETG", "ABS", "PA12-CF", "PEEK", "PEI-PC"):
        plain = process(process={"polymer": key})
        for way in ("in_layer", "across", "shear"):
            low, nominal, high = (getattr(plain, f"strength_{way}{end}_mpa") for end in ("_low", "", "_high"))
            assert 0 < low <= nominal <= high, (key, way)


def test_an_own_strength_without_spread_has_none():
    plain = process(
        polymer={
            "strength_across_mpa": 30.0,
            "strength_in_layer_mpa": 50.0,
            "strength_in_layer_low_mpa": 45.0,
        }
    )
    assert (plain.strength_across_low_mpa, plain.strength_across_high_mpa) == (30.0, 30.0)
    assert (plain.strength_in_layer_low_mpa, plain.strength_in_layer_high_mpa) == (45.0, 50.0)


def test_a_low_above_the_nominal_is_refused():
    with pytest.raises(OrientError, match="put the three in order"):
        process(polymer={"strength_across_mpa": 30.0, "strength_across_low_mpa": 35.0})


def test_stiffness_that_no_source_gives_stays_empty():
    plain = process(process={"polymer": "PEKK"})
    assert plain.youngs_in_layer_mpa is None
    assert plain.sources["youngs_across_mpa"] == "no data"
    given = process(
        process={"polymer": "PEKK"}, polymer={"youngs_modulus_mpa": 3000.0, "poissons_ratio": 0.38}
    )
    assert (given.youngs_in_layer_mpa, given.youngs_across_mpa, given.poissons_ratio) == (3000, 3000, 0.38)


def test_the_brief_says_what_tool_takes_supports_out():
    process = process_from(Brief.model_validate({"process": {"support_tool_mm": 1.5}}))
    assert process.support_tool_mm == 1.5
    assert process.sources["support_tool_mm"] == "the brief"
    assert process_from(Brief()).support_tool_mm == 3.0

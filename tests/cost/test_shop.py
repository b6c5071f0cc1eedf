"""Polymer, machine and prices joined: hours, money and fit of real poses."""

import numpy as np
import pytest
import trimesh

import orient
from orient.brief import Brief
from orient.cost.bands import surface_pieces
from orient.cost.shop import cost_floor, shop_cautions, shop_for, with_machine
from orient.errors import OrientError
from orient.process import process_from

RATES = {"machine_per_hour": 3.0, "labour_per_hour": 30.0, "material_per_kg": 25.0, "setup_min": 10.0}
MACHINES = """
[[machine]]
name = "small one"
envelope_mm = [90, 90, 60]
nozzle_max_c = 280
bed_max_c = 110
nozzles_mm = [0.6]
hourly_rate = 5.0
time_factor = 1.2
"""


def brief(**sections):
    return Brief.model_validate(sections)


def settled(said, size=50.0):
    said = with_machine(said)
    return shop_for(said, process_from(said), size)


@pytest.fixture(scope="module")
def tee():
    """A foot with an arm over it: what holds the arm up differs from pose to pose."""
    foot = trimesh.creation.box((40, 30, 6))
    post = trimesh.creation.box((8, 30, 40), trimesh.transformations.translation_matrix((0, 0, 23)))
    arm = trimesh.creation.box((40, 30, 6), trimesh.transformations.translation_matrix((0, 0, 46)))
    return orient.part_from_trimesh(trimesh.boolean.union([foot, post, arm], engine="manifold"))


@pytest.fixture(scope="module")
def by_score(tee):
    return orient.evaluate(
        tee, brief(rates=RATES, process={"polymer": "PETG", "machine": "entry"}), directions=150
    )


@pytest.fixture(scope="module")
def by_cost(tee):
    said = brief(rates=RATES, process={"polymer": "PETG", "machine": "entry"})
    return orient.evaluate(tee, said, directions=150, by="cost")


def test_every_pose_has_hours_grams_and_a_cost(by_score):
    poses, count = by_score.shop.poses, len(by_score.ranking.directions)
    for name in ("hours", "part_g", "support_g", "finishing_min", "unit_cost"):
        values = getattr(poses, name)
        assert values.shape == (count,)
        assert np.isfinite(values).all()
        assert (values >= 0).all()
    assert poses.fits.all()


def test_ranking_by_cost_is_in_order_of_cost(by_cost):
    cost = by_cost.shop.poses.unit_cost
    assert (np.diff(cost) >= -1e-6 * cost[1:]).all()
    assert cost[0] == pytest.approx(cost.min())
    assert by_cost.ranking.columns["unit_cost"] == pytest.approx(cost)


def test_the_cheapest_pose_is_no_dearer_than_the_best_by_score(by_score, by_cost):
    taken = by_score.shop.poses.unit_cost[by_score.ranking.recommended - 1]
    assert by_cost.shop.poses.unit_cost.min() <= taken * (1 + 1e-9)


def test_a_pose_that_would_fall_over_is_not_cheap_but_out(by_cost):
    out = [one.reason for one in by_cost.ranking.excluded]
    assert any("does not stand by itself" in reason for reason in out)
    columns = by_cost.ranking.columns
    assert (columns["first_layer_mm2"] + columns["overhang_projected_mm2"] > 0).all()


def test_tenfold_rates_cost_tenfold(tee, by_score):
    ten = {name: rate if name == "setup_min" else 10 * rate for name, rate in RATES.items()}
    said = brief(rates=ten, process={"polymer": "PETG", "machine": "entry"})
    dear = orient.evaluate(tee, said, directions=150)
    assert dear.ranking.directions == pytest.approx(by_score.ranking.directions)
    assert dear.shop.poses.unit_cost == pytest.approx(10 * by_score.shop.poses.unit_cost, rel=1e-12)


def test_no_finishing_rate_takes_the_scars_out_of_the_cost(tee):
    none = brief(
        rates=RATES | {"finishing_min_per_cm2": 0.0}, process={"polymer": "PETG", "machine": "entry"}
    )
    found = orient.evaluate(tee, none, directions=100)
    assert (found.shop.poses.finishing_min == 0.0).all()


def test_without_prices_there_are_hours_and_no_cost(tee):
    found = orient.evaluate(tee, brief(process={"polymer": "PETG", "machine": "entry"}), directions=60)
    assert np.isnan(found.shop.poses.unit_cost).all()
    assert np.isfinite(found.shop.poses.hours).all()
    begun = []
    with pytest.raises(OrientError, match=r"no prices to rank by: give \[rates\]"):
        orient.evaluate(tee, brief(), directions=60, by="cost", progress=lambda *step: begun.append(step))
    # It is said before anything is measured.
    assert begun == []


def test_no_density_no_grams_and_no_ranking_by_cost(tee):
    said = brief(rates=RATES, process={"polymer": "PC-PBT", "machine": "engineering"})
    shop = settled(said)
    assert shop.plan.density_g_cm3 is None
    with pytest.raises(OrientError, match="density of PC-PBT"):
        cost_floor(shop, surface_pieces(tee))


def test_a_machine_too_small_leaves_poses_out_and_says_by_how_much(tmp_path, tee):
    path = tmp_path / "machines.toml"
    path.write_text(MACHINES, encoding="utf-8")
    said = brief(process={"polymer": "PETG", "machine": "small one", "machines": str(path)})
    # The tee is 49 mm tall and the machine 60: it stands. One half as large again must lie.
    assert orient.evaluate(tee, said, directions=60).shop.poses.fits.all()
    large = orient.part_from_arrays(tee.vertices * 1.5, tee.faces)
    found = orient.evaluate(large, said, directions=60)
    assert found.ranking.excluded
    assert all("too large for small one" in one.reason for one in found.ranking.excluded)
    assert (found.ranking.columns["height_mm"] <= 60 + 1e-6).all()
    huge = orient.part_from_arrays(tee.vertices * 5, tee.faces)
    with pytest.raises(OrientError, match=r"a machine that has .* mm more room"):
        orient.evaluate(huge, said, directions=60)


def test_the_shops_own_machine_brings_its_nozzle_rate_and_time_factor(tmp_path):
    path = tmp_path / "machines.toml"
    path.write_text(MACHINES, encoding="utf-8")
    said = with_machine(brief(process={"machine": "Small One", "machines": str(path)}))
    assert said.process.nozzle_mm == 0.6
    shop = shop_for(said, process_from(said))
    assert shop.rates.machine_per_hour == 5.0
    assert shop.plan.time_factor == 1.2
    assert shop.plan.line_mm == pytest.approx(0.675)
    asked = brief(process={"machine": "small one", "machines": str(path), "nozzle_mm": 0.4})
    assert with_machine(asked).process.nozzle_mm == 0.4


def test_without_a_machine_the_lowest_class_that_can_run_the_polymer_is_taken():
    assert settled(brief(process={"polymer": "PLA"})).machine.name == "entry"
    assert settled(brief(process={"polymer": "PA-HT-CF"})).machine.name == "engineering"
    assert settled(brief(process={"polymer": "PEEK"})).machine.name == "high-temperature"
    assert not settled(brief()).machine_named


def test_an_outdoor_pla_part_is_cautioned_first():
    said = brief(job={"outdoor": True}, load={"stress_axis": [1, 0, 0]})
    first = shop_cautions(settled(said), said, None)[0]
    assert first.startswith("Heat: a dark surface in the sun")
    assert "PLA" in first


def test_a_machine_that_cannot_run_the_polymer_is_said():
    said = brief(process={"polymer": "PEEK", "machine": "entry"})
    found = shop_cautions(settled(said), said, 2.0)
    assert any("entry cannot run PEEK: nozzle: needs at least 335 °C" in sentence for sentence in found)


def test_a_nozzle_that_the_polymer_clogs_is_not_compared(tee):
    # The engineering class has nozzles of 0.4, 0.6 and 0.8 mm; this polymer's maker asks for 0.6 at least.
    found = orient.evaluate(
        tee, brief(process={"polymer": "PA-HT-CF", "machine": "engineering"}), directions=20
    )
    assert {one.nozzle_mm for one in found.shop.order.layers} == {0.6, 0.8}


def test_shrinkage_without_data_is_refused_with_the_way_out():
    with pytest.raises(OrientError, match=r"no data on the shrinkage of PLA.*scale_xyz"):
        settled(brief(process={"polymer": "PLA", "make_up_shrinkage": True}))


def test_a_plain_part_without_polymer_or_machine_gets_no_caution():
    assert shop_cautions(settled(brief()), brief(), 5.0) == ()


def test_the_order_knows_its_beds_spares_and_price(by_score):
    said = brief(
        rates=RATES | {"scrap_rate": 0.1},
        process={"polymer": "PETG", "machine": "entry"},
        job={"quantity": 30},
    )
    found = orient.evaluate(by_score.part, said, directions=60)
    order = found.shop.order
    assert order.batch.quantity == 30
    assert order.batch.spares > 3
    assert order.batch.beds * order.batch.per_bed >= 30 + order.batch.spares
    assert order.batch_price == pytest.approx(30 * order.unit_price)
    # Set-up is shared by a bed, so a part of the order is cheaper than one alone.
    assert order.unit_price < found.shop.poses.unit_cost[found.ranking.recommended - 1]
    assert len(order.layers) == 6


def test_figures_are_the_same_on_any_number_of_threads(tee):
    said = brief(rates=RATES, process={"polymer": "PETG", "machine": "entry"})
    one, three = (orient.evaluate(tee, said, directions=80, threads=n).shop.poses for n in (1, 3))
    assert np.array_equal(one.hours, three.hours)
    assert np.array_equal(one.unit_cost, three.unit_cost)


def test_handwork_that_has_a_price_and_no_minutes_is_said_beside_the_cost(tee):
    rates = {name: rate for name, rate in RATES.items() if name != "setup_min"}
    named = {"polymer": "PETG", "machine": "entry"}
    found = orient.evaluate(tee, brief(rates=rates, process=named), directions=60)
    assert any("counts no minutes for set-up and drying" in note for note in found.notes)

"""What a part costs follows its rates exactly."""

from dataclasses import replace

import numpy as np
import pytest

from orient.brief import Brief
from orient.cost.money import Rates, cost_of, rates_from
from orient.cost.time import Build
from orient.materials.machines import machine
from orient.materials.supports import support_material

SAME = support_material(None)
RATES = Rates("EUR", 3.0, 30.0, 25.0, 60.0, setup_min=10.0, drying_min=5.0, scrap_rate=0.1)
SCAR, ON_PART = np.array([500.0, 1000.0]), np.array([0.0, 0.5])


def build(**more):
    two = np.array([2.0, 4.0])
    plain = dict.fromkeys(
        ("waiting_hours", "part_mm3", "support_mm3", "contour_mm3", "skin_mm3", "fill_mm3"), two
    )
    return Build(
        hours=two,
        heat_up_hours=0.1,
        part_g=np.array([20.0, 20.0]),
        support_g=np.array([5.0, 10.0]),
        **plain | more,
    )


def cost(rates=RATES, support=SAME, **more):
    return cost_of(build(), SCAR, ON_PART, rates, support, **more)


def test_the_first_pose_worked_by_hand():
    found = cost(quantity=1)
    # Machine (2 + 0.1) h × 3 / 0.9 = 7; material (20 × 25 + 5 × 60) / 1000 / 0.9; 5 cm² at 1 min; 15 min.
    assert found.machine[0] == pytest.approx(7.0)
    assert found.material[0] == pytest.approx(0.8 / 0.9)
    assert found.finishing_min[0] == pytest.approx(5.0)
    assert found.finishing[0] == pytest.approx(2.5)
    assert found.batch_share[0] == pytest.approx(7.5)
    assert found.unit[0] == pytest.approx(7.0 + 0.8 / 0.9 + 2.5 + 7.5)


def test_a_textbook_cost():
    # Machine 0.16307 + 0.06107 of purchase and power joined to 0.22414 over 1.35709 h; material 20 cm³ × 1.24
    # × 1.2 (waste) at 25 a kg, 0.744; labour 0.5 h at 30, 15: 15.968 in all.
    rates = Rates(
        machine_per_hour=(0.16307 + 0.06107) / 1.35709,
        labour_per_hour=30.0,
        material_per_kg=25.0,
        setup_min=30.0,
    )
    one = np.array([1.35709])
    plain = dict.fromkeys(
        ("waiting_hours", "part_mm3", "support_mm3", "contour_mm3", "skin_mm3", "fill_mm3"), one
    )
    built = Build(
        hours=one, heat_up_hours=0.0, part_g=np.array([20 * 1.24 * 1.2]), support_g=np.zeros(1), **plain
    )
    assert cost_of(built, np.zeros(1), np.zeros(1), rates, SAME).unit[0] == pytest.approx(15.968, abs=1e-3)


def test_ten_times_the_rates_cost_ten_times():
    tenfold = replace(
        RATES, machine_per_hour=30.0, labour_per_hour=300.0, material_per_kg=250.0, support_per_kg=600.0
    )
    assert cost(tenfold).unit == pytest.approx(10.0 * cost().unit, rel=1e-12)


def test_no_finishing_rate_no_scar_cost_at_all():
    found = cost(replace(RATES, finishing_min_per_cm2=0.0))
    assert found.finishing.tolist() == [0.0, 0.0]
    assert found.unit == pytest.approx(cost().unit - cost().finishing)


def test_scars_that_are_hard_to_reach_take_longer_unless_a_bath_takes_the_support():
    # 10 cm², half of it three times as slow: 20 min.
    assert cost().finishing_min[1] == pytest.approx(20.0)
    assert cost(support=support_material("PVA")).finishing_min[1] == pytest.approx(10.0)


def test_a_batch_shares_set_up_and_heat_up():
    alone, shared = cost(quantity=1), cost(quantity=20, per_bed=10)
    assert shared.batch_share[0] == pytest.approx(30 / 60 * (10.0 / 10 + 5.0 / 20))
    assert shared.machine[0] < alone.machine[0]


def test_without_any_price_there_is_no_cost_but_there_are_minutes():
    found = cost(Rates())
    assert np.isnan(found.unit).all()
    assert found.finishing_min[0] == pytest.approx(5.0)


def test_a_price_not_given_is_left_out_and_named():
    rates = Rates(machine_per_hour=3.0)
    assert rates.missing == ("labour_per_hour", "material_per_kg")
    assert cost(rates).unit == pytest.approx(cost(rates).machine)


def test_support_without_a_price_of_its_own_costs_what_the_part_does():
    found = cost(replace(RATES, support_per_kg=None, scrap_rate=0.0))
    assert found.material[0] == pytest.approx(25.0 * 25.0 / 1000)


def test_handwork_with_a_price_and_no_minutes_is_named():
    assert Rates(labour_per_hour=30.0).unpaid == ("set-up", "drying")
    assert Rates(labour_per_hour=30.0, setup_min=10.0).unpaid == ("drying",)
    assert Rates(machine_per_hour=3.0).unpaid == ()


def test_the_machines_own_rate_stands_in_for_the_briefs():
    own = replace(machine("entry"), hourly_rate=4.5)
    assert rates_from(Brief(), own).machine_per_hour == 4.5
    said = Brief.model_validate({"rates": {"machine_per_hour": 2.0, "currency": "CHF"}})
    assert rates_from(said, own).machine_per_hour == 2.0
    assert rates_from(said).currency == "CHF"

"""Orders: spares, beds, hours, and whether they are late."""

from datetime import datetime

import pytest
from scipy.stats import binom

from orient.cost.batch import plan_batch, spares_for


def hourly(n):
    return float(n)


@pytest.mark.parametrize(("quantity", "scrap"), [(1, 0.1), (5, 0.05), (20, 0.05), (60, 0.02), (200, 0.2)])
def test_spares_are_the_fewest_that_are_enough_in_nineteen_orders_of_twenty(quantity, scrap):
    spares = spares_for(quantity, scrap)
    # At most `spares` failures among all that are started.
    assert binom.cdf(spares, quantity + spares, scrap) >= 0.95
    assert spares == 0 or binom.cdf(spares - 1, quantity + spares - 1, scrap) < 0.95


def test_no_failures_no_spares():
    assert spares_for(50, 0.0) == 0


def test_beds_run_one_after_the_other():
    batch = plan_batch(10, 4, hourly, 0.5)
    # Beds of 4, 4 and 2 parts, half an hour of heating each.
    assert (batch.beds, batch.per_bed) == (3, 4)
    assert batch.hours == pytest.approx(11.5)
    assert batch.machine_hours == pytest.approx(11.5)


def test_two_machines_halve_the_wait_and_not_the_work():
    batch = plan_batch(16, 4, hourly, 0.0, machines=2)
    assert batch.hours == pytest.approx(8.0)
    assert batch.machine_hours == pytest.approx(16.0)


def test_more_machines_than_beds_do_not_help():
    assert plan_batch(4, 4, hourly, 0.0, machines=9).hours == pytest.approx(4.0)


def test_an_order_is_late_when_it_ends_after_the_day_it_is_due():
    start, due = datetime(2030, 5, 1, 8), datetime(2030, 5, 1, 23, 59)
    assert not plan_batch(10, 10, hourly, 0.0, start=start, due=due).late
    late = plan_batch(20, 10, hourly, 0.0, start=start, due=due)
    assert late.late
    assert late.done == datetime(2030, 5, 2, 4)
    assert plan_batch(20, 10, hourly, 0.0, start=start).late is None


def test_every_build_failing_is_refused():
    with pytest.raises(ValueError, match="no number of spares"):
        spares_for(5, 1.0)

"""A whole order: how many to start, on how many beds, when it is done, and whether that is late."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from scipy.special import bdtrc

# Enough parts are started that this share of orders needs no second round. This program's own choice.
CERTAINTY = 0.95


@dataclass(frozen=True)
class Batch:
    """An order in one pose on one kind of machine.

    Attributes
    ----------
    quantity, spares : int
        Good parts wanted, and parts started beyond them for failed builds.
    per_bed, beds : int
        Parts on a full bed, and beds to run.
    hours : float
        From the first start to the last part, all machines side by side.
    machine_hours : float
        Hours that all machines run, heat-up included.
    done : datetime or None
        When the last part is done, if a start was given.
    late : bool or None
        Whether that is after the day it is due; None where there is no due day.
    """

    quantity: int
    spares: int
    per_bed: int
    beds: int
    hours: float
    machine_hours: float
    done: datetime | None = None
    late: bool | None = None


def spares_for(quantity: int, scrap_rate: float, certainty: float = CERTAINTY) -> int:
    """Count the parts to start beyond the quantity.

    Failures are taken as independent, so good parts follow the binomial distribution; the least number of
    starts is taken for which at least `quantity` are good in `certainty` of all orders.

    Parameters
    ----------
    quantity : int
        Good parts wanted.
    scrap_rate : float
        Share that fails, from 0 to below 1.
    certainty : float
        Share of orders that shall need no second round.

    Returns
    -------
    int

    Examples
    --------
    >>> spares_for(20, 0.05), spares_for(20, 0.0)
    (3, 0)
    """
    if scrap_rate <= 0.0:
        return 0
    if scrap_rate >= 1.0:
        raise ValueError("when every build fails no number of spares is enough")
    started = quantity
    while bdtrc(quantity - 1, started, 1.0 - scrap_rate) < certainty:
        started += 1
    return started - quantity


def plan_batch(
    quantity: int,
    per_bed: int,
    bed_hours: Callable[[int], float],
    heat_up_hours: float,
    *,
    scrap_rate: float = 0.0,
    machines: int = 1,
    start: datetime | None = None,
    due: datetime | None = None,
) -> Batch:
    """Plan an order.

    Parameters
    ----------
    quantity : int
        Good parts wanted.
    per_bed : int
        Parts on a full bed, at least 1.
    bed_hours : callable
        Hours of a bed with n parts, without heat-up.
    heat_up_hours : float
        Waiting before each bed.
    scrap_rate : float
        Share that fails.
    machines : int
        Machines of this kind; they run day and night, one bed after the other.
    start : datetime, optional
        When the first bed starts.
    due : datetime, optional
        End of the day it is due.

    Returns
    -------
    Batch

    Examples
    --------
    Ten parts, four to a bed, an hour a part, on two machines: beds of 4, 4 and 2.

    >>> plan_batch(10, 4, lambda n: float(n), 0.0, machines=2).hours
    6.0
    """
    spares = spares_for(quantity, scrap_rate)
    started = quantity + spares
    per_bed = max(1, min(per_bed, started))
    beds = math.ceil(started / per_bed)
    full = bed_hours(per_bed) + heat_up_hours
    left = started - (beds - 1) * per_bed
    last = full if left == per_bed else bed_hours(left) + heat_up_hours
    machines = min(machines, beds)
    # Full beds go round the machines first; the last, smaller one goes to a machine that is free first.
    rounds, over = divmod(beds - 1, machines)
    hours = max(rounds * full + last, (rounds + (over > 0)) * full)
    try:
        done = None if start is None else start + timedelta(hours=hours)
    except OverflowError:  # a part taken for kilometres long is never done
        done = datetime.max
    late = None if due is None or done is None else done > due
    return Batch(quantity, spares, per_bed, beds, hours, (beds - 1) * full + last, done, late)

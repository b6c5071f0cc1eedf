"""The poses in order, anew for other weights: from measures that are kept, without measuring again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orient.desk.answers import Judged
from orient.ranking.ranked import Ranking, rank_poses
from orient.ranking.weights import check_weights
from orient.show.page.chart import Chart, trade_off
from orient.show.page.facts import Fact, compared, counted_fact, headline
from orient.show.words import direction_words, lean_words


@dataclass(frozen=True, eq=False)
class Order:
    """Poses in an order.

    Attributes
    ----------
    judged : Judged
        What is known of the poses.
    ranking : Ranking
        The order.
    rows : (P,) int
        Where each pose stands in `judged`.
    settled : bool
        Whether it is the order that an evaluation gave, not one by weights that were moved since.
    """

    judged: Judged
    ranking: Ranking
    rows: NDArray[np.int64]
    settled: bool

    @property
    def strength(self) -> object | None:
        """Anything but None where load cases were judged, as a chart asks."""
        return self.judged.strength

    @property
    def recommended(self) -> int:
        """Row in `judged` of the pose to take."""
        return int(self.rows[self.ranking.recommended - 1])

    def number(self, row: int) -> int:
        """Rank, from 1, of a pose by its row in `judged`."""
        return int(np.flatnonzero(self.rows == row)[0]) + 1

    @property
    def chart(self) -> Chart:
        """The trade-off as a chart."""
        return trade_off(self)


@dataclass(frozen=True)
class Card:
    """A pose in the list.

    Attributes
    ----------
    row : int
        Where it stands in `Judged`: it names the pose whatever its rank.
    number : int
        Its rank, from 1.
    head, along, leans, rests : str
        What to do, in one line; the build direction; how far it is off the nearest axis of the file, empty
        where it is one; what the pose rests on.
    facts : tuple of Fact
        Its figures, the best of those shown marked.
    why : tuple of str
        Why it stands where it does.
    taken, undominated, lies : bool
        Whether it is the pose to take, whether no other betters it in all, whether it rests on a flat face
        and does not tip off it.
    """

    row: int
    number: int
    head: str
    along: str
    leans: str
    rests: str
    facts: tuple[Fact, ...]
    why: tuple[str, ...]
    taken: bool
    undominated: bool
    lies: bool


def in_order(judged: Judged) -> Order:
    """The order that an evaluation gave."""
    return Order(judged, judged.ranking, np.arange(len(judged.ranking.directions)), True)


def order_of(judged: Judged, weights: Mapping[str, float]) -> Order:
    """Rank the poses of an evaluation by other weights.

    Parameters
    ----------
    judged : Judged
        Poses with their measures.
    weights : Mapping[str, float]
        By name; one that is not named keeps its default.

    Returns
    -------
    Order

    Raises
    ------
    OrientError
        For weights that leave nothing to rank by.
    """
    old = judged.ranking
    ranking = rank_poses(old.directions, old.sources, old.rests_on_flat, old.columns, judged.scale, weights)
    # Limits do not depend on weights: what they left out stays out.
    return Order(judged, replace(ranking, excluded=old.excluded), ranking.index, False)


def weights_of(data: Mapping[str, Any]) -> dict[str, float]:
    """The weights that a brief gives, every one of them.

    Examples
    --------
    >>> weights_of({"weights": {"preset": "strong", "support": 1}})["load"]
    5.0
    """
    given = dict(data.get("weights", {}))
    preset = given.pop("preset", None)
    return check_weights({name: float(value) for name, value in given.items()}, preset)


def cards(order: Order, most: int = 6, *, also: tuple[int, ...] = ()) -> list[Card]:
    """The poses worth showing beside each other: the one to take, then the others, best first.

    Parameters
    ----------
    order : Order
        All poses.
    most : int
        How many, at the most; the pose to take is always among them.
    also : tuple of int
        Rows in `order.judged` that are shown whatever their rank.

    Returns
    -------
    list of Card
    """
    ranking = order.ranking
    taken = ranking.recommended - 1
    shown = [row for row in ranking.shown if row != taken][: most - 1]
    shown.append(taken)
    shown += [order.number(row) - 1 for row in also if order.number(row) - 1 not in shown]
    shown.sort(key=lambda row: (row != taken, row))
    facts = compared([facts_of(order, row) for row in shown])
    found = []
    for row, own in zip(shown, facts, strict=True):
        of = int(order.rows[row])
        along = direction_words(ranking.directions[row])
        found.append(
            Card(
                row=of,
                number=row + 1,
                head=headline(along, order.judged.lies[of]),
                along=along,
                leans=lean_words(ranking.directions[row]),
                rests=order.judged.rests[of],
                facts=tuple(own),
                why=ranking.why[row],
                taken=row == taken,
                undominated=bool(ranking.undominated[row]),
                lies=bool(ranking.rests_on_flat[row]),
            )
        )
    return found


def facts_of(order: Order, row: int) -> list[Fact]:
    """Figures of a pose; its score is by the weights of the order."""
    score = float(order.ranking.penalty["total"][row])
    of = int(order.rows[row])
    own = list(order.judged.facts[of])
    names = [fact.name for fact in own]
    if order.judged.counts and "hard features" not in names:
        # A pose that other weights brought up: its features are counted once it is looked at.
        counts = order.judged.counts.get(of)
        fact = Fact("hard features", "…", math.nan) if counts is None else counted_fact(counts)
        own.insert(names.index("hours"), fact)
    return [replace(fact, said=f"{score:.3f}", value=score) if fact.name == "score" else fact for fact in own]

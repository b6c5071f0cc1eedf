"""Poses with measures on a coarse lattice, so that ties and near misses come up often."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from orient.ranking.limits import Limits
from orient.ranking.penalties import Scale
from orient.ranking.ranked import Ranking, rank_poses

# One lattice step is 0.05 of a penalty in every column.
SCALE = Scale(
    hull_volume_mm3=1000.0,
    hull_width_mm=10.0,
    hull_diameter_mm=30.0,
    largest_rest_mm2=200.0,
    layer_height_mm=0.2,
)
SOURCES = ("plane", "load", "grid", "refined")


def lattice_directions(count: int) -> NDArray[np.float64]:
    """Distinct unit vectors on a spiral."""
    z = 1 - (2 * np.arange(count) + 1) / count
    turn = np.arange(count) * 2.399963
    flat = np.sqrt(1 - z**2)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


@dataclass(frozen=True, eq=False)
class Posed:
    directions: NDArray[np.float64]
    sources: tuple[str, ...]
    rests: NDArray[np.bool_]
    columns: dict[str, NDArray[np.float64]]
    weights: dict[str, float]

    def __len__(self) -> int:
        return len(self.directions)

    def ranked(self, limits: Limits | None = None, **changes: float) -> Ranking:
        return rank_poses(
            self.directions,
            self.sources,
            self.rests,
            self.columns,
            SCALE,
            {**self.weights, **changes},
            limits,
        )

    def taken(self, index: NDArray[np.int64]) -> Posed:
        columns = {name: column[index] for name, column in self.columns.items()}
        sources = tuple(self.sources[i] for i in index)
        return replace(
            self, directions=self.directions[index], sources=sources, rests=self.rests[index], columns=columns
        )


def posed_from(steps: NDArray[np.int64], rests: list[bool], **changes: float) -> Posed:
    """Build poses from lattice steps: columns support, height, first layer, finish, load."""
    support, height, first_layer, finish, load = np.asarray(steps, dtype=float).T
    count = len(support)
    columns = {
        "support_weighted_mm3": 50.0 * support,
        "support_volume_mm3": 50.0 * support,
        "height_mm": 10.0 + height,
        "first_layer_mm2": 200.0 - 10.0 * first_layer,
        "stair_step_mm": 0.01 * finish,
        "strength_retained": 1.0 - 0.05 * load,
        "load_angle_deg": 4.0 * load,
        "islands": 1.0 + np.arange(count) % 3,
        "tip_margin_deg": 10.0 - 5.0 * (np.arange(count) % 4),
    }
    sources = tuple("resting" if flat else SOURCES[i % 4] for i, flat in enumerate(rests))
    weights = {"support": 1.0, "height": 0.5, "load": 1.5, "first_layer": 0.25, "finish": 0.25} | changes
    return Posed(lattice_directions(count), sources, np.array(rests), columns, weights)


@st.composite
def posed(
    draw: st.DrawFn, least: int = 1, most: int = 14, loaded: bool | None = None, coarse: bool = False
) -> Posed:
    """Draw poses; coarse ones have penalties in tenths and whole weights."""
    count = draw(st.integers(least, most))
    step = st.integers(0, 10).map(lambda k: 2 * k) if coarse else st.integers(0, 20)
    rows = draw(st.lists(st.tuples(*[step] * 5), min_size=count, max_size=count))
    rests = draw(st.lists(st.booleans(), min_size=count, max_size=count))
    weight = st.integers(0, 4).map(float) if coarse else st.integers(1, 16).map(lambda k: k / 4)
    names = ("support", "height", "load", "finish")
    weights = {name: draw(weight) for name in names} | {"first_layer": 1.0 if coarse else 0.25}
    made = posed_from(np.array(rows), rests, **weights)
    if draw(st.booleans()) if loaded is None else loaded:
        return made
    nothing = np.full(count, np.nan)
    columns = {**made.columns, "strength_retained": nothing, "load_angle_deg": nothing}
    return replace(made, columns=columns, sources=tuple("grid" if s == "load" else s for s in made.sources))

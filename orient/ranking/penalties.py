"""What a pose costs, measure by measure, and in all."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.ranking.weights import NAMES, counted_weights

Array = NDArray[np.float64]

# The column each penalty is made from.
# Hard features have none: they count in the second pass.
# The last three exist only for a part with a load, with faces that matter, or where cost is asked for.
COLUMN_OF = {
    "support": "support_weighted_mm3",
    "height": "height_mm",
    "first_layer": "first_layer_mm2",
    "finish": "stair_step_mm",
    "load": "strength_retained",
    "faces": "faces_trouble",
    "cost": "unit_cost",
}
OPTIONAL = ("load", "faces", "cost")


@dataclass(frozen=True)
class Scale:
    """The part's own sizes, which make penalties of measures.

    They belong to the part, not to the list of poses, so that adding a pose cannot reorder the rest.

    Parameters
    ----------
    hull_volume_mm3, hull_width_mm, hull_diameter_mm : float
        Volume, least width and diameter of the convex hull.
    largest_rest_mm2 : float
        Area of the largest flat face that the hull can rest on.
    layer_height_mm : float
        Thickness of a layer.
    cost_floor : float
        Least that the part could cost whichever way it lay.
    """

    hull_volume_mm3: float
    hull_width_mm: float
    hull_diameter_mm: float
    largest_rest_mm2: float
    layer_height_mm: float
    cost_floor: float = 1.0

    def __post_init__(self) -> None:
        sizes = (self.hull_volume_mm3, self.hull_diameter_mm, self.largest_rest_mm2)
        if not (np.isfinite(sizes).all() and min(sizes) > 0):
            raise OrientError(
                "The part is flat or empty, so no pose can be judged: give a solid with some thickness."
            )
        if not (np.isfinite(self.layer_height_mm) and self.layer_height_mm > 0):
            raise OrientError(f"The layer height is {self.layer_height_mm:g} mm: give a number above zero.")


def present(columns: Mapping[str, Array]) -> tuple[str, ...]:
    """Names of the penalties that these columns allow.

    Load is left out when no pose has a strength (no load was named), faces when none were named.
    """
    missing = [c for name, c in COLUMN_OF.items() if name not in OPTIONAL and c not in columns]
    if missing:
        raise ValueError(f"columns missing for the ranking: {', '.join(missing)}")
    return tuple(
        name
        for name in NAMES
        if name in COLUMN_OF
        and (
            name not in OPTIONAL
            or (COLUMN_OF[name] in columns and np.isfinite(columns[COLUMN_OF[name]]).any())
        )
    )


def penalties(columns: Mapping[str, Array], scale: Scale) -> dict[str, Array]:
    """Turn measures into penalties: 0 for the ideal, growing with the trouble.

    - support = weighted support volume / hull volume
    - height = (h − w) / (d − w), w the hull's least width and d its diameter
    - load = 1 − strength retained
    - first_layer = 1 − A / A_max, A_max the hull's largest resting face, clipped to 0–1
    - finish = mean cusp height / layer height
    - faces = trouble on the faces that matter, already 0–1
    - cost = (C − C₀) / C₀, C₀ the least the part could cost whichever way it lay

    The definitions are this program's own; each is a ratio to a size of the part, so that poses are
    never judged by their company. A height lies between w and d by the definition of both, so it is
    clipped only against rounding.

    Parameters
    ----------
    columns : Mapping[str, (P,) array]
        Measures, one row a pose, finite. ``strength_retained``, ``faces_trouble`` and ``unit_cost`` may
        be missing or all NaN.
    scale : Scale
        The part's own sizes.

    Returns
    -------
    dict[str, (P,) array]
        One penalty each for the names in `present`.

    Examples
    --------
    >>> scale = Scale(1000.0, 10.0, 20.0, 100.0, 0.2)
    >>> columns = {"support_weighted_mm3": np.array([250.0]), "height_mm": np.array([15.0]),
    ...            "first_layer_mm2": np.array([100.0]), "stair_step_mm": np.array([0.05])}
    >>> {name: float(p[0]) for name, p in penalties(columns, scale).items()}
    {'support': 0.25, 'height': 0.5, 'first_layer': 0.0, 'finish': 0.25}
    """
    values = {name: np.asarray(columns[COLUMN_OF[name]], dtype=np.float64) for name in present(columns)}
    span = scale.hull_diameter_mm - scale.hull_width_mm
    # A body of constant width has the same height in every pose: no pose is to blame for it.
    constant_width = span <= 1e-9 * scale.hull_diameter_mm
    found: dict[str, Array] = {}
    for name, x in values.items():
        match name:
            case "support":
                found[name] = np.maximum(x, 0.0) / scale.hull_volume_mm3
            case "height":
                ratio = (x - scale.hull_width_mm) * (0.0 if constant_width else 1.0 / span)
                found[name] = np.clip(ratio, 0.0, 1.0)
            case "load":
                found[name] = np.clip(1.0 - x, 0.0, 1.0)
            case "first_layer":
                found[name] = np.clip(1.0 - x / scale.largest_rest_mm2, 0.0, 1.0)
            case "finish":
                found[name] = np.maximum(x, 0.0) / scale.layer_height_mm
            case "faces":
                found[name] = x
            case "cost":
                found[name] = x / scale.cost_floor - 1.0
    return found


def shares(penalty: Mapping[str, Array], weights: Mapping[str, float] | None) -> dict[str, Array]:
    """Split the total by penalty: w·p/Σw, over the penalties that are present.

    Parameters
    ----------
    penalty : Mapping[str, (P,) array]
        As `penalties` gives them; a key ``total`` is passed over.
    weights : Mapping[str, float] or None
        A weight that is not named keeps its default.

    Returns
    -------
    dict[str, (P,) array]
        The parts; they add up to `total`.
    """
    counted = counted_weights(weights, penalty)
    whole = sum(counted.values())
    return {name: (w / whole) * penalty[name] for name, w in counted.items()}


def total(penalty: Mapping[str, Array], weights: Mapping[str, float] | None) -> Array:
    """Weighted mean of the penalties: Σwp/Σw, over the penalties that are present.

    Parameters
    ----------
    penalty : Mapping[str, (P,) array]
        As `penalties` gives them.
    weights : Mapping[str, float] or None
        A weight that is not named keeps its default.

    Returns
    -------
    (P,) array
        0 for a pose that is ideal by every measure.

    Examples
    --------
    >>> total({"support": np.array([0.4]), "height": np.array([1.0])}, {"support": 2, "height": 1})
    array([0.6])
    """
    return add_up(shares(penalty, weights).values())


def add_up(parts: Iterable[Array]) -> Array:
    """Sum the parts one after the other, so that a pose's total never depends on its neighbours."""
    first, *rest = parts
    for part in rest:
        first = first + part
    return first

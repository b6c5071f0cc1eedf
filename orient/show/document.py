"""The `Evaluation` as JSON and CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from orient.evaluation import Evaluation
from orient.evaluation.features import Features
from orient.part.select import described
from orient.pose.rotation import rotations_to_bed
from orient.show.part import number, numbers, part_document
from orient.show.shop import pose_brim, pose_shop, shop_summary
from orient.show.strength import pose_strength, strength_document
from orient.strength.section import Strength

RANKING_SCHEMA = "orient/ranking/1"

# Measures as the JSON names them, in its order; whole numbers are written as such.
MEASURES = (
    "overhang_area_mm2",
    "overhang_projected_mm2",
    "support_volume_mm3",
    "support_needed_mm3",
    "support_on_part_mm3",
    "scar_area_mm2",
    "height_mm",
    "layers",
    "first_layer_mm2",
    "islands",
    "tip_margin_deg",
    "stair_step_mm",
    "rough_area_mm2",
    "load_angle_deg",
    "strength_retained",
    "contour_length_mm",
)
# Only where load cases were judged.
OF_LOAD_CASES = (
    "axis_strength_retained",
    "safety_factor",
    "safety_factor_low",
    "safety_factor_high",
    "raw_safety_factor",
    "max_deflection_mm",
)
WHOLE = {"layers", "islands"}
SHOP = ["hours", "part_g", "support_g", "finishing_min", "cost", "fits"]
PENALTIES = ("support", "height", "load", "first_layer", "finish", "faces", "cost", "total")


def ranking_document(evaluation: Evaluation) -> dict[str, Any]:
    """The ranking as plain values, ready for JSON.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.

    Returns
    -------
    dict
        Schema ``orient/ranking/1``: part, brief as resolved, the faces that matter, every candidate
        best first with its build direction (file coordinates, mm), its transform onto the bed,
        measures, penalties and, for the explained ones, why; then what was excluded, and the seconds
        spent.
    """
    part, ranking = evaluation.part, evaluation.ranking
    transforms = rotations_to_bed(ranking.directions, part.hull.points)
    return {
        "schema": RANKING_SCHEMA,
        "part": part_document(part),
        "brief": evaluation.resolved_brief(),
        "faces": [
            {
                "on": one.selector,
                "matters": one.matters,
                "faces": len(one.faces),
                "area_mm2": number(part.areas[one.faces].sum()),
                "description": described(part, one.faces),
            }
            for one in evaluation.selections
        ],
        "recommended": ranking.recommended,
        "best_resting": ranking.best_resting,
        "best_free": ranking.best_free,
        "second_pass": _second_pass(evaluation.features),
        "warnings": list(evaluation.warnings),
        "cautions": list(evaluation.cautions),
        "notes": list(evaluation.notes),
        "approximate": list(evaluation.approximate),
        "weights": {name: number(weight) for name, weight in ranking.weights.items()},
        "robustness": [
            {
                "weight": span.name,
                "value": number(span.weight),
                "low": number(span.low),
                "high": number(span.high),
                "rival_low": span.rival_low,
                "rival_high": span.rival_high,
            }
            for span in ranking.robustness
        ],
        "candidates": [
            _candidate(evaluation, row, transforms[row]) for row in range(len(ranking.directions))
        ],
        "excluded": [
            {
                "build_direction": numbers(pose.direction),
                "reason": pose.reason,
                "figures": _plain(pose.numbers),
            }
            for pose in ranking.excluded
        ],
        "shop": shop_summary(evaluation),
        "strength": None if evaluation.strength is None else _solved(evaluation.strength),
        "timing_s": dict(evaluation.timing_s),
    }


def _candidate(evaluation: Evaluation, row: int, transform: np.ndarray) -> dict[str, Any]:
    ranking = evaluation.ranking
    columns, penalty = ranking.columns, ranking.penalty
    candidate: dict[str, Any] = {
        "rank": row + 1,
        "build_direction": numbers(ranking.directions[row]),
        "transform": [numbers(line) for line in transform],
        "source": ranking.sources[row],
        "measures": {name: _measure(name, columns[name][row]) for name in _measures(evaluation)},
        "penalty": {name: number(penalty[name][row]) if name in penalty else None for name in PENALTIES},
        "rests_on_flat": bool(ranking.rests_on_flat[row]),
        "undominated": bool(ranking.undominated[row]),
        "why": list(ranking.why[row]),
        "shop": pose_shop(evaluation.shop.poses, row),
    }
    if evaluation.shop.poses.brims_counted:
        candidate["brim"] = pose_brim(evaluation.shop.poses, row)
    if evaluation.strength is not None:
        candidate["strength"] = pose_strength(evaluation.strength, row)
    if evaluation.features is not None and row in evaluation.features.poses:
        candidate["features"] = _features(evaluation.features, row)
    if row in evaluation.resting:
        contact, stable = evaluation.resting[row]
        candidate["rest"] = {"contact_mm2": number(contact), "stable": stable}
    if evaluation.selections:
        candidate["faces"] = [
            {
                "on": selection.selector,
                "matters": selection.matters,
                **{name: number(values[row]) for name, values in vars(measured).items()},
            }
            for selection, measured in zip(evaluation.selections, evaluation.named, strict=True)
        ]
    if ranking.numbers[row] is not None:
        candidate["figures"] = _plain(ranking.numbers[row])
    return candidate


def _features(features: Features, row: int) -> dict[str, Any]:
    """Counts by verdict of a pose shown, and what the second pass made of them."""
    told: dict[str, Any] = {"counts": dict(features.poses[row].counts)}
    if features.second is not None:
        told["penalty"] = number(features.second.penalty[row])
        told["total"] = number(features.second.total[row])
    return told


def _second_pass(features: Features | None) -> dict[str, Any] | None:
    if features is None or features.second is None:
        return None
    second = features.second
    return {
        "weight": number(second.weight),
        "order": [row + 1 for row in second.order],
        "recommended_before": second.before + 1,
    }


def ranking_json(evaluation: Evaluation) -> str:
    """The ranking as JSON text, with a newline at the end."""
    return json.dumps(ranking_document(evaluation), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def ranking_csv(evaluation: Evaluation) -> str:
    """The ranking as CSV text (RFC 4180): one candidate a line, best first, no value an empty cell."""
    ranking = evaluation.ranking
    names = [name for name in _measures(evaluation) if name in ranking.columns]
    present = [name for name in PENALTIES if name in ranking.penalty]
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(
        ["rank", "direction_x", "direction_y", "direction_z", "source", "rests_on_flat", "undominated"]
        + names
        + [f"penalty_{name}" for name in present]
        + SHOP
    )
    for row in range(len(ranking.directions)):
        cells: list[Any] = [row + 1, *numbers(ranking.directions[row]), ranking.sources[row]]
        cells += [int(ranking.rests_on_flat[row]), int(ranking.undominated[row])]
        cells += [_measure(name, ranking.columns[name][row]) for name in names]
        cells += [number(ranking.penalty[name][row]) for name in present]
        cells += pose_shop(evaluation.shop.poses, row).values()
        writer.writerow(["" if cell is None else cell for cell in cells])
    return text.getvalue()


def _measures(evaluation: Evaluation) -> tuple[str, ...]:
    return MEASURES if evaluation.strength is None else MEASURES + OF_LOAD_CASES


def _solved(strength: Strength) -> dict[str, Any]:
    """How the stress was found, and the cases: the strength document without its poses and cautions."""
    document = strength_document(strength)
    names = ("cells", "unknowns", "pitch_mm", "iterations", "residual", "cases")
    by_axis = None if strength.by_axis is None else strength.by_axis + 1
    return {name: document[name] for name in names} | {"rank_by_axis": by_axis}


def _measure(name: str, value: float) -> float | int | None:
    known = number(value)
    return known if known is None or name not in WHOLE else round(known)


def _plain(value: Any) -> Any:
    """The same with numpy scalars made plain and unbounded numbers made None."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return number(float(value))
    return value

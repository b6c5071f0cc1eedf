"""Evaluations of the sample parts as they were found once, to see when a number drifts.

``python -m tests.trust.goldens`` writes them anew, which is right only after a change that was meant to move
them: say in the commit which, and why.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import orient
from orient.features.model import VERDICTS

SAMPLES = Path(__file__).resolve().parents[2] / "sample_parts"
FILE = Path(__file__).with_name("goldens.json")
DIRECTIONS, CELLS = 300, 6000
# Figures of the pose to take that are kept.
FIGURES = (
    "support_volume_mm3", "support_needed_mm3", "overhang_area_mm2", "scar_area_mm2", "height_mm",
    "first_layer_mm2", "tip_margin_deg", "stair_step_mm", "strength_retained", "contour_length_mm",
)  # fmt: skip


def evaluated(name: str, threads: int | None = None) -> orient.Evaluation:
    """Evaluate a sample part under its own brief."""
    brief = orient.read_brief(SAMPLES / f"{name}.toml")
    part = orient.load(SAMPLES / f"{name}.stl")
    return orient.evaluate(part, brief, directions=DIRECTIONS, voxels=CELLS, features=True, threads=threads)


def golden(name: str) -> dict[str, object]:
    """What is kept of a sample part."""
    found = evaluated(name)
    row = found.ranking.recommended - 1
    columns = found.ranking.columns
    features = found.features.recommended
    kept = {one: float(columns[one][row]) for one in FIGURES}
    kept["hours"] = float(found.shop.poses.hours[row])
    kept["score"] = float(found.ranking.penalty["total"][row])
    if "safety_factor" in columns:
        kept["safety_factor"] = float(columns["safety_factor"][row])
    return {
        "direction": found.ranking.directions[row].tolist(),
        "poses": len(found.ranking.directions),
        "counts": {verdict: features.counts[verdict] for verdict in VERDICTS},
        "features": sorted(f"{one.id} {one.kind} {one.verdict}" for one in features.features),
        "limit_deg": found.process.overhang_limit_deg,
        "figures": {one: None if math.isnan(value) else value for one, value in kept.items()},
    }


def names() -> list[str]:
    """Every sample part with a brief."""
    return sorted(path.stem for path in SAMPLES.glob("*.toml"))


if __name__ == "__main__":
    FILE.write_text(json.dumps({name: golden(name) for name in names()}, indent=1) + "\n", encoding="utf-8")

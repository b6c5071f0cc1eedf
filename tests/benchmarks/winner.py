"""The best pose found, against brute force over 50,000 directions, on every sample part."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import orient
from tests.benchmarks.poses import ROOT

BRUTE = 50_000


def samples() -> list[Path]:
    return sorted((ROOT / "sample_parts").glob("*.stl"))


def best_and_brute(path: Path, brute: int = BRUTE) -> tuple[float, float]:
    """Lowest total penalty of the ranking as shipped, and of the even grid alone at `brute` directions."""
    part = orient.load(path)
    brief = orient.read_brief(path.with_suffix(".toml"))
    shipped = orient.rank(part, brief)
    fine = orient.evaluate(part, brief, directions=brute, explained=0).ranking
    grid = np.array([source == "grid" for source in fine.sources])
    return float(shipped.penalty["total"].min()), float(fine.penalty["total"][grid].min())

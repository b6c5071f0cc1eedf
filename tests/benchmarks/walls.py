"""Precision and recall of walls, gaps, corners, voids and details: ``python -m tests.benchmarks.walls``."""

from __future__ import annotations

import argparse
import time

from tests.features.gauges_walls import DENSITIES
from tests.features.score_walls import SPOILS, totals


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spoils", default=",".join(SPOILS), help="ways to spoil the files")
    parser.add_argument("--misses", action="store_true", help="name what was missed or invented")
    options = parser.parse_args()
    started = time.perf_counter()
    total = totals(DENSITIES, options.spoils.split(","), verbose=options.misses)
    print(f"{'kind':14} {'file':6} {'truths':>6} {'recall':>7} {'precision':>9}")
    for (kind, noisy), (truth, hits, entries) in sorted(total.items()):
        file = "noisy" if noisy else "clean"
        recall, precision = hits / max(truth, 1), hits / max(entries, 1)
        print(f"{kind:14} {file:6} {truth:6} {recall:7.3f} {precision:9.3f}")
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()

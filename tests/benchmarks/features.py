"""Precision and recall of round features over the gauges: ``python -m tests.benchmarks.features``."""

from __future__ import annotations

import argparse
import time
from collections import defaultdict

from tests.features.gauges_round import CLEAN, DENSITIES, VARIANTS, case_of, compare, gauges, report


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variants", default=",".join(VARIANTS))
    parser.add_argument("--seeds", type=int, default=2, help="turns tried of each spoiled gauge")
    parser.add_argument("--misses", action="store_true", help="name what was missed or invented")
    options = parser.parse_args()
    total: dict = defaultdict(lambda: [0, 0, 0, 0.0])
    started = time.perf_counter()
    for n in DENSITIES:
        for gauge in gauges(n):
            for variant in options.variants.split(","):
                for seed in range(1, 2 if variant in CLEAN else options.seeds + 1):
                    case = case_of(gauge, variant, seed)
                    score = compare(case, report(case.part))
                    for key in ((variant, gauge.family), (variant, "all")):
                        row = total[key]
                        row[0] += score.truths
                        row[1] += score.found
                        row[2] += score.reported
                        row[3] = max(row[3], score.worst)
                    if options.misses and score.misses:
                        print(f"{n}-gons, {gauge.family}, {variant}, turn {seed}: {'; '.join(score.misses)}")
    print(f"{'variant':10} {'gauge':14} {'truths':>6} {'recall':>7} {'precision':>9} {'worst error':>11}")
    for (variant, family), (truths, found, reported, worst) in sorted(total.items()):
        recall = found / truths if truths else 1.0
        precision = found / reported if reported else 1.0
        print(f"{variant:10} {family:14} {truths:6} {recall:7.3f} {precision:9.3f} {worst:10.0%}")
    print("Worst error: of the sizes found, as a share of what is allowed.")
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()

"""Precision and recall of ceilings, kind by kind: ``python -m tests.benchmarks.ceilings``."""

from __future__ import annotations

import argparse
import time
from collections import Counter

from orient.features.register import inspect_part
from orient.process import Process
from tests.features import gauges_ceilings as gauges
from tests.features.matching import clean_bound, matched, noisy_bound

KINDS = ("bridge", "cantilever", "mixed_ceiling", "overhang", "air_start")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--chords", default="16,32,64,128", help="chords a turn of round gauges")
    options = parser.parse_args()
    started = time.perf_counter()
    hits, missed, invented = Counter(), Counter(), Counter()
    for chords in map(int, options.chords.split(",")):
        for seed, gauge in enumerate(gauges.all_gauges(chords)):
            for how in (*gauges.SPOILS, gauges.NOISY):
                part, up = gauges.spoiled(gauge, how, seed)
                sizes: dict[str, list[float]] = {}
                for one in inspect_part(part, Process(), up).features:
                    if one.kind in KINDS:
                        sizes.setdefault(one.kind, []).append(one.size_mm)
                noisy = how == gauges.NOISY
                result = matched(gauge.truth, sizes, noisy_bound if noisy else clean_bound)
                for count, entries in zip((hits, missed, invented), result, strict=True):
                    count.update((kind, noisy) for kind, _ in entries)
    print(f"{'kind':14} {'file':6} {'truths':>6} {'recall':>7} {'precision':>9}")
    for kind, noisy in sorted({*hits, *missed, *invented}):
        found, lost, more = (count[kind, noisy] for count in (hits, missed, invented))
        recall, precision = found / max(found + lost, 1), found / max(found + more, 1)
        print(f"{kind:14} {'noisy' if noisy else 'clean':6} {found + lost:6} {recall:7.3f} {precision:9.3f}")
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()

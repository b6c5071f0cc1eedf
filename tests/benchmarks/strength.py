"""Strength under load cases: a whole run, the judging alone, a large solve, iterations on smaller cells."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from tests.benchmarks.poses import ROOT
from tests.benchmarks.shell import COMMAND

# The sample bracket with three cases, held alike.
JOB = """
[part]
file = "{part}"
[process]
polymer = "ASA"
[load]
stress_axis = [1, 0, 0]
"""
CASE = """
[[load.case]]
name = "{name}"
both_ways = true
fixed = ["hole-near:-27,0,3", "hole-near:27,0,3"]
[[load.case.force]]
on = "face-near:12.5,0,40"
newtons = {newtons}
"""
PUSHES = {"down": [0, 0, -120], "across": [0, 60, 0], "along": [80, 0, 0]}
# Cells of a sample part, and then with its cells cut in half twice.
REFINED = (1_500, 12_000, 96_000)


def three_cases(folder: str) -> Path:
    job = Path(folder) / "job.toml"
    words = JOB.format(part=ROOT / "sample_parts" / "mast_bracket.stl")
    words += "".join(CASE.format(name=name, newtons=push) for name, push in PUSHES.items())
    job.write_text(words, encoding="utf-8")
    return job


def whole_run(cells: int = 100_000) -> dict[str, float]:
    """Time `orient strength` on three cases and a thousand directions, kernels warm."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "strength.json"
        arguments = ["strength", "--brief", str(three_cases(folder)), "--json", str(out)]
        subprocess.run([*COMMAND, *arguments, "--voxels", "2000"], cwd=ROOT, capture_output=True, check=True)
        start = time.perf_counter()
        process = subprocess.Popen(
            [*COMMAND, *arguments, "--voxels", str(cells)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        assert process.stdout is not None
        process.stdout.readline()
        first = time.perf_counter() - start
        process.stdout.read()
        _, code, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        if code:
            raise RuntimeError(f"orient strength ended with exit code {code}")
        told = json.loads(out.read_text(encoding="utf-8"))
    return {
        "first_s": first,
        "seconds": seconds,
        "processor_s": used.ru_utime + used.ru_stime,
        "peak_gb": used.ru_maxrss / 1024**2,
        "cells": told["cells"],
        "poses": len(told["poses"]),
        "iterations": told["iterations"],
    }


def in_a_child(what: str, cells: int) -> dict[str, float]:
    """Run one of the measurements below in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.strength", what, str(cells)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def judging(cells: int) -> dict[str, float]:
    """Time a thousand poses judged from three cases, the field being there."""
    import orient
    from orient.pose.grid import spherical_grid
    from orient.process import process_from
    from orient.strength.judge import judge, make_ready
    from orient.strength.section import field_for

    with tempfile.TemporaryDirectory() as folder:
        brief = orient.read_brief(three_cases(folder))
        part = orient.load(brief.part.file)
    process = process_from(brief)
    field = field_for(part, brief, process, voxels=cells)
    poses = spherical_grid(1000)
    judge(make_ready(field, process), poses[:8])
    start = time.perf_counter()
    ready = make_ready(field, process)
    sorted_ = time.perf_counter()
    safety = judge(ready, poses)
    end = time.perf_counter()
    return {"sort_s": sorted_ - start, "judge_s": end - sorted_, "poses": len(safety.factor)}


def large(cells: int) -> dict[str, float]:
    """Solve one case on many cells."""
    import orient
    from orient.process import process_from
    from orient.strength.section import field_for

    with tempfile.TemporaryDirectory() as folder:
        brief = orient.read_brief(three_cases(folder))
        part = orient.load(brief.part.file)
    one = brief.model_copy(update={"load": brief.load.model_copy(update={"case": brief.load.case[:1]})})
    field_for(part, one, process_from(one), voxels=2000)
    start = time.perf_counter()
    field = field_for(part, one, process_from(one), voxels=cells)
    return {
        "seconds": time.perf_counter() - start,
        "cells": field.cells,
        "unknowns": field.unknowns,
        "iterations": field.iterations,
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2,
    }


def iterations() -> Iterator[tuple[str, list[int], list[int]]]:
    """Name of every sample part, its cells, and the iterations they take; held below, pushed above."""
    import orient
    from orient.process import Process
    from orient.strength.cases import Case
    from orient.strength.field import solve_field
    from orient.strength.held import Held
    from orient.strength.loads import Force, Loads

    process = Process(youngs_in_layer_mpa=2000.0, poissons_ratio=0.35)
    for path in sorted((ROOT / "sample_parts").glob("*.stl")):
        part = orient.load(path)
        height = part.vertices[:, 2][part.faces].mean(axis=1)
        low, high = part.vertices[:, 2].min(), part.vertices[:, 2].max()
        held = np.flatnonzero(height < low + 0.02 * (high - low))
        pushed = np.flatnonzero(height > high - 0.1 * (high - low))
        push = Force(pushed, np.array([20.0, 10.0, -10.0]))
        case = Case("push", False, (Held(held),), Loads(forces=(push,)))
        fields = [solve_field(part, process, [case], voxels=cells) for cells in REFINED]
        yield path.stem, [one.cells for one in fields], [one.iterations for one in fields]


if __name__ == "__main__":
    measured = {"judging": judging, "large": large}[sys.argv[1]]
    print(json.dumps(measured(int(sys.argv[2]))))

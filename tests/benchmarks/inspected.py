"""Time and memory of looking for every kind of hard feature, in a process of its own."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time

from tests.benchmarks.poses import ROOT, written


def in_a_child(source: str) -> dict[str, float]:
    """Inspect in a child process: `source` is a number of faces or a file."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.inspected", source],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def measure(source: str) -> dict[str, float]:
    import orient
    from orient.features.register import inspect_part
    from orient.features.shape import shape_of
    from orient.process import Process

    process = Process()
    small = orient.load(ROOT / "sample_parts" / "sensor_housing.stl")
    inspect_part(small, process, (0.2, 0.1, 1.0))  # kernels are compiled, or loaded, here
    part = orient.load(written(int(source)) if source.isdigit() else source, together=True)
    start, processor = time.perf_counter(), time.process_time()
    shape = shape_of(part, process)
    found = time.perf_counter()
    poses = ((0, 0, 1), (0, 1, 0), (1, 0, 0), (0.3, 0.2, 1), (-0.5, 0.4, 0.2))
    for pose in poses:
        inspected = inspect_part(part, process, pose, shape)
    end = time.perf_counter()
    return {
        "faces": len(part.faces),
        "features": len(inspected.features),
        "shape_s": found - start,
        "pose_s": (end - found) / len(poses),
        "processor_s": time.process_time() - processor,
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6,
    }


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1])))

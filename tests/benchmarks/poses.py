"""All measures of 1,000 poses, in a process of its own so that its peak memory can be read."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def in_a_child(source: str, poses: int = 1000) -> dict[str, float]:
    """Measure in a child process: `source` is a number of faces or a file."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.poses", source, str(poses)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def measure(source: str, poses: int) -> dict[str, float]:
    import orient
    from orient.measure.poses import Loads, measure_poses, sort_part
    from orient.pose.grid import spherical_grid
    from orient.process import Process
    from tests.benchmarks.meshes import bracket

    process = Process(strength_in_layer_mpa=50.0, strength_across_mpa=30.0, strength_shear_mpa=17.0)
    loads = Loads(np.array([[1.0, 0.0, 0.0]]))
    small = orient.part_from_trimesh(bracket(3_500))
    measure_poses(
        sort_part(small), process, spherical_grid(8), loads
    )  # kernels are compiled, or loaded, here

    start = time.perf_counter()
    # Through a file, as a user's part comes in.
    part = orient.load(written(int(source)) if source.isdigit() else source, together=True)
    read, processor = time.perf_counter(), time.process_time()
    ready = sort_part(part)
    measure_poses(ready, process, spherical_grid(poses, ready.frame), loads)
    end = time.perf_counter()
    return {
        "faces": len(part.faces),
        "read_s": read - start,
        "measure_s": end - read,
        "processor_s": time.process_time() - processor,
        "peak_gb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2,
    }


def written(faces: int) -> Path:
    """The bracket as a binary STL, kept between runs in the system's temporary folder."""
    path = Path(tempfile.gettempdir()) / f"orient-benchmark-{faces}.stl"
    if not path.exists():
        script = f"from tests.benchmarks.meshes import bracket; bracket({faces}).export({str(path)!r})"
        # In a process of its own: making the mesh must not count as memory of measuring it.
        subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=True)
    return path


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], int(sys.argv[2]))))

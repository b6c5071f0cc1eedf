"""What knowing the shop adds to a ranking, and the build-time model against hand-summed toolpaths."""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.poses import written
from tests.benchmarks.shell import seconds

JOB = """
[process]
polymer = "PETG"
machine = "entry"
[rates]
machine_per_hour = 3
labour_per_hour = 30
material_per_kg = 25
"""


def by_cost(source: str = "", runs: int = 5) -> tuple[float, float]:
    """Seconds of processor of `orient rank`, by score and by cost, alternating; the median of the runs."""
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job.toml"
        job.write_text(JOB, encoding="utf-8")
        plain = ("rank", source or str(written(84_000)))
        priced = (*plain, "--brief", str(job), "--by", "cost")
        for arguments in (plain, priced):
            seconds(*arguments)
        pairs = [(seconds(*plain)[2], seconds(*priced)[2]) for _ in range(runs)]
    return statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs)


def toolpaths() -> Iterator[tuple[str, float, float]]:
    """Hours of the model and of a toolpath summed line by line, by shape."""
    from tests.cost.test_time import PLAN, SHAPES, built
    from tests.cost.toolpath import summed

    for name, mesh in SHAPES.items():
        yield name, float(built(mesh, PLAN).hours[0]), summed(mesh, PLAN)[0]

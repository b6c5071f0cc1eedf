"""Folders of parts: two workers against one, a part's cost beside its evaluation, what a client holds."""

from __future__ import annotations

import sqlite3
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import psutil
import trimesh

from orient.brief import Brief
from orient.fleet.limited import Limits
from orient.fleet.run import Settings, run_fleet
from tests.trust.corpus import binary, block

LIMITS = Limits(seconds=300.0, memory_bytes=4 << 30)


def mixed(folder: Path, count: int) -> list[str]:
    """Rings, balls, rods and capsules of a thousand to a hundred thousand faces, evenly on a log scale."""
    faces = np.geomspace(1_000, 100_000, count)
    order = np.random.default_rng(7).permutation(count)
    for k in range(count):
        wanted = faces[order[k]]
        size = 15.0 + 0.1 * k
        mesh = (
            lambda n, s: trimesh.creation.annulus(
                r_min=s / 3, r_max=s / 2, height=8, sections=max(16, int(n / 8))
            ),
            lambda n, s: trimesh.creation.uv_sphere(radius=s / 2, count=[int((n / 2) ** 0.5)] * 2),
            lambda n, s: trimesh.creation.cylinder(radius=s / 4, height=s, sections=max(16, int(n / 4))),
            lambda n, s: trimesh.creation.capsule(radius=s / 4, height=s, count=[int((n / 2) ** 0.5)] * 2),
        )[k % 4](wanted, size)
        (folder / f"part{k:03d}.stl").write_bytes(binary(mesh.triangles))
    return sorted(map(str, folder.glob("*.stl")))


def small(folder: Path, count: int) -> list[str]:
    """Boxes, no two of one size."""
    for k in range(count):
        (folder / f"box{k:03d}.stl").write_bytes(binary(block((20.0 + k / 7, 30.0, 10.0)).triangles))
    return sorted(map(str, folder.glob("*.stl")))


def timed(paths: list[str], count: int, directions: int = 1000) -> tuple[float, float, int]:
    """Seconds of a run, seconds that its evaluations took, and most bytes that the client held."""
    most, over = 0, threading.Event()

    def watch() -> None:
        nonlocal most
        while not over.wait(0.1):
            most = max(most, psutil.Process().memory_info().rss)

    with tempfile.TemporaryDirectory() as room:
        watcher = threading.Thread(target=watch, daemon=True)
        watcher.start()
        began = time.perf_counter()
        run_fleet(iter(paths), Path(room) / "r.db", Settings(Brief(), directions, None, LIMITS), count=count)
        took = time.perf_counter() - began
        over.set()
        watcher.join()
        with sqlite3.connect(Path(room) / "r.db") as base:
            inside = base.execute("SELECT total(seconds) FROM parts").fetchone()[0]
    return took, float(inside), most


def two_against_one(count: int = 200) -> dict[str, float]:
    """The same mixed parts by one worker and by two, one thread each."""
    with tempfile.TemporaryDirectory() as folder:
        paths = mixed(Path(folder), count)
        one, inside, _ = timed(paths, 1)
        two, _, _ = timed(paths, 2)
    return {"one": one, "two": two, "ratio": one / two, "inside": inside}


def beside(few: int = 100, many: int = 400) -> dict[str, float]:
    """Seconds a part beside its evaluation, starting the workers left out, and the client's memory."""
    with tempfile.TemporaryDirectory() as folder:
        paths = small(Path(folder), many)
        timed(paths[:10], 1, 20)
        short, inside_short, held_few = timed(paths[:few], 1, 20)
        long, inside_long, held_many = timed(paths, 1, 20)
    return {
        "a_part": (long - short - inside_long + inside_short) / (many - few),
        "few": held_few,
        "many": held_many,
    }

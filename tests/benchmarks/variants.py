"""Two variants of 84 k faces against ranking and inspecting one."""

from __future__ import annotations

import time

import numpy as np
import trimesh

from orient.evaluation import evaluate
from orient.features.register import inspect_part
from orient.part.mesh import Part, part_from_trimesh
from orient.variants.compare import compare
from tests.benchmarks.meshes import bracket


def _parts(faces: int) -> tuple[Part, Part]:
    """The benchmark bracket, and the same with a block bolted on."""
    mesh = bracket(faces)
    block = trimesh.creation.box((12.0, 6.0, 9.0))
    block.apply_translation(mesh.bounds[1] - [20.0, 18.0, 4.0])
    other = trimesh.boolean.union([mesh, block], engine="manifold")
    return part_from_trimesh(mesh, name="first"), part_from_trimesh(other, name="second")


def one_and_two(faces: int) -> dict[str, float]:
    """Seconds for ranking and inspecting one variant, and for comparing two, nothing kept between them."""
    small = _parts(3_000)
    compare(small, directions=30)
    first, second = _parts(faces)
    start, busy = time.perf_counter(), time.process_time()
    found = evaluate(first)
    if found.features is None:
        inspect_part(first, found.process, found.ranking.directions[found.ranking.recommended - 1])
    one, one_busy = time.perf_counter() - start, time.process_time() - busy
    # A fresh copy of the first, so that nothing is at hand from before.
    again = part_from_trimesh(trimesh.Trimesh(first.vertices, first.faces, process=False), name="first")
    assert np.array_equal(again.vertices, first.vertices)
    start, busy = time.perf_counter(), time.process_time()
    comparison = compare([again, second])
    two, two_busy = time.perf_counter() - start, time.process_time() - busy
    pieces = comparison.pairs[0].changes.pieces
    return {
        "faces": len(first.faces),
        "one_s": one,
        "two_s": two,
        "ratio": two / one,
        "busy_ratio": two_busy / one_busy,
        "changes": len(pieces),
    }

"""How long a picture and a page take, and how much the page weighs."""

from __future__ import annotations

import time
from collections.abc import Iterator

import orient
from orient.show.page.page import report
from orient.show.picture.subject import subject_of
from tests.benchmarks.poses import written


def drawn(source: str = "") -> Iterator[tuple[str, float, float]]:
    """What was made, seconds, and megabytes; the subject is new for each, so nothing is kept."""
    part = orient.load(source or str(written(84_000)), together=True)
    found = orient.evaluate(part, directions=100, features=True)
    row = found.ranking.recommended - 1
    for colour in ("overhang", "thickness", "features"):
        subject = subject_of(found, row)
        start = time.perf_counter()
        picture = subject.draw(colour)
        yield f"picture by {colour}, 800 × 600", time.perf_counter() - start, len(picture.png) / 1e6
    start = time.perf_counter()
    page = report(found)
    yield "page", time.perf_counter() - start, len(page.encode()) / 1e6

"""A file that takes too long, too much, or brings its process down is set aside, and the next one is done."""

import os
import signal

import pytest

from orient.fleet import limited
from orient.fleet.limited import Limits, evaluate_within
from orient.fleet.rows import Request
from tests.trust.corpus import binary, block

ROOM = Limits(seconds=120.0, memory_bytes=4 << 30)


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    path = tmp_path_factory.mktemp("in") / "block.stl"
    path.write_bytes(binary(block().triangles))
    found = path.stat()
    return Request(str(path), found.st_size, found.st_mtime_ns, "{}", 30)


def test_one_process_does_file_after_file(asked):
    first = evaluate_within(asked, ROOM)
    child = limited._threads.child._process.pid
    again = evaluate_within(asked, ROOM)
    assert first["outcome"] == again["outcome"] == "ok"
    assert limited._threads.child._process.pid == child
    # A block of 40 × 30 × 20 mm.
    assert first["part"]["volume_mm3"] == pytest.approx(24_000.0)
    assert first["part"]["faces"] == 12


def test_a_file_over_its_time_is_set_aside_with_the_reason(asked):
    evaluate_within(asked, ROOM)
    found = evaluate_within(asked, Limits(seconds=0.001, memory_bytes=4 << 30))
    assert found["outcome"] == "set aside"
    assert "took longer than the 0.001 s" in found["sentence"]
    assert evaluate_within(asked, ROOM)["outcome"] == "ok"


def test_a_file_over_its_memory_is_set_aside_with_the_reason(asked, tmp_path):
    # A sphere of a hundred thousand faces takes longer than a look at what it holds.
    import trimesh

    path = tmp_path / "ball.stl"
    path.write_bytes(binary(trimesh.creation.icosphere(subdivisions=6, radius=20).triangles))
    found = path.stat()
    ball = Request(str(path), found.st_size, found.st_mtime_ns, "{}", 1000)
    result = evaluate_within(ball, Limits(seconds=120.0, memory_bytes=60 << 20))
    assert result["outcome"] == "set aside"
    assert "GB of memory that a part may take" in result["sentence"]


def test_a_file_whose_process_dies_twice_is_set_aside_and_names_the_signal(asked):
    evaluate_within(asked, ROOM)
    slow = Request(asked.path, asked.size_bytes, asked.changed_ns, "{}", 200_000)
    # The process gets a signal as soon as it is asked, as from compiled code that reads what is not there.
    ready = limited._Child.ask

    def ask(self, request, limits):
        os.kill(self._process.pid, signal.SIGSEGV)
        return ready(self, request, limits)

    limited._Child.ask = ask
    try:
        found = evaluate_within(slow, ROOM)
    finally:
        limited._Child.ask = ready
    assert found["outcome"] == "set aside"
    assert "SIGSEGV" in found["sentence"]
    assert found["sentence"].startswith("Twice it")
    assert evaluate_within(asked, ROOM)["outcome"] == "ok"


def test_a_child_ends_when_nobody_asks_any_more(asked):
    evaluate_within(asked, ROOM)
    child = limited._threads.child._process
    child.stdin.close()
    assert child.wait(timeout=10) == 0

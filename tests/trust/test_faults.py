"""A disk that is full, a file that may grow no more, Ctrl-C at any moment: nothing is left half-written."""

import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.part.test_reading import step_block
from tests.trust.corpus import binary, block

ROOT = Path(__file__).resolve().parents[2]
SHELL = [sys.executable, "-c", "from orient.cli import main; main()"]
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="signals and limits as on Linux")


@pytest.fixture
def part(tmp_path):
    (tmp_path / "in").mkdir()
    path = tmp_path / "in" / "part.stl"
    path.write_bytes(binary(block().triangles))
    return path


def run(*arguments, **more):
    return subprocess.run(
        [*SHELL, "rank", *map(str, arguments), "--directions", "20"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        **more,
    )


def test_a_full_disk_ends_in_one_sentence(part):
    # /dev/full answers every write as a full disk does (full(4), Linux manual).
    ended = run(part, "--json", "/dev/full")
    assert ended.returncode == 2
    assert "cannot be written (No space left on device)" in ended.stderr
    assert "Traceback" not in ended.stderr


def test_a_result_that_finds_no_room_leaves_nothing_behind(part, tmp_path):
    (tmp_path / "out").mkdir()

    def little_room():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    # Compiled code is in the cache or kept in memory: only the result is written.
    ended = run(part, "--json", tmp_path / "out" / "found.json", preexec_fn=little_room)
    assert ended.returncode == 2
    assert "cannot be written" in ended.stderr
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_may_not_be_written_to_is_refused_at_once(part, tmp_path):
    (tmp_path / "out").mkdir(mode=0o500)
    ended = run(part, "--json", tmp_path / "out" / "found.json")
    assert ended.returncode == 2
    assert "cannot be written to" in ended.stderr


def test_a_name_that_is_no_text_does_not_stop_the_json(part, tmp_path):
    odd = Path(os.fsdecode(os.fsencode(part.parent) + b"/geh\xe4use.stl"))
    part.rename(odd)
    ended = run(odd, "--json", tmp_path / "found.json", errors="replace")
    assert ended.returncode == 0, ended.stderr
    assert '"geh?use"' in (tmp_path / "found.json").read_text()


@pytest.mark.slow
@pytest.mark.parametrize("after", [0.2, 0.5, 0.8, 1.1, 1.4, 1.7, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0])
def test_ctrl_c_at_any_moment_ends_clean(tmp_path, after):
    result = tmp_path / "found.json"
    sample = ROOT / "sample_parts" / "sensor_housing.stl"
    with subprocess.Popen(
        [*SHELL, "rank", str(sample), "--json", str(result)],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as child:
        # Python itself must have come up: before that there is no program to end cleanly.
        time.sleep(after)
        child.send_signal(signal.SIGINT)
        said = child.communicate(timeout=60)[1]
    early = child.returncode == -signal.SIGINT and not said
    assert child.returncode in (0, 130) or early or (after < 0.4 and "KeyboardInterrupt" in said)
    assert after < 0.4 or "Traceback" not in said
    left = [p.name for p in tmp_path.iterdir()]
    assert left in ([], ["found.json"])
    if left:
        assert result.read_text().rstrip().endswith("}")


def test_ctrl_c_while_a_step_is_cut_into_triangles_leaves_no_folder(tmp_path):
    pytest.importorskip("cascadio")
    (tmp_path / "block.step").write_text(step_block(40, 20, 10), encoding="ascii")
    between = tmp_path / "between"
    between.mkdir()
    with subprocess.Popen(
        [*SHELL, "rank", str(tmp_path / "block.step")],
        cwd=ROOT,
        env=os.environ | {"TMPDIR": str(between)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    ) as child:
        until = time.monotonic() + 60
        while not list(between.iterdir()):
            assert time.monotonic() < until
            assert child.poll() is None
            time.sleep(0.005)
        time.sleep(0.05)
        child.send_signal(signal.SIGINT)
        child.communicate(timeout=60)
    assert child.returncode == 130
    assert list(between.iterdir()) == []

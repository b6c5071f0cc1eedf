"""Whole runs on real workers: rows as of a plain loop; nothing lost or doubled, whatever is killed."""

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import psutil
import pytest
import trimesh

from orient.brief import Brief
from orient.fleet.limited import Limits
from orient.fleet.results import reading
from orient.fleet.rows import Request, rows_of
from orient.fleet.run import Settings, run_fleet
from tests.trust.corpus import binary, block

ROOT = Path(__file__).resolve().parents[2]
SHELL = [sys.executable, "-c", "from orient.cli import main; main()"]
LIMITS = Limits(seconds=120.0, memory_bytes=4 << 30)
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="signals as on Linux"),
]


def parts(folder, count):
    """Boxes, rods, rings and balls, no two of one size."""
    folder.mkdir()
    for k in range(count):
        size = 10.0 + k
        mesh = (
            block((size, 20.0, 8.0)),
            trimesh.creation.cylinder(radius=size / 4, height=size, sections=32),
            trimesh.creation.annulus(r_min=size / 4, r_max=size / 2, height=6.0),
            trimesh.creation.icosphere(subdivisions=3, radius=size / 3),
        )[k % 4]
        (folder / f"part{k:03d}.stl").write_bytes(binary(mesh.triangles))
    return sorted(map(str, folder.glob("*.stl")))


def settings(directions=40):
    return Settings(Brief(), directions, None, LIMITS)


def rows(database, table):
    """Every row of a table by path, without what differs from run to run."""
    named = {"parts": "SELECT * FROM parts", "poses": "SELECT * FROM part_poses"}
    asked = named.get(table, "SELECT * FROM part_features") + " ORDER BY path"
    with reading(database) as base:
        found = [dict(row) for row in base.execute(asked + ("" if table == "parts" else ", 3, 2"))]
    for row in found:
        for name in ("seconds", "finished", "listed", "result", "changed_ns"):
            row.pop(name, None)
    return found


def counted(database):
    with sqlite3.connect(database) as base:
        return dict(base.execute("SELECT outcome, count(*) FROM parts GROUP BY 1").fetchall())


def begun(folder, database, *more):
    """A run of its own through the shell."""
    command = [*SHELL, "fleet", str(folder), "--out", str(database), "--directions", "40", *more]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def some_done(database, least, within_s=120.0):
    until = time.monotonic() + within_s
    while True:
        with suppress(sqlite3.OperationalError):  # its tables are about to be made
            if database.exists() and (done := counted(database).get("ok", 0)) >= least:
                return done
        assert time.monotonic() < until
        time.sleep(0.05)


def test_dask_gives_the_rows_of_a_plain_loop(tmp_path):
    paths = parts(tmp_path / "in", 50)
    run_fleet(iter(paths), tmp_path / "two.db", settings(), count=2)
    assert counted(tmp_path / "two.db") == {"ok": 50}
    text = settings().brief_text
    with reading(tmp_path / "two.db") as base:
        for path in paths:
            stands = os.stat(path)
            alone = rows_of(Request(path, stands.st_size, stands.st_mtime_ns, text, 40))
            kept = base.execute("SELECT * FROM parts WHERE path = ?", (path,)).fetchone()
            assert {name: kept[name] for name in alone["part"]} == alone["part"]
            for table, key in (("poses", "rank"), ("features", "id")):
                stored = base.execute(f"SELECT * FROM {table} WHERE result = ?", (kept["result"],)).fetchall()
                expected = {row[key]: row for row in alone[table]}
                assert len(stored) == len(expected)
                for row in stored:
                    assert {name: row[name] for name in expected[row[key]]} == expected[row[key]]
            # Faces and volume against trimesh's own reading of the file.
            mesh = trimesh.load(path)
            assert kept["faces"] == len(mesh.faces)
            assert kept["volume_mm3"] == pytest.approx(mesh.volume, rel=1e-5)


def test_a_client_that_is_killed_loses_and_doubles_nothing(tmp_path):
    paths = parts(tmp_path / "in", 24)
    database = tmp_path / "r.db"
    for least in (4, 12):
        client = begun(tmp_path / "in", database, "--workers", "2")
        done = some_done(database, least)
        client.send_signal(signal.SIGKILL)
        client.communicate(timeout=60)
        assert done < len(paths)
    # With the client its workers and their processes go.
    until = time.monotonic() + 30
    while [one for one in psutil.process_iter(["cmdline"]) if str(database) in (one.info["cmdline"] or [])]:
        assert time.monotonic() < until
        time.sleep(0.2)
    before = rows(database, "parts")
    finished = {row["path"] for row in before if row["outcome"] == "ok"}
    assert len(finished) >= 12
    with begun(tmp_path / "in", database, "--workers", "2") as client:
        said, errors = client.communicate(timeout=240)
    assert client.returncode == 0, errors
    assert "24 parts: 24 evaluated, 0 refused, 0 set aside." in said
    run_fleet(iter(paths), tmp_path / "whole.db", settings(), count=2)
    for table in ("parts", "poses", "features"):
        assert rows(database, table) == rows(tmp_path / "whole.db", table)


def test_a_worker_that_is_killed_is_replaced_and_its_part_done(tmp_path):
    parts(tmp_path / "in", 16)
    database = tmp_path / "r.db"
    with begun(tmp_path / "in", database, "--workers", "2") as client:
        some_done(database, 3)
        workers = [
            one
            for one in psutil.Process(client.pid).children()
            if any("spawn_main" in word for word in one.cmdline())
        ]
        assert len(workers) == 2
        workers[0].kill()
        said, errors = client.communicate(timeout=240)
    assert client.returncode == 0, errors
    assert "16 parts: 16 evaluated, 0 refused, 0 set aside." in said


def test_a_real_scheduler_takes_the_same_work_and_may_be_killed(tmp_path):
    paths = parts(tmp_path / "in", 16)
    database = tmp_path / "r.db"
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    for killed in (True, False):
        scheduler = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
             "--no-dashboard"],
            stderr=subprocess.PIPE, text=True, env=environment,
        )  # fmt: skip
        address = next(found[0] for line in scheduler.stderr if (found := re.search(r"tcp://[\d.:]+", line)))
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1",
             "--no-dashboard", "--local-directory", str(tmp_path)],
            stderr=subprocess.DEVNULL, env=environment,
        )  # fmt: skip
        try:
            with begun(tmp_path / "in", database, "--scheduler", address) as client:
                if killed:
                    some_done(database, 3)
                    scheduler.kill()
                said, errors = client.communicate(timeout=240)
        finally:
            for one in (scheduler, worker):
                one.kill()
                one.wait()
        if killed:
            assert client.returncode == 2, errors
            assert "The scheduler went away" in errors
            assert "Traceback" not in errors
        else:
            assert client.returncode == 0, errors
            assert "16 parts: 16 evaluated" in said
    run_fleet(iter(paths), tmp_path / "whole.db", settings(), count=2)
    assert rows(database, "parts") == rows(tmp_path / "whole.db", "parts")


def test_what_takes_too_long_is_set_aside_and_the_rest_goes_on(tmp_path):
    paths = parts(tmp_path / "in", 8)
    (tmp_path / "in" / "broken.stl").write_bytes(b"solid nothing")
    big = trimesh.creation.icosphere(subdivisions=7, radius=30)
    (tmp_path / "in" / "heavy.stl").write_bytes(binary(big.triangles))
    short = Settings(Brief(), 4000, None, Limits(seconds=6.0, memory_bytes=4 << 30))
    inputs = [*paths, str(tmp_path / "in" / "broken.stl"), str(tmp_path / "in" / "heavy.stl")]
    counts = run_fleet(iter(inputs), tmp_path / "r.db", short, count=2)
    assert counts == {"ok": 8, "refused": 1, "set aside": 1}
    with reading(tmp_path / "r.db") as base:
        said = base.execute("SELECT sentence FROM parts WHERE outcome = 'set aside'").fetchone()[0]
    assert "took longer than the 6 s" in said

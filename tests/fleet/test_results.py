"""The database: one writer, a row a path, results shared by content, readable by any SQLite."""

import shutil
import sqlite3
import subprocess

import pytest

from orient.errors import OrientError
from orient.fleet.results import reading, writing
from orient.fleet.rows import Request, rows_of
from tests.trust.corpus import binary, block

VERSION, BRIEF = "1", "b" * 64


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    path = tmp_path_factory.mktemp("in") / "block.stl"
    path.write_bytes(binary(block().triangles))
    stands = path.stat()
    return rows_of(Request(str(path), stands.st_size, stands.st_mtime_ns, "{}", 30))


@pytest.fixture
def parts(tmp_path):
    for name in ("a.stl", "b.stl", "c.stl"):
        (tmp_path / name).write_bytes(binary(block().triangles))
    return [str(tmp_path / name) for name in ("a.stl", "b.stl", "c.stl")]


def begun(results, paths, brief=BRIEF, **more):
    run = results.begin(VERSION, brief, "{}")
    results.list(iter(paths), run, brief, **more)
    return run


def test_every_input_is_counted_once_even_one_that_is_named_twice(tmp_path, parts):
    with writing(tmp_path / "r.db") as results:
        run = begun(results, [*parts, parts[0]])
        assert results.count(run) == {None: 3}


def test_what_is_kept_is_not_done_again_and_what_changed_is(tmp_path, parts, found):
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        for one in list(results.waiting(run))[:2]:
            results.keep(one, "hash", VERSION, found)
        assert results.count(run) == {"ok": 2, None: 1}
    (tmp_path / "a.stl").write_bytes(binary(block((9.0, 9.0, 9.0)).triangles) + b" ")
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        assert [one.path for one in results.waiting(run)] == [parts[0], parts[2]]
        other = begun(results, parts, brief="c" * 64)
        assert results.count(other) == {None: 3}


def test_files_of_like_content_share_their_poses_and_features(tmp_path, parts, found):
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        first, *others = results.waiting(run)
        results.keep(first, "hash", VERSION, found)
        assert all(results.share(one, "hash", BRIEF) for one in others)
        assert not results.share(others[0], "another", BRIEF)
    with reading(tmp_path / "r.db") as base:
        assert base.execute("SELECT count(*) FROM poses").fetchone()[0] == len(found["poses"])
        assert base.execute("SELECT count(DISTINCT path) FROM part_poses").fetchone()[0] == 3


def test_what_was_set_aside_waits_again_only_when_asked_for(tmp_path, parts):
    aside = {"outcome": "set aside", "sentence": "It took too long.", "seconds": 1.0}
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        for one in list(results.waiting(run)):
            results.keep(one, None, VERSION, aside)
        assert results.count(begun(results, parts)) == {"set aside": 3}
        assert results.count(begun(results, parts, again=True)) == {None: 3}


def test_only_one_run_writes_and_others_may_read_meanwhile(tmp_path, parts):
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        with pytest.raises(OrientError, match="Another run writes to"), writing(tmp_path / "r.db"):
            pass
        with reading(tmp_path / "r.db") as base:
            assert base.execute("SELECT count(*) FROM parts").fetchone()[0] == 3
        assert results.count(run) == {None: 3}


def test_a_file_that_is_no_database_of_results_is_refused(tmp_path):
    (tmp_path / "text.db").write_text("no database at all, but a long enough text to be read as one" * 20)
    with pytest.raises(OrientError, match="cannot be used"), writing(tmp_path / "text.db"):
        pass
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE mine (x)")
    with pytest.raises(OrientError, match="something else"), writing(tmp_path / "other.db"):
        pass
    with pytest.raises(OrientError, match="There is no file"), reading(tmp_path / "none.db"):
        pass


@pytest.mark.skipif(shutil.which("sqlite3") is None, reason="needs the sqlite3 shell")
def test_the_stock_shell_of_sqlite_reads_it(tmp_path, parts, found):
    with writing(tmp_path / "r.db") as results:
        run = begun(results, parts)
        for one in list(results.waiting(run)):
            results.keep(one, "hash", VERSION, found)
    asked = "SELECT path, outcome, round(volume_mm3) FROM parts ORDER BY path; PRAGMA integrity_check;"
    said = subprocess.run(
        ["sqlite3", str(tmp_path / "r.db"), asked], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert said == [*(f"{path}|ok|24000.0" for path in parts), "ok"]

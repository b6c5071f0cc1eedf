"""Progress: on the terminal only, for slow work only."""

import io
import sys
import time
from pathlib import Path

from orient.show import compiled, progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def shown(monkeypatch, *, screen, patience_s):
    """What an evaluation that takes a while writes to standard error."""
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(progress, "PATIENCE_S", patience_s)
    drawn = screen.isatty() and patience_s == 0.0
    with progress.following(1234) as report:
        steps = (
            ("measure", 500, 1000, "500 of 1,000"),
            ("measure", 1000, 1000, "1,000 of 1,000"),
            ("refine", 64, 64, "Searching"),
        )
        for step, done, of, words in steps:
            report(step, done, of)
            # The bar is drawn ten times a second, on a busy machine less often.
            until = time.monotonic() + (10.0 if drawn else 0.15)
            while words not in screen.getvalue() and time.monotonic() < until:
                time.sleep(0.02)
    return screen.getvalue()


def test_slow_work_on_a_terminal_shows_how_far_it_is(monkeypatch):
    text = shown(monkeypatch, screen=Terminal(), patience_s=0.0)
    assert "1,234 faces" in text
    assert "500 of 1,000 poses" in text
    assert "Searching on from the best" in text
    # Wiped in the end: up one line, clear it (ECMA-48, CUU and EL).
    assert text.endswith("\x1b[1A\x1b[2K")


def test_quick_work_shows_nothing(monkeypatch):
    assert "faces" not in shown(monkeypatch, screen=Terminal(), patience_s=60.0)


def test_where_no_one_watches_nothing_is_shown(monkeypatch):
    assert shown(monkeypatch, screen=io.StringIO(), patience_s=0.0) == ""


def test_the_first_run_ever_says_what_it_does_and_waits_for_it(monkeypatch, capsys):
    waited = []
    monkeypatch.setattr("orient.show.compiled.compiled_before", lambda: False)
    monkeypatch.setattr("orient.show.compiled.compile_beside", lambda **_: lambda: waited.append(True))
    wait = progress.prepare()
    said = capsys.readouterr().err
    assert "first run only" in said
    assert said.count("\n") == 1
    wait()
    assert waited == [True]


def test_later_runs_say_and_compile_nothing(monkeypatch, capsys):
    monkeypatch.setattr("orient.show.compiled.compiled_before", lambda: True)
    progress.prepare()()
    assert capsys.readouterr().err == ""


def test_every_loop_that_is_compiled_beside_runs_on_its_tetrahedron():
    compiled.compile_measures()
    compiled.compile_the_rest()
    assert compiled.compiled_before()


def test_every_loop_that_looks_for_features_is_compiled_ahead():
    compiled.compile_holes()
    compiled.compile_rough()
    compiled.compile_features()
    assert compiled.features_compiled_before()


def test_loops_are_compiled_from_the_files_that_run_whatever_folder_it_is(monkeypatch):
    from orient.show import compiled

    asked = {}
    # It does not start, so nothing is compiled here.
    monkeypatch.setattr(
        compiled.subprocess, "Popen", lambda args, env, **_: asked.update(args=args, env=env) or _fail()
    )
    compiled.compile_beside()()
    assert asked["args"][1] == "-P"
    first = asked["env"]["PYTHONPATH"].split(compiled.os.pathsep)[0]
    assert (Path(first) / "orient" / "show" / "compiled.py").samefile(compiled.__file__)


def _fail():
    raise OSError

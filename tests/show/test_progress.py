"""Progress: on the terminal only, for slow work only."""

import io
import sys
import time

from orient.show import progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def shown(monkeypatch, *, screen, patience_s, compiled=True):
    """What an evaluation that takes a while writes to standard error."""
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("orient.measure.compiled.compiled_before", lambda: compiled)
    monkeypatch.setattr(progress, "PATIENCE_S", patience_s)
    with progress.following(1234) as report:
        for step, done, of in (("measure", 500, 1000), ("measure", 1000, 1000), ("refine", 64, 64)):
            report(step, done, of)
            # The bar is drawn ten times a second.
            time.sleep(0.15)
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


def test_the_first_run_ever_says_what_it_does(monkeypatch):
    text = shown(monkeypatch, screen=io.StringIO(), patience_s=0.0, compiled=False)
    assert "first run only" in text
    assert text.count("\n") == 1

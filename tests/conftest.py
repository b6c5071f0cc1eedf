"""What tests in several rooms need, and figures that stand at the end of a run."""

import os
import shutil
import sys
from importlib import import_module

import pytest

from orient import cli


@pytest.fixture
def shell(monkeypatch, capsys):
    """Run the shell in this process; returns exit code, standard output and standard error."""

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["orient", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        out, err = capsys.readouterr()
        return ended.value.code or 0, out, err

    return run


@pytest.fixture(scope="session")
def browser():
    """A headless Chromium; without one its tests are skipped, but not in CI."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if not os.environ.get("CI"):
        pytest.importorskip("playwright.sync_api", reason="playwright, which drives the browser, is missing")
        if chromium is None:
            pytest.skip("no Chromium on this machine: install the package chromium to run the page's tests")
    assert chromium is not None, "CI needs Chromium: install the package chromium"
    # Software rendering, so that it runs where there is no display.
    flags = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    with import_module("playwright.sync_api").sync_playwright() as play:
        found = play.chromium.launch(executable_path=chromium, args=flags)
        yield found
        found.close()


def pytest_terminal_summary(terminalreporter):
    """List what the checks of strength print: how far each is off what it is held against."""
    passed = terminalreporter.stats.get("passed", [])
    said = [r.capstdout.strip() for r in passed if r.nodeid.startswith("tests/strength/") and r.capstdout]
    if said:
        terminalreporter.section("errors of the strength checks")
        terminalreporter.write_line("\n".join(said))

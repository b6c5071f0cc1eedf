"""Figures that checks of strength print stand at the end of a run."""


def pytest_terminal_summary(terminalreporter):
    """List what the checks of strength print: how far each is off what it is held against."""
    passed = terminalreporter.stats.get("passed", [])
    said = [r.capstdout.strip() for r in passed if r.nodeid.startswith("tests/strength/") and r.capstdout]
    if said:
        terminalreporter.section("errors of the strength checks")
        terminalreporter.write_line("\n".join(said))

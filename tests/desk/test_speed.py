"""How long it takes from the drop of a part to its ranked poses, in a real browser."""

import os
import time

import pytest

from tests.desk.desks import SHELL, running
from tests.desk.shapes import dense, ring


@pytest.mark.slow
@pytest.mark.skipif("PYTEST_XDIST_WORKER" in os.environ, reason="run with -n0: others would be timed as well")
def test_poses_are_ranked_within_4_s_of_the_drop_at_20000_faces_and_8_s_at_84000(browser, tmp_path):
    """Seconds by the clock of who waits; the part is drawn in software meanwhile, on the same processors.

    The figures are those of a machine that does nothing else and has rested: after half an hour of other
    tests the same code took half as long again. Where those ran before, up to twice the figures is let pass.
    """
    took = {}
    with running(program=SHELL) as desk:
        for faces, data, rounds in ((20_000, ring(), 3), (84_000, dense(), 2)):
            path = tmp_path / f"{faces}.stl"
            path.write_bytes(data)
            took[faces] = [drop(browser, desk, path) for _ in range(rounds)]
    print({faces: [f"{seconds:.1f} s" for seconds in each] for faces, each in took.items()})
    tired = 2.0 if "CI" in os.environ else 1.0
    assert min(took[20_000]) <= 4.0 * tired
    assert min(took[84_000]) <= 8.0 * tired


def drop(browser, desk, path):
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    page = context.new_page()
    page.goto(desk.address)
    page.wait_for_selector("input[type=file]", state="attached")
    # Whoever opens the page looks for a file first: the waiting process is ready by then.
    time.sleep(4.0)
    began = time.monotonic()
    page.locator("input[type=file]").first.set_input_files(path)
    page.wait_for_selector("li .pose", timeout=60_000)
    took = time.monotonic() - began
    context.close()
    return took

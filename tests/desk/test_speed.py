"""How long the desk keeps who waits before it waiting, in a real browser."""

import os
import statistics
import time

import pytest

from tests.benchmarks.meshes import bracket
from tests.desk.desks import SHELL, running
from tests.desk.pages import bring
from tests.desk.shapes import dense, ring

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        "PYTEST_XDIST_WORKER" in os.environ, reason="run with -n0: others would be timed as well"
    ),
]
# On a machine that has been at other tests for half an hour the same code takes half as long again.
TIRED = 2.0 if "CI" in os.environ else 1.0


def test_poses_are_ranked_within_4_s_of_the_drop_at_20000_faces_and_8_s_at_84000(browser, tmp_path):
    """Seconds by the clock of who waits; the part is drawn in software meanwhile, on the same processors.

    The figures are those of a machine that does nothing else and has rested. Where the other tests ran
    before, up to twice the figures is let pass.
    """
    took = {}
    with running(program=SHELL) as desk:
        for faces, data, rounds in ((20_000, ring(), 3), (84_000, dense(), 2)):
            path = tmp_path / f"{faces}.stl"
            path.write_bytes(data)
            took[faces] = [drop(browser, desk, path) for _ in range(rounds)]
    print({faces: [f"{seconds:.1f} s" for seconds in each] for faces, each in took.items()})
    assert min(took[20_000]) <= 4.0 * TIRED
    assert min(took[84_000]) <= 8.0 * TIRED


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


def test_a_slider_ranks_84_000_faces_within_a_tenth_of_a_second(fresh, tmp_path):
    bracket(84_000).export(tmp_path / "dense.stl")
    bring(fresh, tmp_path / "dense.stl")
    fresh.wait_for_timeout(4000)
    took = fresh.evaluate(TIMED)
    print(f"input to new list: median {statistics.median(took):.0f} ms of {[round(t) for t in took]}")
    assert statistics.median(took) <= 100.0 * TIRED


# From the key in the slider to the change of the list, in the page's own clock.
TIMED = """async () => {
  const slider = document.querySelector('[aria-label="a broad first layer"] [tabindex]');
  const list = document.querySelector('.pose-list');
  const right = { key: 'ArrowRight', keyCode: 39, which: 39, bubbles: true, cancelable: true };
  const took = [];
  slider.focus();
  for (let k = 0; k < 21; k++) {
    took.push(await new Promise(done => {
      const began = performance.now();
      const seen = new MutationObserver(() => { seen.disconnect(); done(performance.now() - began); });
      seen.observe(list, { subtree: true, childList: true, characterData: true, attributes: true });
      for (const type of ['keydown', 'keyup'])
        slider.dispatchEvent(new KeyboardEvent(type, right));
    }));
    await new Promise(done => setTimeout(done, 250));
  }
  return took;
}"""

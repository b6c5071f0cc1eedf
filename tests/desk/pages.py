"""A page of the desk in a browser, and what a hand does there."""

import os
import re
import shutil
import signal
import subprocess
from pathlib import Path

import trimesh

from tests.desk.desks import until

PARTS = Path(__file__).parents[2] / "sample_parts"
BRACKET = PARTS / "mast_bracket.stl"


def opened(browser, desk, **options):
    page = browser.new_context(viewport={"width": 1400, "height": 900}, **options).new_page()
    page.set_default_timeout(120_000)
    page.goto(desk.address)
    page.wait_for_selector(".welcome h1")
    return page


def bring(page, path):
    page.set_input_files(".welcome input[type=file]", path)
    page.wait_for_selector(".pose-list li.taken")
    # The pose is on the bed, and its holes can be pointed at.
    until(lambda: viewer(page, "viewer.pose && viewer.pose.number > 0"), 60)
    until(lambda: page.evaluate("() => !!document.querySelector('.middle .scene').scene.holes?.of"), 60)


def viewer(page, what):
    return page.evaluate(
        f"() => {{ const viewer = document.querySelector('.middle .viewer').viewer; return {what}; }}"
    )


def first(page):
    return page.locator(".pose-list li").first.text_content()


def spot(page, across=0.5, down=0.62):
    """A place on the canvas, in the window."""
    box = page.locator(".middle .viewer canvas").bounding_box()
    return box["x"] + across * box["width"], box["y"] + down * box["height"]


def brief(page, tmp_path):
    with page.expect_download() as got:
        page.get_by_role("button", name="Save").click()
    got.value.save_as(tmp_path / "brief.toml")
    return (tmp_path / "brief.toml").read_text()


def surface_at(page, x, y):
    """Where a point of the window lies on the bracket, and the normal there, by another program's ray."""
    ray = viewer(page, f"viewer.ray({x}, {y})")
    mesh = trimesh.load(BRACKET)
    hit, _, face = mesh.ray.intersects_location([ray["origin"]], [ray["direction"]], multiple_hits=False)
    assert len(hit) == 1
    return hit[0], mesh.face_normals[face[0]]


def refused(page, at, name, data, said):
    """Hand over a file that is refused with a sentence, and take the sentence away."""
    page.set_input_files(at, {"name": name, "mimeType": "application/octet-stream", "buffer": data})
    note = page.locator(".q-notification", has_text=re.compile(said))
    note.wait_for()
    assert "fault of this program" not in note.text_content()
    note.get_by_role("button", name="Close").click()
    note.wait_for(state="detached")


def point_axis(page):
    """Name the stress axis by a click in the middle; the normal there."""
    page.get_by_role("button", name="corner").click()
    page.get_by_role("button", name="Click a face or hole").click()
    page.wait_for_selector(".viewer.picking")
    x, y = spot(page)
    page.mouse.move(x, y)
    page.mouse.click(x, y)
    _, normal = surface_at(page, x, y)
    page.get_by_role("button", name="Take it").click()
    return normal


def ranked_anew(page, before):
    until(lambda: page.locator(".pose-list").text_content() != before, 60)


def undo(page):
    page.get_by_role("button", name="Undo").click()


class chromium_alone:
    """A Chromium that is a process group of its own, with its port for being driven."""

    def __init__(self, folder):
        self.folder = folder

    def __enter__(self):
        name = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        self.process = subprocess.Popen(
            [
                name,
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--remote-debugging-port=0",
                f"--user-data-dir={self.folder}",
            ],
            stderr=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            start_new_session=True,
        )
        told = self.folder / "DevToolsActivePort"
        until(lambda: told.exists() and told.read_text().strip(), 30)
        return self.process, int(told.read_text().split()[0])

    def __exit__(self, *error):
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)

"""Visitors at a desk that runs, each a real browser: what they bring, and what they leave behind."""

import os
import re
import signal
import time
from importlib import import_module
from pathlib import Path

import psutil
import pytest

from tests.desk.desks import alive, running, until
from tests.desk.pages import chromium_alone
from tests.desk.shapes import dense, plate
from tests.trust.corpus import model_xml, package


@pytest.fixture(scope="module")
def desk():
    with running() as one:
        yield one


@pytest.fixture
def tab(browser, desk):
    """Open a page of the desk in a browser of its own; all are closed at the end."""
    opened = []

    def open_tab(context=None):
        context = context or browser.new_context()
        opened.append(context)
        page = context.new_page()
        page.goto(desk.address)
        page.wait_for_selector("#drop")
        return page

    yield open_tab
    for context in opened:
        context.close()


def bring(page, name, data):
    """Drop a file, and wait until it is read or refused."""
    before = int(said(page, "count"))
    kind = "application/octet-stream"
    page.set_input_files("#drop input[type=file]", {"name": name, "mimeType": kind, "buffer": data})
    until(lambda: int(said(page, "count")) > before, 60)


def said(page, what="told"):
    return page.text_content(f"#{what}")


def notices(page):
    return " ".join(page.locator(".q-notification").all_text_contents())


def folder(page):
    return Path(said(page, "folder"))


def work(page):
    """Begin what takes long; the process that does it."""
    page.click("#work")
    until(lambda: said(page, "pid").isdecimal(), 60)
    return int(said(page, "pid"))


def test_a_part_that_is_dropped_is_read_and_ranked(tab):
    page = tab()
    bring(page, "plate.stl", plate())
    # A box has 12 faces; what matters here is that they are those of the file: 8 + 4 * 24.
    assert re.fullmatch(r"plate.stl has \d+ faces", said(page))
    page.click("#rank")
    until(lambda: "poses" in said(page), 60)


def test_a_name_is_never_a_path(tab, desk):
    page = tab()
    where = folder(page)
    send = """async ([url, name, bytes]) => {
        const form = new FormData();
        form.append("file", new File([new Uint8Array(bytes)], name));
        return (await fetch(url, { method: "POST", body: form })).status;
    }"""
    url = page.evaluate("() => getElement(Number(document.querySelector('#drop').id.slice(1)))?.url")
    url = url or upload_address(page)
    before = {path for path in where.parent.rglob("*") if path.is_file()}
    for name in (
        "../../../escaped.stl",
        "/etc/escaped.stl",
        "..\\..\\escaped.stl",
        "a\0b.stl",
        "x" * 3000 + ".stl",
    ):
        count = int(said(page, "count"))
        assert page.evaluate(send, [url, name, list(plate())]) == 200
        until(lambda count=count: int(said(page, "count")) > count, 30)
        made = {path for path in where.parent.rglob("*") if path.is_file()} - before
        assert all(re.fullmatch(r"[0-9a-f]{16}\.stl", path.name) for path in made)
        assert all(path.parent == where for path in made)
        assert "has" in said(page)
    assert not Path("/etc/escaped.stl").exists()
    assert (where.stat().st_mode & 0o777, where.parent.stat().st_mode & 0o777) == (0o700, 0o700)


def upload_address(page):
    return page.evaluate(
        "() => Object.values(mounted_app.elements).find(one => one.tag == 'nicegui-upload').props.url"
    )


def test_a_name_is_shown_as_text(tab):
    page = tab()
    bring(page, "<img src=x onerror=document.title='run'>.stl", plate())
    assert said(page).startswith("<img src=x onerror=")
    assert page.title() == "orient desk"
    bring(page, "<b id=bold>.stl", b"\0" * 7)
    until(lambda: "<b id=bold>" in notices(page), 20)
    assert page.locator("#bold").count() == 0


BOMBS = {
    "grows_thousandfold.3mf": lambda: package(model_xml() + " " * 300_000_000),
    "ten_thousand_entries.3mf": lambda: package(more={f"x/{i}": b"" for i in range(10_000)}),
    "entities.3mf": lambda: package(
        model_xml(
            doctype='<!DOCTYPE m [<!ENTITY a0 "ha">'
            + "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
            + "]>",
            resources="&a9;",
        )
    ),
    "entity_of_a_file.3mf": lambda: package(
        model_xml(doctype='<!DOCTYPE m [<!ENTITY a SYSTEM "file:///etc/passwd">]>', resources="&a;")
    ),
    "empty.stl": lambda: b"",
    "letter.stl": lambda: b"Dear all, the part is attached.",
    "picture.png": lambda: b"\x89PNG\r\n\x1a\n" + bytes(100),
    "cut.stl": lambda: plate()[:-20],
}


def test_a_bad_file_is_told_of_in_the_page_and_the_desk_goes_on(tab, desk):
    page = tab()
    server = psutil.Process(desk.process.pid)
    for name, made in BOMBS.items():
        bring(page, name, made())
        until(lambda name=name: name in notices(page), 10)
    assert "etc/passwd" not in notices(page)
    assert "root:" not in notices(page)
    # What a bomb would unpack to is 300 MB.
    assert max(one.memory_info().rss for one in (server, *server.children())) < 900e6
    bring(page, "plate.stl", plate())
    assert "plate.stl has" in said(page)


def test_a_fault_in_the_page_is_shown_and_not_only_logged(tab):
    page = tab()
    page.click("#fail")
    page.wait_for_selector(".q-notification")
    assert "a key that is not there" in notices(page)
    bring(page, "plate.stl", plate())
    assert "plate.stl has" in said(page)


def test_a_fault_in_the_child_is_shown(tab):
    page = tab()
    page.click("#rank")
    page.wait_for_selector(".q-notification")
    assert "bring one first" in notices(page)


def test_two_at_once_do_not_disturb_each_other(tab, browser):
    same = browser.new_context()
    first, second, third = tab(), tab(same), tab(same)
    for count, page in enumerate((first, second, third), start=1):
        kind = "application/octet-stream"
        one = {"name": f"plate{count}.stl", "mimeType": kind, "buffer": plate(count)}
        page.set_input_files("#drop input[type=file]", one)
    for count, page in enumerate((first, second, third), start=1):
        until(lambda page=page, count=count: f"plate{count}.stl has" in said(page), 60)
    assert len({said(page) for page in (first, second, third)}) == 3
    assert len({folder(page) for page in (first, second, third)}) == 3
    bring(first, "dense.stl", dense())
    bring(second, "dense.stl", dense())
    mine, others = work(first), work(second)
    assert mine != others
    first.click("#stop")
    assert until(lambda: not alive(mine), 5) < 3.0
    assert alive(others)
    # What a visitor asks while one's own long work goes on is answered meanwhile.
    bring(second, "plate.stl", plate())
    assert alive(others)


def test_one_who_loads_the_page_again_finds_everything_as_it_was(tab):
    page = tab()
    bring(page, "dense.stl", dense())
    where, pid, had = folder(page), work(page), said(page)
    page.reload()
    page.wait_for_selector("#drop")
    assert (folder(page), said(page)) == (where, had)
    time.sleep(5.5)
    assert where.is_dir()
    assert alive(pid)
    assert said(page, "pid") == str(pid)
    page.click("#stop")


def test_one_who_leaves_takes_everything_along(tab, browser):
    context = browser.new_context()
    page = tab(context)
    bring(page, "dense.stl", dense())
    where, pid = folder(page), work(page)
    assert len(list(where.iterdir())) >= 1
    page.close()
    until(lambda: not where.exists() and not alive(pid), 5.0)


def test_a_browser_that_is_killed_in_the_middle_of_work_leaves_an_idle_desk_within_5_seconds(
    desk, tmp_path, browser
):
    import_module("playwright.sync_api")
    chromium = browser.browser_type
    with chromium_alone(tmp_path) as (process, port):
        other = chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        page = other.new_context().new_page()
        page.goto(desk.address)
        page.wait_for_selector("#drop")
        bring(page, "dense.stl", dense())
        where, pid = folder(page), work(page)
        time.sleep(0.5)
        assert alive(pid)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        took = until(lambda: not alive(pid) and not where.exists(), 5.0)
    assert took <= 5.0
    server = psutil.Process(desk.process.pid)
    family = [server, *server.children(recursive=True)]
    before = sum(sum(one.cpu_times()[:2]) for one in family)
    time.sleep(1.0)
    assert sum(sum(one.cpu_times()[:2]) for one in family if one.is_running()) - before < 0.2


def test_no_request_leaves_the_machine(tab, desk):
    asked = []
    page = tab()
    page.on("request", lambda request: asked.append(request.url))
    page.reload()
    page.wait_for_selector("#drop")
    bring(page, "plate.stl", plate())
    page.click("#rank")
    until(lambda: "poses" in said(page), 60)
    assert len(asked) > 5
    local = (f"http://{desk.host}/", f"ws://{desk.host}/", "data:", "blob:")
    assert [url for url in asked if not url.startswith(local)] == []
    # The server and its children speak to nobody but the browser.
    assert [line for line in desk.lines if line.startswith("spoke to")] == []
    server = psutil.Process(desk.process.pid)
    for one in (server, *server.children(recursive=True)):
        far = [link.raddr.ip for link in one.net_connections("inet") if link.raddr]
        assert set(far) <= {"127.0.0.1"}
        assert one.pid == server.pid or not far
    # And the page could not if it wanted to: the policy stops it.
    refused = page.evaluate(
        "() => fetch('http://192.0.2.1/').then(() => false, error => error instanceof TypeError)"
    )
    assert refused


def test_the_desk_leaves_nothing_when_it_is_closed(browser):
    with running() as one:
        page = browser.new_context().new_page()
        page.goto(one.address)
        page.wait_for_selector("#drop")
        bring(page, "dense.stl", dense())
        where, pid = folder(page), work(page)
        children = psutil.Process(one.process.pid).children(recursive=True)
        one.process.send_signal(signal.SIGINT)
        assert one.process.wait(10) == 0
        until(lambda: not alive(pid) and not any(child.is_running() for child in children), 5)
        assert not where.parent.exists()
        page.context.close()


def test_a_desk_that_is_killed_takes_its_children_and_files_along(browser):
    with running() as one:
        page = browser.new_context().new_page()
        page.goto(one.address)
        page.wait_for_selector("#drop")
        bring(page, "dense.stl", dense())
        where, pid = folder(page), work(page)
        one.process.kill()
        until(lambda: not alive(pid) and not where.parent.exists(), 5)
        page.context.close()


def test_a_process_that_stands_still_ends_with_a_desk_that_is_killed(browser):
    with running() as one:
        page = browser.new_context().new_page()
        page.goto(one.address)
        page.wait_for_selector("#drop")
        server = psutil.Process(one.process.pid)
        bring(page, "dense.stl", dense())
        # The visitor's own, and soon the one that waits for somebody else.
        until(lambda: len(server.children()) == 2, 60)
        page.click("#rank")
        until(lambda: any(child.status() == psutil.STATUS_STOPPED for child in server.children()), 20)
        children, where = server.children(recursive=True), folder(page)
        one.process.kill()
        until(lambda: not any(alive(child.pid) for child in children) and not where.parent.exists(), 5)
        page.context.close()


@pytest.mark.slow
def test_after_a_hundred_files_the_memory_is_what_it_was(tab, desk):
    page = tab()
    data = plate(6, 200)

    def together():
        server = psutil.Process(desk.process.pid)
        return sum(one.memory_full_info().uss for one in (server, *server.children(recursive=True)))

    for number in range(10):
        bring(page, f"warm{number}.stl", data)
    page.click("#rank")
    until(lambda: "poses" in said(page), 60)
    bring(page, "last.stl", data)
    time.sleep(8.0)
    before = together()
    for number in range(100):
        bring(page, f"plate{number}.stl", data)
    time.sleep(1.0)
    after = together()
    print(f"{before / 1e6:.0f} MB before, {after / 1e6:.0f} MB after 100 files")
    assert after < 1.2 * before
    # The files of earlier parts do not pile up either.
    assert len(list(folder(page).iterdir())) <= 2

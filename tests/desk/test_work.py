"""A lane of work over real child processes: what is told, what is stopped, what is kept."""

import asyncio
import time
from concurrent.futures import ThreadPoolExecutor

import psutil
import pytest

from orient.desk.arrival import receive
from orient.desk.visitor import Visitors
from orient.desk.warm import Warm
from orient.desk.work import Bench, Stopped, Work
from orient.errors import OrientError
from tests.desk.desks import alive, until
from tests.desk.shapes import dense, plate
from tests.trust.corpus import EITHER, REFUSAL, RESULT, everything

UP = (0.0, 0.0, 1.0)


def run_apart(work):
    """Run to its end in a thread of its own: a browser that another test drives keeps a loop in this one."""
    with ThreadPoolExecutor(1) as alone:
        return alone.submit(asyncio.run, work).result()


def lane(test, tmp_path):
    """Run a test with a lane that works in a folder; children are ended after it."""

    async def run():
        work = Work(Bench(tmp_path), Warm(tmp_path))
        try:
            await test(work)
        finally:
            await work.close()
            work.warm.close()

    run_apart(run())


def laid(tmp_path, data, name="part.stl"):
    path = tmp_path / name
    path.write_bytes(data)
    return str(path)


def test_a_child_keeps_what_it_read(tmp_path):
    async def test(work):
        told = []
        path = laid(tmp_path, plate())
        brought = await work.do("bring", path=path, name="plate", progress=lambda *said: told.append(said[0]))
        assert brought.name == "plate"
        assert "Reading the part" in told
        judged = await work.do("evaluate", toml="")
        assert judged.ranking.directions.shape[1] == 3
        assert not work.busy

    lane(test, tmp_path)


def test_what_a_user_can_mend_comes_back_as_its_sentence_and_the_child_goes_on(tmp_path):
    async def test(work):
        with pytest.raises(OrientError, match="bring one first"):
            await work.do("evaluate", toml="")
        pid = work.process_id
        await work.do("bring", path=laid(tmp_path, plate()), name="plate")
        with pytest.raises(OrientError):
            await work.do("evaluate", toml="not a brief")
        assert work.process_id == pid

    lane(test, tmp_path)


def test_a_stop_ends_the_process_at_once_and_the_next_job_finds_its_part(tmp_path):
    async def test(work):
        await work.do("bring", path=laid(tmp_path, dense()), name="dense")
        pid = work.process_id
        jobs = [asyncio.create_task(work.do("page", toml="", forces=False, direction=UP)) for _ in range(2)]
        await asyncio.sleep(0.5)
        began = time.monotonic()
        work.stop()
        for job in jobs:
            with pytest.raises(Stopped):
                await job
        assert time.monotonic() - began < 1.0
        assert until(lambda: not alive(pid), 1.0) < 1.0
        assert len((await work.do("holes")).holes) == 70

    lane(test, tmp_path)


def test_a_process_that_dies_is_told_of_and_another_takes_its_place(tmp_path):
    async def test(work):
        await work.do("bring", path=laid(tmp_path, dense()), name="dense")
        job = asyncio.create_task(work.do("page", toml="", forces=False, direction=UP))
        await asyncio.sleep(0.5)
        psutil.Process(work.process_id).kill()
        with pytest.raises(OrientError, match="want of memory"):
            await job
        assert len((await work.do("holes")).holes) == 70

    lane(test, tmp_path)


def test_an_answer_that_nobody_waits_for_is_not_given_to_the_next(tmp_path):
    async def test(work):
        await work.do("bring", path=laid(tmp_path, plate(2)), name="plate")
        job = asyncio.create_task(work.do("evaluate", toml=""))
        await asyncio.sleep(0.2)
        job.cancel()
        with pytest.raises(asyncio.CancelledError):
            await job
        assert len((await work.do("holes")).holes) == 2

    lane(test, tmp_path)


def test_an_error_where_progress_is_shown_does_not_upset_the_answers(tmp_path):
    async def test(work):
        def fail(*said):
            raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            await work.do("bring", path=laid(tmp_path, plate(3)), name="plate", progress=fail)
        await work.do("bring", path=laid(tmp_path, plate(2)), name="plate")
        assert len((await work.do("holes")).holes) == 2

    lane(test, tmp_path)


def test_two_lanes_of_a_visitor_work_on_the_same_part(tmp_path):
    async def test():
        warm = Warm(tmp_path)
        visitors = Visitors(tmp_path, warm)
        visitor = visitors.enter("tab", "window")
        await visitor.quick.do("bring", path=laid(visitor.folder, plate(3), "a.stl"), name="a")
        assert len((await visitor.long.do("holes")).holes) == 3
        await visitor.quick.do("bring", path=laid(visitor.folder, plate(1), "b.stl"), name="b")
        assert len((await visitor.long.do("holes")).holes) == 1
        await visitors.close()
        warm.close()
        assert not visitor.folder.exists()
        with pytest.raises(Stopped):
            await visitor.quick.do("holes")

    run_apart(test())


def test_who_comes_back_in_time_is_the_same_visitor(tmp_path):
    async def test():
        visitors = Visitors(tmp_path, Warm(tmp_path), grace_s=0.2)
        first = visitors.enter("tab", "window 1")
        visitors.leave("tab", "window 1")
        await asyncio.sleep(0.1)
        assert visitors.enter("tab", "window 2") is first
        # The old window's connection may end after the new one's began.
        visitors.leave("tab", "window 1")
        await asyncio.sleep(0.4)
        assert len(visitors) == 1
        visitors.leave("tab", "window 2")
        await asyncio.sleep(0.4)
        assert (len(visitors), first.gone, first.folder.exists()) == (0, True, False)
        assert visitors.enter("tab", "window 3") is not first
        await visitors.close()

    run_apart(test())


class Upload:
    """What NiceGUI hands over of a file."""

    def __init__(self, name, data):
        self.name, self.data = name, data

    async def iterate(self, *, chunk_size=1000):
        for at in range(0, len(self.data), chunk_size):
            yield self.data[at : at + chunk_size]


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("lug.stl", "lug.stl"),
        ("../../lug.stl", "lug.stl"),
        ("..", "part"),
        ("C:\\Users\\lug.STL", "lug.STL"),
        ("lug\n\r\x1b[2J.stl", "lug???[2J.stl"),
        ("lug", "lug"),
        ("", "part"),
    ],
)
def test_a_file_lies_under_a_name_that_nobody_chose(tmp_path, name, shown):
    arrival = run_apart(receive(Upload(name, plate()), tmp_path))
    assert arrival.name == shown
    assert arrival.path.parent == tmp_path
    assert arrival.path.suffix.lower() == ".stl"
    assert set(arrival.path.stem) <= set("0123456789abcdef")
    assert arrival.path.read_bytes() == plate()


@pytest.mark.parametrize("data", [b"", b"a letter", b"%PDF-1.7"])
def test_nothing_is_left_of_a_file_that_is_no_mesh(tmp_path, data):
    with pytest.raises(OrientError, match="letter"):
        run_apart(receive(Upload("letter", data), tmp_path))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_every_broken_file_ends_in_a_part_or_a_sentence_and_the_same_child_goes_on(tmp_path):
    """The corpus that the shell is held to, through the way that a file takes into the desk."""

    async def test(work):
        await work.do("bring", path=laid(tmp_path, plate()), name="plate")
        pid, ended, sentences = work.process_id, {RESULT: 0, REFUSAL: 0}, []
        for name, data, expected in everything():
            try:
                arrival = await receive(Upload(name, data), tmp_path)
                await work.do("bring", path=str(arrival.path), name=arrival.name)
                how = RESULT
            except OrientError as error:
                sentences.append(str(error))
                how = REFUSAL
            assert expected in (how, EITHER), name
            ended[how] += 1
        print(ended)
        assert min(ended.values()) > 20
        # One line each, and nothing of where the desk keeps its files.
        assert [said for said in sentences if "\n" in said or str(tmp_path) in said] == []
        assert work.process_id == pid
        assert len((await work.do("holes")).holes) >= 0

    lane(test, tmp_path)

"""A desk with a bare page, run as a program of its own: all of the server, none of the looks.

`python -m tests.desk.plain PORT MOST_BYTES` prints its address, and every address it connects to.
"""

import sys

from nicegui import ui

from orient.desk.arrival import receive
from orient.desk.serve import serve
from orient.desk.work import Stopped

UP = (0.0, 0.0, 1.0)


def build(visitor, mesh):
    """A drop zone, what became of the last file, and buttons that work long or fail."""
    told = ui.label(visitor.state.get("told", "nothing yet")).props("id=told")
    ui.label(str(visitor.folder)).props("id=folder")
    pid = ui.label(str(visitor.long.process_id)).props("id=pid")

    def tell(text):
        visitor.state["told"] = text
        told.set_text(text)

    async def arrived(event):
        try:
            arrival = await receive(event.file, visitor.folder)
            brought = await visitor.quick.do("bring", path=str(arrival.path), name=arrival.name)
        finally:
            visitor.state["count"] = visitor.state.get("count", 0) + 1
            counted.set_text(str(visitor.state["count"]))
        tell(f"{brought.name} has {brought.faces} faces")

    async def rank():
        judged = await visitor.quick.do("evaluate", toml="")
        tell(f"{len(judged.ranking.directions)} poses")

    async def work():
        visitor.state["working"] = True

        def progress(text, share):
            pid.set_text(str(visitor.long.process_id))

        try:
            await visitor.long.do("page", toml="", forces=False, direction=UP, progress=progress)
            visitor.state["told"] = "worked"
        except Stopped:
            visitor.state["told"] = "stopped"

    counted = ui.label(str(visitor.state.get("count", 0))).props("id=count")
    ui.upload(on_upload=arrived, auto_upload=True).props("id=drop")
    ui.button("rank", on_click=rank).props("id=rank")
    ui.button("work", on_click=work).props("id=work")
    ui.button("stop", on_click=visitor.long.stop).props("id=stop")
    ui.button("fail", on_click=lambda: {}["a key that is not there"]).props("id=fail")


def note(event, arguments):
    """Print every address that this process speaks to or asks a name server for."""
    if event in ("socket.connect", "socket.sendto"):
        print("spoke to", arguments[1], flush=True)
    elif event == "socket.gethostbyname":
        print("spoke to", arguments[0], flush=True)


if __name__ == "__main__":
    sys.addaudithook(note)
    serve(
        build,
        host=sys.argv[3] if len(sys.argv) > 3 else "127.0.0.1",
        port=int(sys.argv[1]) or None,
        most_bytes=int(sys.argv[2]),
        allow_remote=len(sys.argv) > 3,
        browser=False,
        say=lambda line: print(line, flush=True),
    )

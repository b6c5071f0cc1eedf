"""The server of the desk: NiceGUI behind the guard, on this machine unless more was asked for."""

from __future__ import annotations

import contextlib
import errno
import gc
import logging
import os
import shutil
import signal
import socket
import tempfile
import threading
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import uvicorn
from fastapi import FastAPI
from nicegui import Client, ui
from nicegui.client import ClientConnectionTimeout

from orient.desk.entry import as_fields
from orient.desk.guard import MOST_BYTES, TOKEN, Guard, hosts_of, is_loopback
from orient.desk.shelf import open_shelves
from orient.desk.visitor import GRACE_S, Visitor, Visitors
from orient.desk.warm import Warm
from orient.desk.work import Stopped
from orient.errors import OrientError

# Tried first where no port is asked for, so that an address can be kept.
USUAL_PORT = 8674
# One message of a page through its socket; files come as requests.
_MOST_MESSAGE = 4_000_000

Build = Callable[[Visitor, Path | None], Awaitable[None] | None]


def serve(
    build: Build,
    mesh: Path | None = None,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    allow_remote: bool = False,
    browser: bool = True,
    most_bytes: int = MOST_BYTES,
    say: Callable[[str], None] = print,
) -> None:
    """Open the desk and keep it open until it is interrupted.

    Parameters
    ----------
    build : callable
        Makes the page of a visitor.
    mesh : Path, optional
        A part to begin with.
    host : str
        Address to listen on.
    port : int, optional
        Port; a usual one where it is free, or else any.
    allow_remote : bool
        Whether other machines may come in.
    browser : bool
        Whether to open a browser.
    most_bytes : int
        What one upload may weigh.
    say : callable
        Takes lines for whoever started it.

    Raises
    ------
    OrientError
        For an address or a port that cannot be listened on, or other machines without leave.
    """
    hosts = hosts_of(host, allow_remote)
    if not hosts:
        raise OrientError(
            f"{host} can be reached from other machines: add --allow-remote if that is meant, or leave "
            "--host out."
        )
    listener = listen(host, port)
    try:
        number = listener.getsockname()[1]
        root = Path(tempfile.mkdtemp(prefix="orient-desk-"))
        before, tempfile.tempdir = tempfile.tempdir, str(root)
        try:
            guard = Guard(desk(build, mesh, root), hosts, number, most_bytes)
            address = f"http://{_named(host)}:{number}/?{TOKEN}={guard.token}"
            # What was loaded stays, and is not gone through again while somebody waits.
            gc.collect()
            gc.freeze()
            _run(guard, listener, lambda: _open(address, host, browser, say))
        finally:
            gc.unfreeze()
            tempfile.tempdir = before
            shutil.rmtree(root, ignore_errors=True)
    finally:
        listener.close()


def desk(build: Build, mesh: Path | None, root: Path) -> FastAPI:
    """Make the application: the page, the shelves, and who is at the desk, without the guard.

    Parameters
    ----------
    build : callable
        Makes the page of a visitor.
    mesh : Path or None
        A part to begin with.
    root : Path
        Private folder.

    Returns
    -------
    FastAPI
    """
    warm = Warm(root)
    visitors = Visitors(root, warm)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        warm.begin()
        yield
        warm.close()
        await visitors.close()

    # What a user can mend is told in the page; the log is for faults.
    logging.getLogger("nicegui").addFilter(_is_fault)
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan)
    open_shelves(app)
    add_page(build, mesh, visitors)
    ui.run_with(
        app,
        title="orient desk",
        show_welcome_message=False,
        reconnect_timeout=GRACE_S,
        tailwind=False,
        dark=False,
    )
    return app


def add_page(build: Build, mesh: Path | None, visitors: Visitors) -> None:
    """Let NiceGUI answer the address of the desk.

    Parameters
    ----------
    build : callable
        Makes the page of a visitor.
    mesh : Path or None
        A part to begin with.
    visitors : Visitors
        Those at the desk.
    """

    @ui.page("/", title="orient desk")
    async def page(client: Client) -> None:
        client.on_exception(show_trouble)
        # Only the socket tells which tab it is.
        with contextlib.suppress(ClientConnectionTimeout):
            await client.connected(timeout=60.0)
        tab = client.tab_id
        if tab is None:
            return  # whoever fetched the page did not open it
        visitor = visitors.enter(tab, client.id)

        def connected() -> None:
            visitors.enter(tab, client.id)

        def lost() -> None:
            if not client.has_socket_connection:
                visitors.leave(tab, client.id)

        client.on_connect(connected)
        client.on_disconnect(lost)
        client.on_delete(lambda: visitors.leave(tab, client.id))
        made = build(visitor, mesh)
        if made is not None:
            await made


def show_trouble(error: Exception) -> None:
    """Tell whoever sits before the page what went wrong there."""
    if isinstance(error, Stopped):
        return
    words = as_fields(str(error))
    if not isinstance(error, OrientError):
        words = (
            f"That went wrong by a fault of this program ({words or type(error).__name__}). "
            "The desk goes on: try it another way."
        )
    # What a user can mend stands beside the answer as long as it holds; a fault is told until it was read.
    stays = 12_000 if isinstance(error, OrientError) else 0
    options: dict[str, Any] = {"multi_line": True, "close_button": "Close", "timeout": stays, "color": "dark"}
    ui.notify(words, **options)


def _is_fault(record: logging.LogRecord) -> bool:
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, (OrientError, Stopped))


def listen(host: str, port: int | None) -> socket.socket:
    """Take an address and a port.

    Parameters
    ----------
    host : str
        Name or address.
    port : int or None
        Port; any that is free where None and the usual one is taken.

    Returns
    -------
    socket
        Bound, not yet listening.

    Raises
    ------
    OrientError
        Where the system refuses.
    """
    last: OSError | None = None
    for number in (USUAL_PORT, 0) if port is None else (port,):
        try:
            family, kind, proto, _, address = socket.getaddrinfo(
                host, number, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )[0]
        except (OSError, UnicodeError):
            raise OrientError(
                f"{host} is no address of this machine: leave --host out, or give one that is."
            ) from None
        taken = socket.socket(family, kind, proto)
        try:
            if os.name == "posix":
                taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            taken.bind(address)
            # Two that are bound may not both listen: only now it is known that it is free.
            taken.listen()
        except (OSError, OverflowError) as error:
            taken.close()
            if isinstance(error, OSError) and error.errno == errno.EADDRNOTAVAIL:
                raise OrientError(
                    f"{host} is no address of this machine: leave --host out, or give one that is."
                ) from None
            last = error if isinstance(error, OSError) else None
            continue
        return taken
    reason = (last.strerror if last is not None else None) or "no such port"
    where = host if port is None else f"port {port} of {host}"
    raise OrientError(f"The desk cannot listen on {where} ({reason}): leave --port out to take a free one.")


def _run(guard: Guard, listener: socket.socket, begun: Callable[[], None]) -> None:
    config = uvicorn.Config(
        guard,
        log_level="warning",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        ws_max_size=_MOST_MESSAGE,
        timeout_graceful_shutdown=2,
    )
    server = _Server(config, begun)
    if hasattr(signal, "SIGHUP"):
        # A terminal that is closed closes the desk as well.
        signal.signal(signal.SIGHUP, lambda *_: server.handle_exit(signal.SIGTERM, None))
    server.run([listener])


class _Server(uvicorn.Server):
    """Says when it answers, and leaves time to clean up."""

    def __init__(self, config: uvicorn.Config, begun: Callable[[], None]) -> None:
        super().__init__(config)
        self._begun = begun

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Close the desk, or, asked again, without waiting for anyone; no signal is raised anew after it."""
        self.force_exit = self.should_exit
        self.should_exit = True

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if not self.should_exit:
            self._begun()


def _open(address: str, host: str, browser: bool, say: Callable[[str], None]) -> None:
    say(f"The desk is open at {address}")
    if not is_loopback(host):
        say(
            "Whoever has this address may come in, and what passes is not encrypted: give it to those who "
            "shall, in a network that you trust."
        )
    say("Ctrl-C closes it.")
    if browser:
        threading.Thread(target=_browse, args=(address,), daemon=True).start()


def _own_address() -> str:
    """The address that others reach this machine by; asking for the way to one sends nothing."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        # An address for documentation (RFC 5737).
        way.connect(("192.0.2.1", 9))
        return str(way.getsockname()[0])
    return socket.gethostname()


def _browse(address: str) -> None:
    with contextlib.suppress(Exception):
        webbrowser.open(address)


def _named(host: str) -> str:
    if host in ("0.0.0.0", "::"):
        return _own_address()
    return f"[{host}]" if ":" in host else host

"""Desks that run as programs of their own, and what is asked of them."""

import http.client
import os
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psutil

# What a user starts.
SHELL = ("-c", "from orient.cli import main; main()", "desk", "--no-browser")


@dataclass
class Desk:
    """A desk that runs."""

    process: subprocess.Popen
    address: str
    lines: list[str] = field(default_factory=list)

    @property
    def port(self):
        return int(re.search(r":(\d+)/", self.address)[1])

    @property
    def host(self):
        return f"127.0.0.1:{self.port}"

    @property
    def token(self):
        return self.address.partition("token=")[2]

    def ask(self, method="GET", path="/", body=None, **headers):
        """Ask over HTTP; status, headers, text. A header given as None is left out."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        sent = {"Host": self.host} | {name.replace("_", "-"): value for name, value in headers.items()}
        link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            if value is not None:
                link.putheader(name, value)
        if isinstance(body, bytes):
            link.putheader("Content-Length", str(len(body)))
        elif body is not None:
            link.putheader("Transfer-Encoding", "chunked")
        link.endheaders()
        try:
            if isinstance(body, bytes):
                link.send(body)
            for piece in body if body is not None and not isinstance(body, bytes) else ():
                link.send(b"%x\r\n%s\r\n" % (len(piece), piece))
            if body is not None and not isinstance(body, bytes):
                link.send(b"0\r\n\r\n")
        except (BrokenPipeError, ConnectionResetError):
            pass  # refused in the middle: the answer is there all the same
        answer = link.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read().decode(errors="replace")
        link.close()
        return found

    def cookie(self):
        """What the token is exchanged for."""
        status, headers, _ = self.ask(path=f"/?token={self.token}")
        assert status == 303
        return headers["set-cookie"].partition(";")[0]


@contextmanager
def running(*words, program=("-m", "tests.desk.plain")):
    """Run a desk; the words are port, most bytes and, if any, an address."""
    given = list(map(str, words)) or (["0", "200000000"] if program[-1] == "tests.desk.plain" else [])
    process = subprocess.Popen(
        [sys.executable, *program, *given],
        cwd=Path(__file__).parents[2],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    desk = Desk(process, "")
    opened = threading.Event()

    def listen():
        for line in process.stdout:
            desk.lines.append(line.strip())
            if "open at" in line:
                desk.address = line.strip().rpartition(" ")[2]
                opened.set()

    threading.Thread(target=listen, daemon=True).start()
    try:
        assert opened.wait(30), desk.lines
        yield desk
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(10)
        finally:
            process.kill()


def alive(pid):
    """Whether a process runs."""
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def until(true, seconds):
    """Wait until something holds; how long that took."""
    began = time.monotonic()
    while not true():
        assert time.monotonic() - began < seconds, "it did not come to hold in time"
        time.sleep(0.05)
    return time.monotonic() - began

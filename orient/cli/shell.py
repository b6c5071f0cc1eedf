"""The verbs of the shell in one list, and how a run ends."""

from __future__ import annotations

import atexit
import io
import os
import signal
import sys
import threading
from contextlib import suppress
from shutil import rmtree
from typing import Any

import typer

from orient.cli.batch import batch
from orient.cli.compare import compare
from orient.cli.coupon import coupon
from orient.cli.desk import desk
from orient.cli.fleet import fleet
from orient.cli.inspect import inspect
from orient.cli.lists import machines, polymers
from orient.cli.package import package
from orient.cli.picture import picture
from orient.cli.rank import rank
from orient.cli.report import report
from orient.cli.save import save
from orient.cli.say import if_stopped, say
from orient.cli.shop import shop
from orient.cli.strength import strength
from orient.errors import OrientError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Which way up a part is built in material extrusion, and why.",
    context_settings={"help_option_names": ["-h", "--help"]},
)

for verb, help_line in (
    (rank, "Which way up to build a part, and why."),
    (desk, "The whole job in the browser, by looking and clicking."),
    (picture, "A picture of a pose, coloured by what matters."),
    (report, "One HTML file with the answer, to send on."),
    (compare, "What a redesign changed, and whether it is better."),
    (inspect, "What is hard to print, where, and what to do."),
    (save, "The part in its pose as a mesh file."),
    (coupon, "A short test print of a hard feature."),
    (batch, "Parts laid out on beds: how many, hours, cost."),
    (package, "One folder with all of it, to hand over."),
    (shop, "Which machine, and hours, grams and cost."),
    (strength, "How safe each pose is under load cases."),
    (polymers, "The polymers, their settings and strengths."),
    (machines, "The machines an estimate can be made for."),
):
    app.command(short_help=help_line)(verb)
app.add_typer(fleet, name="fleet", short_help="Folders of parts: which print as they are, on what.")


# What typer raises for a flag that is wrong; its own name for it has moved between versions.
_Usage: type[Exception] = typer.BadParameter.__mro__[1]


def main() -> None:
    """Run the shell; what a user can mend ends in one sentence and exit code 2.

    Ctrl-C ends in exit code 130 at any moment; a reader of the output that goes away is typer's to end.
    """
    stop = _Stop()
    try:
        for stream in (sys.stdout, sys.stderr):
            # A terminal that knows fewer characters gets question marks, not a traceback.
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        code = app(prog_name="orient", standalone_mode=False)
    except OrientError as error:
        say(f"orient: {error}")
        code = 2
    except _Usage as error:
        code = 2
        say(_in_a_sentence(error))
    if stop.asked:
        stop.end()
    sys.exit(code if isinstance(code, int) else 0)


class _Stop:
    """Ctrl-C, wherever the program then is.

    It ends the process there and then: an exception raised amid a library's compiled code may be lost, or
    crash it. Only a file that is being written is finished first.
    """

    def __init__(self) -> None:
        self.asked = False
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler and _in_main_thread():
            signal.signal(signal.SIGINT, self._heard)
            # All is done then: what takes itself down would end by the signal, as if it had been cut short.
            atexit.register(signal.signal, signal.SIGINT, signal.SIG_IGN)

    def _heard(self, number: int, frame: object) -> None:
        self.asked = True
        files = sys.modules.get("orient.show.files")
        if files is None or not files.writing:
            self.end()

    def end(self) -> None:
        """End now; leave no folder behind, and show the cursor again, which a progress bar hides."""
        read = sys.modules.get("orient.part.read")
        for folder in read.unpacking if read is not None else ():
            rmtree(folder, ignore_errors=True)
        with suppress(OSError, ValueError):
            if sys.stderr.isatty():
                os.write(sys.stderr.fileno(), b"\x1b[?25h\n")
            for sentence in if_stopped:
                os.write(sys.stderr.fileno(), f"{sentence}\n".encode())
        os._exit(130)


def _in_main_thread() -> bool:
    return threading.current_thread() is threading.main_thread()


def _in_a_sentence(error: Any) -> str:
    """What is wrong with a flag, and where the right ones are listed; help itself when nothing was asked."""
    if len(sys.argv) == 1:
        return str(error.format_message())
    verb = error.ctx.command_path if error.ctx is not None else "orient"
    fault = str(error.format_message()).rstrip(".")
    joint = " " if fault.endswith("?") else "; "
    return f"orient: {fault}{joint}`{verb} -h` lists what can be given."

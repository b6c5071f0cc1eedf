"""`orient desk`: the whole job in the browser."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from orient.cli.say import say
from orient.errors import OrientError


def desk(
    part: Annotated[
        Path | None, typer.Argument(metavar="PART", help="Mesh to begin with; else bring one in the page.")
    ] = None,
    port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, metavar="N", help="Port; else the usual one, or any that is free."),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open a browser, or only print the address.")
    ] = True,
    host: Annotated[
        str, typer.Option(metavar="HOST", help="Address to listen on; 127.0.0.1 is this machine alone.")
    ] = "127.0.0.1",
    allow_remote: Annotated[
        bool, typer.Option("--allow-remote", help="Let other machines in, by a token that is printed.")
    ] = False,
    most: Annotated[
        float, typer.Option("--most", min=0.001, metavar="MB", help="Largest file that may be brought.")
    ] = 200.0,
) -> None:
    """Open a page on this machine where the whole job is done by looking and clicking."""
    if part is not None and not part.is_file():
        raise OrientError(
            f"There is no file '{part}': check the name and the folder, or bring it in the page."
        )
    say("Opening the desk …")
    if find_spec("nicegui") is None:
        raise OrientError("The desk needs NiceGUI, which is not installed: pip install nicegui.")

    from orient.desk.layout import build
    from orient.desk.serve import serve

    serve(
        build,
        part,
        host=host,
        port=port,
        allow_remote=allow_remote,
        browser=browser,
        most_bytes=round(most * 1e6),
        say=say,
    )

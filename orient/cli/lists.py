"""`orient polymers` and `orient machines`: the data, as lists."""

from __future__ import annotations

from typing import Annotated

import typer

from orient.cli.options import Json
from orient.cli.say import hand_over


def polymers(
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write all figures with their sources as JSON; or -.")
    ] = None,
) -> None:
    """List the polymers: settings, strengths, and where there is no data."""
    from orient.show.files import refuse_outputs
    from orient.show.shop import polymers_json, polymers_view

    refuse_outputs({"--json": json}, inputs=())
    hand_over(json, polymers_json, lambda width: polymers_view())


def machines(
    own: Annotated[
        str | None, typer.Option("--machines", metavar="FILE", help="The shop's own machines, TOML.")
    ] = None,
    json: Json = None,
) -> None:
    """List the classes of machine, and the shop's own."""
    from orient.materials.machines import read_machines

    found = read_machines(own) if own is not None else ()

    from orient.show.files import refuse_outputs
    from orient.show.shop import machines_json, machines_view

    refuse_outputs({"--json": json}, inputs=(own,))
    hand_over(json, lambda: machines_json(found), lambda width: machines_view(found))

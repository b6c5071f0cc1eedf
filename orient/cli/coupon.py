"""`orient coupon`: a short test print of a hard feature, or a coupon of the material."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from orient.cli.job import Job, takes_job_or_brief
from orient.cli.options import Json, MeshOutput, Minutes, PoseNumber
from orient.cli.say import hand_over, say, warn
from orient.errors import OrientError


@takes_job_or_brief
def coupon(
    job: Job,
    output: MeshOutput,
    ids: Annotated[
        list[str] | None,
        typer.Argument(metavar="[ID]...", help="Features by their ids in `orient inspect`, such as B1."),
    ] = None,
    feature: Annotated[
        list[str] | None,
        typer.Option("--feature", "-f", metavar="ID", help="The same where a brief names the part."),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="All hard features side by side in one tray.")] = False,
    material: Annotated[
        str | None,
        typer.Option(
            metavar="KIND",
            help="Of the material: tensile, bar-edge, bar-standing, bridges, overhangs, holes, walls.",
        ),
    ] = None,
    minutes: Minutes = None,
    pose: PoseNumber = None,
    json: Json = None,
) -> None:
    """Cut the smallest solid that still shows how hard a feature is, in the same pose, to tune with."""
    asked = [*(ids or ()), *(feature or ())]
    if bool(asked) + every + (material is not None) != 1:
        raise OrientError(
            "A test print shows features or the material: name one such as B1 after the part, or give "
            "--all or --material."
        )
    job.begin({"--output": output, "--json": json})

    from orient.show.save import refuse_unsavable

    path = Path(output)
    refuse_unsavable(path)

    from orient.handover.oriented import format_of, metadata_of
    from orient.show.files import write_whole
    from orient.show.handover import gauge_view, handover_json, tray_view

    kind = format_of(path)
    if material is not None:
        if minutes is not None:
            raise OrientError("--minutes is for test prints of features: a coupon of the material is whole.")
        from orient.cost.shop import shop_for, with_machine
        from orient.handover.gauges import gauge
        from orient.handover.test_print import minutes_of
        from orient.handover.tray import gauge_bytes, gauge_document
        from orient.part.mesh import part_from_arrays
        from orient.process import process_from

        brief = with_machine(job.brief)
        process = process_from(brief)
        one = gauge(material, process)
        plan = shop_for(brief, process).plan
        took, grams = minutes_of(part_from_arrays(one.vertices, one.faces), process, plan)
        write_whole(path, gauge_bytes(one, kind))
        told = gauge_document(one, output, took, grams)
        hand_over(json, lambda: handover_json(told), lambda _: gauge_view(told))
        say(f"Wrote {output}, read back and the same.")
        return

    found = job.evaluate(job.read(features=True), features=True)
    plan = found.shop.shop.plan
    from orient.evaluation.chosen import inspection_at
    from orient.handover.test_print import MINUTES
    from orient.handover.tray import tray_bytes, tray_document, tray_of
    from orient.show.save import pose_row

    row = pose_row(found, pose)
    most = MINUTES if minutes is None else minutes
    tray = tray_of(inspection_at(found, row), found.process, plan, asked or None, minutes=most)
    if tray.prints:
        wide, deep, _ = found.shop.shop.machine.envelope_mm
        write_whole(path, tray_bytes(tray.prints, kind, (wide, deep), metadata_of(found, row + 1)))
    told = tray_document(tray, output if tray.prints else None)
    hand_over(json, lambda: handover_json(told), lambda _: tray_view(tray))
    warn(found.warnings)
    if not tray.prints:
        ends = ", ".join(f"{one.feature.id} takes {one.minutes:.0f} minutes" for one in tray.too_long)
        raise OrientError(f"Nothing can be shown in {most:g} minutes: {ends}; give --minutes more.")
    say(f"Wrote {output}, read back and the same.")

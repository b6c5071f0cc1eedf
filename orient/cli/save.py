"""`orient save`: the part in its pose as a mesh file."""

from __future__ import annotations

from pathlib import Path

from orient.cli.job import Job, takes_job
from orient.cli.options import Json, MeshOutput, PoseNumber
from orient.cli.say import hand_over, say, warn


@takes_job
def save(
    job: Job,
    output: MeshOutput,
    pose: PoseNumber = None,
    json: Json = None,
) -> None:
    """Write the part turned and on the bed, in millimetres; a 3MF also says where it is from."""
    job.begin({"--output": output, "--json": json})

    from orient.show.save import refuse_unsavable, save_pose

    refuse_unsavable(Path(output))
    found = job.evaluate(job.read(), features=False)
    save_pose(found, Path(output), pose)

    from orient.handover.oriented import oriented_document, too_large_words
    from orient.show.handover import handover_json, oriented_words

    told = oriented_document(found, output, pose)
    hand_over(json, lambda: handover_json(told), lambda _: oriented_words(told))
    warn(found.warnings)
    if too_large := too_large_words(found, pose):
        warn([too_large])
    say(f"Wrote {output}, read back and the same.")

"""What a child process can be asked for, by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from orient.desk.jobs.bring import bring, holes
from orient.desk.jobs.hand import beds, package, page, save, trial_prints
from orient.desk.jobs.held import Held, Say
from orient.desk.jobs.judge import evaluate_brief, score, strength
from orient.desk.jobs.look import colours, picture, pose
from orient.desk.jobs.point import named, pick
from orient.desk.jobs.revision import variant

__all__ = ["JOBS", "Held", "Say"]

# Every one takes what the child holds, whom to tell how far it is, and plain values by name.
JOBS: Mapping[str, Callable[..., Any]] = {
    "bring": bring,
    "holes": holes,
    "pick": pick,
    "named": named,
    "evaluate": evaluate_brief,
    "strength": strength,
    "score": score,
    "pose": pose,
    "colours": colours,
    "picture": picture,
    "save": save,
    "beds": beds,
    "page": page,
    "trial_prints": trial_prints,
    "package": package,
    "variant": variant,
}

"""The job that every verb takes: its flags, the brief they make, the part it names and its evaluation."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from orient.cli import options
from orient.cli.say import say
from orient.errors import OrientError

if TYPE_CHECKING:
    from orient.brief import Brief
    from orient.evaluation import Evaluation
    from orient.part.mesh import Part

# Flags that stand for one key of the brief: their name here, the key, and what a slip in it is called by.
_KEYS = {
    "part": ("part.file", "PART"),
    "units": ("part.units", "--units"),
    "body": ("part.body", "--body"),
    "together": ("part.together", "--together"),
    "polymer": ("process.polymer", "--polymer"),
    "machine": ("process.machine", "--machine"),
    "machines": ("process.machines", "--machines"),
    "support": ("process.support", "--support"),
    "layer": ("process.layer_height_mm", "--layer"),
    "overhang_limit": ("process.overhang_limit_deg", "--overhang-limit"),
    "stress_axis": ("load.stress_axis", "--stress-axis"),
    "kind": ("load.kind", "--kind"),
    "max_height": ("limits.max_height_mm", "--max-height"),
    "min_strength": ("limits.min_strength_retained", "--min-strength"),
}
_NAMES = dict(_KEYS.values())

# All flags of a job, in the order in which help shows them after a verb's own.
_FLAGS: dict[str, tuple[Any, Any]] = {
    "stress_axis": (options.StressAxis, None),
    "kind": (options.Kind, None),
    "polymer": (options.Polymer, None),
    "machine": (options.Machine, None),
    "machines": (options.Machines, None),
    "support": (options.Support, None),
    "layer": (options.Layer, None),
    "overhang_limit": (options.OverhangLimit, None),
    "weights": (options.Weights, None),
    "max_height": (options.MaxHeight, None),
    "min_strength": (options.MinStrength, None),
    "units": (options.Units, None),
    "body": (options.Body, None),
    "together": (options.Together, False),
    "directions": (options.Directions, 1000),
    "voxels": (options.Voxels, None),
    "threads": (options.Threads, None),
}


@dataclass(frozen=True)
class Job:
    """What the flags and the brief ask for.

    Attributes
    ----------
    brief : Brief
        The brief with the flags laid over it.
    brief_file : str or None
        Where it was read from.
    directions : int
        Build directions to try.
    voxels, threads : int or None
        As many as the program thinks right where None.
    verb : str
        The verb, for what is said of it.
    files : tuple of str
        Every part, for a verb that takes several; the brief names the first.
    """

    brief: Brief
    brief_file: str | None
    directions: int
    voxels: int | None
    threads: int | None
    verb: str
    files: tuple[str, ...] = ()

    def begin(self, outputs: dict[str, str | None]) -> None:
        """Refuse outputs that would be lost or overwrite what is read; then say what is read."""
        from orient.show.files import refuse_outputs

        files = self.files or (self.brief.part.file,)
        refuse_outputs(outputs, inputs=(*files, self.brief_file, self.brief.process.machines))
        if named := [file for file in files if file is not None]:
            say(f"Reading {', '.join(named)} …")

    def each(self) -> tuple[Job, ...]:
        """One job a part, for a verb that takes several."""
        return tuple(self.of(file) for file in self.files)

    def of(self, file: str) -> Job:
        """Give the same job for another part."""
        part = self.brief.part.model_copy(update={"file": file})
        return replace(self, brief=self.brief.model_copy(update={"part": part}), files=())

    def read(self, features: bool | None = None) -> Part:
        """Read the part, while what this run needs is compiled if an earlier one has not done so.

        Whether hard features will be looked for: where it is not said, only once their code is there.
        """
        from orient.part.read import read_part
        from orient.part.regions import regions_of
        from orient.show.progress import prepare

        asked = self.brief.part
        if asked.file is None:
            raise _no_part(self.verb)
        ready = prepare(features)
        part = read_part(asked.file, asked.units, asked.body, bool(asked.together))
        # Found, and their loops compiled, while the others compile.
        _ = part.hull
        regions_of(part)
        ready()
        return part

    def evaluate(self, part: Part, **more: Any) -> Evaluation:
        """Evaluate the part and show how far it has come."""
        from orient.evaluation import evaluate
        from orient.show.compiled import features_compiled_before
        from orient.show.progress import following

        if more.get("features") is None and not features_compiled_before():
            say("Hard features are counted from the next run on.")
            more["features"] = False
        with following(len(part.faces)) as progress:
            return evaluate(
                part,
                self.brief,
                directions=self.directions,
                start=datetime.now() if self.brief.job.due else None,
                voxels=self.voxels,
                threads=self.threads,
                progress=progress,
                **more,
            )


def takes_job(
    verb: Callable[..., None], *, least: int = 0, named: bool = True, needed: bool = True
) -> Callable[..., None]:
    """Give a verb the part, the brief and the flags that every verb takes.

    Parameters
    ----------
    verb : callable
        Takes a `Job` first, then what is its own.
    least : int
        How many parts a verb needs that takes several; 0 for one that takes no more than one.
    named, needed : bool
        Whether flags name a part, and whether they or the brief must.

    Returns
    -------
    callable
        The same with a job's flags in place of the `Job`.
    """
    own = list(inspect.signature(verb, eval_str=True).parameters.values())[1:]
    positional = [p for p in own if p.default is p.empty]
    optional = [p for p in own if p.default is not p.empty]
    part = [_parameter("part", options.PartFiles if least else options.PartFile, None)] if named else []
    signature = [
        *part,
        *(p.replace(kind=p.KEYWORD_ONLY) for p in positional),
        _parameter("brief", options.BriefFile, None),
        *(p.replace(kind=p.KEYWORD_ONLY) for p in optional),
        *(_parameter(name, *flag) for name, flag in _FLAGS.items()),
    ]

    @functools.wraps(verb)
    def run(**given: Any) -> None:
        asked = {name: given.pop(name, None) for name in ("part", "brief", *_FLAGS)}
        verb(_job(verb.__name__, asked, least, named and needed), **given)

    run.__signature__ = inspect.Signature(signature)  # type: ignore[attr-defined]
    run.__annotations__ = {p.name: p.annotation for p in signature}
    return run


def takes_parts(least: int) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """As `takes_job`, for a verb that takes several parts and needs so many."""
    return functools.partial(takes_job, least=least)


def takes_job_or_brief(verb: Callable[..., None]) -> Callable[..., None]:
    """As `takes_job`, for a verb that can also do something without a part."""
    return takes_job(verb, needed=False)


def takes_brief(verb: Callable[..., None]) -> Callable[..., None]:
    """As `takes_job`, for a verb that finds its parts by itself."""
    return takes_job(verb, named=False)


def _parameter(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


def _no_part(verb: str, least: int = 1) -> OrientError:
    example = "first.stl second.stl" if least > 1 else "part.stl"
    return OrientError(
        f"No part was named: give a mesh file, as in `orient {verb} {example}`, or a brief whose [part] "
        "names one."
    )


def _job(verb: str, asked: dict[str, Any], least: int, needed: bool) -> Job:
    from orient.brief import Brief, read_brief, vector_from_text, with_flags
    from orient.ranking.weights import read_weights

    files = [str(file) for file in (asked["part"] or ())] if least else []
    if least:
        asked["part"] = files[0] if len(files) >= least else None
    asked["part"] = None if asked["part"] is None else str(asked["part"])
    asked["together"] = asked["together"] or None
    asked["stress_axis"] = [vector_from_text(text) for text in asked["stress_axis"] or ()] or None
    flags = {key: asked[name] for name, (key, _) in _KEYS.items()}
    if asked["weights"] is not None:
        preset, single = read_weights(asked["weights"])
        flags["weights.preset"] = preset
        flags |= {f"weights.{name}": weight for name, weight in single.items()}
    file = asked["brief"]
    brief = with_flags(read_brief(file) if file is not None else Brief(), flags, _NAMES)
    if len(files) < least and brief.part.file is not None:
        # A brief that names its part is asked about that part first.
        files.insert(0, brief.part.file)
    if len(files) < least and files:
        raise OrientError(
            f"One part alone is nothing to {verb}: give two, as in `orient {verb} first.stl second.stl`, or "
            "one and a brief whose [part] names the first."
        )
    if needed and brief.part.file is None:
        raise _no_part(verb, least)
    return Job(brief, file, asked["directions"], asked["voxels"], asked["threads"], verb, tuple(files))

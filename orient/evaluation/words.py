"""What an evaluation says beside its figures: warnings, cautions, notes, and what a small tilt does."""

from __future__ import annotations

from dataclasses import replace

from orient.brief import Brief
from orient.cost.layers import LAYERS_OF_NOZZLE
from orient.measure.poses import Loads, Sorted
from orient.measure.tilt import support_when_tilted
from orient.part.mesh import Part
from orient.process import BRIM_MM, RAFT_LAYERS, RAFT_MM, Process
from orient.ranking.figures import figure
from orient.ranking.ranked import Ranking
from orient.ranking.tilt import tilt_note
from orient.strength.section import CAUTION as LOAD_CAUTION

# A first layer smaller than this share of the mean shadow will not hold by itself. Common practice, no
# source: parts on a hundredth of their footprint are given a brim or a raft.
SMALL_FIRST_SHARE = 0.01


def with_tilt(ranking: Ranking, ready: Sorted, process: Process, hull_mm3: float) -> Ranking:
    """Add to every explained pose what a small tilt would do to it."""
    why, numbers = list(ranking.why), list(ranking.numbers)
    for row, said in enumerate(ranking.why):
        facts = numbers[row]
        if not said or facts is None:
            continue
        support = float(ranking.columns["support_volume_mm3"][row])
        note = tilt_note(support, support_when_tilted(ready, process, ranking.directions[row]), hull_mm3)
        if note:
            why[row] = (*said, note[0])
            numbers[row] = {**facts, "tilt": note[1]}
    return replace(ranking, why=tuple(why), numbers=tuple(numbers))


def cautions_of(ranking: Ranking, loaded: bool, shadow_mm2: float) -> tuple[str, ...]:
    """What to be careful about with the pose to take; `loaded` where a figure of load is told of it."""
    said = [LOAD_CAUTION] if loaded else []
    first = float(ranking.columns["first_layer_mm2"][ranking.recommended - 1])
    if first < SMALL_FIRST_SHARE * shadow_mm2:
        said.append(
            f"The first layer of the pose to take is only {figure(first, 'mm²')} mm²: give it a brim of "
            f"{BRIM_MM:g} mm, or a raft of {RAFT_LAYERS} layers that reaches {RAFT_MM:g} mm further, or it "
            "will come off the bed; hours and grams do not count a raft."
        )
    if ranking.columns["tip_margin_deg"][ranking.recommended - 1] < 0:
        said.append(
            "The centre of mass of the pose to take lies outside its first layer: it stands only by its "
            "grip on the bed and by its supports."
        )
    return tuple(said)


def warnings_of(part: Part, brief: Brief, process: Process, loads: Loads) -> tuple[str, ...]:
    """What may make the answer wrong, to be read before it."""
    said = list(part.health.warnings)
    least, most = (share * process.nozzle_mm for share in (LAYERS_OF_NOZZLE[0], LAYERS_OF_NOZZLE[-1]))
    if not least - 1e-9 <= process.layer_height_mm <= most + 1e-9:
        said.append(
            f"Layers of {process.layer_height_mm:g} mm are outside what a nozzle of {process.nozzle_mm:g} mm "
            f"lays well, {least:g} to {most:g} mm (common practice): choose another layer or nozzle."
        )
    if brief.load.case and not part.closed:
        said.append("The load cases were left out: the mesh is not closed, so its inside cannot be filled.")
    if (len(loads.axes) or brief.load.case) and not process.strengths_known:
        said.append(
            f"The load was left out: no strength across the layers is known for {process.polymer}; give "
            "strength_in_layer_mpa and strength_across_mpa in [polymer] of a brief, or another polymer."
        )
    return tuple(said)


def notes_of(part: Part, brief: Brief, process: Process, loads: Loads) -> tuple[str, ...]:
    """What was mended in the mesh or assumed of the job."""
    notes = [*part.health.repairs, *(process.assumptions if len(loads.axes) or brief.load.case else ())]
    if unused := brief.unused():
        notes.append(
            f"The brief is read whole, but not all of it is used yet: {', '.join(unused[:-1])}"
            f"{' and ' if unused[1:] else ''}{unused[-1]}."
        )
    given = brief.weights.given()
    if given.get("load") and not len(loads.axes) and not brief.load.case:
        notes.append(
            "The weight on load counts for nothing, as no load is given: name its direction with "
            "--stress-axis or in [load]."
        )
    if given.get("faces") and not brief.faces:
        notes.append("The weight on faces counts for nothing, as no [[faces]] of a brief says which matter.")
    return tuple(notes)


def not_counted(part: Part) -> str:
    """Say that a part has too many faces for its features to be counted with the ranking."""
    return (
        f"Hard features were not counted beside the ranking, for the mesh has {len(part.faces):,} faces: "
        "`orient inspect` lists them, and --features counts them here."
    )

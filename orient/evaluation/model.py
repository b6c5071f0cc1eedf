"""What an evaluation holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from orient.brief import Brief
from orient.cost.shop import ShopSection
from orient.evaluation.features import Features
from orient.measure.surfaces import NamedFaces, NamedFacesMeasures
from orient.part.mesh import Part
from orient.process import Process, resolved_brief
from orient.ranking.ranked import Ranking
from orient.strength.section import Strength

# What a mesh that is not closed leaves uncertain: all that is counted between inside and outside. Areas of
# faces and what follows from normals and extents do not need to know.
NEEDS_CLOSED = (
    "support_volume_mm3",
    "support_needed_mm3",
    "support_on_part_mm3",
    "scar_area_mm2",
    "first_layer_mm2",
    "islands",
    "tip_margin_deg",
)


@dataclass(frozen=True, eq=False)
class Evaluation:
    """All that was found out about a part under a brief.

    Attributes
    ----------
    part : Part
        The part.
    brief : Brief
        The brief.
    process : Process
        What brief and data say in plain numbers.
    ranking : Ranking
        Poses in order, the one to take, and why.
    resting : Mapping[int, tuple[float, bool]]
        Contact area (mm²) and whether it stands stably, by row of the ranking, for poses that rest on a
        flat face.
    selections : tuple of NamedFaces
        The faces that matter.
    named : tuple of NamedFacesMeasures
        What every pose does to them, in the ranking's order.
    shop : ShopSection
        Machine fitness, service, hours, grams and cost, poses in the ranking's order.
    strength : Strength or None
        Stress under the load cases and the safety of every pose, in the ranking's order; None without cases.
    features : Features or None
        The hard features of the poses shown; None where they were not counted.
    warnings, cautions, notes : tuple of str
        What may make the answer wrong, to be read first; what to be careful about; what was mended or
        assumed.
    timing_s : Mapping[str, float]
        Seconds spent, by step.
    instead_of : int or None
        Rank of the pose that the program would take, where somebody takes another.
    """

    part: Part
    brief: Brief
    process: Process
    ranking: Ranking
    resting: Mapping[int, tuple[float, bool]]
    selections: tuple[NamedFaces, ...]
    named: tuple[NamedFacesMeasures, ...]
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    timing_s: Mapping[str, float]
    shop: ShopSection
    features: Features | None = None
    strength: Strength | None = None
    instead_of: int | None = None

    @property
    def approximate(self) -> tuple[str, ...]:
        """Measures that are only approximate for this part: none of a closed mesh's."""
        return () if self.part.closed else NEEDS_CLOSED

    def resolved_brief(self) -> dict[str, Any]:
        """The brief with every default filled in, as plain values."""
        return resolved_brief(self.brief, self.process)

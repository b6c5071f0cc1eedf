"""orient: which way up a part is built, and why.

The names below load what they need when they are first used, so that importing the package costs nothing.

Examples
--------
>>> import orient
>>> part = orient.load("sample_parts/gusset.stl")
>>> found = orient.rank(part, orient.Brief.model_validate({"load": {"stress_axis": [1, -1, 0]}}))
>>> bool(found.rests_on_flat[found.recommended - 1])
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from orient.brief import Brief as Brief
    from orient.brief import read_brief as read_brief
    from orient.errors import OrientError as OrientError
    from orient.evaluation import Evaluation as Evaluation
    from orient.evaluation import evaluate as evaluate
    from orient.evaluation import inspect as inspect
    from orient.evaluation import rank as rank
    from orient.part.mesh import Part as Part
    from orient.part.mesh import part_from_arrays as part_from_arrays
    from orient.part.mesh import part_from_trimesh as part_from_trimesh
    from orient.part.read import read_part
    from orient.process import Process as Process
    from orient.process import process_from as process_from
    from orient.ranking.ranked import Ranking as Ranking
    from orient.variants.compare import compare as compare

    load = read_part

_HOMES = {
    "Brief": ("orient.brief", "Brief"),
    "Evaluation": ("orient.evaluation", "Evaluation"),
    "OrientError": ("orient.errors", "OrientError"),
    "Part": ("orient.part.mesh", "Part"),
    "Process": ("orient.process", "Process"),
    "Ranking": ("orient.ranking.ranked", "Ranking"),
    "compare": ("orient.variants.compare", "compare"),
    "evaluate": ("orient.evaluation", "evaluate"),
    "inspect": ("orient.evaluation", "inspect"),
    "load": ("orient.part.read", "read_part"),
    "part_from_arrays": ("orient.part.mesh", "part_from_arrays"),
    "part_from_trimesh": ("orient.part.mesh", "part_from_trimesh"),
    "process_from": ("orient.process", "process_from"),
    "rank": ("orient.evaluation", "rank"),
    "read_brief": ("orient.brief", "read_brief"),
}

__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a public name from its home on first use."""
    if name not in _HOMES:
        raise AttributeError(f"module 'orient' has no attribute {name!r}")
    module, attribute = _HOMES[name]
    value = getattr(import_module(module), attribute)
    if module == "orient.evaluation":
        _show_in_notebooks()
    globals()[name] = value
    return value


def _show_in_notebooks() -> None:
    """Let an evaluation and its sections show themselves where a cell ends with one.

    It is done here, above every room, since what draws them lies above what they are.
    """
    evaluation = import_module("orient.evaluation.model")

    def html(shown: Any) -> str:
        """What a notebook shows: words, figures and pictures."""
        from orient.show.notebook import html_of

        return html_of(shown)

    for name in ("Evaluation", "Ranking", "Features", "Strength", "ShopSection"):
        getattr(evaluation, name)._repr_html_ = html


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})

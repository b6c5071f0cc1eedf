"""The ranking as a table and a few sentences for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from orient.evaluation import Evaluation

# Eighths of a block, from empty to full.
_BAR = " ▏▎▍▌▋▊▉█"
_BAR_WIDTH = 3
# The table is this wide with bars; text is wrapped at the widest.
WITH_BARS = 96
WIDEST = 100


def ranking_view(evaluation: Evaluation, width: int = 100) -> RenderableType:
    """What a person reads: the part, the best poses, which to take and why, what to mind.

    Parameters
    ----------
    evaluation : Evaluation
        What was found.
    width : int
        Columns of the terminal; bars are drawn where there is room for them.

    Returns
    -------
    rich renderable
    """
    ranking = evaluation.ranking
    rows = ranking.shown
    taken = ranking.recommended - 1
    parts: list[RenderableType] = [
        _part_line(evaluation),
        "",
        _table(evaluation, rows, bars=width >= WITH_BARS),
        "",
    ]
    direction = direction_words(ranking.directions[taken])
    parts.append(Text(f"Take pose {ranking.recommended}: build along {direction}.", style="bold"))
    parts += [_point(said) for said in ranking.why[taken]]
    if ranking.excluded:
        parts += ["", Text(f"{len(ranking.excluded)} poses break a limit, such as {_example(evaluation)}")]
    if evaluation.notes:
        parts += ["", Text("Notes", style="bold"), *[_point(note) for note in evaluation.notes]]
    if evaluation.cautions:
        parts += ["", Text("Caution", style="bold"), *[_point(said) for said in evaluation.cautions]]
    return Group(*parts)


def print_ranking(evaluation: Evaluation) -> None:
    """Print the ranking to standard output, no wider than reads well."""
    console = Console(highlight=False)
    width = min(console.width, WIDEST) if console.is_terminal else WIDEST
    Console(highlight=False, width=width).print(ranking_view(evaluation, width))


def direction_words(direction: NDArray[np.float64]) -> str:
    """Name a build direction: an axis of the file where it is one, its components otherwise.

    >>> import numpy as np
    >>> direction_words(np.array([0.0, -1.0, 0.0])), direction_words(np.array([0.6, 0.0, 0.8]))
    ('−y', '0.60 0.00 0.80')
    """
    for axis, name in enumerate("xyz"):
        if abs(direction[axis]) > 1.0 - 1e-9:
            return ("+" if direction[axis] > 0 else "−") + name
    return " ".join(f"{value:.2f}".replace("-0.00", "0.00").replace("-", "−") for value in direction)


def _part_line(evaluation: Evaluation) -> Text:
    part = evaluation.part
    size = " × ".join(f"{side:.1f}" for side in part.extents_mm)
    process = evaluation.process
    return Text(
        f"{part.name}: {size} mm, {part.volume_mm3 / 1000:.1f} cm³, {len(part.faces):,} faces; "
        f"{process.polymer}, {process.layer_height_mm:g} mm layers, overhangs to {process.overhang_limit_deg:g}°"
    )


def _table(evaluation: Evaluation, rows: Sequence[int], bars: bool) -> Table:
    ranking = evaluation.ranking
    columns, penalty = ranking.columns, ranking.penalty
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name in ("", "build along", "rests on\nmm²"):
        table.add_column(name, no_wrap=True)
    shown = {
        "support\nmm³": ("support", [f"{v:,.0f}" for v in columns["support_volume_mm3"]]),
        "height\nmm": ("height", [f"{v:.1f}" for v in columns["height_mm"]]),
        "first\nmm²": ("first_layer", [f"{v:,.0f}" for v in columns["first_layer_mm2"]]),
        "strength\nkept": ("load", [f"{100 * v:.0f} %" for v in columns["strength_retained"]]),
        "steps\nmm": ("finish", [f"{v:.3f}" for v in columns["stair_step_mm"]]),
    }
    shown = {head: (name, texts) for head, (name, texts) in shown.items() if name in penalty}
    for head in (*shown, "\nscore"):
        table.add_column(head, justify="right", no_wrap=True)
    for row in rows:
        taken = row + 1 == ranking.recommended
        cells = [
            f"{row + 1} ◀" if taken else f"{row + 1}",
            direction_words(ranking.directions[row]),
            _rest_words(evaluation, row),
        ]
        for name, texts in shown.values():
            cells.append(f"{texts[row]} {bar(penalty[name][row])}" if bars else texts[row])
        table.add_row(*cells, f"{penalty['total'][row]:.3f}", style="bold" if taken else "")
    table.caption = "first: first layer. steps: mean height of the stairs. score: the lower the better"
    table.caption += "; bars: the longer, the more trouble." if bars else "."
    table.caption_justify = "left"
    return table


def bar(penalty: float, width: int = _BAR_WIDTH) -> str:
    """A penalty from 0 to 1 as a bar of block characters, padded to its full width.

    >>> bar(0.5, 4), bar(1.0, 4), bar(0.0, 4)
    ('██  ', '████', '    ')
    """
    eighths = round(min(max(penalty, 0.0), 1.0) * width * 8)
    full, rest = divmod(eighths, 8)
    return (_BAR[8] * full + (_BAR[rest] if rest else "")).ljust(width)


def _rest_words(evaluation: Evaluation, row: int) -> str:
    if row in evaluation.resting:
        contact, stable = evaluation.resting[row]
        return f"{contact:,.0f}" if stable else f"{contact:,.0f}, tips"
    return "no flat"


def _example(evaluation: Evaluation) -> str:
    pose = evaluation.ranking.excluded[0]
    reason = pose.reason[0].lower() + pose.reason[1:] if pose.reason else ""
    return f"{direction_words(pose.direction)}: {reason}"


def _point(said: str) -> Padding:
    return Padding(Text(f"• {said}"), (0, 0, 0, 2))

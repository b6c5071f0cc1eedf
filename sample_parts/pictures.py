"""Draw the README's pictures of the sample bracket: `python -m sample_parts.pictures`."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from orient.brief import read_brief
from orient.features.register import inspect_part
from orient.part.read import read_part
from orient.process import process_from
from orient.show.picture.seen import scene_of
from orient.show.picture.subject import Subject

HERE = Path(__file__).resolve().parent
# The pose to take, as `orient rank` finds it; the tests hold the two to each other.
TAKEN = np.array([0.0, -1.0, 0.0])
DRAWN = {
    "mast_bracket_pose": ("overhang", "corner"),
    "mast_bracket_below": ("overhang", "under"),
    "mast_bracket_features": ("features", "under"),
    "mast_bracket_thickness": ("thickness", "corner"),
}


def draw(folder: Path) -> None:
    brief = read_brief(HERE / "mast_bracket.toml")
    part, process = read_part(HERE / "mast_bracket.stl"), process_from(brief)
    subject = Subject(scene_of(part), process, TAKEN, inspect_part(part, process, TAKEN))
    folder.mkdir(exist_ok=True)
    for name, (colour, view) in DRAWN.items():
        (folder / f"{name}.png").write_bytes(subject.draw(colour, view, (640, 480)).png)


if __name__ == "__main__":
    draw(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pictures")

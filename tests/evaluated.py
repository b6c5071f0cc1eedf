"""Evaluations that several tests look at, each made once."""

from functools import cache
from pathlib import Path

import trimesh

import orient
from orient.brief import Brief
from orient.evaluation import Evaluation

SAMPLES = Path(__file__).resolve().parents[1] / "sample_parts"


@cache
def sample(name: str, directions: int = 200) -> Evaluation:
    """A sample part under its own brief."""
    brief = orient.read_brief(SAMPLES / f"{name}.toml")
    return orient.evaluate(orient.load(brief.part.file), brief, directions=directions, voxels=6000)


@cache
def without_load() -> Evaluation:
    """The gusset without a brief: nothing is said of its load."""
    return orient.evaluate(orient.load(SAMPLES / "gusset.stl"), directions=100)


@cache
def under_limits() -> Evaluation:
    """The bracket where some poses are too tall and some too weak."""
    limits = {"max_height_mm": 46.0, "min_strength_retained": 0.85}
    brief = Brief.model_validate({"load": {"stress_axis": [1, 0, 0]}, "limits": limits})
    return orient.evaluate(orient.load(SAMPLES / "mast_bracket.stl"), brief, directions=200)


@cache
def open_box() -> Evaluation:
    """A box of 10 × 20 × 30 mm that lacks the side at +x."""
    box = trimesh.creation.box((10.0, 20.0, 30.0))
    kept = box.face_normals[:, 0] < 0.5
    mesh = trimesh.Trimesh(box.vertices, box.faces[kept], process=False)
    return orient.evaluate(orient.part_from_trimesh(mesh), directions=50)

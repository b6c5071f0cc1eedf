"""Pages that several tests look at, each made once."""

from dataclasses import replace
from functools import cache

import numpy as np
import trimesh

import orient
from orient.show.page.page import report
from tests.evaluated import sample

HOSTILE = "<script>alert(1)</script> \"it's\" & 'so' " + "🛠️ مرحبا بالعالم " + "ä" * 300


@cache
def bracket() -> str:
    """The page of the bracket under its own brief, load case and all."""
    return report(sample("mast_bracket"))


@cache
def plain_evaluation() -> orient.Evaluation:
    """A rounded slab with nothing hard about it, no load, in one pose."""
    found = orient.evaluate(orient.part_from_trimesh(trimesh.creation.box((40, 30, 10))), directions=20)
    ranking = replace(found.ranking, shown=(found.ranking.recommended - 1,))
    features = found.features
    if features is not None:
        alone = replace(features.recommended, features=())
        features = replace(features, poses={features.taken: alone})
    return replace(found, ranking=ranking, features=features)


@cache
def plain() -> str:
    """Its page."""
    return report(plain_evaluation())


@cache
def hostile() -> str:
    """The page of a part, a job and a load case whose names want to be markup."""
    brief = orient.Brief.model_validate(
        {
            "job": {
                "number": HOSTILE,
                "revision": "</title><b>",
                "customer_ref": "\u202eright to left\u202c",
            },
            "load": {"stress_axis": [1, 0, 0]},
        }
    )
    mesh = trimesh.creation.box((30, 20, 8))
    found = orient.evaluate(orient.part_from_trimesh(mesh, name=HOSTILE), brief, directions=20)
    return report(found)


def sphere(subdivisions: int, radius: float = 20.0) -> orient.Part:
    """A ball, cut flat below so that it can stand."""
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return orient.part_from_trimesh(ball.slice_plane(np.array([0, 0, -0.8 * radius]), [0, 0, 1], cap=True))

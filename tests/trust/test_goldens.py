"""Numbers do not drift: evaluations as they were once found, each beside what the outside says of them.

The recorded figures never stand alone. The same test holds what they are made of to trimesh (volume, area,
extents, sections) and to rays that Embree casts, so a golden value that was wrong when it was recorded fails.

Tolerances: 1e-6 of a figure, since a processor may change the order of a sum (ten thousand terms in double
precision: 1e-12; columns of support in single precision: 1e-7); 1e-5 of a safety factor, which the solver
leaves at a residual of 1e-6; counts, ids, kinds and verdicts exactly.
"""

import json

import numpy as np
import pytest
import trimesh

from tests.measure.measured import support_by_rays, turn_up
from tests.trust.goldens import FILE, SAMPLES, evaluated, golden, names

GOLDENS = json.loads(FILE.read_text(encoding="utf-8"))


def test_every_sample_part_has_its_golden():
    assert sorted(GOLDENS) == names()


@pytest.mark.slow
@pytest.mark.parametrize("name", names())
def test_a_sample_part_evaluates_as_it_did_and_as_the_outside_says(name):
    found, kept = golden(name), GOLDENS[name]
    assert np.allclose(found["direction"], kept["direction"], atol=1e-6)
    for exact in ("poses", "counts", "features", "limit_deg"):
        assert found[exact] == kept[exact]
    assert found["figures"].keys() == kept["figures"].keys()
    for figure, value in found["figures"].items():
        if value is None:
            assert kept["figures"][figure] is None
            continue
        tolerance = 1e-5 if figure == "safety_factor" else 1e-6
        assert value == pytest.approx(kept["figures"][figure], rel=tolerance, abs=1e-9), figure

    # The outside: the same pose by trimesh and by rays.
    mesh = trimesh.load(SAMPLES / f"{name}.stl")
    figures, along = kept["figures"], kept["direction"]
    laid = turn_up(mesh, along)
    assert figures["height_mm"] == pytest.approx(np.ptp(laid.vertices[:, 2]), rel=1e-6)
    section = laid.section([0, 0, 1], [0, 0, laid.bounds[0, 2] + 0.1])
    area = 0.0 if section is None else section.to_2D()[0].area
    assert figures["first_layer_mm2"] == pytest.approx(area, rel=2e-3, abs=0.05)
    volume = support_by_rays(mesh, along, limit_deg=kept["limit_deg"], edge_mm=0.5)[0]
    # A thousandth of the part's own box is less than any ranking tells apart.
    assert figures["support_volume_mm3"] == pytest.approx(
        volume, rel=0.02, abs=1e-3 * mesh.bounding_box.volume
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["fan_duct", "mast_bracket", "sensor_housing"])
def test_nothing_depends_on_the_number_of_threads_or_on_the_run(name):
    one, *others = (evaluated(name, threads) for threads in (1, 2, 4, 2))
    for other in others:
        assert np.array_equal(one.ranking.directions, other.ranking.directions)
        assert one.ranking.columns.keys() == other.ranking.columns.keys()
        for column in one.ranking.columns:
            if column.startswith(("safety", "raw_safety", "max_deflection", "strength_retained")):
                # The solver's, within 1e-8.
                assert np.allclose(
                    one.ranking.columns[column], other.ranking.columns[column], rtol=1e-8, equal_nan=True
                )
                continue
            assert np.array_equal(one.ranking.columns[column], other.ranking.columns[column], equal_nan=True)
        mine, theirs = (found.features.recommended.features for found in (one, other))
        assert [(f.id, f.kind, f.size_mm, f.verdict) for f in mine] == [
            (f.id, f.kind, f.size_mm, f.verdict) for f in theirs
        ]

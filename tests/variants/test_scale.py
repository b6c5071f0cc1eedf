"""A variant in another unit is named, not compared."""

import pytest

from orient.errors import OrientError
from orient.part.mesh import part_from_arrays
from orient.variants.scale import likely_slip, refuse_slip
from tests.variants.shapes import part_of, plate

A = part_of(plate(), "bracket")


def times(factor):
    other = part_of(plate(rib=False))
    return part_from_arrays(other.vertices * factor, other.faces, name="revised")


@pytest.mark.parametrize("factor", [10.0, 25.4, 1000.0])
def test_factor_of_units_is_seen_either_way(factor):
    assert likely_slip(A, times(factor)) == factor
    assert likely_slip(A, times(1 / factor)) == pytest.approx(1 / factor)


@pytest.mark.parametrize("factor", [0.4, 0.9, 1.0, 1.5, 3.0])
def test_larger_redesign_is_no_slip(factor):
    assert likely_slip(A, times(factor)) is None


def test_sentence_names_the_part_the_factor_and_the_unit():
    with pytest.raises(OrientError, match=r"revised is about 25\.4 times as large as bracket.*inches"):
        refuse_slip(A, times(25.4))

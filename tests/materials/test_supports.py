"""Support materials: what goes with what, and how it comes off."""

import pytest

from orient.errors import OrientError
from orient.materials.polymers import polymers
from orient.materials.supports import support_material, support_materials


def test_pairs_name_polymers_that_exist_and_cite_someone():
    for one in support_materials().values():
        assert one.source
        assert one.polymers is None or one.polymers <= set(polymers())


def test_the_parts_own_polymer_goes_with_everything_by_hand():
    own = support_material(None)
    assert all(own.goes_with(key) for key in polymers())
    assert not own.second_material
    assert not own.soluble


def test_water_soluble_support_is_not_for_peek():
    pva = support_material("PVA")
    assert pva.soluble
    assert pva.goes_with("PLA")
    assert not pva.goes_with("PEEK")


def test_an_unknown_support_is_answered_with_the_nearest():
    with pytest.raises(OrientError, match="nearest is PVA"):
        support_material("PVAA")

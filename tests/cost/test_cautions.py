"""Cautions are there where they apply, once, short, and nowhere else."""

import pytest

from orient.brief import Brief
from orient.cost.cautions import DEFER, cautions_for
from orient.materials.machines import machine
from orient.materials.properties import all_properties, properties_of
from orient.materials.supports import support_material


def said(key, brief=None, **more):
    return cautions_for(Brief.model_validate(brief or {}), properties_of(key), **more)


def test_nothing_to_say_nothing_said():
    assert said("PLA") == ()


def test_the_last_word_is_with_maker_rules_and_people():
    for key in all_properties():
        found = said(key, machine=machine("high-temperature"), hours=20.0)
        assert found[-1] == DEFER
        assert len(found) == len(set(found))
        assert all(len(sentence) < 260 for sentence in found)


@pytest.mark.parametrize(
    ("key", "word", "expected"),
    [
        ("ABS", "styrene", True),
        ("ASA", "styrene", True),
        ("PLA", "styrene", False),
        ("PEEK", "vapour", True),
        ("PA6-CF", "dust", True),
        ("PA6", "dust", False),
    ],
)
def test_fumes_and_dust_by_polymer(key, word, expected):
    assert any(word in sentence for sentence in said(key)) == expected


def test_a_support_material_named_for_the_part_itself_is_cautioned():
    for key, known in all_properties().items():
        told = any("washed away" in sentence for sentence in said(key))
        assert told == (known.grade.word == "support")
    assert any("dissolves in water" in sentence for sentence in said("PVA"))


def test_hot_surfaces_with_their_temperatures_once_a_machine_is_named():
    assert "nozzle 400 °C, bed 150 °C" in said("PEEK", machine=machine("high-temperature"))[0]
    assert "bed" not in said("PLA", machine=machine("entry"))[0]


def test_a_bath_and_a_long_build():
    assert any("Solvent" in s for s in said("ABS", support=support_material("HIPS")))
    assert any("flame" in s for s in said("ABS", support=support_material("HIPS")))
    assert any("alkaline" in s for s in said("ABS", support=support_material("alkali")))
    # Lye does not burn; it burns the skin.
    assert not any("flame" in s for s in said("ABS", support=support_material("alkali")))
    assert not any("olvent" in s for s in said("ABS", support=support_material("PVA")))
    assert any("unattended" in s for s in said("PLA", hours=9.0))
    assert said("PLA", hours=1.0) == ()


@pytest.mark.parametrize(
    ("use", "word"), [("food", "Food"), ("skin", "Skin"), ("medical", "Medical"), ("lifting", "Lifting")]
)
def test_delicate_uses_are_handed_to_those_who_answer_for_them(use, word):
    assert any(sentence.startswith(word) for sentence in said("PLA", {"job": {"use": [use]}}))

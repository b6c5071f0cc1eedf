"""Hard features of two variants are paired by kind, place, axis and size."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from orient.features import sharp_corner
from orient.features.model import Feature
from orient.part.mesh import part_from_trimesh
from orient.process import Process
from orient.variants.features import match_features
from orient.variants.register import Registration

HOME = Registration(np.eye(3), np.zeros(3), True, False, 1.0, 0.0, 0.01)
NONE = np.zeros(0, dtype=np.int64)


def feature(name, kind, size, at, verdict="support", direction=None):
    return Feature(name, kind, verdict, size, None, at, direction, 1.0, "", (), NONE)


def states(first, second, placed=HOME):
    return [
        (one.state, one.first and one.first.id, one.second and one.second.id)
        for one in match_features(first, second, placed, 100.0)
    ]


def test_each_feature_is_matched_once():
    first = [feature("B1", "bridge", 20, (0, 0, 0)), feature("B2", "bridge", 20, (30, 0, 0))]
    second = [feature("B1", "bridge", 20, (30.5, 0, 0))]
    assert states(first, second) == [("gone", "B1", None), ("same", "B2", "B1")]


def test_other_kind_in_one_place_is_no_match():
    assert states([feature("B1", "bridge", 9, (0, 0, 0))], [feature("O1", "overhang", 9, (0, 0, 0))]) == [
        ("gone", "B1", None),
        ("new", None, "O1"),
    ]


@pytest.mark.parametrize(
    ("kind", "sizes", "verdicts", "state"),
    [
        ("bridge", (20, 14), ("support", "support"), "easier"),
        ("bridge", (20, 26), ("support", "support"), "harder"),
        ("thin_wall", (0.8, 1.2), ("tune", "tune"), "easier"),
        ("thin_wall", (0.8, 0.6), ("tune", "tune"), "harder"),
        ("hole", (12, 12), ("tune", "fine"), "easier"),
        ("hole", (12, 12), ("fine", "redesign"), "harder"),
        ("hole", (5.5, 6.5), ("fine", "fine"), "same"),
        ("bridge", (20, 20.2), ("support", "support"), "same"),
    ],
)
def test_verdict_decides_and_then_size(kind, sizes, verdicts, state):
    first, second = (feature("X", kind, s, (0, 0, 0), v) for s, v in zip(sizes, verdicts, strict=True))
    assert [one[0] for one in states([first], [second])] == [state]


def test_axis_and_size_tell_features_apart():
    x, z = feature("H1", "hole", 5, (0, 0, 0), direction=(1.0, 0.0, 0.0)), (0.0, 0.0, 1.0)
    assert [one[0] for one in states([x], [feature("H1", "hole", 5, (0, 0, 0), direction=z)])] == [
        "gone",
        "new",
    ]
    twins = [feature("H1", "hole", 5, (0, 0, 0)), feature("H2", "hole", 9, (0, 0, 0))]
    swapped = [feature("H1", "hole", 9, (0, 0, 0)), feature("H2", "hole", 5, (0, 0, 0))]
    assert states(twins, swapped) == [("same", "H1", "H2"), ("same", "H2", "H1")]


def test_places_are_compared_after_registration():
    placed = Registration(np.diag([-1.0, -1.0, 1.0]), np.array([100.0, 0, 0]), False, False, 1.0, 0.0, 0.01)
    first = [feature("B1", "bridge", 20, (90, 5, 0))]
    second = [feature("B1", "bridge", 20, (10, -5, 0))]
    assert [one[0] for one in states(first, second, placed)] == ["same"]
    assert [one[0] for one in states(first, second)] == ["gone", "new"]


def corner(size, at=(0, 0, 0), turn=90.0, where="inside", direction=None):
    one = feature("C1", "sharp_corner", size, at, "tune", direction)
    return replace(one, more={"where": where, "turn_deg": turn})


def test_a_loop_of_corners_that_was_cut_open_is_no_easier_and_none_that_was_closed_is_harder():
    open_, closed = corner(20.0), corner(48.0)
    assert [one[0] for one in states([open_], [closed])] == ["same"]
    assert [one[0] for one in states([closed], [open_])] == ["same"]
    straight = corner(20.0, direction=(0.0, 1.0, 0.0)), corner(48.0, direction=(0.0, 1.0, 0.0))
    assert [one[0] for one in states(*([one] for one in straight))] == ["harder"]


def test_corners_are_one_only_where_they_bend_alike_and_lie_near():
    assert [one[0] for one in states([corner(36.0)], [corner(69.0, turn=72.0)])] == ["gone", "new"]
    assert [one[0] for one in states([corner(36.0)], [corner(36.0, where="outline")])] == ["gone", "new"]
    # The middle of a long loop may lie half its length from a short corner that is another.
    assert [one[0] for one in states([corner(36.0)], [corner(69.0, at=(23, 0, 0))])] == ["gone", "new"]


def stepped(*blocks):
    """A plate with blocks on it, and the corners at their feet."""
    solids = [trimesh.creation.box(bounds=[[-30, -20, -6], [30, 20, 0]])]
    solids += [trimesh.creation.box(bounds=bounds) for bounds in blocks]
    part = part_from_trimesh(trimesh.boolean.union(solids))
    corners = [sharp_corner.judge(one, Process()) for one in sharp_corner.find(part)]
    return part, [replace(one, id=f"C{k}") for k, one in enumerate(corners, start=1)]


def matched(first, second):
    parts = first[0], second[0]
    return [
        (one.state, one.first and round(one.first.size_mm), one.second and round(one.second.size_mm))
        for one in match_features(first[1], second[1], HOME, parts[0].size_mm, parts)
    ]


def test_what_is_left_of_a_foot_is_the_same_corner():
    # A block in the middle has a foot all round; flush with three sides of the plate it keeps one run.
    loop = stepped([[-10, -10, -1], [10, 10, 20]])
    left = stepped([[-10, -20, -1], [30, 20, 20]])
    assert [round(one.size_mm) for one in loop[1]] == [80]
    assert matched(loop, loop) == [("same", 80, 80)]
    assert matched(loop, left) == [("same", 80, 40)]
    assert matched(left, loop) == [("same", 40, 80)]


def test_a_corner_is_not_the_same_as_one_that_is_near_its_middle_only():
    # The foot of the block is gone; a small block stands where its middle was.
    loop = stepped([[-18, -18, -1], [18, 18, 20]])
    small = stepped([[-3, -3, -1], [3, 3, 20]])
    assert sorted(one[0] for one in matched(loop, small)) == ["gone", "new"]


def test_an_outline_is_the_same_whichever_of_its_corners_is_named():
    part = part_from_trimesh(trimesh.creation.box((120, 40, 5)))
    (found,) = sharp_corner.find_outline(part, np.array([0.0, 0.0, 1.0]))
    one = replace(sharp_corner.judge(found, Process()), id="C1")
    other = replace(one, at_mm=(-one.at_mm[0], -one.at_mm[1], one.at_mm[2]))
    assert matched((part, [one]), (part, [other])) == [("same", 126, 126)]

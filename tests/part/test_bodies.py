import numpy as np
import pytest
import trimesh

from orient.part.mesh import part_from_arrays, part_from_trimesh
from tests.part.shapes import box, prism, stacked


def turned_inside_out(mesh):
    return mesh[0], mesh[1][:, ::-1]


def test_boxes_that_overlap_become_one_with_the_volume_of_their_union():
    part = part_from_arrays(*stacked(box(), box(at=(5, 5, 5))))
    assert part.bodies == 1
    assert part.closed
    assert part.volume_mm3 == pytest.approx(2 * 1000 - 125)
    assert "2 bodies that touch or overlap were joined." in part.health.repairs


def test_boxes_that_share_a_face_lose_the_wall_between_them():
    part = part_from_arrays(*stacked(box(), box(at=(10, 0, 0))))
    assert part.bodies == 1
    assert part.area_mm2 == pytest.approx(2 * 100 + 4 * 200)
    assert part.volume_mm3 == pytest.approx(2000)


def test_a_box_standing_on_another_touches_it():
    part = part_from_arrays(*stacked(box((20, 20, 2)), box((5, 5, 5), at=(3, 4, 2))))
    assert part.bodies == 1
    assert part.area_mm2 == pytest.approx(2 * 400 + 4 * 40 + 4 * 25)


def test_boxes_that_share_one_edge_are_one_closed_body():
    part = part_from_arrays(*stacked(box(), box(at=(10, 10, 0))))
    assert part.bodies == 1
    assert part.closed
    assert part.volume_mm3 == pytest.approx(2000)


def test_boxes_apart_stay_apart():
    part = part_from_arrays(*stacked(box(), box(at=(10.01, 0, 0))))
    assert part.bodies == 2
    assert part.volume_mm3 == pytest.approx(2000)


def test_a_hollow_is_a_void_and_no_body():
    part = part_from_arrays(*stacked(box((20, 20, 20)), turned_inside_out(box(at=(5, 5, 5)))))
    assert part.bodies == 1
    assert part.closed
    assert part.volume_mm3 == pytest.approx(8000 - 1000)
    assert part.health.repairs == ()


def test_a_hollow_part_drawn_inside_out_keeps_its_hollow():
    part = part_from_arrays(*stacked(turned_inside_out(box((20, 20, 20))), box(at=(5, 5, 5))))
    assert part.bodies == 1
    assert part.volume_mm3 == pytest.approx(8000 - 1000)
    assert part.health.inside_out_bodies == 1


def test_a_ball_loose_in_a_hollow_is_a_body_of_its_own():
    ball = trimesh.creation.icosphere(subdivisions=2, radius=3)
    ball.apply_translation((10, 10, 10))
    part = part_from_arrays(
        *stacked(box((20, 20, 20)), turned_inside_out(box(at=(5, 5, 5))), (ball.vertices, ball.faces))
    )
    assert part.bodies == 2
    assert part.volume_mm3 == pytest.approx(7000 + ball.volume)


def test_a_solid_swallowed_by_another_is_not_counted_twice():
    part = part_from_arrays(*stacked(box((20, 20, 20)), box(at=(5, 5, 5))))
    assert part.bodies == 1
    assert part.volume_mm3 == pytest.approx(8000)


def test_one_body_inside_out_among_others_is_turned_alone():
    part = part_from_arrays(*stacked(box(), turned_inside_out(box(at=(20, 0, 0)))))
    assert part.health.inside_out_bodies == 1
    assert part.volume_mm3 == pytest.approx(2000)


def test_a_chain_of_bodies_is_joined_whole():
    links = [
        trimesh.creation.torus(
            10, 2, transform=trimesh.transformations.rotation_matrix(k * np.pi / 2, [1, 0, 0])
        )
        for k in range(3)
    ]
    for k, link in enumerate(links):
        link.apply_translation((15 * k, 0, 0))
    part = part_from_arrays(*stacked(*((link.vertices, link.faces) for link in links)))
    # Links that hang in each other without touching are bodies of their own.
    assert part.bodies == 3
    near = [(link.vertices - (-1.2 * k, 0, 0), link.faces) for k, link in enumerate(links)]
    assert part_from_arrays(*stacked(*near)).bodies == 1


def test_an_open_shell_near_another_is_kept_as_it_is_and_said():
    vertices, faces = box()
    part = part_from_arrays(*stacked((vertices, faces[:-1]), box(at=(5, 5, 5))))
    assert part.bodies == 1
    assert not part.closed
    assert len(part.faces) == 23
    assert any("not all closed" in sentence for sentence in part.health.warnings)


def test_groups_follow_faces_through_joining():
    part = part_from_arrays(
        *stacked(box(), box(at=(5, 5, 5))), groups={"low": np.arange(12), "high": np.arange(12, 24)}
    )
    low, high = (part.areas[part.groups[name]].sum() for name in ("low", "high"))
    # Each box keeps its 600 mm² less the three quarters of 25 mm² that lie inside the other.
    assert (low, high) == pytest.approx((525, 525))
    assert sorted(np.concatenate(list(part.groups.values()))) == list(range(len(part.faces)))


def test_joining_agrees_with_the_sum_of_sections():
    # Two crossed cylinders of equal radius share the Steinmetz solid, 16 r³/3.
    r, length = 5, 40
    one = trimesh.creation.cylinder(r, length, sections=256)
    other = one.copy()
    other.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    part = part_from_trimesh(trimesh.util.concatenate([one, other]))
    assert part.volume_mm3 == pytest.approx(2 * np.pi * r**2 * length - 16 * r**3 / 3, rel=1e-3)


def test_bodies_come_largest_first_whatever_their_order():
    small, large = prism(12, 2, 5), box((20, 20, 20), at=(10, 10, 10))
    one, other = part_from_arrays(*stacked(small, large)), part_from_arrays(*stacked(large, small))
    np.testing.assert_array_equal(one.vertices, other.vertices)
    np.testing.assert_array_equal(one.faces, other.faces)

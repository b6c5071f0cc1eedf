"""Known edits, made by manifold3d, are found each once and to the last per cent; nothing else is listed."""

import numpy as np
import pytest
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from orient.part.mesh import part_from_arrays
from orient.variants.changes import changes_between
from orient.variants.nearest import surface_of
from orient.variants.register import register
from tests.variants.shapes import FILLET_MM, lens_mm3, part_of, plate, turned


def found(first, second):
    placed = register(first, second)
    surfaces = tuple(surface_of(p.vertices, p.faces) for p in (first, second))
    return changes_between(first, second, placed, surfaces)


def told(changes):
    return [(one.what, round(one.volume_mm3, 1)) for one in changes.pieces]


A = part_of(plate())
ROTATION, SHIFT = Rotation.random(random_state=5).as_matrix(), (10.0, 20.0, 30.0)


@pytest.mark.parametrize("sections", [48, 70])  # the second cuts every circle into other chords
@pytest.mark.parametrize("moved", [False, True])  # exported in another frame
class TestEdits:
    def second(self, sections, moved, **edit):
        part = part_of(plate(sections=sections, **edit))
        return turned(part, ROTATION, SHIFT) if moved else part

    def test_hole_moved_2_mm(self, sections, moved):
        pieces = found(A, self.second(sections, moved, hole_x=12.0)).pieces
        assert [one.what for one in pieces] == ["added", "removed"]
        # The circle's area within what 48 chords leave of it: 0.3 %.
        for one in pieces:
            assert one.volume_mm3 == pytest.approx(lens_mm3(6.6, 2.0, 5.0), rel=0.01)
            assert one.at_mm[1:] == pytest.approx([5.0, 2.5], abs=0.05)
        assert pieces[0].at_mm[0] < 10.0 < 12.0 < pieces[1].at_mm[0]

    def test_fillet_added(self, sections, moved):
        (piece,) = found(A, self.second(sections, moved, fillet=True)).pieces
        assert piece.what == "added"
        # (1 − π/4)·r² a millimetre, and half of what the chords of a quarter circle leave: under 1 %.
        assert piece.volume_mm3 == pytest.approx((1 - np.pi / 4) * FILLET_MM**2 * 30, rel=0.01)
        assert piece.at_mm[0] == pytest.approx(5.0, abs=0.1)

    def test_rib_removed(self, sections, moved):
        (piece,) = found(A, self.second(sections, moved, rib=False)).pieces
        assert piece.what == "removed"
        # 2 mm × (23 × 15): the rib less what is inside wall and plate.
        assert piece.volume_mm3 == pytest.approx(690.0, rel=1e-5)
        # Both sides, the top and the end; the two ends where it was joined were no surface.
        assert piece.area_mm2 == pytest.approx(2 * 23 * 15 + 2 * 23 + 2 * 15, rel=0.01)
        assert piece.at_mm == pytest.approx([-19.0, -6.5, 12.5], abs=1e-3)

    def test_wall_thickened_by_less_than_half_a_millimetre(self, sections, moved):
        (piece,) = found(A, self.second(sections, moved, wall=2.4)).pieces
        assert piece.what == "added"
        # The wall stands 20 mm over the plate, less the hole Ø 9 and where the rib meets it.
        clear = 60 * 20 - np.pi * 4.5**2 - 2 * 15
        assert piece.volume_mm3 == pytest.approx(0.4 * clear, rel=0.01)
        assert piece.thickness_mm == pytest.approx(0.4, abs=0.005)

    def test_four_edits_at_once(self, sections, moved):
        pieces = found(A, self.second(sections, moved, hole_x=12.0, rib=False, fillet=True)).pieces
        assert [one.id for one in pieces] == ["A1", "A2", "R1", "R2"]

    def test_nothing_changed(self, sections, moved):
        assert told(found(A, self.second(sections, moved))) == []


@pytest.mark.parametrize("side", [4.0, 20.0])
def test_a_flat_pad_is_as_thick_as_it_was_drawn(side):
    pad = Manifold.cube((side, side, 1.0), True).translate((10, 5, 5.5))
    changes = found(
        part_of(Manifold.cube((60, 40, 10), True)), part_of(Manifold.cube((60, 40, 10), True) + pad)
    )
    (piece,) = changes.pieces
    assert piece.thickness_mm == pytest.approx(1.0, abs=1e-4)


def test_split_triangles_are_no_change():
    assert told(found(A, part_of(plate().refine(3)))) == []


def test_mirror_image_has_no_changes_but_that():
    assert told(found(A, part_of(plate().mirror((1, 0, 0))))) == []


def test_one_way_is_the_mirror_image_of_the_other():
    b = turned(part_of(plate(hole_x=12.0, rib=False, sections=70)), ROTATION, SHIFT)
    there, back = found(A, b).pieces, found(b, A).pieces
    other = {"added": "removed", "removed": "added"}
    assert sorted((other[one.what], round(one.volume_mm3, 2)) for one in there) == sorted(
        (one.what, round(one.volume_mm3, 2)) for one in back
    )
    placed = register(A, b)
    for one in there:
        twin = min(
            back, key=lambda two, one=one: abs(two.volume_mm3 - one.volume_mm3) + (two.what == one.what)
        )
        assert placed.points_in_first(twin.at_mm) == pytest.approx(one.at_mm, abs=1e-3)


def test_plug_in_a_hole_is_found_though_all_its_corners_lie_on_the_part():
    plugged = plate() + Manifold.cylinder(5.0, 3.4, circular_segments=48).translate((10, 5, 0))
    (piece,) = found(A, part_of(plugged)).pieces
    assert piece.what == "added"
    assert piece.volume_mm3 == pytest.approx(np.pi * 3.3**2 * 5, rel=0.01)


def test_mesh_that_is_not_closed_is_compared_by_distance():
    def opened(part):
        return part_from_arrays(part.vertices, np.delete(np.asarray(part.faces), 5, axis=0))

    same = found(A, opened(A))
    assert same.approximate
    assert told(same) == []
    changes = found(A, opened(part_of(plate(rib=False))))
    (piece,) = changes.pieces
    assert piece.what == "removed"
    assert piece.area_mm2 == pytest.approx(766.0, rel=0.01)
    # Volumes of open meshes are a guess.
    assert 300 < piece.volume_mm3 < 1000
    assert piece.at_mm == pytest.approx([-19.0, -6.5, 12.5], abs=1.0)

"""Pictures hold true lengths and areas, and read without colour."""

import io
import math
from functools import cache

import matplotlib
import numpy as np
import pytest
import trimesh
from PIL import Image

import orient
from orient.errors import OrientError
from orient.features.model import Feature
from orient.pose.rotation import rotation_to_bed
from orient.process import Process
from orient.show.picture.bed import bed_for
from orient.show.picture.camera import VIEWS, camera_for, view_angles
from orient.show.picture.colours import PLAIN, cividis, viridis
from orient.show.picture.draw import _unseen_words, _verdicts, angles_for, draw_close_up, draw_picture
from orient.show.picture.legend import _marks
from orient.show.picture.lettering import spread, text_width
from orient.show.picture.light import hatched
from orient.show.picture.paint import (
    HELD,
    OF_VERDICT,
    ON_BED,
    KindPaint,
    feature_paint,
    overhang_paint,
    thickness_paint,
)
from orient.show.picture.seen import look, scene_of
from orient.show.picture.subject import Subject, subject_of
from orient.show.picture.supports import support_columns
from sample_parts.pictures import DRAWN, TAKEN, draw
from tests.evaluated import SAMPLES, sample, without_load

UP = np.array([0.0, 0.0, 1.0])


def posed(mesh):
    part = orient.part_from_trimesh(mesh)
    return scene_of(part), rotation_to_bed(UP, part.hull.points)


def seen_from(scene, transform, view, size=(600, 450)):
    laid = scene.part.hull.points @ transform[:3, :3].T + transform[:3, 3]
    camera = camera_for(laid, *view_angles(view), *size, (10, 10, 10, 10))
    return look(scene, transform, camera)


@cache
def table():
    """A plate of 40 × 40 × 4 mm on a leg of 10 × 10 × 20 mm."""
    leg = trimesh.creation.box((10, 10, 20), trimesh.transformations.translation_matrix((0, 0, 10)))
    top = trimesh.creation.box((40, 40, 4), trimesh.transformations.translation_matrix((0, 0, 22)))
    return posed(trimesh.boolean.union([leg, top], engine="manifold"))


def test_pixels_of_a_spheres_overhang_cover_the_area_that_its_cap_has():
    # The cap of a sphere that leans out by more than the angle a from the wall has the radius R cos a, seen
    # from below; a face needs holding up from 45.1° on.
    radius = 20.0
    scene, transform = posed(trimesh.creation.icosphere(subdivisions=5, radius=radius))
    seen = seen_from(scene, transform, "below", (800, 600))
    code = overhang_paint(scene.part, UP, Process()).code
    held = (seen.face >= 0) & np.isin(code, (HELD, ON_BED))[seen.face]
    area = float(held.sum()) * seen.camera.mm_per_px**2
    assert area == pytest.approx(math.pi * (radius * math.cos(math.radians(45.1))) ** 2, rel=0.02)
    everything = float((seen.face >= 0).sum()) * seen.camera.mm_per_px**2
    assert everything == pytest.approx(math.pi * radius**2, rel=0.005)


@pytest.mark.parametrize(("view", "sides"), [("front", (30, 10)), ("right", (20, 10)), ("above", (30, 20))])
def test_a_block_covers_its_own_side_seen_square_on(view, sides):
    scene, transform = posed(trimesh.creation.box((30, 20, 10)))
    seen = seen_from(scene, transform, view)
    rows, columns = np.nonzero(seen.face >= 0)
    mm = seen.camera.mm_per_px
    assert (np.ptp(columns) + 1) * mm == pytest.approx(sides[0], abs=1.5 * mm)
    assert (np.ptp(rows) + 1) * mm == pytest.approx(sides[1], abs=1.5 * mm)


def test_what_a_pixel_shows_lies_where_the_camera_projects_it():
    scene, transform = table()
    seen = seen_from(scene, transform, "corner")
    rows, columns = np.nonzero(seen.face >= 0)
    some = np.arange(0, len(rows), 97)
    points = seen.points((rows[some], columns[some]))
    there = seen.camera.project(points)
    assert np.abs(there[:, 0] - columns[some] - 0.5).max() < 1e-6
    assert np.abs(there[:, 1] - rows[some] - 0.5).max() < 1e-6
    # And on the part: within the plane of the face that the pixel names.
    part = scene.part
    face = seen.face[rows[some], columns[some]]
    back = (points - transform[:3, 3]) @ transform[:3, :3]
    off = np.einsum("ij,ij->i", part.normals[face], back - part.vertices[part.faces[face, 0]])
    assert np.abs(off).max() < 1e-4


def test_columns_of_support_fill_the_room_under_a_table():
    scene, transform = table()
    code = overhang_paint(scene.part, UP, Process()).code
    columns = support_columns(scene, transform, code)
    pitch = 40.0 / 56
    volume = float((columns[:, 1, 2] - columns[:, 0, 2]).sum()) * pitch**2
    assert volume == pytest.approx((40**2 - 10**2) * 20, rel=0.03)
    assert np.allclose(columns[:, 0, 2], 0.0)


def test_support_stands_on_the_part_where_the_part_is_below():
    # A lintel over a slab: what holds the lintel stands on the slab, 6 mm up.
    slab = trimesh.creation.box((40, 20, 6), trimesh.transformations.translation_matrix((0, 0, 3)))
    wall = trimesh.creation.box((6, 20, 30), trimesh.transformations.translation_matrix((-17, 0, 15)))
    beam = trimesh.creation.box((40, 20, 6), trimesh.transformations.translation_matrix((0, 0, 33)))
    scene, transform = posed(trimesh.boolean.union([slab, wall, beam], engine="manifold"))
    code = overhang_paint(scene.part, UP, Process()).code
    columns = support_columns(scene, transform, code)
    assert np.allclose(columns[:, 0, 2], 6.0, atol=1e-4)
    assert np.allclose(columns[:, 1, 2], 30.0, atol=1e-4)


def test_thickness_of_a_plate_is_its_own_and_what_is_thinner_than_the_limit_is_hatched():
    scene, _ = posed(trimesh.creation.box((40, 30, 0.6)))
    paint = thickness_paint(scene, Process())
    flat = np.abs(scene.part.normals[:, 2]) > 0.5
    assert np.allclose(paint.face_values[flat], 0.6, atol=1e-6)
    assert paint.least == pytest.approx(0.6)
    assert paint.watch == Process().wall_limit_mm > 0.6


def test_thickness_of_a_shell_is_the_gap_between_its_spheres():
    shell = trimesh.boolean.difference(
        [trimesh.creation.icosphere(4, 20.0), trimesh.creation.icosphere(4, 18.0)], engine="manifold"
    )
    scene, _ = posed(shell)
    paint = thickness_paint(scene, Process())
    assert np.nanmedian(paint.face_values) == pytest.approx(2.0, rel=0.03)


def test_safety_in_the_picture_is_that_of_the_ranking():
    found = sample("mast_bracket")
    row = found.ranking.recommended - 1
    paint = subject_of(found, row).paint("safety")
    assert paint.least == pytest.approx(found.ranking.columns["safety_factor"][row], rel=1e-9)
    known = np.isfinite(paint.face_values)
    assert known.any()
    assert (paint.face_values[known] >= paint.least * (1 - 1e-9)).all()


def test_a_picture_is_the_same_bytes_every_time_and_of_the_size_asked_for():
    scene, transform = table()
    paint = overhang_paint(scene.part, UP, Process())
    one, two = (
        draw_picture(scene, transform, paint, angles=view_angles("corner"), size=(320, 240)) for _ in range(2)
    )
    assert one.png == two.png
    assert Image.open(io.BytesIO(one.png)).size == (320, 240) == (one.width, one.height)


@pytest.mark.parametrize("view", [*VIEWS, "30,-20"])
def test_every_view_shows_part_and_words_inside_the_picture(view):
    scene, transform = table()
    drawn = draw_picture(
        scene,
        transform,
        overhang_paint(scene.part, UP, Process()),
        angles=angles_for(scene, transform, view),
        size=(320, 240),
    )
    grey = np.asarray(Image.open(io.BytesIO(drawn.png)).convert("L")).astype(int)
    assert grey.std() > 10
    rim = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    assert np.ptp(rim) < 4


def test_the_corner_is_chosen_from_which_most_is_seen():
    # A block with three holes on one long side: a corner that shows that side.
    block = trimesh.creation.box((60, 20, 30))
    drills = [
        trimesh.creation.cylinder(4, 12, transform=trimesh.transformations.compose_matrix(
            angles=(math.pi / 2, 0, 0), translate=(x, 10, 0)))
        for x in (-18, 0, 18)
    ]  # fmt: skip
    scene, transform = posed(trimesh.boolean.difference([block, *drills], engine="manifold"))
    side = transform[:3, :3] @ np.array([0.0, 1.0, 0.0])
    azimuth, _ = angles_for(scene, transform, "corner")
    stands = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth)), 0.0])
    assert stands @ side > 0.5


def test_kinds_differ_in_hatch_or_stand_apart_in_grey():
    found = sample("mast_bracket")
    subject = subject_of(found, found.ranking.recommended - 1)
    for paint in (subject.paint("overhang"), feature_paint(found.part, subject.inspection.features)):
        looks = [(kind.hatch, round(np.dot(kind.colour, (0.299, 0.587, 0.114)))) for kind in paint.kinds]
        for k, (hatch, grey) in enumerate(looks):
            for other, shade in looks[:k]:
                assert hatch != other or abs(grey - shade) > 25


@pytest.mark.parametrize(
    ("pattern", "low", "high"),
    [("none", 0, 0), ("lines", 0.12, 0.3), ("cross", 0.25, 0.5), ("dots", 0.1, 0.5)],
)
def test_a_hatch_inks_its_share(pattern, low, high):
    rows, columns = (grid.ravel() for grid in np.mgrid[:240, :240])
    assert low <= hatched(rows, columns, pattern, 12).mean() <= high


@pytest.mark.parametrize("ramp", [cividis, viridis])
def test_values_are_coloured_as_published(ramp):
    # matplotlib ships the tables that the authors gave out.
    at = np.linspace(0.0, 1.0, 256)
    reference = matplotlib.colormaps[ramp.__name__](at)[:, :3] * 255
    # Every fifth entry is kept: none is off by more than 2 %.
    assert np.abs(ramp(at) - reference).max() < 0.02 * 255
    lightness = ramp(at) @ np.array((0.299, 0.587, 0.114))
    assert (np.diff(lightness) > -0.6).all()


def test_no_safety_factor_looks_like_the_grey_of_nothing_to_say():
    colours = viridis(np.linspace(0.0, 1.0, 256)).astype(int)
    assert np.ptp(colours, axis=1).min() > 50
    assert np.ptp(np.array(PLAIN)) < 10
    assert np.linalg.norm(colours - np.array(PLAIN), axis=1).min() > 80


@pytest.mark.parametrize("line", [0.1, 0.25, 0.45, 0.8, 1.1, 1.24, 2.0])
def test_a_scale_of_thickness_is_marked_whatever_its_length(line):
    scene, transform = table()
    paint = thickness_paint(scene, Process(line_width_mm=line))
    marks = _marks(paint)
    assert 2 <= len(marks) <= 7
    assert marks == sorted(set(marks))
    assert marks[-1] == paint.high
    draw_picture(scene, transform, paint, angles=(-60.0, 20.0), size=(240, 180))


def test_labels_are_spread_apart_and_stay_in_order():
    rng = np.random.default_rng(6)
    for _ in range(50):
        wanted = rng.uniform(0, 400, rng.integers(1, 20))
        placed = spread(wanted, 20.0, 0.0, 400.0)
        ordered = placed[np.argsort(wanted, kind="stable")]
        assert (np.diff(ordered) >= 20.0 - 1e-9).all()
        assert placed.min() >= 10.0 - 1e-9
        assert placed.max() <= 390.0 + 1e-9


def test_a_bed_is_of_whole_squares_and_holds_the_part():
    for size in (0.4, 7.0, 90.0, 333.0, 2500.0):
        bed = bed_for(np.array([size, size / 3, size]))
        assert (2 * bed.half_mm >= (size, size / 3)).all()
        squares = 2 * bed.half_mm / bed.square_mm
        assert np.allclose(squares, np.round(squares))
        assert squares.max() <= 20


@pytest.mark.parametrize("view", ["sideways", "1,2,3", "10,91", "nan,0", "--3,4", ""])
def test_a_view_that_is_none_is_answered_with_those_there_are(view):
    with pytest.raises(OrientError, match="corner"):
        view_angles(view)


def test_safety_cannot_be_shown_where_there_is_no_load_case():
    found = without_load()
    with pytest.raises(OrientError, match=r"load\.case"):
        subject_of(found, 0).paint("safety")
    with pytest.raises(OrientError, match="thickness"):
        subject_of(found, 0).paint("price")


def test_words_of_a_picture_hold_its_numbers():
    scene, _ = table()
    subject = Subject(scene, Process(), UP)
    said = subject.alt("overhang", "under")
    # The plate's underside less the leg; the leg's own foot.
    assert "1,500 mm² of" in said
    assert "100 mm² lies on the bed" in said
    assert "24.0 mm tall" in said
    assert "from a corner below" in said
    assert "4.00 mm" in subject.alt("thickness", "30,20")


def test_the_readmes_pictures_are_what_their_script_draws(tmp_path):
    draw(tmp_path)
    for name in DRAWN:
        fresh, kept = (
            np.asarray(Image.open(folder / f"{name}.png").convert("RGB")).astype(int)
            for folder in (tmp_path, SAMPLES / "pictures")
        )
        # Another version of a library may move a letter by a pixel; it draws no other picture.
        assert fresh.shape == kept.shape
        assert (np.abs(fresh - kept).max(axis=2) > 40).mean() < 0.005


def test_the_readmes_pictures_show_the_pose_to_take():
    ranking = sample("mast_bracket").ranking
    assert np.allclose(ranking.directions[ranking.recommended - 1], TAKEN)
    readme = (SAMPLES.parent / "README.md").read_text(encoding="utf-8")
    for name in DRAWN:
        assert f"sample_parts/pictures/{name}.png" in readme


def test_what_lies_inside_is_shown_through_a_cut():
    hollow = trimesh.boolean.difference(
        [trimesh.creation.box((40, 30, 20)), trimesh.creation.box((30, 20, 6))], engine="manifold"
    )
    scene, transform = posed(hollow)
    part = scene.part
    ceiling = np.flatnonzero((part.normals[:, 2] < -0.5) & (np.abs(part.centroids[:, 2]) < 4))
    void = Feature(
        "V1", "closed_void", "redesign", 30.0, None, (0, 0, 3), None, 600.0, "It is shut in.", (), ceiling
    )
    drawn = draw_close_up(scene, transform, feature_paint(part, [void]), void, size=(160, 120))
    shown = np.asarray(Image.open(io.BytesIO(drawn.png)).convert("RGB")).astype(int)
    # Reddish purple where the verdict is seen: much red and blue, little green.
    purple = (shown[..., 0] > shown[..., 1] + 25) & (shown[..., 2] > shown[..., 1] + 15)
    assert purple.mean() > 0.15


def test_letters_carry_the_colour_of_their_verdict_and_what_is_not_seen_is_named():
    found = sample("mast_bracket")
    subject = subject_of(found, found.ranking.recommended - 1)
    hard = [one for one in subject.inspection.features if one.verdict != "fine"]
    paint = subject.paint("features")
    named, fills = _verdicts(paint, hard)
    assert {paint.kinds[k].said for k in named} == {one.verdict for one in hard}
    assert all(fills[one.id] == OF_VERDICT[one.verdict].colour for one in hard)
    assert _unseen_words(["O1", "C2"], 0, 1e4, 16) == "Not seen from here: O1, C2"
    assert _unseen_words([], 3, 1e4, 16) == "3 more have no letter"
    short = _unseen_words([f"C{k}" for k in range(60)], 0, 400.0, 16)
    assert short.endswith("more")
    assert text_width(short, 16) <= 400.0


def test_a_close_up_of_a_corner_shows_the_corner_in_its_colour():
    found = sample("mast_bracket")
    subject = subject_of(found, found.ranking.recommended - 1)
    features = subject.paint("features")
    plain = KindPaint(features.name, features.kinds, np.zeros_like(features.code))
    for one in subject.inspection.features:
        if one.kind == "sharp_corner":
            picture = draw_close_up(subject.scene, subject.transform, plain, one)
            seen = np.asarray(Image.open(io.BytesIO(picture.png)).convert("RGB")).astype(int)
            near = np.abs(seen - np.array(OF_VERDICT[one.verdict].colour)).max(axis=-1) < 30
            assert near.sum() > 60, one.id

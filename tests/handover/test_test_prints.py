"""Test prints: closed, part of the part, and as hard as the feature they show."""

from itertools import product
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

import orient
from orient.brief import read_brief
from orient.cost.plan import Plan
from orient.errors import OrientError
from orient.features.register import inspect_part
from orient.handover.lettering import letters, text_width_mm
from orient.handover.test_print import feature_named, print_feature
from orient.handover.tray import fits_time, tray_bytes, tray_document, tray_of
from orient.part.mesh import part_from_trimesh
from orient.process import Process

PROCESS, PLAN = Process(), Plan()


def solid(mesh):
    return manifold3d.Manifold(
        manifold3d.Mesh64(np.array(mesh.vertices, float), np.array(mesh.faces, np.uint64))
    )


@pytest.fixture(scope="module")
def portal():
    """A portal with a ceiling of 16 mm, 24 mm up, and a thin fin."""
    block = trimesh.creation.box(bounds=[[0, 0, 0], [40, 20, 30]])
    way = trimesh.creation.box(bounds=[[12, -1, -1], [28, 21, 24]])
    fin = trimesh.creation.box(bounds=[[2, 9, 29], [10, 9.7, 38]])
    part = part_from_trimesh(trimesh.boolean.union([trimesh.boolean.difference([block, way]), fin]), "portal")
    return inspect_part(part, PROCESS, (0, 0, 1))


def first(found, kind):
    return next(one for one in found.features if one.kind == kind and one.verdict != "fine")


def test_bridge_keeps_its_span_and_verdict(portal):
    bridge = first(portal, "bridge")
    made = print_feature(portal, bridge, PROCESS, PLAN)
    assert made.same
    assert made.found_mm == pytest.approx(16.0, rel=0.02)
    again = inspect_part(part_from_trimesh(trimesh.Trimesh(made.vertices, made.faces)), PROCESS, (0, 0, 1))
    assert (bridge.kind, bridge.verdict) in {(one.kind, one.verdict) for one in again.features}


@pytest.mark.parametrize("kind", ["bridge", "thin_wall", "sharp_corner"])
def test_print_is_closed_flat_and_short(portal, kind):
    made = print_feature(portal, first(portal, kind), PROCESS, PLAN)
    mesh = trimesh.Trimesh(made.vertices, made.faces)
    assert mesh.is_watertight
    assert mesh.body_count == 1
    assert solid(mesh).status() == manifold3d.Error.NoError
    assert made.vertices[:, 2].min() == pytest.approx(0.0, abs=1e-9)
    flat = np.isclose(mesh.triangles[:, :, 2], 0.0, atol=1e-9).all(axis=1)
    assert mesh.area_faces[flat].sum() > 2.0
    assert made.minutes <= 5.5
    assert made.labelled


def most_in_common(piece, part):
    """Volume that a piece shares with the part it was cut from, moved back to where it stood in it."""
    # Moved back, planes lie on planes: of the moves along each axis those that most planes ask for are tried.
    corners = piece.to_mesh64().vert_properties[:, :3]
    moves = []
    for axis in range(3):
        planes = np.unique(corners[:, axis].round(6))
        ways = (np.unique(part.vertices[:, axis])[:, None] - planes).ravel().round(4)
        ways, asked_by = np.unique(ways, return_counts=True)
        moves.append(ways[np.argsort(-asked_by, kind="stable")[:8]])
    whole = solid(trimesh.Trimesh(part.vertices, part.faces, process=False))
    return max((piece.translate(way) ^ whole).volume() for way in product(*moves))


@pytest.mark.parametrize("kind", ["bridge", "thin_wall", "sharp_corner"])
def test_print_above_base_and_label_is_part_of_the_part(portal, kind):
    made = print_feature(portal, first(portal, kind), PROCESS, PLAN)
    printed = solid(trimesh.Trimesh(made.vertices, made.faces, process=False))
    # Base and letters end a millimetre up: three layers and two.
    above = printed.trim_by_plane((0, 0, 1), 1.01)
    assert above.volume() > 10.0
    assert most_in_common(above, portal.part) == pytest.approx(above.volume(), rel=1e-6)


def test_a_hole_cut_short_says_how_much_of_its_depth_is_shown():
    block = trimesh.creation.box((24, 30, 24))
    bore = trimesh.creation.cylinder(6, 40, sections=64)
    bore.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0)))
    found = inspect_part(part_from_trimesh(trimesh.boolean.difference([block, bore])), PROCESS, (0, 0, 1))
    made = print_feature(found, first(found, "hole"), PROCESS, PLAN)
    shown, whole = made.shown_mm
    assert whole == pytest.approx(30.0)
    assert shown < 10.0
    # The print is as deep as what it shows of the hole, and no deeper where it was cut on both sides.
    assert min(made.size_mm[:2]) >= shown - 1e-6


def test_a_bridge_shows_its_whole_span(portal):
    bridge = first(portal, "bridge")
    made = print_feature(portal, bridge, PROCESS, PLAN)
    # It is cut short along its width of 20 mm, never across.
    assert made.shown_mm is None or made.shown_mm[1] == pytest.approx(20.0)


def test_what_takes_longer_says_how_long(portal):
    bridge = first(portal, "bridge")
    made = print_feature(portal, bridge, PROCESS, PLAN, minutes=0.5)
    assert not fits_time(made, 0.5)
    assert made.same
    assert made.minutes > 0.5


def test_id_that_is_not_there_names_those_that_are(portal):
    with pytest.raises(OrientError, match=r"there are .*B1"):
        feature_named(portal, "Q7")


def test_tray_holds_every_print_once(portal, tmp_path):
    tray = tray_of(portal, PROCESS, PLAN)
    assert tray.prints
    data = tray_bytes(tray.prints, "3mf", (220.0, 220.0))
    path = tmp_path / "tray.3mf"
    path.write_bytes(data)
    read = trimesh.load(path)
    assert len(read.geometry) == len(tray.prints)
    told = tray_document(tray, "tray.3mf")
    assert told["schema"] == "orient/handover/1"
    hard = [one.id for one in portal.features if one.verdict != "fine"]
    made = told["prints"] + told["too_long"]
    assert sorted(
        [one["id"] for one in made] + [like for one in made for like in one["stands_for"]]
    ) == sorted(hard)


def test_one_of_many_like_pins_is_printed_for_all():
    plate = trimesh.creation.box(bounds=[[0, 0, 0], [60, 20, 3]])
    thin = [trimesh.creation.cylinder(0.6, 8, sections=32) for _ in range(5)]
    for k, pin in enumerate(thin):
        pin.apply_translation([10 + 10 * k, 10, 6.5])
    found = inspect_part(part_from_trimesh(trimesh.boolean.union([plate, *thin]), "comb"), PROCESS, (0, 0, 1))
    pins = [one.id for one in found.features if one.kind == "pin" and one.verdict != "fine"]
    assert len(pins) == 5
    tray = tray_of(found, PROCESS, PLAN)
    shown = [one.feature.id for one in (*tray.prints, *tray.too_long) if one.feature.kind == "pin"]
    assert shown == pins[:1]
    assert tray.alike[pins[0]] == tuple(pins[1:])


def test_open_mesh_says_why_it_cannot_be_cut():
    box = trimesh.creation.box((20, 20, 2))
    box.update_faces(np.arange(len(box.faces)) > 0)
    found = inspect_part(part_from_trimesh(box), PROCESS, (0, 0, 1))
    with pytest.raises(OrientError, match="closed mesh"):
        print_feature(found, found.features[0], PROCESS, PLAN)


@pytest.mark.parametrize("letter", "ABCDFGHKLMNOPRSTVWXZ0123456789.")
def test_every_letter_of_an_id_is_one_closed_solid(letter):
    text = letters(letter, 0.4)
    assert text.status() == manifold3d.Error.NoError
    assert len(text.decompose()) == 1
    assert text.bounding_box()[3] <= text_width_mm(letter) + 0.7


@pytest.mark.slow
def test_four_of_five_hard_features_of_the_sample_parts_show_in_five_minutes(capsys):
    short, lines = [], []
    for brief in sorted((Path(__file__).resolve().parents[2] / "sample_parts").glob("*.toml")):
        asked = read_brief(brief)
        found = orient.evaluate(orient.load(asked.part.file), asked, directions=200, features=True)
        for one in found.features.recommended.features:
            if one.verdict == "fine":
                continue
            made = print_feature(found.features.recommended, one, found.process, found.shop.shop.plan)
            short.append(fits_time(made, 5.0))
            lines.append(f"{found.part.name:20} {one.id:4} {one.kind:16} {made.minutes:6.1f} min {short[-1]}")
    with capsys.disabled():
        print("\n" + "\n".join(lines) + f"\n{sum(short)} of {len(short)}")
    assert np.mean(short) >= 0.8


def test_what_hangs_has_room_to_sag_above_the_base():
    # A ledge of 6 mm reach, 20 mm up a wall: nothing of the part lies below it but the bed.
    wall = trimesh.creation.box(bounds=[[0, 0, 0], [6, 20, 26]])
    ledge = trimesh.creation.box(bounds=[[5, 0, 20], [12, 20, 23]])
    found = inspect_part(part_from_trimesh(trimesh.boolean.union([wall, ledge]), "ledge"), PROCESS, (0, 0, 1))
    made = print_feature(found, first(found, "cantilever"), PROCESS, PLAN)
    mesh = trimesh.Trimesh(made.vertices, made.faces)
    down = (mesh.face_normals[:, 2] < -0.99) & (mesh.triangles_center[:, 2] > 0.1)
    under = mesh.triangles_center[down] - [0, 0, 1e-3]
    free = mesh.ray.intersects_location(under, np.tile([0, 0, -1.0], (len(under), 1)), multiple_hits=False)[0]
    drops = under[:, 2] - (free[:, 2] if len(free) == len(under) else 0.0)
    assert drops.min() >= 2.9

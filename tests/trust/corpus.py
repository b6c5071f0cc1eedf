"""Broken, odd and hostile files, built by code: name, bytes and what must come of them.

``RESULT`` a part that is evaluated, ``REFUSAL`` one sentence, ``EITHER`` whichever, so long as it is one of
the two. Formats after the documents named in the readers; the archives' tricks after the Common Weakness
Enumeration (MITRE): 409 (data amplification), 22 (path traversal), 611 and 776 (XML entities), 674
(uncontrolled recursion), 789 (allocation by a size that the file states).
"""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Iterator

import numpy as np
import trimesh

RESULT, REFUSAL, EITHER = "result", "refusal", "either"
Broken = tuple[str, bytes, str]

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def block(size=(40.0, 30.0, 20.0)) -> trimesh.Trimesh:
    """A box on the bed, in millimetres."""
    mesh = trimesh.creation.box(size)
    mesh.apply_translation(np.asarray(size) / 2)
    return mesh


def binary(corners: np.ndarray, count: int | None = None, header: bytes = b"") -> bytes:
    """A binary STL of (F, 3, 3) corners; the count may lie."""
    facets = np.zeros(len(corners), dtype=_FACET)
    with np.errstate(over="ignore", invalid="ignore"):
        facets["corners"] = corners
    stated = len(corners) if count is None else count
    return header.ljust(80, b" ")[:80] + struct.pack("<I", stated) + facets.tobytes()


def ascii_stl(corners: np.ndarray, number: str = "%g", end: str = "endsolid part\n") -> str:
    """An ASCII STL of (F, 3, 3) corners."""
    rows = ["solid part"]
    for facet in corners:
        rows += ["facet normal 0 0 0", "outer loop"]
        rows += ["vertex " + " ".join(number % x for x in corner) for corner in facet]
        rows += ["endloop", "endfacet"]
    return "\n".join(rows) + "\n" + end


def everything() -> Iterator[Broken]:
    """Every file of the corpus."""
    for kind in (binary_stl, text_stl, degenerate, obj, ply, off, threemf, glb, step, wrong_kind):
        yield from kind()


def binary_stl() -> Iterator[Broken]:
    """Cut at every boundary, counts off, headers that lie, numbers that are none."""
    corners = block().triangles
    whole = binary(corners)
    for cut in (0, 1, 40, 79, 80, 82, 83, 84, 85, 96, 108, 120, 132, 133, 134, 184, len(whole) - 50):
        yield f"cut_at_{cut}.stl", whole[:cut], REFUSAL
    yield "cut_by_one.stl", whole[:-1], REFUSAL
    yield "count_one_more.stl", binary(corners, 13), REFUSAL
    yield "count_one_less.stl", binary(corners, 11), EITHER
    yield "count_zero.stl", binary(corners, 0), REFUSAL
    yield "count_2_31.stl", binary(corners, 2**31), REFUSAL
    yield "count_2_32.stl", binary(corners, 2**32 - 1), REFUSAL
    yield "header_says_solid.stl", binary(corners, header=b"solid part"), RESULT
    yield "header_says_solid_facet.stl", binary(corners, header=b"solid facet normal 0 0 0"), RESULT
    yield "header_is_noise.stl", binary(corners, header=bytes(range(176, 256))), RESULT
    yield "more_after_the_last.stl", whole + b"thank you for your order", RESULT
    yield "zeros_after_the_last.stl", whole + bytes(4096), RESULT
    for name, value in (
        ("nan", np.nan),
        ("infinity", np.inf),
        ("minus_infinity", -np.inf),
        ("1e30", 1e30),
        ("3e38", 3e38),
    ):
        bad = corners.copy()
        bad[3, 1, 2] = value
        yield f"one_corner_{name}.stl", binary(bad), REFUSAL
    yield "all_nan.stl", binary(np.full_like(corners, np.nan)), REFUSAL
    yield "all_1e30.stl", binary(corners * 1e30), REFUSAL
    yield "subnormal.stl", binary(corners * 1e-42), EITHER
    yield "one_vertex_far_away.stl", binary(np.where(corners == corners.max(), 9e8, corners)), EITHER
    yield "far_from_the_origin.stl", binary(corners + 1e8), EITHER
    yield "noise.stl", np.random.default_rng(1).bytes(84 + 50 * 200), REFUSAL
    noisy = np.frombuffer(np.random.default_rng(2).bytes(36 * 400), dtype="<f4").reshape(-1, 3, 3)
    yield "noise_in_the_corners.stl", binary(noisy), REFUSAL


def text_stl() -> Iterator[Broken]:
    """ASCII STL as people and programs get it wrong."""
    corners = block().triangles
    text = ascii_stl(corners)
    yield "commas.stl", ascii_stl(corners + 0.5).replace(".", ",").encode(), REFUSAL
    yield "no_endsolid.stl", ascii_stl(corners, end="").encode(), EITHER
    yield "cut_in_a_number.stl", text.encode()[: len(text) // 2 + 3], REFUSAL
    yield "two_corners.stl", text.replace("vertex 0 0 0\n", "", 1).encode(), REFUSAL
    yield "quads.stl", text.replace("endloop", "vertex 1 2 3\nendloop").encode(), REFUSAL
    yield "no_normal.stl", text.replace("facet normal 0 0 0", "facet").encode(), EITHER
    yield "normal_no_number.stl", text.replace("normal 0 0 0", "normal a b c").encode(), EITHER
    yield "capitals.stl", text.upper().encode(), RESULT
    yield "carriage_returns.stl", text.replace("\n", "\r").encode(), EITHER
    yield "utf8_mark.stl", b"\xef\xbb\xbf" + text.encode(), EITHER
    yield "utf16.stl", text.encode("utf-16"), REFUSAL
    yield "name_in_latin1.stl", text.replace("part", "Gehäuse", 1).encode("latin-1"), RESULT
    yield "name_mismatch.stl", text.replace("endsolid part", "endsolid other").encode(), RESULT
    yield "noise_in_the_middle.stl", text[:400].encode() + bytes(range(256)) + text[400:].encode(), EITHER
    yield "too_large_a_number.stl", text.replace("40", "4e999").encode(), REFUSAL
    yield "hex_number.stl", text.replace("40", "0x40").encode(), REFUSAL
    yield "underscore_number.stl", text.replace("40", "4_0").encode(), REFUSAL
    yield "nan_in_text.stl", text.replace("40", "nan").encode(), REFUSAL
    yield "one_endless_line.stl", b"solid facet " + b"x" * 30_000_000, REFUSAL
    yield "endless_corner.stl", b"solid p\nfacet\nvertex " + b" " * 30_000_000 + b"1\nendsolid", REFUSAL
    yield "ten_solids.stl", text.encode() * 10, EITHER
    yield "only_solid.stl", b"solid\nendsolid\n", REFUSAL


def degenerate() -> Iterator[Broken]:
    """Whole files of meshes that are no proper solids."""
    corners = block().triangles
    one = corners[:1]
    yield "single_triangle.stl", binary(one), REFUSAL
    yield "two_triangles.stl", binary(corners[:2]), EITHER
    yield "all_corners_equal.stl", binary(np.ones_like(corners)), REFUSAL
    yield "all_on_a_line.stl", binary(corners * [1.0, 0.0, 0.0]), REFUSAL
    yield "flat_sheet.stl", binary(corners * [1.0, 1.0, 0.0]), REFUSAL
    yield "nearly_flat_sheet.stl", binary(corners * [1.0, 1.0, 1e-5]), EITHER
    yield "needle.stl", binary(block((0.01, 0.01, 300.0)).triangles), RESULT
    yield "needle_no_machine_sees.stl", binary(block((1e-4, 1e-4, 900.0)).triangles), EITHER
    yield "speck.stl", binary(block((1e-5, 1e-5, 1e-5)).triangles), EITHER
    yield "inside_out.stl", binary(corners[:, ::-1]), RESULT
    yield "half_turned.stl", binary(np.concatenate([corners[:6], corners[6:, ::-1]])), RESULT
    yield "one_face_missing.stl", binary(corners[1:]), RESULT
    yield "every_facet_twice.stl", binary(np.concatenate([corners, corners])), RESULT
    yield "every_facet_both_ways.stl", binary(np.concatenate([corners, corners[:, ::-1]])), EITHER
    yield "coincident_bodies.stl", binary(np.concatenate([corners, corners + 1e-7])), EITHER
    yield "touching_bodies.stl", binary(np.concatenate([corners, corners + np.array([40.0, 0, 0])])), RESULT
    yield (
        "crossing_bodies.stl",
        binary(np.concatenate([corners, corners + np.array([13.0, 7.0, 5.0])])),
        RESULT,
    )
    crossed = block(size=(40.0, 30.0, 20.0))
    crossed.vertices[0], crossed.vertices[7] = crossed.vertices[7].copy(), crossed.vertices[0].copy()
    yield "self_crossing.stl", binary(crossed.triangles), EITHER
    small = block((1.0, 1.0, 1.0)).triangles
    grid = np.stack(np.meshgrid(*[np.arange(18.0) * 2] * 3), axis=-1).reshape(-1, 1, 1, 3)
    yield "5000_bodies.stl", binary((grid[:5000] + small).reshape(-1, 3, 3)), RESULT
    yield "5001_bodies.stl", binary((grid[:5001] + small).reshape(-1, 3, 3)), RESULT
    dice = np.random.default_rng(3)
    yield "soup.stl", binary(dice.uniform(0, 50, (3000, 3, 3))), EITHER
    nest = np.concatenate([corners * s + 20 * (1 - s) for s in np.linspace(1.0, 0.1, 40)])
    yield "forty_nested_shells.stl", binary(nest), EITHER
    fan = np.array([[[0, 0, 0], [30, a, 0], [30, a, 10]] for a in np.linspace(-20, 20, 200)])
    yield "two_hundred_faces_on_an_edge.stl", binary(fan), EITHER
    ring = np.linspace(0, 2 * np.pi, 4001)
    rim = np.stack([25 * np.cos(ring), 25 * np.sin(ring), np.zeros(4001)], axis=1)
    spikes = np.stack([rim[:-1], rim[1:], np.broadcast_to([0, 0, 1e-3], (4000, 3))], axis=1)
    yield "pointed_sheet.stl", binary(np.concatenate([spikes, spikes[:, ::-1] * [1, 1, 0]])), EITHER


def obj() -> Iterator[Broken]:
    """OBJ: indices, numbers and lines that lie."""
    square = b"v 0 0 0\nv 10 0 0\nv 10 10 0\nv 0 10 0\nv 5 5 8\n"
    faces = b"f 4 3 2 1\nf 1 2 5\nf 2 3 5\nf 3 4 5\nf 4 1 5\n"
    yield "pyramid.obj", square + faces, RESULT
    yield "index_too_high.obj", square + faces + b"f 1 2 99\n", REFUSAL
    yield "index_too_low.obj", square + faces + b"f -1 -2 -99\n", REFUSAL
    yield "index_enormous.obj", square + faces + b"f 1 2 " + b"9" * 40 + b"\n", REFUSAL
    yield "index_ten_thousand_digits.obj", square + faces + b"f 1 2 " + b"9" * 10_000 + b"\n", REFUSAL
    yield "index_of_letters.obj", square + faces + b"f a b c\n", REFUSAL
    yield "index_float.obj", square + faces + b"f 1.0 2.0 3.0\n", REFUSAL
    yield "face_of_nothing.obj", square + faces + b"f\nf 1\nf 1 2\n", EITHER
    yield "slashes.obj", square + b"f 4/// 3// 2/ 1\nf 1//1 2//1 5//1\nf 2 3 5\nf 3 4 5\nf 4 1 5\n", EITHER
    yield "corner_of_two.obj", b"v 0 0\n" + square + faces, REFUSAL
    yield "corner_1e30.obj", square.replace(b"8", b"1e30") + faces, REFUSAL
    yield "corner_1e999.obj", square.replace(b"8", b"1e999") + faces, REFUSAL
    yield "backslash_at_the_end.obj", square + faces + b"f 1 2 \\", EITHER
    yield "endless_backslashes.obj", square + faces + b"\\\n" * 300_000, EITHER
    yield "endless_polygon.obj", square + b"f " + b"1 2 3 " * 300_000 + b"\n" + faces, EITHER
    many = b"g " + b" ".join(b"n%d" % i for i in range(5000)) + b"\n"
    yield "five_thousand_names_a_face.obj", square + many + faces * 5000, EITHER
    yield "nul_bytes.obj", square + b"\0\0\0\n" + faces, EITHER
    yield "names_in_latin1.obj", b"g Geh\xe4use\n" + square + faces, RESULT
    yield "material_elsewhere.obj", b"mtllib ../../../etc/passwd\n" + square + faces, RESULT


def ply() -> Iterator[Broken]:
    """PLY: headers that promise what is not there."""
    whole = block().export(file_type="ply")
    head, _, body = whole.partition(b"end_header\n")
    text = block().export(file_type="ply", encoding="ascii")
    yield "whole.ply", whole, RESULT
    for cut in (3, 20, len(head), len(head) + 11, len(whole) - 1, len(whole) // 2):
        yield f"cut_at_{cut}.ply", whole[:cut], REFUSAL
    yield "vertices_2e9.ply", whole.replace(b"vertex 8", b"vertex 2000000000"), REFUSAL
    yield "vertices_minus.ply", whole.replace(b"vertex 8", b"vertex -8"), REFUSAL
    yield "faces_1e30.ply", whole.replace(b"face 12", b"face " + b"9" * 30), REFUSAL
    yield "ascii_faces_2e9.ply", text.replace(b"face 12", b"face 2000000000"), REFUSAL
    yield "faces_of_letters.ply", b"ply\rform\nelement face a\nend_header\n", REFUSAL
    yield "unknown_type.ply", whole.replace(b"float x", b"quaternion x"), REFUSAL
    yield "no_end_of_header.ply", head + b"comment x\n" * 300_000, REFUSAL
    yield "header_of_one_line.ply", b"ply\n" + b"comment " + b"x" * 20_000_000, REFUSAL
    yield "a_million_elements.ply", b"ply\nformat ascii 1.0\n" + b"element a 0\n" * 300_000, REFUSAL
    yield "unknown_format.ply", whole.replace(b"binary_little_endian", b"binary_mixed_endian"), EITHER
    yield "wrong_endian.ply", whole.replace(b"little", b"big___"), REFUSAL
    yield "index_out.ply", head + b"end_header\n" + body[:-4] + struct.pack("<i", 99), REFUSAL
    yield "index_minus.ply", head + b"end_header\n" + body[:-4] + struct.pack("<i", -5), REFUSAL
    yield "list_of_255.ply", head + b"end_header\n" + body[:96] + b"\xff" + body[97:], REFUSAL
    yield "vertex_of_lists.ply", whole.replace(b"property float x", b"property list int int x"), REFUSAL
    yield (
        "nothing_a_vertex.ply",
        (b"ply\nformat binary_little_endian 1.0\nelement vertex 2000000000\nelement face 0\nend_header\n"),
        REFUSAL,
    )


def off() -> Iterator[Broken]:
    """OFF: counts and polygons that lie."""
    whole = block().export(file_type="off").encode()
    yield "whole.off", whole, RESULT
    yield "counts_minus.off", b"OFF\n-8 -12 0\n", REFUSAL
    yield "counts_2e9.off", b"OFF\n2000000000 2000000000 0\n0 0 0\n", REFUSAL
    yield "counts_of_letters.off", b"OFF\nmany few 0\n", REFUSAL
    yield "counts_missing.off", b"OFF\n", REFUSAL
    yield "counts_ten_thousand_digits.off", b"OFF\n" + b"9" * 10_000 + b" 1 0\n", REFUSAL
    yield "polygon_minus.off", whole.replace(b"\n3 ", b"\n-3 ", 1), REFUSAL
    yield "polygon_1e9.off", whole.replace(b"\n3 ", b"\n1000000000 ", 1), REFUSAL
    yield "corner_nan.off", whole.replace(b"0.0", b"nan", 1).replace(b"0 ", b"nan ", 1), EITHER
    yield (
        "endless_polygon.off",
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n900000 " + b"0 1 2 " * 300_000 + b"\n"),
        EITHER,
    )


_MODEL = (
    '<?xml version="1.0"?>{doctype}<model unit="{unit}" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>{resources}</resources>'
    "<build>{build}</build></model>"
)
_RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="r0" Target="{target}" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def model_xml(resources: str | None = None, build: str | None = None, unit="millimeter", doctype="") -> str:
    """The model of a 3MF package: a block, unless told otherwise."""
    if resources is None:
        mesh = block()
        points = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in mesh.vertices)
        faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
        mesh_xml = f"<vertices>{points}</vertices><triangles>{faces}</triangles>"
        resources = f'<object id="1"><mesh>{mesh_xml}</mesh></object>'
    return _MODEL.format(
        doctype=doctype, unit=unit, resources=resources, build=build or '<item objectid="1"/>'
    )


def package(
    model: str | bytes | None = None, more: dict[str, bytes] | None = None, target="/3D/3dmodel.model"
) -> bytes:
    """A 3MF package."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("_rels/.rels", _RELATIONS.format(target=target))
        made.writestr("3D/3dmodel.model", model_xml() if model is None else model)
        for name, content in (more or {}).items():
            made.writestr(name, content)
    return data.getvalue()


def threemf() -> Iterator[Broken]:
    """3MF: archives that grow, point outside or nest, XML that expands or never ends."""
    whole = package()
    yield "whole.3mf", whole, RESULT
    for cut in (1, 4, 30, len(whole) // 2, len(whole) - 22, len(whole) - 1):
        yield f"cut_at_{cut}.3mf", whole[:cut], REFUSAL
    yield "wrong_checksum.3mf", _flip(whole, whole.index(b"3D/3dmodel.model") + 40), REFUSAL
    yield "grows_thousandfold.3mf", package(model_xml() + " " * 300_000_000), REFUSAL
    yield "grows_beside_the_model.3mf", package(more={"Metadata/big.bin": bytes(400_000_000)}), EITHER
    yield "ten_thousand_entries.3mf", package(more={f"x/{i}": b"" for i in range(10_000)}), REFUSAL
    yield "entry_above_its_folder.3mf", package(more={"../../outside.model": b"x"}), EITHER
    yield "target_above_its_folder.3mf", package(target="/../../../etc/passwd"), EITHER
    yield "archive_in_the_archive.3mf", package(model=whole), REFUSAL
    yield "archive_beside_the_model.3mf", package(more={"3D/inner.3mf": whole}), EITHER
    yield "states_a_false_size.3mf", _false_size(whole), REFUSAL
    yield "overlapping_entries.3mf", _overlapping(), REFUSAL
    named = package(more={"\u00e4/x": b"x"})
    yield "name_is_no_utf_8.3mf", named.replace(b"\xc3\xa4", b"\xdc\xff"), REFUSAL
    laughs = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    yield (
        "entities_a_thousand_million.3mf",
        package(model_xml(doctype=f'<!DOCTYPE m [<!ENTITY a0 "ha">{laughs}]>', resources="&a9;")),
        REFUSAL,
    )
    blowup = f'<!DOCTYPE m [<!ENTITY a "{"x" * 50_000}">]>'
    yield (
        "entity_fifty_thousand_times.3mf",
        package(model_xml(doctype=blowup, resources="&a;" * 50_000)),
        REFUSAL,
    )
    outside = '<!DOCTYPE m [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    yield "entity_from_a_file.3mf", package(model_xml(doctype=outside, resources="&a;")), REFUSAL
    network = '<!DOCTYPE m SYSTEM "http://127.0.0.1:9/m.dtd">'
    yield "types_from_the_network.3mf", package(model_xml(doctype=network)), EITHER
    yield (
        "a_hundred_thousand_deep.3mf",
        package(model_xml(resources="<a>" * 100_000 + "</a>" * 100_000)),
        REFUSAL,
    )
    yield "a_million_wide.3mf", package(model_xml(resources="<a/>" * 1_000_000)), REFUSAL
    yield "an_endless_attribute.3mf", package(model_xml(unit="x" * 20_000_000)), REFUSAL
    yield "text_without_end.3mf", package(model_xml(resources="x" * 60_000_000)), REFUSAL
    itself = '<object id="1"><components><component objectid="1"/></components></object>'
    yield "holds_itself.3mf", package(model_xml(resources=itself)), REFUSAL
    doubling = "".join(
        f'<object id="{i}"><components><component objectid="{i + 1}"/><component objectid="{i + 1}"/>'
        "</components></object>"
        for i in range(1, 30)
    )
    yield "doubles_thirty_times.3mf", package(model_xml(resources=doubling)), REFUSAL
    chain = "".join(
        f'<object id="{i}"><components><component objectid="{i + 1}"/></components></object>'
        for i in range(1, 5000)
    )
    yield "five_thousand_levels.3mf", package(model_xml(resources=chain)), REFUSAL
    yield "unit_unknown.3mf", package(model_xml(unit="parsec")), REFUSAL
    yield "builds_nothing.3mf", package(model_xml(build="<!-- -->")), REFUSAL
    yield "builds_what_is_not_there.3mf", package(model_xml(build='<item objectid="7"/>')), REFUSAL
    for name, transform in (
        ("nan", "nan 0 0 0 1 0 0 0 1 0 0 0"),
        ("flat", "1 0 0 0 1 0 0 0 0 0 0 0"),
        ("nothing", "0 0 0 0 0 0 0 0 0 0 0 0"),
        ("short", "1 0 0"),
        ("1e30", "1e30 0 0 0 1 0 0 0 1 0 0 0"),
    ):
        yield (
            f"transform_{name}.3mf",
            package(model_xml(build=f'<item objectid="1" transform="{transform}"/>')),
            REFUSAL,
        )
    for name, old, new in (
        ("index_out", 'v1="', 'v1="99'),
        ("index_minus", 'v1="', 'v1="-9'),
        ("index_enormous", 'v1="', 'v1="' + "9" * 40),
        ("index_ten_thousand_digits", 'v1="', 'v1="' + "9" * 10_000),
        ("corner_nan", 'x="', 'x="nan'),
        ("corner_1e30", 'x="', 'x="1e30'),
        ("corner_without_z", 'z="', 'w="'),
    ):
        yield f"{name}.3mf", package(model_xml().replace(old, new)), REFUSAL
    yield "not_well_formed.3mf", package(model_xml()[:-20]), REFUSAL
    yield (
        "utf16.3mf",
        package(model_xml().replace('"1.0"', '"1.0" encoding="UTF-16"').encode("utf-16")),
        EITHER,
    )
    yield (
        "says_utf16_and_is_not.3mf",
        package(model_xml().replace('"1.0"', '"1.0" encoding="UTF-16"').encode()),
        REFUSAL,
    )
    yield "empty_model.3mf", package(b""), REFUSAL
    yield "empty_archive.3mf", b"PK\5\6" + bytes(18), REFUSAL
    yield "encrypted.3mf", _flag(whole, 1), REFUSAL
    yield "unknown_compression.3mf", _method(whole, 97), REFUSAL


def _flip(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 0xFF]) + data[at + 1 :]


def _each_header(data: bytes, change) -> bytes:
    made = bytearray(data)
    for mark, offset in ((b"PK\3\4", 0), (b"PK\1\2", 2)):
        at = made.find(mark)
        while at >= 0:
            change(made, at, offset)
            at = made.find(mark, at + 4)
    return bytes(made)


def _false_size(data: bytes) -> bytes:
    """Entries that state one byte where there are many."""
    return _each_header(data, lambda made, at, more: struct.pack_into("<I", made, at + 22 + more, 1))


def _flag(data: bytes, flag: int) -> bytes:
    return _each_header(data, lambda made, at, more: struct.pack_into("<H", made, at + 6 + more, flag))


def _method(data: bytes, method: int) -> bytes:
    return _each_header(data, lambda made, at, more: struct.pack_into("<H", made, at + 8 + more, method))


def _overlapping() -> bytes:
    """Eight hundred entries of the directory that all point at one block of zeros."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("3D/3dmodel.model", bytes(20_000_000))
        for i in range(800):
            info = zipfile.ZipInfo(f"3D/{i}.model")
            first = made.filelist[0]
            for name in ("header_offset", "CRC", "compress_size", "file_size", "compress_type"):
                setattr(info, name, getattr(first, name))
            made.filelist.append(info)
            made.NameToInfo[info.filename] = info
    return data.getvalue()


def glb_of(document: dict | str, body: bytes = b"") -> bytes:
    """A GLB of a JSON chunk and a binary chunk."""
    text = (document if isinstance(document, str) else json.dumps(document)).encode()
    text += b" " * (-len(text) % 4)
    body += b"\0" * (-len(body) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    if body:
        chunks += struct.pack("<I4s", len(body), b"BIN\0") + body
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def scene(**changes) -> tuple[dict, bytes]:
    """A glTF document of one block in metres, and its buffer."""
    mesh = block((0.04, 0.03, 0.02))
    points, faces = mesh.vertices.astype("<f4").tobytes(), mesh.faces.astype("<u4").tobytes()
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "buffers": [{"byteLength": len(points) + len(faces)}],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(points)},
            {"buffer": 0, "byteOffset": len(points), "byteLength": len(faces)},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(mesh.vertices), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5125, "count": 3 * len(mesh.faces), "type": "SCALAR"},
        ],
    }
    return document | changes, points + faces


def glb() -> Iterator[Broken]:
    """GLB: chunks, accessors and nodes that lie, JSON that nests, buffers elsewhere."""
    document, body = scene()
    whole = glb_of(document, body)
    yield "whole.glb", whole, RESULT
    for cut in (4, 12, 16, 20, len(whole) // 2, len(whole) - 1):
        yield f"cut_at_{cut}.glb", whole[:cut], REFUSAL
    yield "length_2_32.glb", whole[:8] + b"\xff" * 4 + whole[12:], EITHER
    yield "chunk_2_32.glb", whole[:12] + b"\xff" * 4 + whole[16:], REFUSAL
    yield "version_one.glb", whole[:4] + struct.pack("<I", 1) + whole[8:], REFUSAL
    yield "json_nests_hundred_thousand.glb", glb_of("[" * 100_000 + "]" * 100_000), REFUSAL
    yield "json_nests_in_nodes.glb", glb_of('{"a":' * 50_000 + "1" + "}" * 50_000), REFUSAL
    yield "json_is_no_object.glb", glb_of("[1, 2, 3]"), REFUSAL
    yield "json_is_text.glb", glb_of("Dear customer"), REFUSAL
    yield "json_ten_thousand_digits.glb", glb_of('{"asset": ' + "9" * 10_000 + "}"), REFUSAL
    for name, changes in (
        ("scene_missing", {"scene": 9}),
        ("node_missing", {"nodes": []}),
        ("mesh_missing", {"meshes": []}),
        ("node_its_own_child", {"nodes": [{"mesh": 0, "children": [0]}]}),
        ("nodes_in_a_ring", {"nodes": [{"mesh": 0, "children": [1]}, {"children": [0]}]}),
        ("buffer_in_a_file", {"buffers": [{"byteLength": 100, "uri": "../../../etc/passwd"}]}),
        ("buffer_in_the_network", {"buffers": [{"byteLength": 100, "uri": "http://127.0.0.1:9/b.bin"}]}),
        ("buffer_view_out", {"bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": 2**40}] * 2}),
        ("matrix_nan", {"nodes": [{"mesh": 0, "matrix": [float("nan")] * 16}]}),
        ("matrix_nothing", {"nodes": [{"mesh": 0, "matrix": [0.0] * 16}]}),
        ("matrix_1e30", {"nodes": [{"mesh": 0, "scale": [1e30, 1e30, 1e30]}]}),
        ("matrix_short", {"nodes": [{"mesh": 0, "matrix": [1.0]}]}),
        ("needs_an_extension", {"extensionsRequired": ["KHR_draco_mesh_compression"]}),
    ):
        yield f"{name}.glb", glb_of(scene(**changes)[0], body), EITHER
    doubling = [{"children": [i + 1, i + 1]} for i in range(25)] + [{"mesh": 0}]
    yield "nodes_double_25_times.glb", glb_of(scene(nodes=doubling)[0], body), EITHER
    deep = [{"children": [i + 1]} for i in range(20_000)] + [{"mesh": 0}]
    yield "nodes_twenty_thousand_deep.glb", glb_of(scene(nodes=deep)[0], body), EITHER
    copies = {"nodes": [{"mesh": 0}] * 30_000, "scenes": [{"nodes": list(range(30_000))}]}
    yield "thirty_thousand_nodes.glb", glb_of(scene(**copies)[0], body), EITHER
    for name, slot, key, value in (
        ("count_2e9", 1, "count", 2_000_000_000),
        ("count_minus", 1, "count", -3),
        ("count_text", 1, "count", "many"),
        ("offset_out", 0, "byteOffset", 2**40),
        ("type_unknown", 0, "type", "VEC9"),
        ("component_unknown", 0, "componentType", 1),
        ("vertices_too_few", 0, "count", 3),
        ("view_missing", 0, "bufferView", 77),
    ):
        changed, _ = scene()
        changed["accessors"][slot][key] = value
        yield f"accessor_{name}.glb", glb_of(changed, body), EITHER
    yield (
        "no_buffer_at_all.glb",
        glb_of(
            scene(accessors=[{"componentType": 5126, "count": 2_000_000_000, "type": "VEC3"}] * 2)[0], body
        ),
        REFUSAL,
    )
    doubled = [{"children": [1, 2]}, {"children": [3]}, {"children": [3]}, {"mesh": 0}]
    yield "node_under_two_others.glb", glb_of(scene(nodes=doubled)[0], body), REFUSAL
    hundred = [{"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"}] * 300_000
    yield "accessors_300_000.glb", glb_of(scene(accessors=hundred)[0], body), REFUSAL
    far = np.frombuffer(body[:96], "<f4").copy()
    far[4] = np.inf
    yield "corner_infinite.glb", glb_of(document, far.tobytes() + body[96:]), REFUSAL


def step() -> Iterator[Broken]:
    """STEP: text that only looks like it."""
    head = b"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\nENDSEC;\nDATA;\n"
    yield "header_only.step", b"ISO-10303-21;", REFUSAL
    yield "nothing_in_it.step", head + b"ENDSEC;\nEND-ISO-10303-21;\n", REFUSAL
    yield "refers_to_itself.step", head + b"#1=CLOSED_SHELL('',(#1));\nENDSEC;\nEND-ISO-10303-21;\n", REFUSAL
    yield "brackets_without_end.step", head + b"#1=A(" + b"(" * 1_000_000, REFUSAL
    yield "noise.step", head + np.random.default_rng(4).bytes(100_000), REFUSAL


def wrong_kind() -> Iterator[Broken]:
    """Files that are something else than they are called."""
    mesh = block()
    yield "stl_called.obj", binary(mesh.triangles), RESULT
    yield (
        "obj_called.stl",
        b"v 0 0 0\nv 9 0 0\nv 0 9 0\nv 0 0 9\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 3 1 4\n",
        RESULT,
    )
    yield "ply_called.3mf", mesh.export(file_type="ply"), RESULT
    yield "package_called.stl", package(), RESULT
    yield "picture.stl", b"\x89PNG\r\n\x1a\n" + bytes(500), REFUSAL
    yield "letter.stl", b"Dear customer, the part is attached.", REFUSAL
    yield "page.stl", b"<!doctype html><html><body>404</body></html>", REFUSAL
    yield "program.stl", b"\x7fELF" + bytes(2000), REFUSAL
    yield "zeros.stl", bytes(5_000_000), REFUSAL
    yield "zeros.obj", bytes(5_000_000), REFUSAL
    yield "spaces.obj", b" " * 5_000_000, REFUSAL
    yield "comments.obj", b"# nothing here\n" * 500_000, REFUSAL
    yield "lines.ply", b"ply\n" * 500_000, REFUSAL
    yield "packed.gz.stl", b"\x1f\x8b\x08" + bytes(400), REFUSAL

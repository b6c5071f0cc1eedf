"""Which format a mesh file is in: by its content, and by its name."""

from __future__ import annotations

from orient.part.off import is_off
from orient.part.stl import is_ascii_stl, is_binary_stl

KIND_OF_SUFFIX = {
    ".stl": "STL",
    ".obj": "OBJ",
    ".ply": "PLY",
    ".off": "OFF",
    ".3mf": "3MF",
    ".glb": "GLB",
    ".step": "STEP",
    ".stp": "STEP",
}
# What the first line of an OBJ that says anything may begin with.
_OBJ_WORDS = {
    b"v",
    b"vt",
    b"vn",
    b"vp",
    b"f",
    b"l",
    b"p",
    b"o",
    b"g",
    b"s",
    b"mg",
    b"usemtl",
    b"mtllib",
    b"lod",
}


def told_by_content(head: bytes, size: int) -> str | None:
    r"""Tell the format of a mesh file by how it begins.

    Parameters
    ----------
    head : bytes
        The first 4,096 bytes, or all there are.
    size : int
        Bytes of the whole file.

    Returns
    -------
    str or None
        Such as ``binary STL`` or ``3MF``; None where nothing tells.

    Examples
    --------
    >>> told_by_content(b"OFF\n8 6 12\n", 11), told_by_content(b"a letter", 8)
    ('OFF', None)
    """
    if is_binary_stl(head, size):
        return "binary STL"
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith(b"PK"):
        return "3MF"
    if head.startswith(b"glTF"):
        return "GLB"
    if text.startswith(b"ply"):
        return "PLY"
    if text.startswith(b"ISO-10303-21"):
        return "STEP"
    if is_ascii_stl(head):
        return "ASCII STL"
    if b"\0" in head:
        return None
    lines = [line.partition(b"#")[0].split() for line in text.splitlines()]
    words = [line[0] for line in lines if line]
    if words and is_off(words[0]):
        return "OFF"
    # A long comment or list may fill the head; the reader will tell if no corner follows.
    if words and words[0] in _OBJ_WORDS and (b"v" in words or size > len(head)):
        return "OBJ"
    return None

"""Whole files with bytes changed, cut out or doubled: a part or one sentence, nothing else."""

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import orient
from orient.errors import OrientError
from tests.trust.corpus import ascii_stl, binary, block, glb_of, package, scene

WHOLE = {
    "stl": binary(block().triangles),
    "ascii.stl": ascii_stl(block().triangles).encode(),
    "obj": block().export(file_type="obj").encode(),
    "ply": block().export(file_type="ply"),
    "ascii.ply": block().export(file_type="ply", encoding="ascii"),
    "off": block().export(file_type="off").encode(),
    "3mf": package(),
    "glb": glb_of(*scene()),
}
CHANGE = st.tuples(
    st.sampled_from(["put", "cut", "double", "swap"]),
    st.floats(0, 1),
    st.one_of(
        st.binary(min_size=1, max_size=8), st.sampled_from([b"nan", b"-1", b"1e999", b"9" * 30, b"\xff" * 4])
    ),
)


def changed(data: bytes, changes: list) -> bytes:
    for how, where, piece in changes:
        at = int(where * len(data))
        size = len(piece)
        data = {
            "put": data[:at] + piece + data[at + size :],
            "cut": data[:at] + data[at + size :],
            "double": data[: at + size] + data[at:],
            "swap": data[at:] + data[:at]
            if size > 6
            else data[:at] + data[at : at + size][::-1] + data[at + size :],
        }[how]
    return data


def read_or_refused(kind: str, data: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, f"part.{kind}")
        path.write_bytes(data)
        try:
            part = orient.load(path, together=True)
        except OrientError as refusal:
            part, said = None, str(refusal)
    if part is None:
        assert said.startswith("The file '")
        assert said.isprintable()
        assert said.endswith(".")
        return
    assert np.isfinite(part.vertices).all()
    assert np.isfinite([part.volume_mm3, part.area_mm2, *part.center_of_mass]).all()
    assert 0 <= part.faces.min() <= part.faces.max() < len(part.vertices)


@pytest.mark.parametrize("kind", WHOLE)
@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(changes=st.lists(CHANGE, min_size=1, max_size=6))
def test_a_changed_file_is_read_or_refused(kind, changes):
    read_or_refused(kind, changed(WHOLE[kind], changes))


@pytest.mark.slow
@pytest.mark.parametrize("kind", WHOLE)
@settings(max_examples=1000, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(changes=st.lists(CHANGE, min_size=1, max_size=12))
def test_a_thousand_changed_files_are_read_or_refused(kind, changes):
    read_or_refused(kind, changed(WHOLE[kind], changes))

"""Files changed under the guidance of coverage, read until the time is up.

``python -m tests.trust.guided SECONDS FOLDER`` leaves what it finds in the folder. It needs atheris (a fuzzer
for Python that follows coverage, Apache licence), which is no dependency of the project. It begins with the
small files of `corpus`.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

# Compiled loops cannot be watched: they are loaded before the watching begins.
import orient.part.mesh  # noqa: F401
from orient.errors import OrientError

with atheris.instrument_imports(include=["orient.part", "trimesh.exchange"]):
    import trimesh.exchange.gltf
    import trimesh.exchange.ply  # noqa: F401

    from orient.part.read import read_part

from tests.trust.corpus import everything

_ENDINGS = (".stl", ".obj", ".ply", ".off", ".3mf", ".glb")


def read(data: bytes) -> None:
    """Read one file; anything but a part or a sentence is a find."""
    if not data:
        return
    path = Path(_FOLDER, f"part{_ENDINGS[data[0] % len(_ENDINGS)]}")
    path.write_bytes(data[1:])
    try:
        read_part(path, together=True)
    except OrientError as refusal:
        said = str(refusal)
    else:
        return
    assert said.endswith(".")
    assert "\n" not in said


def main() -> None:
    """Fill the corpus and begin."""
    seconds = sys.argv[1]
    seeds = Path(_FOLDER, "seeds")
    seeds.mkdir()
    for name, data, _ in everything():
        ending = Path(name).suffix
        if len(data) <= 20_000 and ending in _ENDINGS:
            (seeds / name).write_bytes(bytes([_ENDINGS.index(ending)]) + data)
    limits = [f"-max_total_time={seconds}", "-timeout=60", "-rss_limit_mb=2048", "-max_len=20000"]
    limits.append(f"-artifact_prefix={sys.argv[2]}/")
    atheris.Setup([sys.argv[0], str(seeds), *limits, "-print_final_stats=1"], read)
    atheris.Fuzz()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as _FOLDER:
        main()

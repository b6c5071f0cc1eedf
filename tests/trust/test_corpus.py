"""Every file of the corpus through the shell, in time and memory, to a result or one sentence."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.trust.bounded import BYTES, SECONDS
from tests.trust.corpus import EITHER, REFUSAL, RESULT, everything

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def ended(tmp_path_factory):
    folder = tmp_path_factory.mktemp("corpus")
    for name, data, _ in everything():
        (folder / name).write_bytes(data)
    run = [sys.executable, "-m", "tests.trust.bounded", str(folder)]
    lines = subprocess.run(run, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    return {one["name"]: one for one in map(json.loads, lines)}


@pytest.mark.slow
def test_every_file_ends_in_a_result_or_one_sentence_in_a_minute_and_two_gigabytes(ended):
    expected = {name: outcome for name, _, outcome in everything()}
    assert len(expected) >= 60
    assert ended.keys() == expected.keys()
    wrong = []
    for name, outcome in expected.items():
        one = ended[name]
        found = {0: RESULT, 2: REFUSAL}.get(one["code"])
        sentence = one["said"].splitlines()[-1] if one["said"] else ""
        good = found is not None and outcome in (found, EITHER) and "Traceback" not in one["said"]
        good &= one["seconds"] <= SECONDS and one["bytes"] <= BYTES
        if found == REFUSAL:
            good &= sentence.startswith("orient: ") and sentence.endswith(".") and len(sentence) < 600
        if not good:
            wrong.append((name, outcome, one))
    assert not wrong


def test_the_corpus_breaks_each_format_in_several_ways():
    endings = [Path(name).suffix for name, _, _ in everything()]
    for ending in (".stl", ".obj", ".ply", ".off", ".3mf", ".glb", ".step"):
        assert endings.count(ending) >= 5

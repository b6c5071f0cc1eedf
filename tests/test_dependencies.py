"""No dependency that is not used, and none whose reason and licence are not told."""

import ast
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# What a distribution is imported as, where that is another word.
IMPORTED = {"pillow": "PIL", "scikit-fem": "skfem", "pytest-xdist": "xdist", "import-linter": "importlinter"}
# Used by running them, or by what runs them, not by an import.
RUN = {"ruff", "mypy", "import-linter", "scipy-stubs", "pytest-xdist", "ipykernel", "matplotlib"}


def names(wanted):
    return sorted({re.match(r"[\w.-]+", one)[0].lower() for one in wanted})


def imported(folder):
    """Top-level modules that the code below a folder imports, also from text that another process runs."""
    found = set()
    for path in folder.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Import):
                found |= {one.name.partition(".")[0] for one in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
        found |= set(re.findall(r"import (?:\w+, )?(cascadio|embreex)\b", text))
        found |= set(re.findall(r"importorskip\(\"(\w+)", text))
        found |= set(re.findall(r"find_spec\(\"(\w+)\"\)", text))
    return found


@pytest.mark.parametrize("name", names(PROJECT["dependencies"]))
def test_a_dependency_of_the_program_is_imported_by_it(name):
    if name == "embreex":
        # trimesh imports it, once rays are asked for.
        name = "trimesh"
    assert IMPORTED.get(name, name) in imported(ROOT / "orient")


@pytest.mark.parametrize(
    "name", names(one for some in PROJECT["optional-dependencies"].values() for one in some)
)
def test_a_dependency_of_an_extra_is_used(name):
    assert name in RUN or IMPORTED.get(name, name) in imported(ROOT / "orient") | imported(ROOT / "tests")


def test_every_dependency_is_told_with_its_reason_and_licence():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = [
        line.split("|")[1:4]
        for line in text.split("| library | for | licence |")[1].split("\n\n")[0].splitlines()[2:]
    ]
    assert all(len(row) == 3 and all(cell.strip() for cell in row) for row in rows)
    told = {name.strip().lower() for row in rows for name in re.sub(r"\(.*?\)", "", row[0]).split(",")}
    wanted = names(
        [
            *PROJECT["dependencies"],
            *(one for some in PROJECT["optional-dependencies"].values() for one in some),
        ]
    )
    assert set(wanted) <= told

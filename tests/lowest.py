"""Print the lowest versions that the project says it works with, as constraints for pip.

python -m tests.lowest > lowest.txt
pip install -c lowest.txt '.[step,fleet]' pytest pytest-xdist hypothesis html5lib

The desk is left out: NiceGUI asks for newer versions of what it shares with the rest than the rest needs.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1] / "pyproject.toml"
EXTRAS = ("step", "fleet")
# What the tests of the leg need beside them.
TOOLS = ("pytest", "pytest-xdist", "hypothesis", "html5lib")


def lowest() -> dict[str, str]:
    """Lowest version of every dependency, by name, as ``pyproject.toml`` gives it."""
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(one for name in EXTRAS for one in project["optional-dependencies"][name]),
    ]
    tools = project["optional-dependencies"]["test"]
    wanted += [one for one in tools if one.partition(">")[0] in TOOLS]
    found = {}
    for one in wanted:
        name, version = re.match(r"([\w.-]+)\s*>=\s*([\w.]+)", one).groups()
        found[name] = version
    return found


if __name__ == "__main__":
    for name, version in lowest().items():
        print(f"{name}=={version}")

"""Print the lowest versions that the project says it works with, as constraints for pip.

python -m tests.lowest > lowest.txt
pip install -c lowest.txt '.[step,desk,fleet,test]'
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1] / "pyproject.toml"
EXTRAS = ("step", "page", "desk", "fleet", "test")


def lowest() -> dict[str, str]:
    """Lowest version of every dependency, by name, as ``pyproject.toml`` gives it."""
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(one for name in EXTRAS for one in project["optional-dependencies"][name]),
    ]
    found = {}
    for one in wanted:
        name, version = re.match(r"([\w.-]+)\s*>=\s*([\w.]+)", one).groups()
        found[name] = version
    return found


if __name__ == "__main__":
    for name, version in lowest().items():
        print(f"{name}=={version}")

"""The brief as TOML again, and the names that say which brief and which data an answer came from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any

from orient.brief import Brief


def brief_toml(brief: Brief) -> str:
    """Write a brief as TOML that `orient.brief.read_brief` reads back to the same.

    Parameters
    ----------
    brief : Brief
        The brief; of the files that it names only their names are written, not their folders.

    Returns
    -------
    str

    Examples
    --------
    >>> brief = Brief.model_validate({"job": {"number": "A 1"}, "load": {"stress_axis": [1, 0, 0]}})
    >>> print(brief_toml(brief))
    [job]
    number = "A 1"
    <BLANKLINE>
    [load]
    stress_axis = [[1.0, 0.0, 0.0]]
    """
    data = brief.model_dump(exclude_unset=True, exclude_none=True)
    for section, key in (("part", "file"), ("process", "machines")):
        if key in data.get(section, {}):
            data[section][key] = Path(data[section][key]).name
    return "\n\n".join(_tables(data, ())).strip()


def data_version() -> str:
    """SHA-256 of the polymers, machines, supports and tuning steps, its first twelve digits."""
    digest = hashlib.sha256()
    for room in ("materials", "cost"):
        folder = files(f"orient.{room}")
        for one in sorted(folder.iterdir(), key=lambda entry: entry.name):
            if one.name.endswith(".toml"):
                digest.update(one.read_bytes())
    return digest.hexdigest()[:12]


def _tables(data: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    """Plain keys first, then tables, then lists of tables, as TOML wants them."""
    here: list[str] = []
    tables: list[str] = []
    for key, value in data.items():
        if isinstance(value, Mapping):
            tables += _headed(f"[{'.'.join((*path, key))}]", value, (*path, key))
        elif _is_tables(value):
            for one in value:
                tables += _headed(f"[[{'.'.join((*path, key))}]]", one, (*path, key))
        else:
            here.append(f"{key} = {_value(value)}")
    return (["\n".join(here)] if here else []) + tables


def _headed(head: str, data: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    inside = _tables(data, path)
    own = bool(inside) and not inside[0].startswith("[")
    if own:
        return [f"{head}\n{inside[0]}", *inside[1:]]
    # A section with tables only needs no head of its own, a list's entry does.
    return [head, *inside] if head.startswith("[[") else inside


def _is_tables(value: Any) -> bool:
    return isinstance(value, list | tuple) and bool(value) and isinstance(value[0], Mapping)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return f'"{value.isoformat()}"'
    if isinstance(value, str):
        # JSON's strings are TOML's basic strings, but for one control character that JSON leaves be.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(one) for one in value)}]"
    return repr(value)

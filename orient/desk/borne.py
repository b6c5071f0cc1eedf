"""What of a job its stress depends on: whether it can be found, and whether one found before still holds."""

from __future__ import annotations

import tomllib

from orient.desk.edits import Data

# What may change in these sections of a job while the stress stays what it was.
_NOT_BORNE = {
    "load": ("stress_axis", "kind", "service_temp_c", "sustained"),
    "process": ("machine", "layer_height_mm", "support"),
    "polymer": (),
}
# What pushes, in a load case.
_PUSHES = ("force", "pressure", "moment", "gravity", "acceleration_m_s2")


def forces_ready(data: Data) -> bool:
    """Whether a job says where the part is held and where it is pushed.

    Examples
    --------
    >>> held = {"fixed": ["hole-near:0,0,0"]}
    >>> [forces_ready({"load": {"case": [case]}}) for case in (held, held | {"gravity": [0, 0, -1]})]
    [False, True]
    """
    cases = data.get("load", {}).get("case", [])
    pushed = any(any(case.get(name) for name in _PUSHES) for case in cases)
    return pushed and any(case.get("fixed") for case in cases)


def same_forces(toml: str, other: str) -> bool:
    """Whether two briefs have the same load cases."""
    first, second = (tomllib.loads(one).get("load", {}).get("case") for one in (toml, other))
    return bool(first == second)


def borne_alike(toml: str, other: str) -> bool:
    """Whether the stress of one brief is that of another.

    Examples
    --------
    >>> borne_alike("process.machine = 'entry'", ""), borne_alike("process.infill = 0.3", "")
    (True, False)
    """
    then, now = tomllib.loads(toml), tomllib.loads(other)
    return all(_without(then, name, but) == _without(now, name, but) for name, but in _NOT_BORNE.items())


def _without(data: Data, section: str, names: tuple[str, ...]) -> Data:
    """A section without some of its keys."""
    return {name: value for name, value in data.get(section, {}).items() if name not in names}

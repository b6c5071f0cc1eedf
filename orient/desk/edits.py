"""The brief while it is being written: plain values, one change at a time, each of which can be undone."""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic
from typing import Any

from orient.brief import Brief
from orient.errors import OrientError
from orient.show.page.brief_text import brief_toml

Data = dict[str, Any]
Step = str | int
# What is changed again so soon is still the same change.
JOINS_S = 2.0
# Changes that can be taken back.
_MOST_KEPT = 100


def brief_of(toml: str) -> Brief:
    """Read a brief from TOML text.

    Parameters
    ----------
    toml : str
        As `orient.brief.read_brief` reads a file of it.

    Returns
    -------
    Brief

    Raises
    ------
    OrientError
        When it is no TOML, or holds an unknown or wrong key.
    """
    try:
        data = tomllib.loads(toml)
    except tomllib.TOMLDecodeError as error:
        raise OrientError(f"The brief is not valid TOML: {error}; mend that line.") from None
    return Brief.model_validate(data)


def toml_of(data: Data) -> str:
    """Write a brief as TOML, checked.

    Examples
    --------
    >>> print(toml_of({"load": {"stress_axis": [1, 0, 0]}, "process": {}}), end="")
    [load]
    stress_axis = [[1.0, 0.0, 0.0]]
    """
    text = brief_toml(Brief.model_validate(data))
    return text + "\n" if text else ""


def data_from(toml: bytes) -> tuple[Data, Data, tuple[str, ...]]:
    """Take over a brief that was written elsewhere.

    Parameters
    ----------
    toml : bytes
        The file.

    Returns
    -------
    data : dict
        Its values, without the files that it names: the part is the one on the desk.
    part : dict
        Which unit and which body of the part's file are meant, where it says so.
    left_out : tuple of str
        A sentence for everything that could not be taken over.

    Raises
    ------
    OrientError
        When it is no UTF-8 text, no TOML, or holds an unknown or wrong key.
    """
    try:
        text = toml.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise OrientError("The brief is not UTF-8 text; save it as UTF-8.") from None
    data = brief_of(text).model_dump(exclude_unset=True, exclude_none=True)
    left_out = []
    part = data.pop("part", {})
    part.pop("file", None)
    machines = data.get("process", {}).pop("machines", None)
    if machines is not None:
        left_out.append(
            f"The list of machines in {Path(machines).name} was left out: a browser cannot reach it. "
            "The shell takes it."
        )
        # A machine of that list means nothing without it.
        data["process"].pop("machine", None)
    return _listed(data), part, tuple(left_out)


def with_value(data: Data, key: str, value: Any) -> Data:
    """Set one key, or take it out where the value is None or empty.

    Parameters
    ----------
    data : dict
        The brief; left as it is.
    key : str
        Dotted, such as ``process.polymer``.
    value
        What it becomes.

    Returns
    -------
    dict

    Examples
    --------
    >>> with_value({"process": {"polymer": "PLA"}}, "process.polymer", None)
    {}
    """
    new = copy.deepcopy(data)
    *sections, name = key.split(".")
    here = new
    for section in sections:
        here = here.setdefault(section, {})
    if value is None or value == "" or value == () or value == []:
        here.pop(name, None)
    else:
        here[name] = value
    return _without_empty(new)


def with_added(data: Data, path: Sequence[Step], item: Any) -> Data:
    """Add an entry to a list, which is made if there is none.

    Parameters
    ----------
    data : dict
        The brief; left as it is.
    path : sequence of str or int
        Where the list is, such as ``("load", "case", 0, "fixed")``; an index one past the end makes a
        new entry.
    item
        The entry.

    Returns
    -------
    dict

    Examples
    --------
    >>> with_added({}, ("load", "case", 0, "fixed"), "hole-near:0,0,0")
    {'load': {'case': [{'fixed': ['hole-near:0,0,0']}]}}
    """
    new = copy.deepcopy(data)
    here: Any = new
    for step, after in zip(path, [*path[1:], 0], strict=True):
        made: Any = [] if isinstance(after, int) else {}
        if isinstance(step, int):
            if step == len(here):
                here.append(made)
            here = here[step]
        else:
            here = here.setdefault(step, made)
    here.append(item)
    return new


def without(data: Data, path: Sequence[Step]) -> Data:
    """Take an entry out of a list; what is left empty goes with it.

    Parameters
    ----------
    data : dict
        The brief; left as it is.
    path : sequence of str or int
        Where the entry is, such as ``("faces", 0)``.

    Returns
    -------
    dict

    Examples
    --------
    >>> without({"faces": [{"on": "group:a", "matters": "fit"}]}, ("faces", 0))
    {}
    """
    new = copy.deepcopy(data)
    here: Any = new
    for step in path[:-1]:
        here = here[step]
    del here[path[-1]]
    return _without_empty(new)


def with_changed(data: Data, path: Sequence[Step], values: Mapping[str, Any]) -> Data:
    """Change keys of an entry.

    Examples
    --------
    >>> with_changed({"faces": [{"on": "group:a", "matters": "fit"}]}, ("faces", 0), {"matters": "seal"})
    {'faces': [{'on': 'group:a', 'matters': 'seal'}]}
    """
    new = copy.deepcopy(data)
    here: Any = new
    for step in path:
        here = here[step]
    here.update(values)
    return new


def of_the_shop(data: Data) -> Data:
    """What of a job holds for the next part too: process, prices and weights, not loads, faces or quantity.

    Examples
    --------
    >>> of_the_shop({"process": {"polymer": "PETG"}, "load": {"stress_axis": [1, 0, 0]}})
    {'process': {'polymer': 'PETG'}}
    >>> of_the_shop({"weights": {"load": 0.0, "height": 2.0}, "limits": {"min_safety_factor": 2.0}})
    {'weights': {'height': 2.0}}
    """
    kept: Data = {n: data[n] for n in ("process", "polymer", "rates", "weights") if n in data}
    if "min_safety_factor" in data.get("limits", {}) and kept.get("weights", {}).get("load") == 0:
        # Strength was not weighed because that limit saw to it, which is not of the shop.
        kept["weights"] = {name: weight for name, weight in kept["weights"].items() if name != "load"}
    return _without_empty(kept)


@dataclass
class History:
    """The brief, and what it was before each change.

    Attributes
    ----------
    now : dict
        The brief as it stands.
    past : list of (dict, str)
        Earlier ones, the latest last, each with what was changed since, in words.
    undone : list of (dict, str)
        What was taken back since the last change, the latest last, each with what had been changed.
    """

    now: Data = field(default_factory=dict)
    past: list[tuple[Data, str]] = field(default_factory=list)
    undone: list[tuple[Data, str]] = field(default_factory=list)
    _last: float = -math.inf

    def change(self, new: Data, what: str, *, joins: bool = False) -> bool:
        """Take a change, if it makes a brief.

        Parameters
        ----------
        new : dict
            What the brief becomes.
        what : str
            What was changed, in words.
        joins : bool
            Whether it belongs to the last change, as one move of a slider does: both are undone as one, where
            no more than a moment lies between them.

        Returns
        -------
        bool
            Whether anything changed.

        Raises
        ------
        OrientError
            For values that make no brief; the brief stays as it was.
        """
        toml_of(new)
        if new == self.now:
            return False
        moment, self._last = monotonic() - self._last, monotonic()
        if not (joins and self.past and self.past[-1][1] == what and moment < JOINS_S):
            self.past.append((self.now, what))
            del self.past[:-_MOST_KEPT]
        self.now = new
        self.undone.clear()
        return True

    def begin(self, new: Data) -> None:
        """Begin with another job: nothing of the one before can be taken back."""
        self.now, self._last = new, -math.inf
        self.past.clear()
        self.undone.clear()

    def undo(self) -> str | None:
        """Take the last change back; says which, or None where there is none."""
        return self._move(self.past, self.undone)

    def redo(self) -> str | None:
        """Make again what was taken back last; says which, or None where there is none."""
        return self._move(self.undone, self.past)

    def _move(self, here: list[tuple[Data, str]], there: list[tuple[Data, str]]) -> str | None:
        if not here:
            return None
        other, what = here.pop()
        there.append((self.now, what))
        self.now, self._last = other, -math.inf
        return what

    @property
    def last(self) -> str | None:
        """What `undo` would take back, in words."""
        return self.past[-1][1] if self.past else None

    @property
    def next(self) -> str | None:
        """What `redo` would make again, in words."""
        return self.undone[-1][1] if self.undone else None

    @property
    def toml(self) -> str:
        """The brief as a file."""
        return toml_of(self.now)


def _listed(data: Any) -> Any:
    """Lists for tuples, so that entries can be added."""
    if isinstance(data, dict):
        return {key: _listed(value) for key, value in data.items()}
    return [_listed(value) for value in data] if isinstance(data, list | tuple) else data


def _without_empty(data: Data) -> Data:
    """Leave out sections and lists with nothing in them."""
    kept: Data = {}
    for key, value in data.items():
        if isinstance(value, dict):
            value = _without_empty(value)
        elif isinstance(value, list):
            value = [_without_empty(one) if isinstance(one, dict) else one for one in value]
            value = [one for one in value if one != {}]
        if value not in ({}, []):
            kept[key] = value
    return kept

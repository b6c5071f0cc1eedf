"""Which support material goes with which polymer, and how it comes off."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from orient.errors import OrientError
from orient.materials.polymers import Spread

# Words a brief may use for the part's own polymer, and for a pair that needs none.
_SAME = ("same", "own", "yes", "true", "auto")
SOLUBLE = ("water", "solvent", "alkali")


@dataclass(frozen=True)
class SupportMaterial:
    """A support material.

    Attributes
    ----------
    key, name : str
        Short name and name in words.
    polymers : frozenset of str or None
        Polymers it goes with; None for all.
    removal : str
        ``"by hand"``, ``"water"``, ``"solvent"`` or ``"alkali"``.
    second_material : bool
        Whether the machine must carry two materials.
    chamber_to_c : Spread or None
        Warmest chamber it bears, °C.
    source : str
        Who says so.
    """

    key: str
    name: str
    polymers: frozenset[str] | None
    removal: str
    second_material: bool
    chamber_to_c: Spread | None
    source: str

    @property
    def soluble(self) -> bool:
        """Whether a bath takes it away, so that no tool need reach it."""
        return self.removal in SOLUBLE

    def goes_with(self, polymer: str) -> bool:
        """Whether it holds this polymer and comes off it again."""
        return self.polymers is None or polymer in self.polymers


@cache
def support_materials() -> Mapping[str, SupportMaterial]:
    """Every support material by short name."""
    text = files("orient.materials").joinpath("supports.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: _support(key, entry) for key, entry in tomllib.loads(text).items()})


def support_material(name: str | None) -> SupportMaterial:
    """Look a support material up; None and "same" are the part's own polymer.

    Parameters
    ----------
    name : str or None
        Short name, as ``[process] support`` gives it.

    Returns
    -------
    SupportMaterial

    Raises
    ------
    OrientError
        For an unknown name, with the nearest ones.

    Examples
    --------
    >>> support_material("pva").removal
    'water'
    """
    known = support_materials()
    if name is None or name.strip().casefold() in _SAME:
        return known["same"]
    plain = {key.casefold(): key for key in known}
    word = name.strip().casefold().replace("_", "-").replace(" ", "-")
    if word in plain:
        return known[plain[word]]
    close = difflib.get_close_matches(word, plain, n=2, cutoff=0.5)
    offer = (
        f"the nearest is {' or '.join(plain[w] for w in close)}" if close else f"known are {', '.join(known)}"
    )
    raise OrientError(f'"{name}" is no support material; {offer}.')


def _support(key: str, entry: Mapping[str, Any]) -> SupportMaterial:
    chamber = entry.get("chamber_to_c")
    return SupportMaterial(
        key=key,
        name=entry["name"],
        polymers=None if entry["polymers"] == "all" else frozenset(entry["polymers"]),
        removal=entry["removal"],
        second_material=entry["second_material"],
        chamber_to_c=chamber and Spread(*(chamber["nominal"],) * 3, chamber["source"]),
        source=entry["source"],
    )

"""What the polymers are and how they are run, every figure with its source; what no source gives is None."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from orient.materials.polymers import Spread, polymer


@dataclass(frozen=True)
class Remark:
    """A property in words, and who says so."""

    word: str
    source: str

    def __str__(self) -> str:
        return self.word


@dataclass(frozen=True)
class Properties:
    """One polymer's figures; None stands for "no data".

    Attributes
    ----------
    key : str
        Short name, as in `orient.materials.polymers`.
    grade : Remark
        hobby, engineering, high-performance or support.
    crystalline, filled, soft : bool
        Whether it crystallises, carries fibre, or is a soft filament.
    density_g_cm3, glass_c, melt_c, cte_per_mk, shrink_percent : Spread or None
        Density; glass transition and melting point, °C; thermal expansion, 1e-6/K; mould shrinkage, %.
    modulus_in_layer_mpa, modulus_across_mpa, poissons_ratio : Spread or None
        Stiffness in the layers and across them.
    nozzle_c, bed_c : Spread
        Least, usual and greatest setting, °C.
    chamber_c : Spread or None
        Air round the part, °C, where it matters.
    surroundings : Remark
        cool, any, enclosed, warm or hot: see the head of ``properties.toml``.
    warm_from_mm : Spread or None
        Longest side above which the surroundings are needed, not merely a help.
    least_nozzle_mm : Spread or None
        Smallest nozzle its maker allows.
    moisture, sunlight, creep, water, fumes : Remark
        How it takes up water, and stands sun, lasting load and water; what it gives off when hot.
    dry_c, dry_h : Spread
        Drying before use, °C and hours.
    overhang_limit_deg, bridge_limit_mm : Spread
        What holds itself up.
    speed_mm_s, flow_mm3_s, min_layer_s : Spread
        Speed of the lines, most that a 0.4 mm nozzle melts, least time for a layer to set.
    """

    key: str
    grade: Remark
    crystalline: bool
    filled: bool
    soft: bool
    nozzle_c: Spread
    bed_c: Spread
    surroundings: Remark
    moisture: Remark
    dry_c: Spread
    dry_h: Spread
    sunlight: Remark
    creep: Remark
    water: Remark
    fumes: Remark
    overhang_limit_deg: Spread
    bridge_limit_mm: Spread
    speed_mm_s: Spread
    flow_mm3_s: Spread
    min_layer_s: Spread
    density_g_cm3: Spread | None = None
    glass_c: Spread | None = None
    melt_c: Spread | None = None
    cte_per_mk: Spread | None = None
    shrink_percent: Spread | None = None
    modulus_in_layer_mpa: Spread | None = None
    modulus_across_mpa: Spread | None = None
    poissons_ratio: Spread | None = None
    chamber_c: Spread | None = None
    warm_from_mm: Spread | None = None
    least_nozzle_mm: Spread | None = None

    def figures(self) -> dict[str, Spread | None]:
        """Return every figure by name, None where there is no data."""
        named = {field.name: getattr(self, field.name) for field in fields(self)}
        words = {"key", "grade", "crystalline", "filled", "soft"}
        return {
            name: value
            for name, value in named.items()
            if name not in words and (value is None or isinstance(value, Spread))
        }


def properties_of(name: str) -> Properties:
    """Look up what is known of a polymer.

    Parameters
    ----------
    name : str
        Short name or alias, as `orient.materials.polymers.polymer` reads it.

    Returns
    -------
    Properties

    Raises
    ------
    OrientError
        When no polymer has that name; the sentence offers the nearest ones.

    Examples
    --------
    >>> properties_of("peek").melt_c.nominal
    343
    >>> properties_of("PEEK-CF").poissons_ratio is None   # no data
    True
    """
    return all_properties()[polymer(name).key]


@cache
def all_properties() -> Mapping[str, Properties]:
    """Every polymer's properties by short name, in the order of the data file."""
    text = files("orient.materials").joinpath("properties.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    return MappingProxyType({key: _properties(key, entry) for key, entry in data.items()})


def _properties(key: str, entry: Mapping[str, Any]) -> Properties:
    return Properties(key=key, **{name: _value(value) for name, value in entry.items()})


def _value(value: Any) -> Any:
    if isinstance(value, bool):
        return value
    if "is" in value:
        return Remark(value["is"], value["source"])
    nominal = value["nominal"]
    return Spread(value.get("low", nominal), nominal, value.get("high", nominal), value["source"])

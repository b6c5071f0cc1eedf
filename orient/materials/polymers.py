"""Which polymers are known, how strong they are in the layers and across, and who says so."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from statistics import fmean, median
from types import MappingProxyType

from orient.errors import OrientError


@dataclass(frozen=True)
class StrengthTest:
    """One row of one source: what it measured along and across the layers.

    Attributes
    ----------
    in_layer_mpa
        Tensile strengths in the layer plane in MPa, one for each lie the source gives; empty when not seen.
    across_mpa
        Tensile strength across the layers in MPa.
    in_layer_sd_mpa, across_sd_mpa
        Standard deviations in MPa, 0 where the source prints none.
    use
        What the row may be used for: ``"in_layer"``, ``"across"``, ``"ratio"``.
    specimen, source
        What was tested and where it is written.
    """

    in_layer_mpa: tuple[float, ...]
    across_mpa: float | None
    in_layer_sd_mpa: float
    across_sd_mpa: float
    use: frozenset[str]
    specimen: str
    source: str

    @property
    def ratio(self) -> float | None:
        """Strength across the layers over the mean strength in them, or None where either is not seen."""
        if self.across_mpa is None or not self.in_layer_mpa:
            return None
        return self.across_mpa / fmean(self.in_layer_mpa)


@dataclass(frozen=True)
class Spread:
    """A figure with the spread of its sources.

    Attributes
    ----------
    low, nominal, high
        In the unit of the field that holds it.
    source
        Where the figures are from.
    """

    low: float
    nominal: float
    high: float
    source: str


@dataclass(frozen=True)
class Polymer:
    """One polymer: its name and its tested strengths.

    Attributes
    ----------
    key
        Short name that a brief uses, such as ``"PETG-CF"``.
    name
        Name in words.
    remark
        How far the sources can be trusted.
    tests
        The rows behind the figures.
    aliases
        Other names that a brief may use.
    """

    key: str
    name: str
    remark: str
    tests: tuple[StrengthTest, ...]
    aliases: tuple[str, ...] = ()

    @property
    def in_layer_mpa(self) -> Spread | None:
        """Tensile strength in the layer plane, MPa; None where no source was found.

        Nominal is the median over sources, a source with several lies counting once with their mean. Low and
        high are the least and the greatest cited figure, minus and plus two standard deviations where the
        source prints one.
        """
        tests = [t for t in self.tests if t.in_layer_mpa and "in_layer" in t.use]
        if not tests:
            return None
        return Spread(
            low=min(min(t.in_layer_mpa) - 2 * t.in_layer_sd_mpa for t in tests),
            nominal=median(fmean(t.in_layer_mpa) for t in tests),
            high=max(max(t.in_layer_mpa) + 2 * t.in_layer_sd_mpa for t in tests),
            source=_cited("median of", tests),
        )

    @property
    def across_mpa(self) -> Spread | None:
        """Tensile strength across the layers, MPa; None where no source was found.

        Nominal is the median ratio (across over in-layer, each taken inside one source) times the nominal
        in-layer strength: strengths of different grades and machines do not compare, their ratios do better.
        Where no source gives both it is the median of the across-layer figures. Low and high are as for the
        in-layer strength.
        """
        tests = [t for t in self.tests if t.across_mpa is not None and "across" in t.use]
        if not tests:
            return None
        paired = [t for t in self.tests if t.ratio is not None and "ratio" in t.use]
        in_layer = self.in_layer_mpa
        if paired and in_layer is not None:
            nominal = median(t.ratio for t in paired if t.ratio is not None) * in_layer.nominal
            source = _cited("median ratio across/in-layer, times the in-layer strength, of", paired)
        else:
            nominal = median(t.across_mpa for t in tests if t.across_mpa is not None)
            source = _cited("median of", tests)
        figures = [(t.across_mpa, t.across_sd_mpa) for t in tests if t.across_mpa is not None]
        return Spread(
            low=min(value - 2 * sd for value, sd in figures),
            nominal=nominal,
            high=max(value + 2 * sd for value, sd in figures),
            source=source,
        )


def polymer(name: str) -> Polymer:
    """Look a polymer up by the name a person would write.

    Parameters
    ----------
    name
        Short name or alias; case, blanks and underscores do not matter.

    Returns
    -------
    Polymer

    Raises
    ------
    OrientError
        When no polymer has that name; the sentence offers the nearest ones.

    Examples
    --------
    >>> polymer("petg cf").key
    'PETG-CF'
    """
    known = polymers()
    names = {_plain(alias): key for key, p in known.items() for alias in (key, p.name, *p.aliases)}
    if _plain(name) in names:
        return known[names[_plain(name)]]
    close = difflib.get_close_matches(_plain(name), names, n=3, cutoff=0.5)
    nearest = list(dict.fromkeys(names[word] for word in close))
    offer = f"the nearest is {' or '.join(nearest)}" if nearest else f"known are {', '.join(known)}"
    raise OrientError(
        f'"{name}" is no polymer in the data; {offer}; for one of your own, name the one most like it and '
        "put its figures into [polymer] of the brief."
    )


@cache
def polymers() -> Mapping[str, Polymer]:
    """Every polymer in the data, by short name.

    Returns
    -------
    Mapping of str to Polymer
        In the order of the data file.
    """
    text = files("orient.materials").joinpath("polymers.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: _polymer(key, entry) for key, entry in tomllib.loads(text).items()})


def _polymer(key: str, entry: dict) -> Polymer:
    tests = tuple(_strength_test(row) for row in entry.get("test", []))
    return Polymer(key, entry["name"], entry["remark"], tests, tuple(entry.get("aliases", ())))


def _strength_test(row: dict) -> StrengthTest:
    in_layer = row.get("in_layer_mpa", [])
    return StrengthTest(
        in_layer_mpa=tuple(in_layer) if isinstance(in_layer, list) else (in_layer,),
        across_mpa=row.get("across_mpa"),
        in_layer_sd_mpa=row.get("in_layer_sd_mpa", 0.0),
        across_sd_mpa=row.get("across_sd_mpa", 0.0),
        use=frozenset(row.get("use", ("in_layer", "across", "ratio"))),
        specimen=row["specimen"],
        source=row["source"],
    )


def _cited(rule: str, tests: Iterable[StrengthTest]) -> str:
    """Name the sources, each once with its number of rows, and the rule that joined them."""
    counts: dict[str, int] = {}
    for test in tests:
        counts[test.source] = counts.get(test.source, 0) + 1
    named = [source if n == 1 else f"{source} (× {n})" for source, n in counts.items()]
    return named[0] if sum(counts.values()) == 1 else f"{rule} {'; '.join(named)}"


def _plain(name: str) -> str:
    return "-".join(name.casefold().replace("_", " ").replace("-", " ").split())

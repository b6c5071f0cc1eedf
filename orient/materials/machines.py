"""What machines can do: three classes from the trade, and the shop's own from a `machines.toml`.

A shop writes one table a machine; only ``name``, ``envelope_mm``, ``nozzle_max_c`` and ``bed_max_c`` are
needed, the rest has the defaults of its class::

    [[machine]]
    name = "left bench"
    envelope_mm = [250, 210, 210]   # room to build in: x, y, z
    nozzle_max_c = 300
    bed_max_c = 120
    chamber_max_c = 0               # 0: no chamber heating
    nozzles_mm = [0.4, 0.6]
    nozzle_material = "hardened"    # or "brass"
    extruders = 1
    feed = "direct"                 # or "remote": motor away from the nozzle
    enclosed = false
    dry_feed = false                # filament is fed from a dry box
    hourly_rate = 4.0               # in the currency of the brief
    time_factor = 1.1               # hours measured / hours estimated
    count = 2                       # machines of this kind
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, Strict, ValidationError

from orient.errors import OrientError

CLASSES = ("entry", "engineering", "high-temperature")
# Hotter than this no machine for thermoplastics gets: the upper ends of the high-temperature class.
HOTTEST_NOZZLE_C = 550.0
HOTTEST_BED_C = 250.0
HOTTEST_CHAMBER_C = 300.0

Range = tuple[float, float]


@dataclass(frozen=True)
class Machine:
    """One machine, or a class of them.

    Attributes
    ----------
    name : str
        Name of the class or of the shop's machine.
    kind : str
        ``"entry"``, ``"engineering"`` or ``"high-temperature"``.
    own : bool
        Whether it is the shop's own; a class's figures are those of a usual machine.
    nozzle_max_c, bed_max_c, chamber_max_c : (float, float)
        What it reaches, °C: surely, and at best. Both are equal for a shop's own machine; a chamber of 0 has
        no heating.
    envelope_mm : (3,) tuple
        Room to build in: x, y, z.
    nozzles_mm : tuple of float
        Nozzles at hand; the first is the usual one.
    nozzle_material : str
        ``"brass"`` or ``"hardened"``.
    extruders : int
        Materials in one build.
    feed : str
        ``"direct"``, or ``"remote"``: the motor sits away from the nozzle.
    enclosed, dry_feed : bool
        Whether it has walls and a lid; whether the filament comes from a dry box.
    acceleration_mm_s2, travel_mm_s, layer_change_s, heat_up_min : float
        Kinematics and waiting.
    hourly_rate : float or None
        Cost of an hour, in the currency of the brief.
    time_factor : float
        Hours measured over hours estimated.
    count : int
        Machines of this kind in the shop.
    sources : Mapping of str to str
        Where each figure is from; of a shop's own machine, those that it did not give itself.
    """

    name: str
    kind: str
    own: bool
    nozzle_max_c: Range
    bed_max_c: Range
    chamber_max_c: Range
    envelope_mm: tuple[float, float, float]
    nozzles_mm: tuple[float, ...]
    nozzle_material: str
    extruders: int
    feed: str
    enclosed: bool
    dry_feed: bool
    acceleration_mm_s2: float
    travel_mm_s: float
    layer_change_s: float
    heat_up_min: float
    hourly_rate: float | None = None
    time_factor: float = 1.0
    count: int = 1
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)


@cache
def machine_classes() -> Mapping[str, Machine]:
    """The three classes by name.

    >>> machine_classes()["engineering"].chamber_max_c
    (60, 60)
    """
    text = files("orient.materials").joinpath("machines.toml").read_text(encoding="utf-8")
    return MappingProxyType({name: _class(name, entry) for name, entry in tomllib.loads(text).items()})


def machine(name: str, own: Iterable[Machine] = ()) -> Machine:
    """Look a machine up by name, the shop's own before the classes.

    Parameters
    ----------
    name : str
        Name; case, blanks and underscores do not matter.
    own : iterable of Machine, optional
        The shop's machines, from `read_machines`.

    Returns
    -------
    Machine

    Raises
    ------
    OrientError
        When no machine has that name; the sentence offers the nearest ones.
    """
    known = {_plain(one.name): one for one in (*machine_classes().values(), *own)}
    if _plain(name) in known:
        return known[_plain(name)]
    close = difflib.get_close_matches(_plain(name), known, n=3, cutoff=0.5)
    nearest = [known[word].name for word in close]
    everyone = ", ".join(one.name for one in known.values())
    offer = f"the nearest is {' or '.join(nearest)}" if nearest else f"known are {everyone}"
    raise OrientError(f'"{name}" is no machine; {offer} (machines of your own go into a machines.toml).')


def read_machines(path: str | Path) -> tuple[Machine, ...]:
    """Read the shop's own machines.

    Parameters
    ----------
    path : str or Path
        TOML file with one ``[[machine]]`` table a machine.

    Returns
    -------
    tuple of Machine
        In the order of the file.

    Raises
    ------
    OrientError
        When the file cannot be read, is no TOML, or says something impossible.
    """
    path = Path(path)
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise OrientError(f"{path} does not exist; check the name and folder of the machines file.") from None
    except IsADirectoryError:
        raise OrientError(f"{path} is a folder; name the machines file inside it.") from None
    except (OSError, UnicodeDecodeError):
        raise OrientError(f"{path} cannot be read; save the machines file as UTF-8 text.") from None
    except tomllib.TOMLDecodeError as error:
        fault = str(error).rstrip(".")
        raise OrientError(
            f"{path} is not valid TOML: {fault[:1].lower()}{fault[1:]}; mend that line."
        ) from None
    return _checked(path, data)


class _Entry(BaseModel):
    """One ``[[machine]]`` table."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Annotated[str, Field(min_length=1)]
    kind: Annotated[Literal["entry", "engineering", "high-temperature"] | None, Field(alias="class")] = None
    envelope_mm: tuple[_Length, _Length, _Length]
    nozzle_max_c: Annotated[float, Strict(), Field(ge=100, le=HOTTEST_NOZZLE_C, allow_inf_nan=False)]
    bed_max_c: Annotated[float, Strict(), Field(ge=0, le=HOTTEST_BED_C, allow_inf_nan=False)]
    chamber_max_c: Annotated[float, Strict(), Field(ge=0, le=HOTTEST_CHAMBER_C, allow_inf_nan=False)] = 0.0
    nozzles_mm: Annotated[tuple[_Bore, ...], Field(min_length=1)] | None = None
    nozzle_material: Literal["brass", "hardened"] | None = None
    extruders: Annotated[int, Strict(), Field(ge=1)] | None = None
    feed: Literal["direct", "remote"] | None = None
    enclosed: Annotated[bool, Strict()] | None = None
    dry_feed: Annotated[bool, Strict()] | None = None
    acceleration_mm_s2: _Length | None = None
    travel_mm_s: _Length | None = None
    layer_change_s: Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)] | None = None
    heat_up_min: Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)] | None = None
    hourly_rate: Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)] | None = None
    time_factor: Annotated[float, Strict(), Field(gt=0, le=10, allow_inf_nan=False)] = 1.0
    count: Annotated[int, Strict(), Field(ge=1)] = 1


_Length = Annotated[float, Strict(), Field(gt=0, allow_inf_nan=False)]
_Bore = Annotated[float, Strict(), Field(ge=0.1, le=5, allow_inf_nan=False)]
_Entry.model_rebuild()

# What each bound means, said after the value that broke it.
_MEND = {
    "nozzle_max_c": f"give the hottest nozzle in °C, from 100 to {HOTTEST_NOZZLE_C:g}",
    "bed_max_c": f"give the hottest bed in °C, from 0 to {HOTTEST_BED_C:g}",
    "chamber_max_c": f"give the hottest chamber in °C, from 0 (not heated) to {HOTTEST_CHAMBER_C:g}",
    "envelope_mm": "give the room to build in as three lengths above 0 mm: [x, y, z]",
    "nozzles_mm": "give the nozzles' bores in mm, such as [0.4, 0.6]",
    "count": "give a whole number from 1",
    "extruders": "give a whole number from 1",
    "time_factor": "give hours measured over hours estimated, above 0 and at most 10",
}


def _checked(path: Path, data: Mapping[str, Any]) -> tuple[Machine, ...]:
    tables = data.get("machine")
    strange = [name for name in data if name != "machine"]
    if strange:
        raise OrientError(
            f'{path} has "{strange[0]}" outside a machine; write one [[machine]] table a machine.'
        )
    if not isinstance(tables, list) or not tables:
        raise OrientError(f"{path} names no machine; write one [[machine]] table a machine.")
    found: list[Machine] = []
    for number, table in enumerate(tables, start=1):
        try:
            entry = _Entry.model_validate(table)
        except ValidationError as error:
            raise OrientError(f"{path}, machine {number}: {_sentence(error)}") from None
        taken = {_plain(one.name) for one in found} | set(CLASSES)
        if _plain(entry.name) in taken:
            raise OrientError(
                f'{path} names "{entry.name}" twice, or as a class; give every machine its own name.'
            )
        found.append(_own(entry))
    return tuple(found)


def _sentence(error: ValidationError) -> str:
    faults = sorted(error.errors(include_url=False), key=lambda one: one["type"] != "extra_forbidden")
    first = faults[0]
    name = str(first["loc"][0])
    if first["type"] == "extra_forbidden":
        known = [field.alias or key for key, field in _Entry.model_fields.items()]
        close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
        return f'there is no key "{name}"; ' + (
            f'the nearest is "{close[0]}".' if close else f"known are {', '.join(known)}."
        )
    if first["type"] == "missing" and len(first["loc"]) == 1:
        return f'the key "{name}" is missing; {_MEND.get(name, "add it")}.'
    value = first["input"]
    mend = _MEND.get(name) or first["msg"].replace("Input should", "it should")
    # 600 °F is 316 °C: the commonest way to a nozzle that is too hot.
    hint = ""
    if name == "nozzle_max_c" and isinstance(value, int | float) and HOTTEST_NOZZLE_C < value <= 1000:
        hint = f" ({value:g} °F would be {(value - 32) / 1.8:.0f} °C)"
    return f"{name} is {value}{hint}; {mend}."


def _own(entry: _Entry) -> Machine:
    kind = entry.kind or _kind_of(entry)
    usual = machine_classes()[kind]
    given = entry.model_dump(exclude_none=True, exclude={"kind"})
    for name in ("nozzle_max_c", "bed_max_c", "chamber_max_c"):
        given[name] = (given[name], given[name]) if name in given else (0.0, 0.0)
    # What the shop does not say about the housing is taken as the less: no walls, no dry box, brass.
    cautious = {
        "enclosed": entry.chamber_max_c > 0,
        "dry_feed": False,
        "nozzle_material": "brass",
        "extruders": 1,
        "feed": "direct",
    }
    names = ("nozzles_mm", "acceleration_mm_s2", "travel_mm_s", "layer_change_s", "heat_up_min")
    # A figure that the shop did not give is not the shop's.
    sources = {name: f"as the {kind} class: {usual.sources[name]}" for name in names if name not in given}
    sources |= {name: "not said by the shop, the less is taken" for name in cautious if name not in given}
    return Machine(
        **{"kind": kind, "own": True, **{name: getattr(usual, name) for name in names}, **cautious, **given},
        sources=MappingProxyType(sources),
    )


def _kind_of(entry: _Entry) -> str:
    """The highest class whose sure reach the machine has."""
    reached = "entry"
    for name, one in machine_classes().items():
        if (
            entry.nozzle_max_c >= one.nozzle_max_c[0]
            and entry.bed_max_c >= one.bed_max_c[0]
            and entry.chamber_max_c >= one.chamber_max_c[0]
        ):
            reached = name
    return reached


def _class(name: str, entry: Mapping[str, Any]) -> Machine:
    values: dict[str, Any] = {}
    for key, value in entry.items():
        if "is" in value:
            values[key] = tuple(value["is"]) if isinstance(value["is"], list) else value["is"]
        else:
            values[key] = (value["low"], value["high"])
    sources = {key: value["source"] for key, value in entry.items()}
    return Machine(name=name, kind=name, own=False, sources=MappingProxyType(sources), **values)


def _plain(name: str) -> str:
    return "-".join(name.casefold().replace("_", " ").replace("-", " ").split())

"""The brief: what a person knows about the job, from a TOML file and the command line.

Every section and every key is optional. A key that is misspelt or holds something impossible is refused with
its name, its place and the nearest right one. A key that this version reads but does not use yet is accepted
and listed by `Brief.unused`.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationError,
    field_validator,
    model_validator,
)
from pydantic_core import ErrorDetails

from orient.errors import OrientError

NOT_USED_YET = "accepted, not used yet"


def _text(value: object) -> object:
    # A job number such as 4711 is text to the shop and a whole number to TOML.
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _day(value: object) -> object:
    try:
        if not isinstance(value, bool | int | float):
            return date.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        pass
    raise ValueError(f"is {_shown(value)}; write a date such as 2030-05-31")


def _one_or_several(value: object) -> object:
    """Let one vector stand for a list of one."""
    if isinstance(value, list | tuple) and value and not isinstance(value[0], list | tuple):
        return [value]
    return value


Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[float, Strict(), Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)]
Fraction = Annotated[float, Strict(), Field(ge=0, le=1, allow_inf_nan=False)]
# A scale further from 1 than any polymer shrinks, in cooling or annealing, is a slip: 5 for 5 %, say.
Scale = Annotated[float, Strict(), Field(ge=0.8, le=1.25, allow_inf_nan=False)]
Count = Annotated[int, Strict(), Field(ge=1)]
YesNo = Annotated[bool, Strict()]
Text = Annotated[str, BeforeValidator(_text), Field(min_length=1)]
Day = Annotated[date, BeforeValidator(_day)]
Vector = tuple[Number, Number, Number]
Vectors = Annotated[tuple[Vector, ...], BeforeValidator(_one_or_several), Field(min_length=1)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Job(_Section):
    """``[job]``: what the shop's paper says, and where the part has to live."""

    number: Text | None = None
    revision: Text | None = None
    customer_ref: Text | None = None
    quantity: Count | None = None
    due: Day | None = None
    outdoor: YesNo | None = None
    wet: YesNo | None = None
    chemicals: tuple[Text, ...] | None = None
    use: tuple[Literal["food", "skin", "medical", "lifting"], ...] | None = None


class PartFile(_Section):
    """``[part]``: the file, its unit, and which of its bodies is meant."""

    file: Text | None = None
    units: Text | None = None
    body: Count | None = None
    together: YesNo | None = None

    @model_validator(mode="after")
    def _one_body_or_all(self) -> PartFile:
        if self.body is not None and self.together:
            raise ValueError("body picks one body and together keeps them all, so give only one of the two")
        return self


class ProcessWish(_Section):
    """``[process]``: polymer, machine and the numbers of the process that are not the defaults."""

    polymer: Text | None = None
    machine: Text | None = None
    machines: Text | None = None
    nozzle_mm: Positive | None = None
    line_width_mm: Positive | None = None
    layer_height_mm: Positive | None = None
    overhang_limit_deg: Annotated[float, Strict(), Field(gt=0, lt=90, allow_inf_nan=False)] | None = None
    infill: Fraction | None = None
    support: Text | None = None
    support_tool_mm: Positive | None = None
    make_up_shrinkage: YesNo | None = None
    scale_xyz: tuple[Scale, Scale, Scale] | None = None

    @model_validator(mode="after")
    def _one_scale(self) -> ProcessWish:
        if self.make_up_shrinkage and self.scale_xyz is not None:
            raise ValueError(
                "make_up_shrinkage and scale_xyz both scale the part, so give only one of the two"
            )
        return self


class Force(_Section):
    """``[[load.case.force]]``: a force in N on the faces a selector names."""

    on: Text
    newtons: Vector


class Pressure(_Section):
    """``[[load.case.pressure]]``: a pressure in MPa into the faces a selector names."""

    on: Text
    mpa: Number


class Moment(_Section):
    """``[[load.case.moment]]``: a moment in N·mm, a number about a hole's axis or a vector about a point."""

    on: Text
    newton_mm: Number | Vector
    about: Vector | None = None


class LoadCase(_Section):
    """``[[load.case]]``: where the part is held and pushed; what is in one case acts together."""

    name: Text | None = None
    both_ways: YesNo = False
    fixed: tuple[Text, ...] = ()
    force: tuple[Force, ...] = ()
    pressure: tuple[Pressure, ...] = ()
    moment: tuple[Moment, ...] = ()
    gravity: Vector | None = None
    acceleration_m_s2: Vector | None = None


class Load(_Section):
    """``[load]``: how the part is loaded, in the file's own coordinates."""

    stress_axis: Vectors | None = None
    kind: Literal["tension", "compression", "bending"] = "tension"
    service_temp_c: Number | None = None
    sustained: YesNo | None = None
    case: tuple[LoadCase, ...] = ()

    @field_validator("stress_axis")
    @classmethod
    def _has_length(cls, axes: tuple[Vector, ...] | None) -> tuple[Vector, ...] | None:
        if any(math.hypot(*axis) < 1e-9 for axis in axes or ()):
            raise ValueError("has no length; give the direction the load pulls in, such as [1, 0, 0]")
        return axes


class FacesThatMatter(_Section):
    """``[[faces]]``: faces named by a selector, and why they matter."""

    on: Text
    matters: Literal["visible", "fit", "seal", "no_support"]


class Weights(_Section):
    """``[weights]``: what each trouble weighs, or a preset's name; a weight not given keeps its default."""

    support: NotNegative | None = None
    height: NotNegative | None = None
    load: NotNegative | None = None
    first_layer: NotNegative | None = None
    finish: NotNegative | None = None
    faces: NotNegative | None = None
    cost: NotNegative | None = None
    features: NotNegative | None = None
    preset: Text | None = None

    def given(self) -> dict[str, float]:
        """Return the weights the brief names, by name."""
        named = self.model_dump(exclude={"preset"}, exclude_none=True)
        return {name: float(weight) for name, weight in named.items()}


class Limits(_Section):
    """``[limits]``: what excludes a pose outright."""

    max_height_mm: Positive | None = None
    envelope_mm: tuple[Positive, Positive, Positive] | None = None
    min_strength_retained: Fraction | None = None
    min_safety_factor: Positive | None = None
    max_deflection_mm: Positive | None = None


class Rates(_Section):
    """``[rates]``: what the shop's time and material cost."""

    currency: Text | None = None
    machine_per_hour: NotNegative | None = None
    labour_per_hour: NotNegative | None = None
    material_per_kg: NotNegative | None = None
    support_per_kg: NotNegative | None = None
    setup_min: NotNegative | None = None
    drying_min: NotNegative | None = None
    finishing_min_per_cm2: NotNegative | None = None
    scrap_rate: Annotated[float, Strict(), Field(ge=0, lt=1, allow_inf_nan=False)] | None = None


class PolymerFigures(_Section):
    """``[polymer]``: the shop's own figures, which go before the data's."""

    strength_in_layer_mpa: Positive | None = None
    strength_across_mpa: Positive | None = None
    strength_shear_mpa: Positive | None = None
    strength_in_layer_low_mpa: Positive | None = None
    strength_in_layer_high_mpa: Positive | None = None
    strength_across_low_mpa: Positive | None = None
    strength_across_high_mpa: Positive | None = None
    strength_shear_low_mpa: Positive | None = None
    strength_shear_high_mpa: Positive | None = None
    youngs_modulus_mpa: Positive | None = None
    poissons_ratio: Annotated[float, Strict(), Field(ge=0, lt=0.5, allow_inf_nan=False)] | None = None
    density_g_cm3: Positive | None = None
    glass_transition_c: Number | None = None
    source: Text | None = None


class Brief(_Section):
    """All that is known about a job; every section may be missing.

    Examples
    --------
    >>> brief = Brief.model_validate({"load": {"stress_axis": [1, 0, 0]}, "limits": {"min_safety_factor": 2}})
    >>> brief.load.stress_axis
    ((1.0, 0.0, 0.0),)
    >>> brief.unused()
    ()
    """

    job: Job = Job()
    part: PartFile = PartFile()
    process: ProcessWish = ProcessWish()
    load: Load = Load()
    faces: tuple[FacesThatMatter, ...] = ()
    weights: Weights = Weights()
    limits: Limits = Limits()
    rates: Rates = Rates()
    polymer: PolymerFigures = PolymerFigures()

    @classmethod
    def model_validate(cls, obj: Any, **options: Any) -> Brief:
        """Check a brief that is given as plain values, as `read_brief` checks a file.

        Parameters
        ----------
        obj
            Sections by name, each a dict of its keys; or a brief.
        **options
            As for any pydantic model.

        Returns
        -------
        Brief

        Raises
        ------
        OrientError
            For an unknown or wrong key: its name, its section and the nearest right one.
        """
        return _checked(obj, lambda loc: "Brief", **options)

    @model_validator(mode="after")
    def _something_weighs(self) -> Brief:
        weights = self.weights
        always = (weights.support, weights.height, weights.load, weights.first_layer, weights.finish)
        if (
            all(weight == 0 for weight in always)
            and not (self.faces and weights.faces != 0)
            and not weights.cost
        ):
            raise ValueError("all weights are 0, so nothing can be ranked; give at least one more than 0")
        return self

    def unused(self) -> tuple[str, ...]:
        """List the keys that were given and that this version does not use yet.

        Returns
        -------
        tuple of str
            Dotted names, such as ``"load.kind"``, in the order of the sections.
        """
        return tuple(_unused(self))

    def resolved(self) -> dict[str, Any]:
        """Return the brief as plain numbers, text and lists, without what was not given.

        Returns
        -------
        dict
            Sections by name, ready for JSON; empty sections are left out.
        """
        plain = self.model_dump(mode="json", exclude_none=True)
        return {name: section for name, section in plain.items() if section}


def read_brief(path: str | Path) -> Brief:
    """Read a brief from a TOML file.

    Parameters
    ----------
    path
        File to read. ``[part] file`` and ``[process] machines`` in it are taken relative to
        the brief's own folder.

    Returns
    -------
    Brief

    Raises
    ------
    OrientError
        When the file cannot be read, is no TOML, or holds an unknown or wrong key.
    """
    path = Path(path)
    text = _text_of(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        fault = str(error).rstrip(".")
        raise OrientError(
            f"{path} is not valid TOML: {fault[:1].lower()}{fault[1:]}; mend that line."
        ) from None
    brief = _checked(data, lambda loc: f"{path}{_line_of(loc, text)}")
    beside: dict[str, Any] = {}
    if brief.part.file is not None:
        beside["part"] = brief.part.model_copy(update={"file": str(path.parent / brief.part.file)})
    if brief.process.machines is not None:
        machines = str(path.parent / brief.process.machines)
        beside["process"] = brief.process.model_copy(update={"machines": machines})
    return brief.model_copy(update=beside) if beside else brief


def with_flags(brief: Brief, flags: Mapping[str, object], names: Mapping[str, str] | None = None) -> Brief:
    """Lay command-line flags over a brief; the flags win.

    Parameters
    ----------
    brief
        The brief underneath.
    flags
        Values by dotted key, such as ``{"process.layer_height_mm": 0.1}``. A value of None is a flag that was
        not given.
    names
        What the shell calls a key, such as ``{"process.layer_height_mm": "--layer"}``, to say where a fault
        is.

    Returns
    -------
    Brief

    Raises
    ------
    OrientError
        When a flag names no key or holds something impossible.

    Notes
    -----
    A flag also sets aside what contradicts it: ``weights.preset`` the brief's own weights, ``part.body`` the
    brief's ``part.together`` and the other way round.

    Examples
    --------
    >>> with_flags(Brief(), {"weights.support": 2.0, "load.kind": None}).weights.given()
    {'support': 2.0}
    """
    given = {key: value for key, value in flags.items() if value is not None}
    data: dict[str, Any] = brief.model_dump(exclude_unset=True)
    if "weights.preset" in given:
        data.pop("weights", None)
    if "part.body" in given:
        data.get("part", {}).pop("together", None)
    if given.get("part.together"):
        data.get("part", {}).pop("body", None)
    for key, value in given.items():
        section, _, name = key.rpartition(".")
        if section:
            data.setdefault(section, {})[name] = value
        else:
            data[name] = value

    def place(loc: Sequence[int | str]) -> str:
        return (names or {}).get(_dotted(loc[:2]), "command line")

    return _checked(data, place)


def vector_from_text(text: str) -> tuple[float, float, float]:
    """Read three numbers as a flag writes them.

    Parameters
    ----------
    text
        Three numbers with commas between, such as ``"1,0,0"``.

    Returns
    -------
    tuple of three floats

    Raises
    ------
    OrientError
        When there are not three finite numbers.

    Examples
    --------
    >>> vector_from_text("0, -1, 0.5")
    (0.0, -1.0, 0.5)
    """
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError:
        x = y = z = math.nan
    if not all(map(math.isfinite, (x, y, z))):
        raise OrientError(
            f'"{text}" is no direction; write three numbers with commas between, such as 1,0,0.'
        )
    return x, y, z


def _text_of(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise OrientError(f"{path} does not exist; check the brief's name and folder.") from None
    except IsADirectoryError:
        raise OrientError(f"{path} is a folder; name the brief inside it.") from None
    except OSError as error:
        raise OrientError(f"{path} cannot be read ({error.strerror}); check that it may be opened.") from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise OrientError(f"{path}, line {line}, is not UTF-8 text; save the brief as UTF-8.") from None


def _checked(data: Any, place: Callable[[Sequence[int | str]], str], **options: Any) -> Brief:
    try:
        return Brief.__pydantic_validator__.validate_python(data, **options)
    except ValidationError as error:
        # A misspelt key is told before what it left missing.
        details = sorted(error.errors(include_url=False), key=lambda d: d["type"] != "extra_forbidden")
        first = details[0]
        raise OrientError(f"{place(first['loc'])}: {_sentence(first)}") from None


def _sentence(fault: ErrorDetails) -> str:
    """Turn one of pydantic's faults into a sentence with the name, the section and the nearest right one."""
    kind, loc = fault["type"], fault["loc"]
    value = _shown(fault["input"])
    where, name = _section_and_name(loc)
    in_section = f"{where} " if where else ""
    if kind == "extra_forbidden":
        return _unknown_key(loc, where, name)
    if kind == "missing" and isinstance(loc[-1], int):
        return f"{in_section}{name} is {value}; it should hold more numbers, {loc[-1]} are too few."
    if kind == "missing":
        return f'{where} needs the key "{name}".'
    if kind == "value_error":
        title = f"[{name}]" if name in Brief.model_fields and not where else name
        return f"{in_section}{title}{' ' if title else ''}{fault['ctx']['error']}."
    if kind == "literal_error":
        allowed = list(_choices(_annotation_at(loc))) or [fault["ctx"]["expected"]]
        close = difflib.get_close_matches(str(fault["input"]), allowed, n=1, cutoff=0.4)
        nearest = f'; the nearest is "{close[0]}"' if close else ""
        return f"{in_section}{name} is {value}; it must be {_either(allowed)}{nearest}."
    if not loc and kind in ("model_type", "model_attributes_type"):
        return f"{value} is no table of sections; give one such as {{'load': {{'stress_axis': [1, 0, 0]}}}}."
    if kind in ("model_type", "model_attributes_type"):
        homes = [s for s in _homes_of(name) if s != name]
        elsewhere = f'; the key "{name}" belongs in [{homes[0]}]' if homes else ""
        return f"{name} is {value}, but [{_dotted(loc)}] is a section of its own{elsewhere}."
    if kind == "tuple_type" and isinstance(fault["input"], Mapping):
        return (
            f"[{_dotted(loc)}] can stand more than once; write it with double brackets, [[{_dotted(loc)}]]."
        )
    if kind == "tuple_type" and _annotation_at(loc) == Vector:
        return f"{in_section}{name} is {value}; it should hold three numbers, such as [0, 0, -50]."
    if kind == "less_than_equal" and fault["ctx"]["le"] == 1 and 1 < float(fault["input"]) <= 100:
        return f"{in_section}{name} is {value}; it is a share: write {float(fault['input']) / 100:g}."
    if kind in ("too_short", "string_too_short"):
        return f"{in_section}{name} is empty; give it a value or leave the key out."
    rule = fault["msg"].replace("Input should", "it should").replace("Tuple should", "it should")
    return f"{in_section}{name} is {value}; {rule.replace('valid tuple', 'list')}."


def _unknown_key(loc: tuple[int | str, ...], where: str, name: str) -> str:
    model = _annotation_at(loc[:-1])
    known = list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []
    what = f'{where} has no key "{name}"' if where else f'a brief has no section "{name}"'
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    homes = _homes_of(name)
    if homes and not where:
        return f'the key "{name}" stands outside every section; it belongs in [{homes[0]}].'
    if homes:
        return f"{what}; it belongs in [{homes[0]}]."
    if close:
        return f'{what}; the nearest is "{close[0]}".'
    return f"{what}; known are {', '.join(known)}."


def _homes_of(name: str) -> list[str]:
    """Name the sections that know a key."""
    homes = []
    for section, field in Brief.model_fields.items():
        model = field.annotation
        if isinstance(model, type) and issubclass(model, BaseModel) and name in model.model_fields:
            homes.append(section)
    return homes


def _section_and_name(loc: tuple[int | str, ...]) -> tuple[str, str]:
    """Split a place such as ``("faces", 0, "on")`` into ``[[faces]]`` number 1 and ``on``."""
    # Pydantic appends the branch of a union ("float", "tuple[…]") and the index inside a vector.
    names = [step for step in loc if isinstance(step, str)]
    if len(names) < 2:
        lone = names[0] if names else ""
        return "", lone
    depth = 0
    section: list[str] = []
    numbers: list[int] = []
    model: Any = Brief
    while depth < len(loc) and isinstance(model, type) and issubclass(model, BaseModel):
        step = loc[depth]
        field = model.model_fields.get(str(step))
        inner = _model_in(field.annotation) if field is not None else None
        if inner is None:
            break
        section.append(str(step))
        depth += 1
        if depth < len(loc) and isinstance(loc[depth], int):
            numbers.append(int(loc[depth]) + 1)
            depth += 1
        model = inner
    name = str(loc[depth]) if depth < len(loc) else ""
    title = f"[[{'.'.join(section)}]] number {numbers[-1]}" if numbers else f"[{'.'.join(section)}]"
    return title, name


def _annotation_at(loc: Sequence[int | str]) -> Any:
    """Return the type that stands at a place in the brief."""
    here: Any = Brief
    for step in loc:
        if isinstance(step, int):
            continue
        if not (isinstance(here, type) and issubclass(here, BaseModel)) or step not in here.model_fields:
            break
        annotation = here.model_fields[step].annotation
        here = _model_in(annotation) or annotation
    return here


def _choices(annotation: Any) -> Iterator[str]:
    """List the words of a ``Literal``, wherever in an annotation it stands."""
    if get_origin(annotation) is Literal:
        yield from map(str, get_args(annotation))
    else:
        for inner in get_args(annotation):
            yield from _choices(inner)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Find the section model inside ``Model``, ``Model | None`` or ``tuple[Model, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (tuple, Union, UnionType, Annotated):
        return next((model for arg in get_args(annotation) if (model := _model_in(arg))), None)
    return None


def _line_of(loc: Sequence[int | str], text: str) -> str:
    """Find the line a place stands on; empty where the text does not show it plainly."""
    counts: dict[tuple[int | str, ...], int] = {}
    header: tuple[int | str, ...] = ()
    best, found = 0, None
    for number, line in enumerate(text.splitlines(), start=1):
        if title := re.match(r"\s*(\[\[?)\s*([\w.\s\"'-]+?)\s*\]", line):
            header = ()
            for step in re.split(r"\s*\.\s*", title[2]):
                header += (step.strip("\"'"),)
                if header in counts:
                    header += (counts[header],)
            if title[1] == "[[":
                plain = header if isinstance(header[-1], str) else header[:-1]
                counts[plain] = counts.get(plain, -1) + 1
                header = (*plain, counts[plain])
            path = header
        elif key := re.match(r"\s*([\w.\"'-]+)\s*=", line):
            path = header + tuple(step.strip("\"'") for step in key[1].split("."))
        else:
            continue
        depth = len(path) if tuple(loc[: len(path)]) == path else 0
        if depth > best:
            best, found = depth, number
    return f", line {found}" if found else ""


def _unused(model: BaseModel, prefix: str = "") -> Iterator[str]:
    for name, field in type(model).model_fields.items():
        if name not in model.model_fields_set:
            continue
        value = getattr(model, name)
        if NOT_USED_YET in field.metadata:
            if value not in (None, ()):
                yield f"{prefix}{name}"
        elif isinstance(value, BaseModel):
            yield from _unused(value, f"{prefix}{name}.")


def _shown(value: object) -> str:
    """Write a value as a brief would, short."""
    if isinstance(value, str):
        written = f'"{value}"'
    elif isinstance(value, bool):
        written = str(value).lower()
    elif isinstance(value, Mapping):
        written = "a table"
    else:
        written = str(list(value) if isinstance(value, tuple) else value)
    return written if len(written) <= 60 else written[:57] + "…"


def _dotted(loc: Sequence[int | str]) -> str:
    return ".".join(step for step in loc if isinstance(step, str))


def _either(names: Sequence[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"

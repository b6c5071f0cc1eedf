"""Whether a machine can run a polymer: every requirement with its margin, and a verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from orient.materials.machines import Machine, machine_classes
from orient.materials.polymers import Spread
from orient.materials.properties import Properties
from orient.materials.supports import SupportMaterial, support_material

# Best first. A machine is as fit as its worst requirement.
VERDICTS = ("runs", "care", "no")
# What shows whether the lower end of a range is enough.
_TEST = {"nozzle": "test the bond of the layers", "bed": "test the hold", "chamber": "test for warping"}


@dataclass(frozen=True)
class Requirement:
    """One thing a polymer asks of a machine.

    Attributes
    ----------
    about : str
        nozzle, bed, chamber, enclosure, nozzle material, nozzle bore, drying, feed, support, room.
    verdict : str
        One of `VERDICTS`.
    reason : str
        One sentence: what is there, what is missing, what to mind.
    needs_c, has_c, margin_c : float or None
        For temperatures: the usual setting, or the least one where even that is missing; what the machine
        reaches; the difference, °C.
    """

    about: str
    verdict: str
    reason: str
    needs_c: float | None = None
    has_c: float | None = None
    margin_c: float | None = None


@dataclass(frozen=True)
class Fitness:
    """What a machine can do with a polymer.

    Attributes
    ----------
    machine : Machine
        The machine, or the class.
    verdict : str
        ``"runs"``, ``"care"`` or ``"no"``: that of the worst requirement.
    requirements : tuple of Requirement
        Every one that was looked at.
    """

    machine: Machine
    verdict: str
    requirements: tuple[Requirement, ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        """The sentences, the worst first."""
        ordered = sorted(self.requirements, key=lambda one: -VERDICTS.index(one.verdict))
        return tuple(one.reason for one in ordered)

    @property
    def has_room(self) -> bool:
        """Whether nothing said that the part is too large for it."""
        return not any(one.about == "room" and one.verdict == "no" for one in self.requirements)


def fitness(
    polymer: Properties,
    machine: Machine,
    *,
    part_size_mm: float | None = None,
    nozzle_mm: float | None = None,
    support: SupportMaterial | None = None,
) -> Fitness:
    """Hold a machine against what a polymer asks for.

    Temperatures: the machine must reach the least setting that the sources give (else *no*) and should reach
    the usual one (else *care*). Of a class, whose best machines reach more than its least, the least decides
    *runs*, and what only the best reach is *care*: look at the machine. What the surroundings must be depends
    on the part's size: a large part of a polymer that warps needs the warmth that only helps a small one.

    Parameters
    ----------
    polymer : Properties
        The polymer.
    machine : Machine
        The machine or class.
    part_size_mm : float, optional
        Longest side of the part; without it the part is taken as small.
    nozzle_mm : float, optional
        Nozzle that the job asks for.
    support : SupportMaterial, optional
        Support material; the part's own polymer when left out.

    Returns
    -------
    Fitness

    Examples
    --------
    >>> from orient.materials.machines import machine
    >>> from orient.materials.properties import properties_of
    >>> fitness(properties_of("PEEK"), machine("entry")).verdict
    'no'
    """
    found = [
        _reach("nozzle", polymer.nozzle_c, machine.nozzle_max_c),
        _reach("bed", polymer.bed_c, machine.bed_max_c),
        _surroundings(polymer, machine, part_size_mm),
        *_nozzle(polymer, machine, nozzle_mm),
        *_drying(polymer, machine),
        *_feed(polymer, machine),
        *_support(polymer, machine, support or support_material(None)),
    ]
    return Fitness(machine, _worst(found), tuple(found))


def with_requirement(found: Fitness, one: Requirement) -> Fitness:
    """Hold a machine against one thing more."""
    requirements = (*found.requirements, one)
    return replace(found, verdict=_worst(requirements), requirements=requirements)


def _worst(found: Iterable[Requirement]) -> str:
    return max(found, key=lambda one: VERDICTS.index(one.verdict)).verdict


def fit_machines(
    polymer: Properties,
    own: Iterable[Machine] = (),
    *,
    part_size_mm: float | None = None,
    nozzle_mm: float | None = None,
    support: SupportMaterial | None = None,
) -> tuple[Fitness, ...]:
    """Hold every class and every machine of the shop against a polymer, the shop's own first."""
    return tuple(
        fitness(polymer, one, part_size_mm=part_size_mm, nozzle_mm=nozzle_mm, support=support)
        for one in (*own, *machine_classes().values())
    )


def _reach(about: str, wanted: Spread, reach: tuple[float, float]) -> Requirement:
    sure, best = reach
    usual = f"usually {wanted.nominal:g} °C, at least {wanted.low:g} °C"
    figures = {"needs_c": wanted.nominal, "has_c": sure, "margin_c": sure - wanted.nominal}
    if sure >= wanted.nominal:
        return Requirement(
            about,
            "runs",
            f"{about}: reaches {sure:g} °C, {wanted.nominal:g} °C is usual: {sure - wanted.nominal:g} °C "
            "to spare.",
            **figures,
        )
    if sure >= wanted.low:
        if best > sure:
            words = f"every machine of the class reaches {sure:g} °C, the best {best:g} °C; look at yours"
        else:
            words = f"it reaches {sure:g} °C, the lower end of the range; {_TEST[about]} first"
        return Requirement(about, "care", f"{about}: {usual}; {words}.", **figures)
    if best >= wanted.low:
        figures |= {"has_c": best, "margin_c": best - wanted.nominal}
        return Requirement(
            about,
            "care",
            f"{about}: {usual}; machines of this class reach between {sure:g} and {best:g} °C, so take one "
            "that gets there.",
            **figures,
        )
    # What is missing is counted from the least setting, not from the usual one.
    figures = {"needs_c": wanted.low, "has_c": best, "margin_c": best - wanted.low}
    if best <= 0.0:
        return Requirement(
            about, "no", f"{about}: needs at least {wanted.low:g} °C and the machine heats none.", **figures
        )
    return Requirement(
        about,
        "no",
        f"{about}: needs at least {wanted.low:g} °C and the machine reaches {best:g} °C: "
        f"{wanted.low - best:g} °C are missing.",
        **figures,
    )


def _surroundings(polymer: Properties, machine: Machine, size: float | None) -> Requirement:
    need, wanted = polymer.surroundings.word, polymer.chamber_c
    sure, best = machine.chamber_max_c
    if need == "hot":
        assert wanted is not None
        return _reach("chamber", wanted, machine.chamber_max_c)
    if need == "cool":
        words = "open the enclosure and leave its heating off" if machine.enclosed else "none needed"
        return Requirement("surroundings", "runs", f"surroundings: it wants cool air; {words}.")
    if need == "any":
        return Requirement("surroundings", "runs", "surroundings: none asked for.")
    large = size is not None and polymer.warm_from_mm is not None and size > polymer.warm_from_mm.nominal
    limit = f"{polymer.warm_from_mm.nominal:g} mm" if polymer.warm_from_mm else ""
    if not machine.enclosed:
        if large:
            return Requirement(
                "enclosure",
                "no",
                f"enclosure: a part of {size:.0f} mm warps without one (longer than {limit}), and the "
                "machine is open.",
            )
        return Requirement(
            "enclosure",
            "care",
            f"enclosure: the machine is open; screen it from draughts, and lay nothing longer than {limit}.",
        )
    if need == "enclosed" or wanted is None or not large:
        return Requirement("enclosure", "runs", "enclosure: it has one.")
    figures = {"needs_c": wanted.nominal, "has_c": sure, "margin_c": sure - wanted.nominal}
    if sure >= wanted.low:
        return Requirement(
            "chamber",
            "runs",
            f"chamber: reaches {sure:g} °C, a large part wants {wanted.low:g} °C.",
            **figures,
        )
    words = f"a part of {size:.0f} mm wants a chamber of {wanted.low:g} to {wanted.high:g} °C"
    if best >= wanted.low:
        return Requirement(
            "chamber", "care", f"chamber: {words}; the class reaches {sure:g} to {best:g} °C.", **figures
        )
    return Requirement(
        "chamber",
        "care",
        f"chamber: {words} and it reaches {sure:g} °C; expect warping, use a brim.",
        **figures,
    )


def _nozzle(polymer: Properties, machine: Machine, nozzle_mm: float | None) -> list[Requirement]:
    found = []
    if polymer.filled and machine.nozzle_material != "hardened":
        found.append(
            Requirement(
                "nozzle material",
                "care",
                "nozzle material: fibre wears brass out within a few spools; fit a hardened one.",
            )
        )
    least = polymer.least_nozzle_mm
    if least is not None:
        bore = nozzle_mm if nozzle_mm is not None else max(machine.nozzles_mm)
        if bore < least.nominal:
            found.append(
                Requirement(
                    "nozzle bore",
                    "care",
                    f"nozzle bore: at least {least.nominal:g} mm, or the fibre clogs it; {bore:g} mm is "
                    "meant.",
                )
            )
        else:
            found.append(
                Requirement(
                    "nozzle bore", "runs", f"nozzle bore: at least {least.nominal:g} mm, which is there."
                )
            )
    elif polymer.filled and nozzle_mm is not None and nozzle_mm < 0.4:
        found.append(Requirement("nozzle bore", "care", "nozzle bore: below 0.4 mm fibre clogs it."))
    if (
        nozzle_mm is not None
        and machine.own
        and not any(abs(nozzle_mm - bore) < 1e-6 for bore in machine.nozzles_mm)
    ):
        have = ", ".join(f"{bore:g}" for bore in machine.nozzles_mm)
        found.append(
            Requirement(
                "nozzle at hand",
                "care",
                f"nozzle at hand: {nozzle_mm:g} mm is wanted, the shop has {have} mm.",
            )
        )
    return found


def _drying(polymer: Properties, machine: Machine) -> list[Requirement]:
    if polymer.moisture.word == "low":
        return []
    before = f"dry it {polymer.dry_h.nominal:g} h at {polymer.dry_c.nominal:g} °C before"
    if polymer.moisture.word == "high" and not machine.dry_feed:
        return [
            Requirement(
                "drying", "care", f"drying: {before}, and feed it from a dry box, which the machine lacks."
            )
        ]
    during = ", and feed it from the dry box" if polymer.moisture.word == "high" else ""
    return [Requirement("drying", "runs", f"drying: {before}{during}.")]


def _feed(polymer: Properties, machine: Machine) -> list[Requirement]:
    if not polymer.soft:
        return []
    if machine.feed == "remote":
        return [
            Requirement(
                "feed",
                "care",
                "feed: soft filament buckles in a long feed path; print slowly or use a machine that "
                "feeds at the nozzle.",
            )
        ]
    return [Requirement("feed", "runs", "feed: soft filament is fed at the nozzle.")]


def _support(polymer: Properties, machine: Machine, support: SupportMaterial) -> list[Requirement]:
    found = []
    if not support.goes_with(polymer.key):
        found.append(Requirement("support", "no", f"support: {support.name} does not go with {polymer.key}."))
    if support.second_material and machine.extruders < 2:
        found.append(
            Requirement(
                "support", "no", f"support: {support.name} needs a second extruder, and the machine has one."
            )
        )
    wanted, bears = polymer.chamber_c, support.chamber_to_c
    if (
        bears is not None
        and wanted is not None
        and polymer.surroundings.word in ("warm", "hot")
        and bears.nominal < wanted.low
    ):
        found.append(
            Requirement(
                "support",
                "care",
                f"support: {support.name} bears a chamber of {bears.nominal:g} °C, the part wants "
                f"{wanted.low:g} °C.",
            )
        )
    if support.second_material and not found:
        how = "is broken off by hand" if not support.soluble else f"is dissolved ({support.removal})"
        found.append(Requirement("support", "runs", f"support: {support.name} goes with it and {how}."))
    return found

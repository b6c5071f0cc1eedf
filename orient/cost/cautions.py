"""What to be careful about, where it applies: short, once, and deferring to those who know the case."""

from __future__ import annotations

from orient.brief import Brief
from orient.materials.machines import Machine
from orient.materials.properties import Properties
from orient.materials.supports import SupportMaterial

# A build this long runs on after its people have gone home.
LONG_H = 4.0
# From here a bed or a nozzle burns at a touch.
HOT_C = 60.0

DEFER = "The maker's safety sheet, local rules and qualified people go before anything said here."

_USES = {
    "food": (
        "Food contact: layers hold dirt that washing does not reach, and few polymers and no brass nozzle "
        "are cleared for food; ask the maker and a food-safety specialist."
    ),
    "skin": (
        "Skin contact: additives can irritate; ask the maker for a statement on it before lasting contact."
    ),
    "medical": (
        "Medical use is regulated: this program clears nothing for it; leave material and process to those "
        "who answer for the device."
    ),
    "lifting": (
        "Lifting or holding people: printed parts vary and fail between layers without warning; have a "
        "qualified engineer design and proof-load them, or use a rated part."
    ),
}


def cautions_for(
    brief: Brief,
    polymer: Properties,
    machine: Machine | None = None,
    support: SupportMaterial | None = None,
    hours: float | None = None,
) -> tuple[str, ...]:
    """List the cautions that apply to a job.

    Parameters
    ----------
    brief : Brief
        ``[job] use, chemicals`` and ``[load]``.
    polymer : Properties
        What it gives off, and whether it carries fibre.
    machine : Machine, optional
        The machine, if one is named.
    support : SupportMaterial, optional
        How the support comes off.
    hours : float, optional
        Build time.

    Returns
    -------
    tuple of str
        Each one sentence or two, each once; the last one defers to the maker, local rules and qualified
        people. Empty when none applies.
    """
    said: list[str] = []
    nozzle, bed = polymer.nozzle_c.nominal, polymer.bed_c.nominal
    if machine is not None:
        hot = [f"nozzle {nozzle:g} °C"] + ([f"bed {bed:g} °C"] if bed >= HOT_C else [])
        said.append(f"Hot surfaces ({', '.join(hot)}) burn; let them cool before reaching in.")
    if polymer.fumes.word == "styrene":
        said.append(
            f"{polymer.key} gives off styrene and fine particles when hot: extract or filter the air, and "
            "do not work beside it."
        )
    elif polymer.fumes.word == "vapour":
        said.append(
            f"{polymer.key} gives off vapour and fine particles at {nozzle:g} °C: extract or filter the air."
        )
    if polymer.grade.word == "support":
        said.append(
            f"{polymer.key} is made to be washed away as support: a part of it softens in damp air and "
            "dissolves in water, so name another polymer unless that is meant."
        )
    if polymer.filled:
        said.append(
            "Fibre dust from sanding or cutting harms skin and lungs: wet it, extract it, wear a mask and "
            "gloves."
        )
    if support is not None and support.removal in ("solvent", "alkali"):
        what, mind = (
            ("Solvent", "fresh air and no flame nearby")
            if support.removal == "solvent"
            else ("An alkaline bath", "no skin contact, and water at hand to rinse")
        )
        said.append(
            f"{what} for the support: wear gloves and goggles; {mind}; dispose of it by the local rules."
        )
    if hours is not None and hours >= LONG_H:
        said.append(
            f"A build of {hours:.0f} h runs unattended: keep a smoke alarm and nothing that burns near it, "
            "as your insurer and house rules ask."
        )
    for use in brief.job.use or ():
        said.append(_USES[use])
    return (*said, DEFER) if said else ()

"""Hard limits: poses that may not be taken, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from orient.errors import OrientError
from orient.ranking.figures import apart, figure, listing, plain
from orient.ranking.penalties import COLUMN_OF, OPTIONAL, present

Array = NDArray[np.float64]

# What rounding may add to a size that fits exactly.
SLACK_MM = 1e-6
SLACK_STRENGTH = 1e-9
# A pose stands by itself on a base, first layer and support on the bed together, of this share of the part's
# mean shadow; where support makes up less than that, it must not tip below this angle. Own choice.
LEAST_BASE = 0.05
LEAST_STAND_DEG = 2.0

_UNITS = {"min_safety_factor": "factor"}

SAID = {
    "support_weighted_mm3": "support volume",
    "support_volume_mm3": "support volume",
    "height_mm": "build height",
    "first_layer_mm2": "first layer",
    "stair_step_mm": "step height",
    "strength_retained": "strength retained",
    "faces_trouble": "trouble on the faces that matter",
    "unit_cost": "cost",
}


@dataclass(frozen=True)
class Limits:
    """What a pose must keep to be considered at all.

    Parameters
    ----------
    max_height_mm : float or None
        Largest build height.
    envelope_mm : tuple of 3 float, or None
        Usable length, width and height of the machine. Footprints are said by the sides of their least-area
        rectangle, and may lie askew where ``footprint_missing_mm`` says that they fit so.
    min_strength_retained : float or None
        Least strength retained, from 0 to 1.
    min_safety_factor : float or None
        Least safety factor under the load cases; held against the factor with the least strengths that the
        polymer's sources give, where they give a spread.
    max_deflection_mm : float or None
        Greatest deflection under the load cases, the same in every pose.
    machine : str or None
        Name of the machine whose build volume must hold the pose, at whatever turn about the vertical.
    must_stand_mm2 : float or None
        Mean shadow of the part, to leave out poses that do not stand by themselves.

    Raises
    ------
    OrientError
        For a limit that is not a sensible number.
    """

    max_height_mm: float | None = None
    envelope_mm: tuple[float, float, float] | None = None
    min_strength_retained: float | None = None
    min_safety_factor: float | None = None
    max_deflection_mm: float | None = None
    machine: str | None = None
    must_stand_mm2: float | None = None

    def __post_init__(self) -> None:
        if self.max_height_mm is not None and not 0 < self.max_height_mm < np.inf:
            raise OrientError(f"max_height_mm is {self.max_height_mm:g}: give a height above zero.")
        if self.envelope_mm is not None and not (
            len(self.envelope_mm) == 3 and all(0 < side < np.inf for side in self.envelope_mm)
        ):
            raise OrientError("envelope_mm needs three lengths above zero: length, width and height.")
        if self.min_strength_retained is not None and not 0 <= self.min_strength_retained <= 1:
            raise OrientError(
                f"min_strength_retained is {self.min_strength_retained:g}: give a number from 0 to 1."
            )


@dataclass(frozen=True, eq=False)
class Excluded:
    """A pose that was left out.

    Parameters
    ----------
    direction : (3,) array
        Build direction.
    reason : str
        One sentence.
    numbers : Mapping[str, float]
        The figures of the sentence, measured and allowed.
    index : int
        Position in the list of candidates.
    """

    direction: Array
    reason: str
    numbers: Mapping[str, float]
    index: int


@dataclass(frozen=True, eq=False)
class _Check:
    """One limit on one measure of every pose."""

    key: str
    measured: Array
    allowed: float
    broken: NDArray[np.bool_]

    @property
    def excess(self) -> Array:
        """How far each pose is over, as a share of the limit."""
        # Room that is missing is a length of its own: a millimetre of it counts as a thousandth.
        whole = 1000.0 if self.key == "machine_room_mm" else max(self.allowed, SLACK_STRENGTH)
        over = np.abs(self.measured - self.allowed) / whole
        return np.where(self.broken, over, 0.0)


def _checks(columns: Mapping[str, Array], limits: Limits) -> list[_Check]:
    checks = []

    def at_most(key: str, measured: Array, allowed: float) -> None:
        checks.append(_Check(key, measured, allowed, measured > allowed + SLACK_MM))

    if limits.max_height_mm is not None:
        at_most("max_height_mm", columns["height_mm"], limits.max_height_mm)
    if limits.envelope_mm is not None:
        missing = [c for c in ("footprint_length_mm", "footprint_width_mm") if c not in columns]
        if missing:
            raise ValueError(f"columns missing for the envelope: {', '.join(missing)}")
        sides = columns["footprint_length_mm"], columns["footprint_width_mm"]
        x, y, z = limits.envelope_mm
        for key, side, room in (
            ("envelope_length_mm", np.maximum(*sides), max(x, y)),
            ("envelope_width_mm", np.minimum(*sides), min(x, y)),
        ):
            # What does not fit along the bed may still fit across its corners.
            askew = columns.get("footprint_missing_mm", np.full(len(side), np.inf)) <= SLACK_MM
            checks.append(_Check(key, side, room, (side > room + SLACK_MM) & ~askew))
        at_most("envelope_height_mm", columns["height_mm"], z)
    if limits.must_stand_mm2 is not None:
        checks.append(_stands(columns, LEAST_BASE * limits.must_stand_mm2))
    if limits.machine is not None:
        at_most("machine_room_mm", columns["machine_missing_mm"], 0.0)
    if limits.min_strength_retained is not None:
        kept, least = columns.get("strength_retained"), limits.min_strength_retained
        if kept is None or not np.isfinite(kept).any():
            raise OrientError(
                "min_strength_retained is set, but no load is named: "
                "give the stress axis, or leave the limit out."
            )
        checks.append(_Check("min_strength_retained", kept, least, kept < least - SLACK_STRENGTH))
    if limits.min_safety_factor is not None:
        if "safety_factor" not in columns:
            raise OrientError(_no_cases("min_safety_factor"))
        low, least = columns["safety_factor_low"], limits.min_safety_factor
        safe = np.where(np.isfinite(low), low, columns["safety_factor"])
        checks.append(_Check("min_safety_factor", safe, least, safe < least - SLACK_STRENGTH))
    if limits.max_deflection_mm is not None:
        if "max_deflection_mm" not in columns:
            raise OrientError(_no_cases("max_deflection_mm"))
        if not np.isfinite(columns["max_deflection_mm"]).all():
            raise OrientError(
                "max_deflection_mm is set, but the polymer's stiffness is not known: "
                "give youngs_modulus_mpa in [polymer], or leave the limit out."
            )
        at_most("max_deflection_mm", columns["max_deflection_mm"], limits.max_deflection_mm)
    return checks


def _no_cases(limit: str) -> str:
    return (
        f"{limit} is set, but no load case was judged: give [[load.case]] in the brief, with the polymer's "
        "strengths, or leave the limit out."
    )


def _stands(columns: Mapping[str, Array], least: float) -> _Check:
    volume, on_part = columns["support_volume_mm3"], columns["support_on_part_mm3"]
    share = np.divide(on_part, volume, out=np.ones_like(volume), where=volume > 0)
    prop = columns["overhang_projected_mm2"] * np.clip(1.0 - share, 0.0, 1.0)
    base = columns["first_layer_mm2"] + prop
    falls = (base < least) | ((prop < least) & (columns["tip_margin_deg"] < LEAST_STAND_DEG))
    return _Check("base_mm2", base, least, falls)


def not_finite(columns: Mapping[str, Array]) -> dict[str, NDArray[np.bool_]]:
    """Mark, for each column that the ranking needs, the poses where it is not a finite number."""
    there = present(columns)
    needed = [c for name, c in COLUMN_OF.items() if name in there or name not in OPTIONAL]
    return {c: bad for c in (*needed, "support_volume_mm3") if (bad := ~np.isfinite(columns[c])).any()}


def exclude(columns: Mapping[str, Array], directions: Array, limits: Limits) -> tuple[Excluded, ...]:
    """Find the poses that may not be taken.

    A pose is left out when it breaks a limit, or when a measure that the ranking needs is not a
    finite number.

    Parameters
    ----------
    columns : Mapping[str, (P,) array]
        Measures. An envelope needs ``footprint_length_mm`` and ``footprint_width_mm``, the sides of
        the footprint's least-area rectangle, and uses ``footprint_missing_mm``, the room that is missing on
        the bed at the best turn, when it is there; a machine needs ``machine_missing_mm``, the room that is
        missing in it.
    directions : (P, 3) array
        Build directions.
    limits : Limits
        What must be kept.

    Returns
    -------
    tuple[Excluded, ...]
        In an order that depends on the poses alone.

    Raises
    ------
    OrientError
        When no pose is left; the sentence says which limit to move, and how far, to let one through.
    """
    count = len(directions)
    unmeasured = not_finite(columns)
    blind = np.logical_or.reduce([np.zeros(count, dtype=bool), *unmeasured.values()])
    checks = _checks(columns, limits)
    out = np.logical_or.reduce([blind, *(check.broken for check in checks)])
    if out.all():
        raise OrientError(_nothing_left(checks, blind))
    tidy = np.round(directions, 6) + 0.0
    at = np.flatnonzero(out)
    at = at[np.lexsort((tidy[at, 0], tidy[at, 1], -tidy[at, 2]))]
    found = []
    for i in at.tolist():
        if blind[i]:
            said = listing(list(dict.fromkeys(SAID[c] for c, bad in unmeasured.items() if bad[i])))
            reason = f"It could not be judged: no finite figure was found for its {said}."
            found.append(Excluded(directions[i].copy(), reason, {}, i))
        else:
            reason, numbers = _reason([check for check in checks if check.broken[i]], i, limits.machine)
            found.append(Excluded(directions[i].copy(), reason, numbers, i))
    return tuple(found)


def broken(columns: Mapping[str, Array], limits: Limits) -> dict[int, str]:
    """Say which poses break a limit, without leaving any out.

    Parameters
    ----------
    columns : Mapping[str, (P,) array]
        Measures, as for `exclude`; only those that the limits ask for are needed.
    limits : Limits
        What must be kept.

    Returns
    -------
    dict[int, str]
        One sentence for each pose that breaks one, by its position.
    """
    checks = _checks(columns, limits)
    rows = sorted({int(i) for check in checks for i in np.flatnonzero(check.broken)})
    return {
        row: _reason([check for check in checks if check.broken[row]], row, limits.machine)[0] for row in rows
    }


def _reason(broken: list[_Check], i: int, machine: str | None) -> tuple[str, dict[str, float]]:
    said = []
    numbers: dict[str, float] = {}
    for check in broken:
        percent = check.key == "min_strength_retained"
        factor, unit = (100.0, "%") if percent else (1.0, _UNITS.get(check.key, "mm"))
        measured, allowed = float(check.measured[i]) * factor, check.allowed * factor
        a, b = apart(measured, allowed, unit) or (figure(measured, unit), figure(allowed, unit))
        match check.key:
            case "max_height_mm":
                said.append(f"is {a} mm tall where {b} mm are allowed")
            case "envelope_length_mm":
                said.append(f"is {a} mm long on the bed where the machine has {b} mm")
            case "envelope_width_mm":
                said.append(f"is {a} mm wide on the bed where the machine has {b} mm")
            case "base_mm2":
                said.append(f"does not stand by itself, on a base of {figure(measured, 'mm²')} mm²")
            case "machine_room_mm":
                said.append(f"is {figure(measured, unit)} mm too large for {machine} at its best turn")
            case "min_safety_factor":
                said.append(f"has a safety factor of {a} where {b} is asked for")
            case "max_deflection_mm":
                said.append(f"deflects by {a} mm where {b} mm are allowed")
            case "envelope_height_mm":
                said.append(f"is {a} mm tall where the machine has {b} mm")
            case _:
                said.append(f"keeps {a} % of the strength where {b} % are asked for")
        name = "strength_retained_percent" if percent else check.key
        numbers |= {f"measured_{name}": measured, f"allowed_{name}": allowed}
    return f"It {listing(said)}.", numbers


def _nothing_left(checks: list[_Check], blind: NDArray[np.bool_]) -> str:
    """Say which limits the nearest pose breaks, and the figures that would let it through."""
    if blind.all():
        return (
            "No pose could be judged, its measures are not finite numbers: check the mesh for broken points."
        )
    excess = np.stack([check.excess for check in checks])
    count = np.stack([check.broken for check in checks]).sum(axis=0)
    worst = excess.max(axis=0)
    # Fewest limits to move first, then the least to move the furthest of them.
    nearest = int(np.lexsort((np.round(worst, 9), np.where(blind, len(checks) + 1, count)))[0])
    moves = []
    for check in checks:
        if not check.broken[nearest]:
            continue
        measured = float(check.measured[nearest])
        if check.key == "machine_room_mm":
            moves.append(f"a machine that has {ceil(measured * 10) / 10:g} mm more room")
        elif check.key == "base_mm2":
            moves.append("an order by score, which lets poses in that do not stand by themselves")
        elif check.key == "min_strength_retained":
            moves.append(
                f"min_strength_retained from {plain(check.allowed)} to {floor(measured * 1000) / 1000:g}"
            )
        elif check.key == "min_safety_factor":
            moves.append(f"min_safety_factor from {plain(check.allowed)} to {floor(measured * 100) / 100:g}")
        else:
            fine = 1000 if check.key == "max_deflection_mm" else 10
            enough = ceil((measured - SLACK_MM) * fine) / fine
            named = check.key in ("max_height_mm", "max_deflection_mm")
            name = check.key if named else f"the {check.key.split('_')[1]} in envelope_mm"
            moves.append(f"{name} from {plain(check.allowed)} to {enough:g}")
    poses = "The only pose breaks" if len(blind) == 1 else f"All {len(blind):,} poses break"
    return f"{poses} the limits: the nearest one would pass with {listing(moves)}."

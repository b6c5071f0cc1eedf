"""Why a pose ranks where it does, in words to read aloud.

Sentences are written from the figures of `orient.ranking.facts` and from nothing else.
"""

from orient.ranking.facts import MEASURES, Numbers
from orient.ranking.figures import apart, differ, figure, listing, plain
from orient.ranking.order import SOURCES

NAMED = {
    "support": "support",
    "height": "build height",
    "load": "load",
    "first_layer": "the first layer",
    "finish": "surface steps",
    "faces": "the faces that matter",
    "cost": "cost",
}

# (what the better pose does, what the worse pose does)
COMPARED = {
    "support": ("needs less support", "needs more support"),
    "height": ("is lower", "is taller"),
    "load": ("keeps more of its strength", "keeps less of its strength"),
    "first_layer": ("has a larger first layer", "has a smaller first layer"),
    "finish": ("has finer steps", "has coarser steps"),
    "faces": ("spares the faces that matter", "is harder on the faces that matter"),
    "cost": ("costs less", "costs more"),
}

SAID_OF_SOURCE = {
    "resting": "comes from a face of the part's hull",
    "plane": "follows one of the part's own planes or holes",
    "load": "was laid for the load",
    "grid": "comes from the even spread of directions",
    "refined": "comes from the fine search",
    "given": "was given",
}

# A part of the score below this is shown as nothing.
WORTH_SAYING = 0.0005
# A difference smaller than this share of the largest one does not explain an order.
WORTH_NAMING = 0.15
# A gain below this, in percent, is shown as hardly any.
HARDLY_PERCENT = 0.5
# A weight that must move by more than this factor for another pose to win is not worth a word.
FAR = 10.0
# A weight below this is shown as next to none.
NEXT_TO_NONE = 0.0005


def why(numbers: Numbers) -> tuple[str, ...]:
    """Explain one pose.

    Parameters
    ----------
    numbers : dict
        Its figures, from `orient.ranking.facts.pose_numbers`.

    Returns
    -------
    tuple[str, ...]
        Sentences: the decision, the score by measure, the order against the next pose, what others
        do better, and, for the recommended pose, how far each weight can move.
    """
    said = [
        _decision(numbers),
        _ground(numbers),
        _score(numbers),
        _against_next(numbers),
        _given_up(numbers),
        *_firmness(numbers),
    ]
    return tuple(sentence for sentence in said if sentence)


def _decision(numbers: Numbers) -> str | None:
    rank, choice, poses = numbers["rank"], numbers["choice"], numbers["poses"]
    taken, resting, free = choice["recommended"], choice["best_resting"], choice["best_free"]
    if poses == 1:
        return "Take this one: it is the only pose left to choose from."
    if resting is None or free is None:
        return f"Take this one: of {poses:,} poses it has the best score." if rank == taken else None
    gain, least = _gain(numbers)
    if rank == taken == 1 and numbers["rests_on_flat"]:
        return f"Take this one: of {poses:,} poses it has the best score, and it rests on a flat face."
    if rank == taken and numbers["rests_on_flat"]:
        edge = f"scores only {gain} % lower" if gain else "scores hardly any lower"
        return (
            f"Take this one: it is the best pose that rests on a flat face; pose {free}, which does not, "
            f"{edge}, and only from {least} % lower on is it worth giving the flat face up."
        )
    if rank == taken:
        return (
            f"Take this one: its score is {gain} % lower than that of pose {resting}, the best that rests "
            f"on a flat face, and from {least} % lower on it is worth giving the flat face up."
        )
    if rank == resting:
        return f"It is the best pose that rests on a flat face, but pose {taken} scores {gain} % lower."
    if rank == free and rank < taken:
        edge = f"only {gain} % lower" if gain else "hardly any lower"
        return (
            f"It scores {edge} than pose {taken}, and a pose that rests on no flat face must score "
            f"{least} % lower to be taken."
        )
    return None


def _gain(numbers: Numbers) -> tuple[str | None, str]:
    """Write the gain of the best free pose and the gain it must have, told apart where they differ."""
    gain, least = numbers["choice"]["gain_percent"], numbers["choice"]["least_gain_percent"]
    said, asked = apart(gain, least, "%") or (figure(gain, "%"), figure(least, "%"))
    return (said if gain >= HARDLY_PERCENT else None), asked


def _ground(numbers: Numbers) -> str | None:
    """Say what a recommended pose stands on when it lies on no flat face."""
    under = numbers.get("stands_on")
    if under is None or numbers["rests_on_flat"]:
        return None
    patches, tips = under.get("islands"), under.get("tip_margin_deg")
    parts = f" in {figure(patches, '')} separate patches" if patches is not None and patches > 1 else ""
    area = figure(under["first_layer_mm2"], "mm²")
    said = f"No flat face carries it: its first layer covers {area} mm²{parts}"
    if tips is not None and tips < 0:
        return f"{said}, and its weight hangs outside that, so its support must keep it from tipping."
    return f"{said}."


def _unit(name: str) -> str:
    """Write the unit that follows a figure."""
    unit = MEASURES[name].unit
    return {"step": " mm", "score": "", "money": ""}.get(unit, f" {unit}")


def _with_unit(name: str, value: float) -> str:
    said = figure(value, MEASURES[name].unit) + _unit(name)
    return said + {"load": " of its strength kept", "finish": " high on average"}.get(name, "")


def _score(numbers: Numbers) -> str:
    cost = {name: part for name, part in numbers["cost"].items() if numbers["weights"][name] > 0}
    listed = sorted((name for name in cost if cost[name] >= WORTH_SAYING), key=lambda name: -cost[name])
    little = [NAMED[name] for name in cost if name not in listed]
    said = [
        f"{figure(cost[name], 'score')} for {NAMED[name]} "
        f"({_with_unit(name, numbers['measures'][MEASURES[name].field])})"
        for name in listed
    ]
    if little:
        said.append(f"next to nothing for {listing(little, 'or')}")
    return f"Its score is {figure(numbers['total'], 'score')}, the lower the better: {listing(said)}."


def _compared(name: str, this: Numbers, other: Numbers, better: bool) -> str:
    """Say how this pose compares with another in one measure, by figures that show it."""
    measure = MEASURES[name]
    mine, theirs = this["measures"][measure.field], other["measures"][measure.field]
    pair = apart(mine, theirs, measure.unit)
    if pair and ((mine < theirs) == measure.less_is_better) == better:
        return f"{COMPARED[name][0 if better else 1]} ({pair[0]} against {pair[1]}{_unit(name)})"
    # The penalty weighs faces near the overhang limit, so it can differ where the volume does not.
    scores = apart(this["cost"][name], other["cost"][name], "score")
    figures = f" ({scores[0]} against {scores[1]})" if scores else ""
    return f"scores {'better' if better else 'worse'} on {NAMED[name]}{figures}"


def _against_next(numbers: Numbers) -> str | None:
    other = numbers["next"]
    if other is None:
        return None if numbers["poses"] == 1 else f"It is the last of {numbers['poses']:,} poses."
    scores = apart(numbers["total"], other["total"], "score")
    if scores is None:
        return f"It scores the same as pose {other['rank']}{_tie(numbers, other)}."
    ahead = {name: other["cost"][name] - part for name, part in numbers["cost"].items()}
    by_size = sorted(ahead, key=lambda name: -abs(ahead[name]))
    least = WORTH_NAMING * abs(ahead[by_size[0]])
    best = max(ahead, key=lambda name: ahead[name])
    gains = [name for name in by_size if ahead[name] >= least] or [best]
    losses = [name for name in by_size if -ahead[name] >= least]
    because = listing([_compared(name, numbers, other, True) for name in gains])
    although = listing([_compared(name, numbers, other, False) for name in losses]) if losses else ""
    return (
        f"It comes before pose {other['rank']} ({scores[0]} against {scores[1]}) because it {because}"
        f"{f', although it {although}' if although else ''}."
    )


def _tie(numbers: Numbers, other: Numbers) -> str:
    """Say what settled the order of two poses that score the same."""
    sources = numbers["source"], other["source"]
    if numbers["rests_on_flat"] != other["rests_on_flat"]:
        return " and comes first because it rests on a flat face" if numbers["rests_on_flat"] else ""
    if sources[0] != sources[1]:
        known = all(source in SOURCES for source in sources)
        settled = known and SOURCES.index(sources[0]) < SOURCES.index(sources[1])
        return f" and comes first because it {SAID_OF_SOURCE[sources[0]]}" if settled else ""
    for name in ("support", "height"):
        mine, theirs = (pose["measures"][MEASURES[name].field] for pose in (numbers, other))
        pair = apart(mine, theirs, MEASURES[name].unit)
        # Sampled volumes of two poses that mirror each other differ far below what is shown.
        if pair and mine < theirs and differ(mine, theirs, MEASURES[name].unit):
            figures = f"{pair[0]} against {pair[1]}{_unit(name)}"
            return f" and comes first because it {COMPARED[name][0]} ({figures})"
    return ": take whichever suits"


def _given_up(numbers: Numbers) -> str | None:
    """Say which poses do better in one measure at a time."""
    if numbers["poses"] == 1:
        return None
    name_of = {measure.field: name for name, measure in MEASURES.items()}
    lead = [NAMED[name_of[field]] for field in numbers["measures"] if field not in numbers["best"]]
    behind: dict[int, list[str]] = {}
    for field, best in numbers["best"].items():
        name = name_of[field]
        pair = apart(best["value"], numbers["measures"][field], MEASURES[name].unit)
        if pair:
            figures = f"{pair[0]} against {pair[1]}{_unit(name)}"
            behind.setdefault(best["rank"], []).append(f"{COMPARED[name][0]} ({figures})")
    others = "; ".join(f"pose {rank} {listing(said)}" for rank, said in behind.items())
    if lead and others:
        return f"It is as good as any on {listing(lead)}, but {others}."
    return f"It is as good as any on {listing(lead)}." if lead else f"What it gives up: {others}."


def _firmness(numbers: Numbers) -> tuple[str, ...]:
    """Say how sure a recommendation is."""
    holds = numbers.get("holds")
    if not holds or numbers["poses"] == 1:
        return ()
    moved = [hold for hold in holds if hold["rival_low"] or hold["rival_high"]]
    if not moved:
        return ("The choice is firm: no change of any single weight alters it.",)
    largest = max(hold["now"] for hold in holds)
    reach = {hold["weight"]: _reach(hold, largest) for hold in moved}
    nearest = min(reach.values())
    if nearest > 2:
        opening = "The choice is firm: halving or doubling any one weight leaves it as it is."
    elif nearest > 1.1:
        opening = "The choice bears a small change of any one weight, but not a large one."
    else:
        opening = "The choice is close: a small change of one weight is enough to alter it."
    near = sorted((hold for hold in moved if reach[hold["weight"]] <= FAR), key=lambda h: reach[h["weight"]])
    if not near:
        return (f"{opening} Not even a tenfold change of one alters it.",)
    ends = "; ".join(_hold(hold, largest) for hold in near)
    rest = " Each of the others can be moved tenfold." if len(near) < len(holds) else ""
    return opening, f"Another pose comes first where one weight alone is moved: {ends}.{rest}"


def _reach(hold: Numbers, largest: float) -> float:
    """Find the least factor by which a weight must move for another pose to win."""
    return min(_reaches(hold, largest))


def _reaches(hold: Numbers, largest: float) -> tuple[float, float]:
    """Find by which factor a weight must fall, and by which it must rise, for another pose to win.

    A weight of zero has no factor; it is set against the largest weight instead.
    """
    now, low, high = hold["now"], hold["low"], hold["high"]
    up = float("inf")
    if hold["rival_high"]:
        up = high / now if now > 0 else 1 + high / largest
    down = now / low if hold["rival_low"] and low > 0 else float("inf")
    return float(down), float(up)


def _hold(hold: Numbers, largest: float) -> str:
    """Say how far one weight can move each way, and which pose wins beyond; a far end is left out."""
    down, up = _reaches(hold, largest)
    below = hold["rival_low"] if down <= FAR else None
    above = hold["rival_high"] if up <= FAR else None
    now, ends = plain(hold["now"]), []
    if below:
        end = _end(hold["low"], hold["now"])
        if hold["low"] < NEXT_TO_NONE:
            ends.append(f"at {'nothing' if hold['low'] == 0 else 'next to nothing'} (pose {below})")
        else:
            ends.append(f"below {end} (pose {below})" if end else f"any lower (pose {below})")
    if above:
        end = _end(hold["high"], hold["now"])
        ends.append(f"above {end} (pose {above})" if end else f"any higher (pose {above})")
    return f"{NAMED[hold['weight']]} {' or '.join(ends)}, now {now}"


def _end(value: float, now: float) -> str | None:
    """Write the end of an interval so that it differs from the weight as it is."""
    said = figure(value, "weight")
    if float(said.replace(",", "")) != now:
        return said
    pair = apart(value, now, "weight")
    return pair[0] if pair else None

"""Which variant is better to build, in one sentence made of fields."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from orient.features.register import BY_NAME as KINDS
from orient.ranking.figures import figure, listing
from orient.variants.features import Match
from orient.variants.measures import Delta

# Every part has these once; that they went or came says nothing.
_ALWAYS = {"first_layer", "slender", "curl"}
# A difference is said from this percentage on.
_WORTH_SAYING = 3.0
_PLURAL = {
    "start in the air": "starts in the air",
    "slender part": "slender parts",
    "first layer": "first layers",
}


@dataclass(frozen=True)
class Verdict:
    """Whether the second variant of a pair is better, and why.

    Attributes
    ----------
    better : bool or None
        None where neither is.
    sentence : str
        Every number in it is a field of the comparison.
    """

    better: bool | None
    sentence: str


def judge(
    names: tuple[str, str],
    measures: Mapping[str, Delta],
    features: Sequence[Match],
    *,
    broken: tuple[str | None, str | None],
    least_safety: float | None,
    unchanged: bool,
) -> Verdict:
    """Judge the second of two variants against the first, each in its own best pose.

    Parameters
    ----------
    names : (str, str)
        What they are called.
    measures : Mapping of str to Delta
        Each in its own best pose.
    features : sequence of Match
        Hard features.
    broken : (str or None, str or None)
        The limit of the brief that no pose of either keeps.
    least_safety : float or None
        Safety factor that the brief asks for: what is more than that is enough.
    unchanged : bool
        Whether the two are one shape.

    Returns
    -------
    Verdict
        A limit that only one of them keeps decides, and after it that only one of them bears its load. Else
        what it takes (the cost, or the hours where there are no prices), the support, what is to redesign, to
        support and to tune, and the strength are looked at: where all that differ point one way, that is the
        answer, and where they do not, the score does that the ranking goes by. A safety that falls and is
        still enough does not count against it.
    """
    if broken[0] is None and broken[1] is not None:
        return Verdict(False, f"{names[1]} is worse than {names[0]}: {_clause(broken[1])}.")
    if unchanged and all(one.tie for one in measures.values()):
        return Verdict(None, f"{names[1]} is the same shape as {names[0]}, and builds alike.")
    mended = broken[0] is not None and broken[1] is None
    bears = _bears(measures)
    torn = False
    if mended:
        better: bool | None = True
    elif bears is not None and bears[0] != bears[1]:
        better = bears[1]
    else:
        better, torn = _better(measures, least_safety)
    head = {
        True: f"{names[1]} is better than {names[0]}",
        False: f"{names[1]} is worse than {names[0]}",
        None: f"Neither of {names[0]} and {names[1]} is better",
    }[better]
    good, bad = _said(measures)
    good = [*(["keeps the limits, which no pose of the other does"] if mended else []), *good]
    good += _dropped(features)
    bad += _added(features)
    subject = "it" if better is not None else names[1]
    said = f"{subject} {listing(good)}" if good else ""
    if bad:
        said = f"{said}, but {listing(bad)}" if good else f"{subject} {listing(bad)}"
    whose = "its" if better is not None or said else f"{names[1]}'s"
    decides = _decides(names, measures["score"]) if torn and better is not None else ""
    told = (said, _strength(measures, least_safety, whose), _borne(bears, names), decides)
    clauses = [one for one in told if one]
    return Verdict(better, f"{head}: {'; '.join(clauses)}." if clauses else f"{head}.")


def _clause(sentence: str) -> str:
    sentence = sentence.strip().rstrip(".")
    return sentence[:1].lower() + sentence[1:]


def _better(measures: Mapping[str, Delta], least_safety: float | None) -> tuple[bool | None, bool]:
    """Weigh up what differs; and whether that points both ways, so that the score decides."""
    votes = [measures[name].better for name in _deciding(measures) if name in measures]
    strength = measures.get("safety_factor") or measures.get("strength_retained")
    if strength is not None and not _enough(strength, least_safety):
        votes.append(strength.better)
    told = [vote for vote in votes if vote is not None]
    if not told:
        return None, False
    if all(told) or not any(told):
        return told[0], False
    return (measures["score"].better, True) if "score" in measures else (None, False)


def _bears(measures: Mapping[str, Delta]) -> tuple[bool, bool] | None:
    """Whether either bears its load, as far as is expected; None where that was not found."""
    safety = measures.get("safety_factor")
    return None if safety is None else (safety.first.nominal >= 1.0, safety.second.nominal >= 1.0)


def _borne(bears: tuple[bool, bool] | None, names: tuple[str, str]) -> str:
    """Who is expected to fail under the load; empty where nobody is."""
    if bears is None or all(bears):
        return ""
    if not any(bears):
        return f"neither {names[0]} nor {names[1]} bears its load"
    return f"{names[bears.index(False)]} does not bear its load"


def _decides(names: tuple[str, str], score: Delta) -> str:
    """That the score settled what points both ways."""
    low, high = sorted((score.first.nominal, score.second.nominal))
    return (
        f"by the job's weights {names[0 if score.better is False else 1]} has the better score, {low:.3f} "
        f"against {high:.3f}, which decides"
    )


def _deciding(measures: Mapping[str, Delta]) -> tuple[str, ...]:
    takes = "cost" if "cost" in measures else "hours"
    return (takes, "support_needed_mm3", "features_redesign", "features_support", "features_tune")


def _enough(strength: Delta, least_safety: float | None) -> bool:
    """Whether the second is as strong as the brief asks for, whatever the first is."""
    return (
        strength.name == "safety_factor"
        and least_safety is not None
        and min(strength.first.low, strength.second.low) >= least_safety
    )


def _said(measures: Mapping[str, Delta]) -> tuple[list[str], list[str]]:
    """What the second takes less of, and what more, as predicates."""
    good: list[str] = []
    bad: list[str] = []
    takes = {
        "cost": ("costs {} less", "costs {} more"),
        "hours": ("takes {} less time", "takes {} more time"),
    }
    name = "cost" if "cost" in measures else "hours"
    for one, words in (
        (measures.get(name), takes[name]),
        (measures.get("support_needed_mm3"), ("needs {} less support", "needs {} more support")),
    ):
        if one is None or one.better is None:
            continue
        percent = one.percent
        if one.name == "support_needed_mm3" and one.second.nominal <= 0.0:
            good.append("needs no support at all")
        elif percent is None:
            bad.append(f"needs {figure(one.second.nominal, 'mm³')} mm³ of support, where there was none")
        elif abs(percent) >= _WORTH_SAYING:
            share = (
                f"{abs(percent):.0f} %"
                if abs(percent) < 300
                else f"{one.second.nominal / one.first.nominal:.1f} times as much"
            )
            if abs(percent) < 300:
                (good if one.better else bad).append(words[0 if percent < 0 else 1].format(share))
            else:
                bad.append(f"{words[1].split()[0]} {share}{' support' if 'support' in words[1] else ''}")
    return good, bad


def _dropped(features: Sequence[Match]) -> list[str]:
    had = Counter(
        one.kind for one in features if one.first is not None and _counts(one.kind, one.first.verdict)
    )
    gone = Counter(
        one.kind
        for one in features
        if one.state == "gone" and one.first is not None and _counts(one.kind, one.first.verdict)
    )
    words = []
    for kind, count in gone.items():
        if count < had[kind]:
            words.append(f"{count} of {had[kind]} {_plural(kind)}")
        elif count == 1:
            words.append(f"the {KINDS[kind].title}")
        else:
            words.append(f"{'both' if count == 2 else f'all {count}'} {_plural(kind)}")
    return [f"drops {listing(words)}"] if words else []


def _added(features: Sequence[Match]) -> list[str]:
    new = Counter(
        one.kind
        for one in features
        if one.state == "new" and one.second is not None and _counts(one.kind, one.second.verdict)
    )
    words = [
        f"{_article(KINDS[kind].title)} {KINDS[kind].title}" if count == 1 else f"{count} {_plural(kind)}"
        for kind, count in new.items()
    ]
    return [f"adds {listing(words)}"] if words else []


def _counts(kind: str, verdict: str) -> bool:
    return kind not in _ALWAYS and verdict != "fine"


def _plural(kind: str) -> str:
    title = KINDS[kind].title
    return _PLURAL.get(title, f"{title}es" if title.endswith(("ch", "s")) else f"{title}s")


def _article(title: str) -> str:
    return "an" if title[0] in "aeiou" else "a"


def _strength(measures: Mapping[str, Delta], least_safety: float | None, whose: str) -> str:
    one = measures.get("safety_factor")
    if one is None:
        kept = measures.get("strength_retained")
        if kept is None or kept.tie:
            return ""
        way = "rises" if kept.delta > 0 else "falls"
        return (
            f"the strength kept across the layers {way} from {100 * kept.first.nominal:.0f} % to "
            f"{100 * kept.second.nominal:.0f} %"
        )
    before, after = f"{one.first.nominal:.1f}", f"{one.second.nominal:.1f}"
    if before == after and not one.tie:
        before, after = f"{one.first.nominal:.2f}", f"{one.second.nominal:.2f}"
    limit = ""
    if least_safety is not None:
        where = "still above" if one.delta < 0 else "above"
        limit = (
            f", {where} {least_safety:g}" if one.second.low >= least_safety else f", below {least_safety:g}"
        )
    if one.tie:
        return f"{whose} safety factor stays at about {after}{limit.replace('still ', '')}"
    return f"{whose} safety factor {'rises' if one.delta > 0 else 'falls'} from {before} to {after}{limit}"

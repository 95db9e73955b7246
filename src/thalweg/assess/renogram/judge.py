"""Whether a kidney drains: signs for and against, and when they may not be trusted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from thalweg.assess.rules import number
from thalweg.record.method import Method
from thalweg.record.truth import Truth, any_of

if TYPE_CHECKING:
    from thalweg.assess.renogram.circumstances import Circumstances
    from thalweg.assess.renogram.pattern import Shape
    from thalweg.assess.renogram.result import Efficiency, Estimate, HalfTime, Residual
    from thalweg.evidence.protocol import Rules

from thalweg.assess.renogram.result import Criterion

__all__ = ["DRAINAGE", "Doubt", "Verdict", "criteria_of", "doubts_of", "verdict_of"]

DRAINAGE = Method(
    key="renogram-drainage",
    title="does the kidney drain?",
    formula="drains or impaired: at least two signs that agree, one of speed (half-time, shape) "
    "and one of amount (residual, output efficiency), and none against; else equivocal. Impaired "
    "only after furosemide and where no known circumstance can mislead",
    valid_for="a first reading; a sign counts only where its whole interval lies on one side of "
    "the limit",
    sources=(
        "diuretic-renogram-teaching",
        "piepsz-2002",
        "chaiwatanarat-1993",
        "conway-1992",
        "gordon-2011",
        "thalweg-engineering",
    ),
    cautions=(
        (
            "Impaired drainage is not obstruction: a wide or immature system, a full bladder or "
            "reservoir, reflux and poor function look alike. Whoever reads the pictures decides, "
            "with the earlier studies beside them; local protocol comes first."
        ),
    ),
)
MIN = 60.0
LAST_FIRST = ("after emptying", "end of furosemide", "20 min")
KEYS = {
    "20 min": "at_20_min",
    "end of furosemide": "end_of_furosemide",
    "after emptying": "after_emptying",
}


@dataclass(frozen=True, slots=True)
class Doubt:
    """A circumstance that can make drainage look impaired.

    Parameters
    ----------
    truth : Truth
        Whether it holds.
    holds, unknown : str
        The sentence where it holds, and where nobody has said.
    concept : str
        What to record to settle it; empty where no fact would.
    """

    truth: Truth
    holds: str
    unknown: str
    concept: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict in words, how firm it is, and why."""

    words: str
    firm: Truth
    reasons: tuple[str, ...]
    missing: tuple[str, ...]


def _beyond(found: Estimate | None, limit: float, *, above: bool) -> Truth:
    """Return whether a value lies beyond a limit with its whole interval."""
    if found is None:
        return Truth.NOT_KNOWN
    low, high = found.interval
    if not above:
        low, high, limit = -high, -low, -limit
    if low > limit:
        return Truth.MET
    return Truth.NOT_MET if high <= limit else Truth.NOT_KNOWN


def _said(found: Estimate | None, scale: float, digits: int, limit: str, unit: str = "") -> str:
    if found is None:
        return f"not measured (limit: {limit})"
    value, low, high = (x / scale for x in (found.value, *found.interval))
    spread = f"{value:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"
    return f"{f'{spread} {unit}'.strip()}; limit: {limit}"


def _half_time(half: HalfTime, key: str, rules: Rules) -> tuple[Truth, str]:
    short = key == "half-time-short"
    limit = number(rules, key, "below_min" if short else "above_min")
    named = f"{'below' if short else 'above'} {limit:g} min"
    if half.state == "not reached" and half.fall_per_s is not None:
        # The fastest fall that the interval allows gives the least half-time.
        fastest = half.fall_per_s.interval[1]
        least = float("inf") if fastest <= 0 else 0.6931471805599453 / fastest / MIN
        far = Truth.of(True) if least > limit else Truth.NOT_KNOWN
        words = f"at least {least:.0f} min" if fastest > 0 else "no fall at all"
        return (~far if short else far), f"not reached, {words}; limit: {named}"
    truth = _beyond(half.time_s, limit * MIN, above=not short)
    return truth, _said(half.time_s, MIN, 1, named, "min")


def _latest(residuals: tuple[Residual, ...]) -> Residual | None:
    for moment in LAST_FIRST:
        for residual in residuals:
            if residual.moment == moment:
                return residual
    return None


def _residual(residuals: tuple[Residual, ...], key: str, rules: Rules) -> tuple[Truth, str]:
    latest = _latest(residuals)
    low = key == "residual-low"
    if latest is None:
        return Truth.NOT_KNOWN, "not measured"
    limit = number(rules, key, KEYS[latest.moment])
    named = f"{'at most' if low else 'above'} {limit:g}"
    truth = _beyond(latest.ratio, limit, above=not low)
    return truth, f"{latest.moment}: {_said(latest.ratio, 1.0, 2, named)}"


def _efficiency(found: tuple[Efficiency, ...], key: str, rules: Rules) -> tuple[Truth, str]:
    high = key == "efficiency-high"
    limit = number(rules, key, "at_least" if high else "below")
    minute = number(rules, key, "at_min")
    named = f"{'at least' if high else 'below'} {limit:g} % at {minute:g} min"
    one = next((e.percent for e in found if abs(e.at_s / MIN - minute) <= 0.5), None)
    return _beyond(one, limit, above=high), _said(one, 1.0, 0, named, "%")


def _curve(shape: Shape, key: str, rules: Rules) -> tuple[Truth, str]:
    falls = key == "curve-falls"
    limit = number(rules, key, "at_most" if falls else "at_least")
    named = f"{'at most' if falls else 'at least'} {limit:g} of its top"
    return _beyond(shape.left, limit, above=not falls), _said(shape.left, 1.0, 2, named)


_TITLES = {
    "half-time-short": "short half-time",
    "half-time-long": "long half-time",
    "curve-falls": "curve falls",
    "curve-stays": "curve stays or rises",
    "residual-low": "little left",
    "residual-high": "much left",
    "efficiency-high": "high output efficiency",
    "efficiency-low": "low output efficiency",
}


def criteria_of(
    half: HalfTime,
    shape: Shape,
    residuals: tuple[Residual, ...],
    efficiencies: tuple[Efficiency, ...],
    rules: Rules,
) -> tuple[Criterion, ...]:
    """Return every sign for and against drainage, each met, not met or not known."""
    found = []
    for key, title in _TITLES.items():
        if key.startswith("half-time"):
            truth, said = _half_time(half, key, rules)
        elif key.startswith("curve"):
            truth, said = _curve(shape, key, rules)
        elif key.startswith("residual"):
            truth, said = _residual(residuals, key, rules)
        else:
            truth, said = _efficiency(efficiencies, key, rules)
        row = rules.rows[key]
        speaks: Literal["drainage", "impairment"] = row["speaks_for"]
        found.append(Criterion(key, title, speaks, truth, said, str(row["source"])))
    return tuple(found)


def doubts_of(
    given: Circumstances, share: Estimate | None, ratio: float | None, rules: Rules
) -> tuple[Doubt, ...]:
    """Return the circumstances that can make drainage look impaired, each three-valued.

    Parameters
    ----------
    given : Circumstances
    share : Estimate or None
        This kidney's share in per cent.
    ratio : float or None
        Kidney to background.
    rules : Rules
    """
    below = number(rules, "share-low", "below")
    weak = number(rules, "kidney-to-background", "at_most")
    young = number(rules, "immature", "under_years")
    poor = Truth.NOT_KNOWN if share is None else Truth.of(share.value < below)
    if ratio is not None and (ratio <= weak or share is None):
        poor = Truth.of(ratio <= weak)
    age = Truth.NOT_KNOWN if given.age_years is None else Truth.of(given.age_years < young)
    return (
        Doubt(
            poor,
            f"The kidney works too little (share below {below:g} % or kidney-to-background ratio "
            f"at most {weak:g}) to fill its pelvis: emptying says little.",
            "How well the kidney works is not known.",
        ),
        Doubt(
            ~given.drained,
            "Bladder, conduit or reservoir was not drained: it holds urine back.",
            "Whether bladder, conduit or reservoir was drained is not stated.",
            "renogram-drained",
        ),
        Doubt(
            ~given.hydrated,
            "The person was not well hydrated: furosemide answers late.",
            "Hydration is not stated.",
            "renogram-hydrated",
        ),
        Doubt(
            given.reflux,
            "Urine can run back into the kidney: late activity may have come back up.",
            "Whether urine can run back (reflux, refluxing diversion) is not stated.",
            "renogram-reflux",
        ),
        Doubt(
            age,
            f"Under {12 * young:g} months kidneys answer furosemide weakly.",
            "The age is not stated.",
        ),
    )


def _agree(criteria: tuple[Criterion, ...], speaks_for: str, rules: Rules) -> bool:
    met = [c.key for c in criteria if c.speaks_for == speaks_for and c.truth is Truth.MET]
    families = {rules.rows[key]["family"] for key in met}
    return len(met) >= number(rules, "verdict", "least_signs") and len(families) > 1


def verdict_of(
    criteria: tuple[Criterion, ...],
    doubts: tuple[Doubt, ...],
    furosemide: bool,
    rules: Rules,
) -> Verdict:
    """Return whether a kidney drains.

    Parameters
    ----------
    criteria : tuple of Criterion
    doubts : tuple of Doubt
    furosemide : bool
        Whether it was given in time to work.
    rules : Rules
    """
    met = {
        speaks_for: [
            f"{c.title}: {c.said}"
            for c in criteria
            if c.speaks_for == speaks_for and c.truth is Truth.MET
        ]
        for speaks_for in ("drainage", "impairment")
    }
    signs = (*met["drainage"], *met["impairment"])
    if all(c.truth is Truth.NOT_KNOWN for c in criteria):
        why = "No sign of drainage could be measured, or none whose interval clears its limit."
        return Verdict("cannot be judged", Truth.NOT_KNOWN, (why,), ())
    if met["drainage"] and met["impairment"]:
        why = "The signs contradict each other."
        return Verdict("equivocal", Truth.NOT_KNOWN, (why, *signs), ())
    if _agree(criteria, "drainage", rules):
        return Verdict("drains", ~doubts[0].truth, signs, ())
    if _agree(criteria, "impairment", rules):
        return _impaired(signs, doubts, furosemide)
    why = "Too few signs agree; one of speed and one of amount are asked for."
    return Verdict("equivocal", Truth.NOT_KNOWN, (why, *signs), ())


def _impaired(signs: tuple[str, ...], doubts: tuple[Doubt, ...], furosemide: bool) -> Verdict:
    """Return the verdict where the signs of impairment agree."""
    if not furosemide:
        why = "Without furosemide, retention does not tell a wide pelvis from an obstructed one."
        missing: tuple[str, ...] = ("renogram-furosemide",)
        return Verdict("equivocal", Truth.NOT_KNOWN, (why, *signs), missing)
    holding = tuple(d.holds for d in doubts if d.truth is Truth.MET)
    if holding:
        return Verdict("equivocal", Truth.NOT_MET, (*holding, *signs), ())
    unknown = [d for d in doubts if d.truth is Truth.NOT_KNOWN]
    missing = tuple(d.concept for d in unknown if d.concept)
    reasons = (*signs, *(d.unknown for d in unknown))
    return Verdict("impaired drainage", ~any_of(d.truth for d in doubts), reasons, missing)

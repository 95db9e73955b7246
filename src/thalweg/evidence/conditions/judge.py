"""Judge a condition on what is recorded and computed, by three-valued logic."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.errors import UnitError
from thalweg.evidence.conditions.form import (
    AllOf,
    AnyOf,
    Asked,
    Bound,
    Computed,
    OfSex,
    OneOf,
    YesNo,
)
from thalweg.evidence.conditions.ground import Judged, all_of_judged, any_of_judged, old
from thalweg.record.concept import concept
from thalweg.record.fact import say, say_moment
from thalweg.record.reckon import amount
from thalweg.record.truth import Truth
from thalweg.record.units import convert, printed

if TYPE_CHECKING:
    from thalweg.evidence.conditions.form import Condition
    from thalweg.evidence.conditions.ground import Ground
    from thalweg.record.fact import Fact
    from thalweg.record.finding import Finding

__all__ = ["judge"]


def judge(condition: Condition, ground: Ground) -> Judged:
    """Return the truth of a condition and what it rests on.

    Parameters
    ----------
    condition : Condition
        What must hold.
    ground : Ground
        What is known; what is not known is never counted as absent.

    References
    ----------
    Kleene's strong three-valued logic, as in `thalweg.record.truth`.
    """
    match condition:
        case AllOf():
            return all_of_judged(judge(part, ground) for part in condition.parts)
        case AnyOf():
            return any_of_judged(judge(part, ground) for part in condition.parts)
        case OfSex():
            same = None if ground.sex is None else ground.sex == condition.sex
            change = f"needs {condition.said()}" if same is False else ""
            return Judged(Truth.of(same), would_open=change)
        case Bound(of=of) if of is not None:
            return _from_finding(condition, of, ground)
        case Asked():
            return _from_asked(condition, ground)
    return ground.own[type(condition)](condition)


def _rounded(value: float) -> float:
    # A limit given in one unit and met exactly in another must not miss by a rounding error of
    # the conversion: 177 µmol/L and 2.0 mg/dL differ in the fourth digit, 100 g/L and 10 g/dL
    # only in the sixteenth.
    return float(np.format_float_positional(value, precision=10, fractional=False))


def _recorded(asked: Asked, fact: Fact) -> Truth:
    """Return whether a fact is what a condition asks; NOT_KNOWN where it is of another kind."""
    value = fact.value
    match asked:
        case YesNo() if isinstance(value, bool):
            return Truth.of(value is asked.expected)
        case OneOf() if isinstance(value, str):
            return Truth.of(value in asked.words)
        case Bound() if isinstance(value, Decimal):
            return Truth.of(asked.holds(_rounded(amount(fact, asked.unit))))
    return Truth.NOT_KNOWN


def _from_asked(asked: Asked, ground: Ground) -> Judged:
    instead = ground.instead.get(asked.name)
    if instead is not None and isinstance(asked, Bound):
        named = Computed(concept(asked.name).name, "", (asked.name,), (asked.name,))
        return _bounded(asked, named, instead, ground)
    if instead is not None:
        return _from_answer(asked, instead)
    chosen = ground.facts.get(asked.name)
    if chosen is None or chosen.fact is None:
        rivals = chosen.conflict if chosen else ()
        said = (chosen.caution,) if chosen and rivals else ()
        return Judged(Truth.NOT_KNOWN, rivals, missing=(asked.name,), doubts=said)
    fact, ages = chosen.fact, ground.ages
    aged = ages.said(fact, ground.at, asked.max_age_days)
    doubts = (*filter(None, (aged,)), *(f"Questioned: {one}" for one in fact.questions))
    truth = Truth.NOT_KNOWN if ages.expired(fact, ground.at) else _recorded(asked, fact)
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    now = f"{say(fact.value)}{unit} ({say_moment(fact.at)})"
    return Judged(
        truth,
        (fact,),
        (),
        (asked.name,) if truth is Truth.NOT_KNOWN else (),
        _change(asked, truth, now),
        doubts,
    )


def _change(asked: Asked, truth: Truth, now: str) -> str:
    return f"needs {asked.said()}; now {now}" if truth is Truth.NOT_MET else ""


def _from_answer(asked: Asked, found: Finding) -> Judged:
    """Judge on an answer that was computed in place of a recorded one."""
    value, truth = found.value, Truth.NOT_KNOWN
    match asked:
        case YesNo() if isinstance(value, Truth):
            truth = value if asked.expected else ~value
        case OneOf() if isinstance(value, str):
            truth = Truth.of(value in asked.words)
    if truth is Truth.NOT_KNOWN:
        return Judged(truth, (), (found,), found.missing or (asked.name,), "", found.cautions)
    now = f"{found.shown()} ({say_moment(found.at)})"
    return Judged(truth, (), (found,), (), _change(asked, truth, now))


def _from_finding(bound: Bound, of: Computed, ground: Ground) -> Judged:
    found = ground.findings.get(bound.name)
    if found is None:
        return Judged(Truth.NOT_KNOWN, missing=of.needs)
    return _bounded(bound, of, found, ground)


def _bounded(bound: Bound, of: Computed, found: Finding, ground: Ground) -> Judged:
    """Judge a computed quantity on its bounds, by its interval where it has one."""
    if not isinstance(found.value, float) or found.unit is None:
        missing = found.missing or of.needs
        return Judged(Truth.NOT_KNOWN, (), (found,), missing, "", found.cautions)
    try:
        least, most = (
            _counted(convert(end, found.unit, bound.unit), of)
            for end in found.interval or (found.value, found.value)
        )
    except UnitError as error:
        doubt = f"{bound.called} cannot be compared with its bound: {error.what}."
        return Judged(Truth.NOT_KNOWN, (), (found,), of.settled_by, "", (doubt,))
    truth = bound.over(least, most)
    limit = bound.max_age_days or ground.ages.old_after_days.get(bound.name)
    aged = tuple(filter(None, (old(bound.called, found.at, ground.at, limit),)))
    now = f"{found.shown()} ({say_moment(found.at)})"
    if truth is Truth.NOT_KNOWN:
        doubt = (
            f"Too close to call within its doubt: {bound.said()} is wanted, now {now}. "
            f"A surer measurement would settle it."
        )
        return Judged(truth, (), (found,), of.settled_by, "", (doubt, *aged))
    close = () if found.interval else _close(bound, of, least)
    return Judged(truth, (), (found,), (), _change(bound, truth, now), (*close, *aged))


def _counted(value: float, of: Computed) -> float:
    return _rounded(float(np.floor(value)) if of.whole else value)


def _close(bound: Bound, of: Computed, value: float) -> tuple[str, ...]:
    """Return a sentence for a value without an interval that lies close to a bound."""
    settling = " or ".join(concept(key).name for key in of.settled_by)
    share = f"{100 * of.close_share:.0f} %"
    return tuple(
        f"Close to its limit: {bound.called} of {value:.1f} lies within {share} of the limit of "
        f"{limit:g} {printed(bound.unit)}, closer than an estimate can tell. "
        f"Surer with {settling}."
        for limit in bound.limits
        if abs(value - limit) <= of.close_share * abs(limit) and of.close_share
    )

"""Judge an expression against a case, its findings and what reaches."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.errors import UnitError
from thalweg.plan.criteria.expression import (
    AllOf,
    AnyOf,
    FindingBound,
    OneOf,
    QuantityBound,
    Reaches,
    YesNo,
    said,
)
from thalweg.plan.criteria.ground import Judged, all_of_judged, any_of_judged, day_of
from thalweg.plan.criteria.reaching import judge_reach
from thalweg.record.concept import concept
from thalweg.record.fact import say, say_moment
from thalweg.record.truth import Truth
from thalweg.record.units import convert, printed

if TYPE_CHECKING:
    from thalweg.plan.criteria.expression import Expression
    from thalweg.plan.criteria.ground import Ground
    from thalweg.record.case import Case, Chosen
    from thalweg.record.fact import Moment

__all__ = ["judge", "judge_bounds"]


def judge(expression: Expression, ground: Ground) -> Judged:
    """Return the truth of an expression and what it rests on.

    Parameters
    ----------
    expression : Expression
        What must hold.
    ground : Ground
        The case, findings and routes it must hold for.

    References
    ----------
    Kleene's strong three-valued logic, as in `thalweg.record.truth`.
    """
    match expression:
        case AllOf():
            judged = all_of_judged(judge(part, ground) for part in expression.parts)
        case AnyOf():
            judged = any_of_judged(judge(part, ground) for part in expression.parts)
        case FindingBound():
            judged = _from_finding(expression, ground)
        case Reaches():
            judged = judge_reach(expression, ground)
        case YesNo() | OneOf() | QuantityBound():
            truth, chosen = _recorded(expression, ground.case)
            judged = _from_fact(expression, truth, chosen, ground.at)
    return judged


def _recorded(expression: YesNo | OneOf | QuantityBound, case: Case) -> tuple[Truth, Chosen]:
    match expression:
        case YesNo():
            truth, chosen = case.truth(expression.concept)
            return (truth if expression.expected else ~truth), chosen
        case OneOf():
            word, chosen = case.word(expression.concept)
            return Truth.of(None if word is None else word in expression.words), chosen
        case QuantityBound():
            value, chosen = case.quantity(expression.concept, expression.unit)
            if value is None:
                return Truth.NOT_KNOWN, chosen
            bounds = expression.at_least, expression.at_most
            return judge_bounds((value, value), *bounds), chosen


def judge_bounds(
    interval: tuple[float, float], at_least: float | None, at_most: float | None
) -> Truth:
    """Return whether a value known to lie in `interval` keeps its bounds, all in one unit.

    NOT_KNOWN when the interval lies across a bound, so that its value could keep it or not.
    """
    low, high = interval
    below = Truth.MET if at_least is None or low >= at_least else Truth.NOT_KNOWN
    if at_least is not None and high < at_least:
        below = Truth.NOT_MET
    above = Truth.MET if at_most is None or high <= at_most else Truth.NOT_KNOWN
    if at_most is not None and low > at_most:
        above = Truth.NOT_MET
    return below & above


def _old(called: str, of: Moment, at: Moment, limit: int | None) -> tuple[str, ...]:
    age = (day_of(at) - day_of(of)).days
    if limit is None or age <= limit:
        return ()
    return (f"{called} is old: {age} days, where {limit} are allowed. Repeat it.",)


def _from_fact(
    expression: YesNo | OneOf | QuantityBound, truth: Truth, chosen: Chosen, at: Moment
) -> Judged:
    fact = chosen.fact
    if fact is None:
        conflict = (chosen.caution,) if chosen.conflict else ()
        return Judged(Truth.NOT_KNOWN, chosen.conflict, (), (expression.concept,), "", conflict)
    name = concept(expression.concept).name
    doubts: tuple[str, ...] = (
        *_old(f"'{name}'", fact.at, at, expression.max_age_days),
        *(f"Questioned: {question}" for question in fact.questions),
    )
    if truth is Truth.NOT_KNOWN:
        return Judged(truth, (fact,), (), (expression.concept,), "", doubts)
    unit = f" {printed(fact.unit)}".rstrip() if fact.unit else ""
    now = f"now {say(fact.value)}{unit} ({say_moment(fact.at)})"
    change = f"needs {said(expression)}; {now}" if truth is Truth.NOT_MET else ""
    return Judged(truth, (fact,), (), (), change, doubts)


def _from_finding(bound: FindingBound, ground: Ground) -> Judged:
    finding = ground.findings.get(bound.name)
    if finding is None:
        return Judged(Truth.NOT_KNOWN, missing=bound.needs)
    if not isinstance(finding.value, float) or finding.unit is None:
        missing = finding.missing or bound.needs
        return Judged(Truth.NOT_KNOWN, (), (finding,), missing, "", finding.cautions)
    low, high = finding.interval or (finding.value, finding.value)
    try:
        interval = (
            convert(low, finding.unit, bound.unit),
            convert(high, finding.unit, bound.unit),
        )
    except UnitError as error:
        doubt = f"{bound.called} cannot be compared with its bound: {error.what}."
        return Judged(Truth.NOT_KNOWN, (), (finding,), bound.settled_by, "", (doubt,))
    truth = judge_bounds(interval, bound.at_least, bound.at_most)
    old = _old(bound.called, finding.at, ground.at, bound.max_age_days)
    now = f"now {finding.shown()} ({say_moment(finding.at)})"
    if truth is Truth.NOT_KNOWN:
        doubt = (
            f"Too close to call within its doubt: {said(bound)} is wanted, {now}. "
            f"A surer measurement would settle it."
        )
        return Judged(truth, (), (finding,), bound.settled_by, "", (doubt, *old))
    close = () if finding.interval else _close(bound, interval[0], now)
    change = f"needs {said(bound)}; {now}" if truth is Truth.NOT_MET else ""
    return Judged(truth, (), (finding,), (), change, (*close, *old))


def _close(bound: FindingBound, value: float, now: str) -> tuple[str, ...]:
    """Return a sentence for a value without an interval that lies close to a bound."""
    limits = [limit for limit in (bound.at_least, bound.at_most) if limit is not None]
    if all(abs(value - limit) > bound.close_share * abs(limit) for limit in limits):
        return ()
    settling = " or ".join(concept(key).name for key in bound.settled_by)
    return (f"Close to its limit: {said(bound)} is wanted, {now}. Surer with {settling}.",)

"""Which limits the results cross, once or twice, and where bicarbonate is going."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.chemistry.inputs import ANY_BICARBONATE, Reading, days_between
from thalweg.assess.chemistry.made import made
from thalweg.assess.facts import amount, day_of
from thalweg.record.fact import moment_key, say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth
from thalweg.record.units import printed

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from thalweg.assess.chemistry.derived import Numbers
    from thalweg.assess.chemistry.inputs import ChemistryInputs
    from thalweg.assess.chemistry.rules import ChemistryRules, Threshold
    from thalweg.record.fact import Fact

__all__ = ["BICARBONATE_TREND", "CHEMISTRY_LEVEL", "CHEMISTRY_LIMIT", "limit_findings"]

LEVELS = ("urgent", "review", "flag")
# Ours: fewer results, or over less time, make a slope of noise.
TREND_RESULTS = 3
TREND_DAYS = 28
TREND_BACK_DAYS = 366
DAYS_A_MONTH = 365.25 / 12

CHEMISTRY_LIMIT = Method(
    key="chemistry-limit",
    title="a limit that asks for action",
    formula="the latest result against the limit; where two results are asked for, the one before",
    valid_for="deciding who looks at the result and when; the unit's own limits go before ours",
    sources=("thalweg-engineering",),
    cautions=("A limit asks somebody to look. It is not an order to treat.",),
)
CHEMISTRY_LEVEL = Method(
    key="chemistry-level",
    title="how soon somebody should look",
    formula="the highest level of the limits crossed: flag, review, urgent",
    valid_for="the limits that were given; what was not measured crosses nothing",
    sources=("thalweg-engineering", "actas-acidosis-2023"),
    cautions=("A limit asks somebody to look. It is not an order to treat.",),
)
BICARBONATE_TREND = Method(
    key="bicarbonate-trend",
    title="course of bicarbonate",
    formula="least-squares line through the results of the last year, mmol/L per month",
    valid_for="at least 3 results over at least 28 days",
    sources=("thalweg-engineering",),
    cautions=("A straight line through a few results; treatment in between is not in it.",),
)


@dataclass(frozen=True, slots=True)
class _Judged:
    """One limit, whether it is crossed, and what that rests on."""

    key: str
    threshold: Threshold
    truth: Truth
    once: bool
    finding: Finding


def _series(inputs: ChemistryInputs, of: str) -> list[Fact]:
    """Return results oldest first; of bicarbonate and total CO2 of one day, the bicarbonate."""
    if of != "bicarbonate":
        return list(inputs.history.get(of, ()))
    by_day: dict[date, Fact] = {}
    for key in reversed(ANY_BICARBONATE):
        by_day |= {day_of(fact.at): fact for fact in inputs.history.get(key, ())}
    return sorted(by_day.values(), key=lambda fact: moment_key(fact.at))


def _latest(inputs: ChemistryInputs, numbers: Numbers, threshold: Threshold) -> Reading | None:
    if threshold.bound.name == "bicarbonate":
        return numbers.bicarbonate
    computed = [one for one in numbers.findings if one.name == threshold.bound.name]
    if computed and isinstance(computed[0].value, float):
        return Reading(computed[0].value, findings=(computed[0],))
    return inputs.reading(threshold.bound.name, threshold.bound.unit)


def _before(
    inputs: ChemistryInputs, latest: Reading, threshold: Threshold, rules: ChemistryRules
) -> Reading | None:
    """Return the result of an earlier day that may confirm the latest, if there is one."""
    earlier = [
        fact
        for fact in _series(inputs, threshold.bound.name)
        if day_of(fact.at) < day_of(latest.at)
    ]
    if not earlier:
        return None
    fact = earlier[-1]
    if days_between(fact.at, latest.at) > rules.settings["second-result-days"]:
        return None
    return Reading(amount(fact, threshold.bound.unit), (fact,))


def _judge(
    key: str,
    threshold: Threshold,
    inputs: ChemistryInputs,
    numbers: Numbers,
    rules: ChemistryRules,
) -> _Judged | None:
    latest = _latest(inputs, numbers, threshold)
    if latest is None:
        return None
    crossed = threshold.bound.holds(latest.value)
    truth, readings, cautions, once = Truth.of(crossed), [latest], [], False
    shown = f"{latest.value:.1f} {printed(threshold.bound.unit)} on {say_moment(latest.at)[:10]}"
    if crossed and threshold.results > 1:
        before = _before(inputs, latest, threshold, rules)
        if before is None or not threshold.bound.holds(before.value):
            truth, once = Truth.NOT_KNOWN, True
            cautions.append(f"Crossed once, by {shown}: a second result settles it.")
        readings += [before] if before is not None else []
    age = days_between(latest.at, inputs.at)
    if age > rules.settings["old-days"]:
        cautions.append(f"The result is {age} days old.")
    if threshold.note:
        cautions.append(threshold.note)
    if threshold.local_source:
        cautions.append(f"This unit's own limit: {threshold.local_source}")
    finding = made(
        f"limit-{key}",
        threshold.sentence,
        truth,
        None,
        replace(CHEMISTRY_LIMIT, sources=threshold.sources),
        readings,
        cautions=cautions,
        missing=(threshold.bound.name,) if truth is Truth.NOT_KNOWN else (),
    )
    return _Judged(key, threshold, truth, once, finding)


def _level(judged: Sequence[_Judged], inputs: ChemistryInputs) -> Finding:
    """Return the highest level crossed, and the higher one that a second result would bring."""
    if not judged:
        return Finding(
            name="chemistry-level",
            title="How soon somebody should look",
            value=None,
            unit=None,
            at=inputs.at,
            method=CHEMISTRY_LEVEL,
            missing=("bicarbonate",),
        )
    crossed = [one for one in judged if one.truth is Truth.MET]
    waiting = [one for one in judged if one.once]
    now = next((level for level in LEVELS if level in {one.threshold.level for one in crossed}), "")
    then = next(
        (level for level in LEVELS if level in {one.threshold.level for one in waiting}), ""
    )
    value = now or "no limit crossed"
    if then and (not now or LEVELS.index(then) < LEVELS.index(now)):
        value += f"; {then} if a second result agrees"
    unsaid = [
        key
        for key in ("bicarbonate", "potassium")
        if not any(one.threshold.bound.name == key for one in judged)
    ]
    cautions = [f"Not measured and so not judged: {' and '.join(unsaid)}."] if unsaid else []
    cautions += [f"{one.threshold.sentence}." for one in crossed]
    return made(
        "chemistry-level",
        "How soon somebody should look",
        value,
        None,
        CHEMISTRY_LEVEL,
        [Reading(0.0, findings=(one.finding,)) for one in judged],
        cautions=cautions,
    )


def _trend(inputs: ChemistryInputs) -> Iterator[Finding]:
    facts = [
        fact
        for fact in _series(inputs, "bicarbonate")
        if days_between(fact.at, inputs.at) <= TREND_BACK_DAYS
    ]
    if len(facts) < TREND_RESULTS or days_between(facts[0].at, facts[-1].at) < TREND_DAYS:
        return
    months = [days_between(fact.at, facts[0].at) / DAYS_A_MONTH for fact in facts]
    values = [amount(fact, "mmol/L") for fact in facts]
    slope = float(np.polynomial.Polynomial.fit(months, values, 1).convert().coef[-1])
    cautions = [
        (
            f"From {values[0]:.1f} to {values[-1]:.1f} mmol/L in {len(facts)} results since "
            f"{say_moment(facts[0].at)[:10]}."
        )
    ]
    if {fact.concept for fact in facts} != {facts[0].concept}:
        cautions.append("Bicarbonate and total CO2 stand together in it, about 1 mmol/L apart.")
    yield made(
        "bicarbonate-trend",
        "Course of bicarbonate",
        slope,
        "mmol/L/mo",
        BICARBONATE_TREND,
        [Reading(value, (fact,)) for fact, value in zip(facts, values, strict=True)],
        cautions=cautions,
        digits=2,
    )


def limit_findings(
    inputs: ChemistryInputs, numbers: Numbers, rules: ChemistryRules
) -> tuple[Finding, ...]:
    """Return the highest level crossed, each limit that could be judged, and the trend.

    Raises
    ------
    InputError
        If a result cannot be used.
    """
    each = (
        _judge(key, threshold, inputs, numbers, rules)
        for key, threshold in rules.thresholds.items()
    )
    judged = [one for one in each if one is not None]
    # All limits stand on the page only where they say something: crossed, or crossed once.
    told = [one.finding for one in judged if one.truth is not Truth.NOT_MET]
    return (_level(judged, inputs), *told, *_trend(inputs))

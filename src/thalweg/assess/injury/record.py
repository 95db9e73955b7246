"""What a case holds of creatinine and urine, in the form that the stages are computed from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.facts import amount, day_of
from thalweg.assess.injury.creatinine import CreatinineStages, creatinine_stages, nanomoles
from thalweg.assess.injury.urine import UrineStages, urine_stages
from thalweg.assess.kidney.children import SCHWARTZ_YEARS, schwartz_2009
from thalweg.assess.rules import number
from thalweg.errors import InputError
from thalweg.record.case import age_in_years
from thalweg.record.fact import moment_key

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = ["Course", "Passed", "creatinine_course", "operation_day", "urine_course"]

LONGEST_COLLECTION = timedelta(hours=24)
"""Ours: a bag not emptied for longer is a gap in the chart, not one collection."""


@dataclass(frozen=True, eq=False)
class Course:
    """Creatinine results in order, with the stage at each, and the baseline that was chosen."""

    facts: tuple[Fact, ...]
    stages: CreatinineStages
    baseline: Fact | None
    contradicting: int
    lacks_height: bool


@dataclass(frozen=True, eq=False)
class Passed:
    """Collections in order, stages on hours since `origin`, the weight, and what was left out."""

    facts: tuple[Fact, ...]
    stages: UrineStages
    weight: Fact
    origin: datetime
    unplaced: int


def operation_day(case: Case) -> date | None:
    """Return the day of the operation; None where it is not recorded or is not a day."""
    word, _ = case.word("operation-date")
    try:
        return None if word is None else date.fromisoformat(word)
    except ValueError:
        return None


def _one_a_moment(facts: Sequence[Fact]) -> tuple[list[Fact], int]:
    """Return one result for each moment; at contradicting ones none, and how many those were."""
    kept, left = [], 0
    by_moment: dict[datetime, list[Fact]] = {}
    for fact in facts:
        by_moment.setdefault(moment_key(fact.at), []).append(fact)
    for group in by_moment.values():
        values = [amount(fact, "umol/L") for fact in group]
        if max(values) - min(values) > 0.01 * max(values):
            left += 1
        else:
            kept.append(group[0])
    return kept, left


def _baseline(facts: Sequence[Fact], operated: date | None, days: float) -> Fact | None:
    if operated is None:
        return None
    before = [
        fact for fact in facts if operated - timedelta(days=days) <= day_of(fact.at) < operated
    ]
    return before[-1] if before else None


def _child_rates(case: Case, facts: Sequence[Fact], under: float) -> NDArray[np.float64]:
    """Return the bedside Schwartz rate of results under 18 years; infinite for adults."""
    height = case.latest("height").fact
    rates = np.full(len(facts), np.inf)
    for place, fact in enumerate(facts):
        age = age_in_years(case.person.born, fact.at)
        if age >= under:
            continue
        rates[place] = np.nan
        if height is not None and SCHWARTZ_YEARS[0] <= age <= SCHWARTZ_YEARS[1]:
            tall = amount(height, "cm")
            rates[place] = float(schwartz_2009(amount(fact, "mg/dL"), tall, age))
    return rates


def creatinine_course(case: Case, rules: Rules) -> Course | None:
    """Return the stages of a case's creatinine series; None without results.

    The baseline is measured, never computed back from a presumed filtration rate: the latest
    result of the year before the operation, for the days after it in which a rise is presumed
    to be acute; otherwise the lowest of the 7 days before each result.
    """
    facts, left = _one_a_moment(case.series("creatinine"))
    if not facts:
        return None
    operated = operation_day(case)
    base = _baseline(facts, operated, number(rules, "injury-baseline", "days_before_operation"))
    minutes = [int(moment_key(fact.at).timestamp() // 60) for fact in facts]
    values = [nanomoles(Decimal(str(fact.value)), fact.unit or "") for fact in facts]
    baselines = np.zeros(len(facts), dtype=np.int64)
    if base is not None and operated is not None:
        last = operated + timedelta(days=number(rules, "injury-ratio", "days"))
        level = values[facts.index(base)]
        for place, fact in enumerate(facts):
            if operated <= day_of(fact.at) <= last:
                baselines[place] = level
    rates = _child_rates(case, facts, number(rules, "injury-child", "under_years"))
    stages = creatinine_stages(
        minutes, values, baseline_nmol_l=baselines, child_gfr=rates, rules=rules
    )
    return Course(tuple(facts), stages, base, left, bool(np.isnan(rates).any()))


def _start(fact: Fact, previous: Fact | None) -> datetime | None:
    """Return when a collection began: as its label says, else when the bag was last emptied."""
    if fact.label:
        try:
            said = datetime.fromisoformat(fact.label)
        except ValueError:
            said = None
        if said is None or said.tzinfo is None:
            raise InputError(
                "the start of a urine collection is not a time",
                where="label of urine-emptied",
                mend="write it like 2026-03-31T08:00+01:00, or leave it out",
            )
        return said
    if previous is None:
        return None
    began = moment_key(previous.at)
    return began if moment_key(fact.at) - began <= LONGEST_COLLECTION else None


def urine_course(case: Case, rules: Rules) -> Passed | None:
    """Return the stages by urine output; None without a timed collection or without a weight.

    Raises
    ------
    InputError
        If collections overlap or a start is not a time.
    """
    weight = case.latest("weight").fact
    facts = [fact for fact in case.series("urine-emptied") if isinstance(fact.at, datetime)]
    unplaced = len(case.series("urine-emptied")) - len(facts)
    if weight is None or not facts:
        return None
    spans: list[tuple[datetime, datetime, float]] = []
    used: list[Fact] = []
    previous: Fact | None = None
    for fact in facts:
        began, ended = _start(fact, previous), moment_key(fact.at)
        together = previous is not None and moment_key(previous.at) == ended
        if together and spans:
            # Two bags emptied at one moment: one person's urine.
            spans[-1] = (*spans[-1][:2], spans[-1][2] + amount(fact, "mL"))
            used.append(fact)
        elif began is not None and not together:
            spans.append((began, ended, amount(fact, "mL")))
            used.append(fact)
        else:
            unplaced += 1
        previous = fact
    if not spans:
        return None
    origin = spans[0][0]
    hours = [[(moment - origin).total_seconds() / 3600 for moment in span[:2]] for span in spans]
    from_h, to_h = zip(*hours, strict=True)
    volumes = [span[2] for span in spans]
    stages = urine_stages(from_h, to_h, volumes, amount(weight, "kg"), rules=rules)
    return Passed(tuple(used), stages, weight, origin, unplaced)

"""The filtration rates of a case over time, all by one estimate, without its unsteady days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.facts import amount, day_of
from thalweg.assess.injury.record import creatinine_course
from thalweg.assess.kidney.ckd_epi import (
    ADULT_YEARS,
    CKD_EPI_2012_CYSTATIN,
    CKD_EPI_2021_CREATININE,
    ckd_epi_2012_cystatin,
    ckd_epi_2021_creatinine,
)
from thalweg.assess.rules import number
from thalweg.record.case import age_in_years
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from numpy.typing import NDArray

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact
    from thalweg.record.method import Method

__all__ = ["RateSeries", "rate_series"]

DAYS_A_YEAR = 365.25
BEFORE_INJURY = timedelta(days=2)


@dataclass(frozen=True, eq=False)
class RateSeries:
    """Rates by one estimate, one a day, oldest first.

    Parameters
    ----------
    marker : str
        ``"creatinine"`` or ``"cystatin-c"``.
    method : Method
        The estimate.
    days : tuple of date
    rates : ndarray of float64, shape (n,)
        mL/min per 1.73 m².
    facts : tuple of Fact
        The results used, one a day.
    said : tuple of str
        What was left out, and why.
    """

    marker: str
    method: Method
    days: tuple[date, ...]
    rates: NDArray[np.float64]
    facts: tuple[Fact, ...]
    said: tuple[str, ...]

    def years(self, origin: date) -> NDArray[np.float64]:
        """Return the times in years since a day."""
        return np.array([(day - origin).days / DAYS_A_YEAR for day in self.days])

    def part(self, first: date | None, last: date | None) -> RateSeries:
        """Return the results from `first` on and before `last`."""
        here = [
            place
            for place, day in enumerate(self.days)
            if (first is None or day >= first) and (last is None or day < last)
        ]
        return RateSeries(
            self.marker,
            self.method,
            tuple(self.days[place] for place in here),
            self.rates[here],
            tuple(self.facts[place] for place in here),
            self.said,
        )


def _unsteady(case: Case, rules: Rules) -> set[date]:
    """Return the days of results with a stage of injury, of the 48 h before one, and a week after.

    The first result of an injury often has no stage of its own, for want of one before it.
    """
    course = creatinine_course(case, rules)
    if course is None:
        return set()
    week = timedelta(days=number(rules, "injury-ratio", "days"))
    hurt = [
        day_of(fact.at)
        for fact, stage in zip(course.facts, course.stages.least, strict=True)
        if stage > 0
    ]
    every = {day_of(fact.at) for key in ("creatinine", "cystatin-c") for fact in case.series(key)}
    return {day for day in every if any(one - BEFORE_INJURY <= day <= one + week for one in hurt)}


def _one_a_day(facts: Sequence[Fact], unit: str) -> tuple[list[Fact], int]:
    """Return of each day the middle result (the lower of two), and how many others there were."""
    by_day: dict[date, list[Fact]] = {}
    for fact in facts:
        by_day.setdefault(day_of(fact.at), []).append(fact)
    kept = [
        sorted(group, key=lambda fact: (amount(fact, unit), fact.id))[(len(group) - 1) // 2]
        for group in by_day.values()
    ]
    return kept, len(facts) - len(kept)


def _marker(case: Case) -> str:
    """Return the marker to follow: creatinine, or cystatin C where creatinine misleads."""
    flags = ("muscle-loss", "bowel-in-urinary-tract")
    doubted = any(case.truth(flag)[0] is Truth.MET for flag in flags)
    days = {day_of(fact.at) for fact in case.series("cystatin-c")}
    return "cystatin-c" if doubted and len(days) > 2 else "creatinine"


def rate_series(case: Case, rules: Rules) -> RateSeries | None:
    """Return the rates of an adult's case by one estimate; None where there is no result.

    Creatinine is followed; cystatin C in its place where muscle loss or bowel in the urinary tract
    is recorded and there are at least 3 days with it. The two are never mixed in one series.
    Results before the age of 18 are left out (another equation, and growth), and so are those of
    an acute injury, of the 48 h before and of the week after it.
    """
    marker = _marker(case)
    unit = {"creatinine": "mg/dL", "cystatin-c": "mg/L"}[marker]
    grown = [
        fact
        for fact in case.series(marker)
        if age_in_years(case.person.born, fact.at) >= ADULT_YEARS[0]
    ]
    said = []
    if len(grown) < len(case.series(marker)):
        said.append("Results before the age of 18 are left out: another equation, and growth.")
    unsteady = _unsteady(case, rules)
    steady = [fact for fact in grown if day_of(fact.at) not in unsteady]
    if len(steady) < len(grown):
        said.append(
            f"{len(grown) - len(steady)} result(s) of an acute kidney injury, of the 48 h before "
            "and the week after it are left out."
        )
    kept, others = _one_a_day(steady, unit)
    if others:
        said.append(f"{others} further result(s) of the same days are left out: one a day.")
    if not kept:
        return None
    other = {"creatinine": "cystatin-c", "cystatin-c": "creatinine"}[marker]
    if case.series(other):
        named = {"creatinine": "Creatinine", "cystatin-c": "Cystatin C"}[other]
        said.append(f"{named} is not mixed into this series: two estimates have two levels.")
    values = np.array([amount(fact, unit) for fact in kept])
    ages = np.array([age_in_years(case.person.born, fact.at) for fact in kept])
    compute = {"creatinine": ckd_epi_2021_creatinine, "cystatin-c": ckd_epi_2012_cystatin}[marker]
    return RateSeries(
        marker,
        {"creatinine": CKD_EPI_2021_CREATININE, "cystatin-c": CKD_EPI_2012_CYSTATIN}[marker],
        tuple(day_of(fact.at) for fact in kept),
        compute(values, ages, case.person.sex),
        tuple(kept),
        tuple(said),
    )

"""Decline of the filtration rate as findings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from thalweg.assess.decline.judged import certain_drop, rapid, variation
from thalweg.assess.decline.series import DAYS_A_YEAR, RateSeries, rate_series
from thalweg.assess.decline.trend import (
    GFR_BREAK,
    GFR_CROSSING,
    GFR_SLOPE,
    LEAST_FOR_INTERVAL,
    LEAST_RESULTS,
    Break,
    Crossing,
    Trend,
    broken,
    crossing,
    trend,
)
from thalweg.assess.injury.record import operation_day
from thalweg.assess.rules import kidney_rules, number, numbers
from thalweg.record.case import age_in_years
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from datetime import date

    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case

__all__ = ["BEYOND_AGEING", "Decline", "decline_findings", "decline_of"]

PER_YEAR = "mL/min/{1.73_m2}/a"
BREAK_P = 0.05
AROUND_OPERATION_DAYS = 90
"""Results this soon after the operation belong to recovery; ours, not published."""

BEYOND_AGEING = Method(
    key="gfr-slope-beyond-ageing",
    title="yearly change beyond that of healthy ageing",
    formula="slope less −0.92 (women) or −0.72 (men) mL/min per 1.73 m² a year",
    valid_for=(
        "from 50 years; the rate of ageing is the difference between ages among healthy people "
        "(iohexol clearance), not a course followed"
    ),
    sources=("eriksen-2020",),
)


@dataclass(frozen=True, eq=False)
class Decline:
    """What a page draws: the whole series, the part followed now, and its course.

    Parameters
    ----------
    whole, current : RateSeries
    course : Trend or None
        Of `current`, on years since the first day of `whole`.
    operated : date or None
        The operation, if it has been.
    limits : tuple of float
        mL/min per 1.73 m².
    horizon_years : float
    """

    whole: RateSeries
    current: RateSeries
    course: Trend | None
    operated: date | None
    limits: tuple[float, ...]
    horizon_years: float

    @property
    def origin(self) -> date:
        """The day from which the course counts years."""
        return self.whole.days[0]


def decline_of(case: Case, at: date, rules: Rules | None = None) -> Decline | None:
    """Return the course of a case's filtration rate; None with fewer than 3 results.

    An operation parts the course: after it, only results from 90 days on are followed, as soon
    as there are 3 of them; until then what came before it.
    """
    rules = rules or kidney_rules()
    whole = rate_series(case, rules)
    if whole is None or len(whole.days) < LEAST_RESULTS:
        return None
    operated = operation_day(case)
    if operated is not None and operated > at:
        operated = None
    current = whole
    if operated is not None:
        later = whole.part(operated + timedelta(days=AROUND_OPERATION_DAYS), None)
        current = later if len(later.days) >= LEAST_RESULTS else whole.part(None, operated)
    enough = len(current.days) >= LEAST_RESULTS
    course = trend(current.years(whole.days[0]), current.rates) if enough else None
    limits = numbers(rules, "decline-thresholds", "gfr")
    years = number(rules, "decline-thresholds", "horizon_years")
    return Decline(whole, current, course, operated, limits, years)


def _span(series: RateSeries) -> str:
    return (
        f"{len(series.days)} results by {series.marker.replace('-c', ' C')}, "
        f"{series.days[0].isoformat()} to {series.days[-1].isoformat()}"
    )


def _slope(name: str, title: str, series: RateSeries, course: Trend) -> Finding:
    said = [f"{_span(series)}, each by: {series.method.title}."]
    if course.slope_interval is None:
        said.append(f"Fewer than {LEAST_FOR_INTERVAL} results: no interval can be given.")
    if course.until - course.since < 1:
        said.append("Less than a year: a slope per year is carried beyond what was seen.")
    return Finding(
        name=name,
        title=title,
        value=course.slope,
        unit=PER_YEAR,
        at=series.days[-1],
        method=GFR_SLOPE,
        facts=series.facts,
        interval=course.slope_interval,
        cautions=(*said, *series.said),
    )


def _beyond(case: Case, slope: Finding, course: Trend, rules: Rules) -> Finding:
    least = number(rules, "decline-ageing", "from_years")
    usual = number(rules, "decline-ageing", f"{case.person.sex}_per_year")
    old = age_in_years(case.person.born, slope.at) >= least
    bounds = course.slope_interval
    return Finding(
        name="gfr-slope-beyond-ageing",
        title="Yearly change beyond healthy ageing",
        value=course.slope - usual if old else None,
        unit=PER_YEAR,
        at=slope.at,
        method=BEYOND_AGEING,
        findings=(slope,),
        interval=(bounds[0] - usual, bounds[1] - usual) if bounds and old else None,
        cautions=(
            (f"Healthy ageing taken as {usual:+g} a year.",)
            if old
            else (f"Under {least:.0f} years no rate of ageing is on file.",)
        ),
    )


def _operation(found: Decline) -> list[Finding]:
    """Return the slopes before and after the operation, where each has 3 results."""
    if found.operated is None:
        return []
    after = found.operated + timedelta(days=AROUND_OPERATION_DAYS)
    parts = (
        ("before", found.whole.part(None, found.operated)),
        ("after", found.whole.part(after, None)),
    )
    return [
        _slope(
            f"gfr-slope-{word}-operation",
            f"Yearly change of the filtration rate {word} the operation",
            part,
            trend(part.years(found.origin), part.rates),
        )
        for word, part in parts
        if len(part.days) >= LEAST_RESULTS
    ]


def _break(found: Decline, seen: Break) -> Finding:
    first, last = (
        found.origin + timedelta(days=round(years * DAYS_A_YEAR))
        for years in (seen.after, seen.before)
    )
    return Finding(
        name="gfr-break",
        title="Break in the course of the filtration rate",
        value=f"between {first.isoformat()} and {last.isoformat()}",
        unit=None,
        at=last,
        method=GFR_BREAK,
        facts=found.whole.facts,
        cautions=(
            (
                f"{seen.slope_earlier:+.1f} a year before, {seen.slope_later:+.1f} after "
                f"(mL/min/1.73 m²); p {seen.p:.3f}. Look for what happened then; the single slope "
                "and the days of crossing do not know of it."
            ),
        ),
    )


def _when(found: Decline, limit: float, met: Crossing | None) -> tuple[str | None, str]:
    """Return the finding's words and a caution."""
    start, horizon = found.current.days[-1], found.horizon_years

    def day(years: float) -> str:
        return f"{(start + timedelta(days=years * DAYS_A_YEAR)):%Y-%m}"

    if found.course is not None and found.course.level <= limit:
        return "already there", ""
    if met is None:
        return None, f"Cannot be said: fewer than {LEAST_FOR_INTERVAL} steady results."
    if met.earliest > horizon:
        return f"not within {horizon:g} years", ""
    if met.latest > horizon:
        likely = f"; most likely {day(met.likely)}" if met.likely <= horizon else ""
        return f"{day(met.earliest)} at the earliest{likely}, or not within {horizon:g} years", ""
    return f"{day(met.earliest)} to {day(met.latest)}, most likely {day(met.likely)}", ""


def _crossings(found: Decline, slope: Finding) -> list[Finding]:
    rows = []
    course = found.course
    for limit in sorted(found.limits, reverse=True):
        met = crossing(course, limit) if course is not None else None
        value, caution = _when(found, limit, met)
        rows.append(
            Finding(
                name=f"gfr-reaches-{limit:g}",
                title=f"Filtration rate would fall to {limit:g} mL/min/1.73 m²",
                value=value,
                unit=None,
                at=found.current.days[-1],
                method=GFR_CROSSING,
                findings=(slope,),
                cautions=(caution,) if caution else (),
                missing=() if value else ("creatinine",),
            )
        )
    return rows


def decline_findings(case: Case, at: date, rules: Rules | None = None) -> tuple[Finding, ...]:
    """Return what the record says of the filtration rate's course over the years.

    Parameters
    ----------
    case : Case
        As known on `at`.
    at : date
        The day asked about.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    tuple of Finding
        Nothing with fewer than 3 steady results by one estimate. Else ``gfr-slope``,
        ``gfr-slope-beyond-ageing``, ``gfr-slope-before-operation`` and ``-after-``,
        ``gfr-rapid-decline``, ``gfr-certain-drop``, ``gfr-last-change``, ``gfr-break`` and one
        ``gfr-reaches-…`` for every limit, as far as the series carries them.
    """
    rules = rules or kidney_rules()
    found = decline_of(case, at, rules)
    if found is None or found.course is None:
        return ()
    slope = _slope("gfr-slope", "Yearly change of the filtration rate", found.current, found.course)
    rows = [slope, _beyond(case, slope, found.course, rules), *_operation(found)]
    rows.append(rapid(found.course, slope, found.current, rules))
    rows += [certain_drop(found.whole, rules), variation(found.whole, rules)]
    seen = broken(found.whole.years(found.origin), found.whole.rates)
    if seen is not None and seen.p < BREAK_P:
        rows.append(_break(found, seen))
    return (*rows, *_crossings(found, slope))

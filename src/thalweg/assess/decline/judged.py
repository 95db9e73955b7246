"""KDIGO's words for a falling filtration rate: rapid, a certain drop, beyond usual variation."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.assess.kidney.categories import gfr_category
from thalweg.assess.rules import number
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from thalweg.assess.decline.series import RateSeries
    from thalweg.assess.decline.trend import Trend
    from thalweg.evidence.protocol import Rules

__all__ = ["CERTAIN_DROP", "RAPID_DECLINE", "VARIATION", "certain_drop", "rapid", "variation"]

RAPID_DECLINE = Method(
    key="kdigo-rapid-progression",
    title="rapid decline",
    formula="a sustained fall of more than 5 mL/min per 1.73 m² a year",
    valid_for="at least 3 results over at least a year",
    sources=("kdigo-ckd-2012",),
)
CERTAIN_DROP = Method(
    key="kdigo-certain-drop",
    title="certain drop",
    formula="a fall to a lower category together with a fall of at least 25 % from the baseline",
    valid_for="two results in steady state; the earliest of the series is the baseline",
    sources=("kdigo-ckd-2012",),
    cautions=("One low result may be a passing one: repeat it before acting.",),
)
VARIATION = Method(
    key="kdigo-change-beyond-variability",
    title="change from the result before",
    formula="(latest − previous) / previous, in %; above 20 % either way calls for evaluation",
    valid_for=(
        "people with chronic kidney disease; above 30 % after starting drugs that act on the "
        "kidney's blood flow"
    ),
    sources=("kdigo-ckd-2024",),
)


def rapid(course: Trend | None, slope: Finding, series: RateSeries, rules: Rules) -> Finding:
    """Return whether the decline is rapid, by the slope itself, with its doubt said."""
    limit = number(rules, "decline-rapid", "per_year")
    years = number(rules, "decline-rapid", "least_years")
    least = number(rules, "decline-rapid", "least_results")
    value, said = Truth.NOT_KNOWN, []
    if course is None or course.results < least or course.until - course.since < years:
        said.append(f"Needs at least {least:.0f} results over at least {years:g} year(s).")
    else:
        value = Truth.of(course.slope < -limit)
        if course.slope_interval is None:
            said.append("Too few results for an interval: take it as a hint.")
        elif course.slope_interval[0] < -limit < course.slope_interval[1]:
            said.append(
                f"The interval of the slope includes a fall of {limit:g} a year: not certain."
            )
    return Finding(
        name="gfr-rapid-decline",
        title=f"Rapid decline (more than {limit:g} mL/min/1.73 m² a year)",
        value=value,
        unit=None,
        at=series.days[-1],
        method=RAPID_DECLINE,
        findings=(slope,),
        cautions=tuple(said),
        missing=("creatinine",) if value is Truth.NOT_KNOWN else (),
    )


def certain_drop(series: RateSeries, rules: Rules) -> Finding:
    """Return whether the latest rate has dropped for certain from the first of the series."""
    share = number(rules, "decline-certain-drop", "share")
    first, last = float(series.rates[0]), float(series.rates[-1])
    fell = str(gfr_category(last)) > str(gfr_category(first))
    # 0.75 x 60 is 45 only to the last bit: the tolerance is that of the arithmetic.
    deep = last <= first * (1 - share) * (1 + 1e-12)
    said = (
        f"From {first:.0f} ({gfr_category(first)}, {series.days[0].isoformat()}) to {last:.0f} "
        f"({gfr_category(last)}, {series.days[-1].isoformat()}): {(last - first) / first:+.0%}."
    )
    return Finding(
        name="gfr-certain-drop",
        title="Certain drop since the first result (category and 25 %)",
        value=Truth.of(fell and deep),
        unit=None,
        at=series.days[-1],
        method=CERTAIN_DROP,
        facts=(series.facts[0], series.facts[-1]),
        cautions=(said,),
    )


def variation(series: RateSeries, rules: Rules) -> Finding:
    """Return the change from the result before the latest, and whether it exceeds variation."""
    share = number(rules, "decline-variability", "share")
    before, last = float(series.rates[-2]), float(series.rates[-1])
    change = (last - before) / before
    said = (
        f"More than {share:.0%}: exceeds what repeated tests vary by; look for the reason "
        "(obstruction first) and repeat."
        if abs(change) > share * (1 + 1e-12)
        else f"Within the {share:.0%} by which repeated tests may vary."
    )
    return Finding(
        name="gfr-last-change",
        title="Change of the filtration rate from the result before",
        value=100.0 * change,
        unit="%",
        at=series.days[-1],
        method=VARIATION,
        facts=series.facts[-2:],
        cautions=(said,),
        digits=0,
    )

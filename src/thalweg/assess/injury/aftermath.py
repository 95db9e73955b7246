"""What becomes of an acute injury, and rises too slow to be one, as findings."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.injury.creatinine import nanomoles
from thalweg.assess.injury.recovery import disease_stage, episodes
from thalweg.assess.kidney.ckd_epi import ADULT_YEARS, ckd_epi_2021_creatinine
from thalweg.assess.rules import number
from thalweg.record.case import age_in_years
from thalweg.record.fact import moment_key, say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.reckon import amount
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from thalweg.assess.injury.record import Course
    from thalweg.assess.injury.recovery import Episode
    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = [
    "INJURY_PERSISTENT",
    "KIDNEY_RECOVERY",
    "SLOW_RISE",
    "aftermath_findings",
    "slow_rise_findings",
]

INJURY_PERSISTENT = Method(
    key="aki-persistent",
    title="acute injury that lasts longer than 48 hours",
    formula=(
        "met where a result more than 48 h after the first with a stage is still 1.5 times, or "
        "26.5 µmol/L above, the creatinine before the injury; not met where one within 48 h no "
        "longer is; a rise less than 48 h after that belongs to the same injury"
    ),
    valid_for="by creatinine; urine output is not looked at",
    sources=("adqi-16-2017", "kdigo-aki-2012"),
)
KIDNEY_RECOVERY = Method(
    key="kidney-recovery",
    title="acute kidney disease and recovery after an acute injury (ADQI 16)",
    formula=(
        "newest creatinine 7 to 90 days after the injury was seen, against the one before it: "
        "stage 1 from 1.5 times, 2 from 2.0, 3 from 3.0 or 353.6 µmol/L or renal replacement; 0C "
        "below 1.5 times and not back; back: below 1.2 times and less than 26.5 µmol/L above"
    ),
    valid_for="people not on long-term dialysis; markers of damage are not looked at",
    sources=("adqi-16-2017", "sawhney-recovery", "kdigo-aki-2012"),
    cautions=(
        (
            "A creatinine that comes back can hide lost reserve and lost muscle: months after an "
            "injury a measured rate or cystatin C says more."
        ),
    ),
)
SLOW_RISE = Method(
    key="kidney-disease-slow",
    title="acute kidney disease without acute injury (KDIGO)",
    formula=(
        "newest creatinine more than 1.5 times the lowest of the 90 days before it, or the "
        "estimated rate of adults (CKD-EPI 2021) at least 35 % lower"
    ),
    valid_for="people not on long-term dialysis",
    sources=("kdigo-aki-2012",),
    cautions=(
        (
            "A slow rise after a diversion is a narrowing ureter or stoma until imaging shows "
            "otherwise."
        ),
    ),
)
REMEMBERED = timedelta(days=365)
"""Ours: an injury longer ago than this is history, and its recovery has been judged."""
_DISEASE = {
    "0": "complete recovery (stage 0)",
    "0C": "recovered in part (acute kidney disease stage 0C)",
    **{stage: f"acute kidney disease stage {stage}" for stage in "123"},
}


def _levels(course: Course) -> tuple[list[int], list[int]]:
    minutes = [int(moment_key(fact.at).timestamp() // 60) for fact in course.facts]
    return minutes, [nanomoles(Decimal(str(fact.value)), fact.unit or "") for fact in course.facts]


def aftermath_findings(
    course: Course, started: Fact | None, at: date, rules: Rules
) -> tuple[Finding, ...]:
    """Return how long the latest injury of the last year lasted and how the kidneys recovered.

    Parameters
    ----------
    course : Course
        Stages by creatinine, none later than `at`.
    started : Fact or None
        That renal replacement was started.
    at : date
    rules : Rules
    """
    minutes, values = _levels(course)
    found = episodes(minutes, values, course.stages.least, course.stages.reference, rules)
    if not found:
        return ()
    latest = found[-1]
    if at - moment_key(course.facts[latest.onset].at).date() > REMEMBERED:
        return ()
    persistent = _persistent(latest, course, minutes, rules)
    return (persistent, _recovery(latest, course, values, started, at, persistent, rules))


def _persistent(latest: Episode, course: Course, minutes: list[int], rules: Rules) -> Finding:
    hours = number(rules, "injury-persistent", "hours")
    truth = latest.longer_than(np.array(minutes), int(hours * 60))
    onset, last = course.facts[latest.onset], course.facts[latest.last]
    said = [f"Seen first {say_moment(onset.at)}, still there {say_moment(last.at)}."]
    used = [onset, last]
    if latest.resolved is not None:
        healed = course.facts[latest.resolved]
        used.append(healed)
        span = f"Seen first {say_moment(onset.at)}, last {say_moment(last.at)}"
        said = [f"{span}; no longer {say_moment(healed.at)}."]
    if truth is Truth.NOT_KNOWN:
        said.append(f"Between these nobody looked at {hours:g} h.")
    return Finding(
        name="injury-persistent",
        title=f"Acute injury longer than {hours:g} hours",
        value=truth,
        unit=None,
        at=used[-1].at,
        method=INJURY_PERSISTENT,
        facts=tuple(dict.fromkeys(used)),
        cautions=tuple(said),
        missing=("creatinine",) if truth is Truth.NOT_KNOWN else (),
    )


def _recovery(
    latest: Episode,
    course: Course,
    values: list[int],
    started: Fact | None,
    at: date,
    persistent: Finding,
    rules: Rules,
) -> Finding:
    first = number(rules, "kidney-disease", "from_days")
    until = number(rules, "kidney-disease", "to_days")
    onset, newest = course.facts[latest.onset], course.facts[-1]
    days = (moment_key(newest.at) - moment_key(onset.at)) / timedelta(days=1)
    stage = disease_stage(values[-1], latest.reference, rules)
    replaced = started is not None and moment_key(started.at) >= moment_key(onset.at)
    if replaced:
        stage = "3"
    value: str | None = _DISEASE[stage]
    told = []
    if days < first:
        value = None
        told.append(f"No result from {first:g} days after the injury was seen: too early to say.")
    elif days > until and stage != "0":
        value = f"not back after {until:g} days: judge as chronic kidney disease"
    told += [
        (
            f"Creatinine {amount(newest, 'umol/L'):.0f} µmol/L on {say_moment(newest.at)[:10]}, "
            f"day {days:.0f}: {values[-1] / latest.reference:.2f} times the "
            f"{latest.reference / 1000:.0f} µmol/L before the injury (stage {latest.peak})."
        ),
        *_on_the_way(latest, course, values, (first, min(days - 1e-9, until)), rules),
    ]
    if replaced:
        told.append("Renal replacement since the injury: stage 3.")
    quiet = (at - moment_key(newest.at).date()).days
    if quiet > first:
        told.append(f"No result for {quiet} days since.")
    return Finding(
        name="kidney-recovery",
        title="Recovery from the acute injury",
        value=value,
        unit=None,
        at=newest.at,
        method=KIDNEY_RECOVERY,
        facts=(onset, newest, *((started,) if replaced and started else ())),
        findings=(persistent,),
        cautions=tuple(told),
        missing=("creatinine",) if value is None else (),
    )


def _on_the_way(
    latest: Episode,
    course: Course,
    values: list[int],
    span_days: tuple[float, float],
    rules: Rules,
) -> Iterator[str]:
    """Yield the stage of each earlier result that counts for acute kidney disease."""
    began = moment_key(course.facts[latest.onset].at)
    for fact, value in zip(course.facts[latest.onset :], values[latest.onset :], strict=True):
        day = (moment_key(fact.at) - began) / timedelta(days=1)
        if span_days[0] <= day <= span_days[1]:
            stage = disease_stage(value, latest.reference, rules)
            yield f"Day {day:.0f} ({say_moment(fact.at)[:10]}): stage {stage}."


def slow_rise_findings(case: Case, course: Course | None, rules: Rules) -> tuple[Finding, ...]:
    """Return that creatinine rose by half within 3 months without an acute injury, where it did.

    Parameters
    ----------
    case : Case
    course : Course or None
        Stages by creatinine.
    rules : Rules
    """
    if course is None or len(course.facts) < 2:
        return ()
    minutes, values = _levels(course)
    window = timedelta(days=number(rules, "kidney-disease", "to_days"))
    newest = course.facts[-1]
    since = moment_key(newest.at) - window
    near = [n for n, fact in enumerate(course.facts[:-1]) if moment_key(fact.at) >= since]
    found = episodes(minutes, values, course.stages.least, course.stages.reference, rules)
    injured = any(moment_key(course.facts[one.onset].at) >= since for one in found)
    if not near or injured:
        return ()
    lowest = min(near, key=lambda n: (values[n], n))
    ratio = values[-1] / values[lowest]
    then = course.facts[lowest]
    fall = _fall(case, then, newest)
    most = number(rules, "kidney-disease-slow", "gfr_fall_share")
    if ratio <= number(rules, "kidney-disease-slow", "times_above") and not fall >= most:
        return ()
    rate = f"; the estimated rate fell by {100 * fall:.0f} %" if np.isfinite(fall) else ""
    return (
        Finding(
            name="kidney-disease-slow",
            title="Creatinine rose within 3 months without an acute injury",
            value=Truth.MET,
            unit=None,
            at=newest.at,
            method=SLOW_RISE,
            facts=(then, newest),
            cautions=(
                (
                    f"{amount(then, 'umol/L'):.0f} µmol/L on {say_moment(then.at)[:10]}, "
                    f"{amount(newest, 'umol/L'):.0f} on {say_moment(newest.at)[:10]}: "
                    f"{ratio:.2f} times{rate}."
                ),
            ),
        ),
    )


def _fall(case: Case, then: Fact, now: Fact) -> float:
    """Return by what share an adult's estimated rate fell; NaN for a child."""
    ages = np.array([age_in_years(case.person.born, fact.at) for fact in (then, now)])
    if ages.min() < ADULT_YEARS[0]:
        return float("nan")
    levels = np.array([amount(fact, "mg/dL") for fact in (then, now)])
    before, after = ckd_epi_2021_creatinine(levels, ages, case.person.sex)
    return float(1 - after / before)

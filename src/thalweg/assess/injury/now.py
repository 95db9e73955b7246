"""Whether the kidneys are being injured now: the one rule that estimates and scores go by."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from thalweg.assess.injury.record import creatinine_course, urine_course
from thalweg.assess.rules import kidney_rules, number
from thalweg.record.fact import moment_key
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.reckon import day_of
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from datetime import date

    from thalweg.assess.injury.record import Course, Passed
    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = ["INJURY_NOW", "judge_now", "kidneys_now"]

INJURY_NOW = Method(
    key="aki-now",
    title="acute kidney injury now",
    formula=(
        "met where a creatinine or urine window of the last 7 days has a stage of 1 or more, where "
        "the newest creatinine, up to 14 days old, still has one, or where an injury recorded in "
        "the last 14 days, or renal replacement begun within 90, says so; not met where the newest "
        "creatinine of the last 7 days leaves no stage open, or, without one that tells, the "
        "record of the last 14 days says no"
    ),
    valid_for="the time that results cover",
    sources=("kdigo-aki-2012", "thalweg-engineering"),
)


def _creatinine(
    course: Course | None, at: date, week: float, lasts: float
) -> tuple[Truth, tuple[Fact, ...]]:
    """Return what the results of the last days show, and which these are."""
    if course is None:
        return Truth.NOT_KNOWN, ()
    rows = list(zip(course.facts, course.stages.least, course.stages.most, strict=True))
    recent = [row for row in rows if (at - day_of(row[0].at)).days <= week]
    newest, least, most = rows[-1]
    facts = tuple(fact for fact, _, _ in recent)
    if any(stage > 0 for _, stage, _ in recent):
        return Truth.MET, facts
    if least > 0 and (at - day_of(newest.at)).days <= lasts:
        return Truth.MET, (newest,)
    return (Truth.NOT_MET if recent and most == 0 else Truth.NOT_KNOWN), facts


def _urine(passed: Passed | None, at: date, week: float) -> bool:
    if passed is None:
        return False
    return any(
        stage > 0 and (at - (passed.origin + timedelta(hours=float(hour))).date()).days <= week
        for stage, hour in zip(passed.stages.least, passed.stages.hours, strict=True)
    )


def judge_now(
    at: date,
    course: Course | None,
    passed: Passed | None,
    started: Fact | None,
    told: Fact | None,
    rules: Rules | None = None,
) -> Finding:
    """Return whether there is acute kidney injury on a day.

    Parameters
    ----------
    at : date
    course : Course or None
        Stages by creatinine.
    passed : Passed or None
        Stages by urine output.
    started : Fact or None
        That renal replacement was started for this injury.
    told : Fact or None
        The yes-no fact ``acute-kidney-injury``.
    rules : Rules, optional
        Thresholds; default: ours.

    Returns
    -------
    Finding
        Truth; a yes from any side goes before a no from another.
    """
    rules = rules or kidney_rules()
    week, lasts = number(rules, "injury-now", "days"), number(rules, "injury-now", "lasts_days")
    shown, facts = _creatinine(course, at, week, lasts)
    since = number(rules, "injury-now", "replacement_days")
    if started is not None and (at - day_of(started.at)).days > since:
        started = None
    if started is not None or _urine(passed, at, week):
        shown = Truth.MET
    fresh = told is not None and (at - day_of(told.at)).days <= lasts
    said = Truth.NOT_KNOWN
    if told is not None and fresh and isinstance(told.value, bool):
        said = Truth.of(told.value)
    cautions = []
    if {shown, said} == {Truth.MET, Truth.NOT_MET}:
        cautions.append(
            "Record and results disagree on acute kidney injury: it is taken to be there until "
            "somebody settles it."
        )
    if told is not None and not fresh:
        cautions.append(
            f"What is recorded of acute kidney injury is more than {lasts:g} days old and says "
            "nothing of now."
        )
    truth = Truth.MET if Truth.MET in (shown, said) else shown
    if truth is Truth.NOT_KNOWN:
        truth = said
    if truth is Truth.MET:
        cautions.append("An estimate of the filtration rate does not hold now.")
    elif truth is Truth.NOT_KNOWN:
        cautions.append(
            "A second creatinine within 48 h would show whether the kidneys are steady."
        )
    witnesses = (*facts, started, told if said is not Truth.NOT_KNOWN else None)
    kept = tuple(one for one in witnesses if one is not None)
    return Finding(
        name="injury-now",
        title="Acute kidney injury now",
        value=truth,
        unit=None,
        at=max((fact.at for fact in kept), key=moment_key, default=at),
        method=INJURY_NOW,
        facts=kept,
        cautions=tuple(cautions),
        missing=("creatinine", "acute-kidney-injury") if truth is Truth.NOT_KNOWN else (),
    )


def kidneys_now(case: Case, at: date, rules: Rules | None = None) -> Finding:
    """Return whether a case has acute kidney injury on a day.

    On long-term dialysis creatinine and urine follow the treatment and are not looked at.

    Parameters
    ----------
    case : Case
        As known on `at`.
    at : date
    rules : Rules, optional
    """
    rules = rules or kidney_rules()
    told = case.latest("acute-kidney-injury").fact
    if case.truth("on-dialysis")[0] is Truth.MET:
        return judge_now(at, None, None, None, told, rules)
    started = case.latest("renal-replacement-started").fact
    if started is not None and started.value is not True:
        started = None
    course, passed = creatinine_course(case, rules), urine_course(case, rules)
    return judge_now(at, course, passed, started, told, rules)

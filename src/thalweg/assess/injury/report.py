"""Acute kidney injury as findings: baseline, stage by creatinine, by urine, and over all."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from thalweg.assess.facts import amount
from thalweg.assess.injury.aftermath import aftermath_findings, slow_rise_findings
from thalweg.assess.injury.creatinine import INJURY_BY_CREATININE
from thalweg.assess.injury.now import judge_now
from thalweg.assess.injury.record import creatinine_course, operation_day, urine_course
from thalweg.assess.injury.urine import INJURY_BY_URINE
from thalweg.assess.rules import kidney_rules, number
from thalweg.record.fact import moment_key, say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method
from thalweg.record.truth import Truth

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from thalweg.assess.injury.record import Course, Passed
    from thalweg.evidence.protocol import Rules
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = ["INJURY_BASELINE", "INJURY_STAGE", "injury_findings"]

INJURY_BASELINE = Method(
    key="creatinine-baseline",
    title="creatinine to which rises are compared",
    formula=(
        "the latest result of the year before the operation, for the 7 days after it; else the "
        "lowest of the 7 days before each result; never computed back from a presumed rate"
    ),
    valid_for="people not on long-term dialysis",
    sources=("kdigo-aki-2012", "thalweg-engineering"),
)
INJURY_STAGE = Method(
    key="kdigo-aki-stage",
    title="greatest stage of acute kidney injury on record",
    formula="the greater of the greatest stages by creatinine and by urine output",
    valid_for="the time that results cover",
    sources=("kdigo-aki-2012",),
    cautions=(
        (
            "A stage says how far the kidneys' work has fallen, not why: look for obstruction at "
            "stoma, stent and ureter, for leak, bleeding, infection and drugs, by local protocol."
        ),
    ),
)

_WORDS = ("no injury shown", "stage 1", "stage 2", "stage 3")


def _said(least: int, most: int) -> str:
    if least == most:
        return _WORDS[least]
    if least == 0:
        return f"none shown; up to stage {most} not excluded"
    return f"stage {least}, up to {most} not excluded"


def _baseline(course: Course, rules: Rules) -> Finding:
    days = number(rules, "injury-ratio", "days")
    if course.stages.from_baseline.any() and course.baseline is not None:
        fact, why = course.baseline, "Measured before the operation; nothing was computed back."
    else:
        # The result with the greatest stage is the one that a reader asks about.
        asked = int(np.argmax(course.stages.least.astype(np.int64)))
        level = int(course.stages.reference[asked])
        if level == 0:
            asked = int(np.argmax(course.stages.reference > 0))
            level = int(course.stages.reference[asked])
        since = moment_key(course.facts[asked].at) - timedelta(days=days)
        earlier = [f for f in course.facts[:asked] if moment_key(f.at) >= since]
        if not earlier or level == 0:
            return Finding(
                name="injury-baseline",
                title="Creatinine to which rises are compared",
                value=None,
                unit="umol/L",
                at=course.facts[-1].at,
                method=INJURY_BASELINE,
                facts=(course.facts[-1],),
                cautions=(f"No two results lie within {days:g} days of each other.",),
                missing=("creatinine",),
                digits=0,
            )
        fact = min(earlier, key=lambda one: (amount(one, "umol/L"), moment_key(one.at)))
        why = (
            f"The lowest of the {days:g} days before {say_moment(course.facts[asked].at)}: no "
            "result from before an operation applies. An injury that began earlier is missed."
        )
    return Finding(
        name="injury-baseline",
        title="Creatinine to which rises are compared",
        value=amount(fact, "umol/L"),
        unit="umol/L",
        at=fact.at,
        method=INJURY_BASELINE,
        facts=(fact,),
        cautions=(why,),
        digits=0,
    )


def _hidden(course: Course) -> Iterator[str]:
    """Yield what the series leaves open."""
    if course.contradicting:
        yield (
            f"At {course.contradicting} moment(s) two different creatinines are on record; "
            "neither was used."
        )
    if course.lacks_height:
        yield (
            "Under 18 years a filtration rate below 35 by an acute rise is stage 3; it could not "
            "be judged for every result (height, or age outside the equation)."
        )
    last = course.stages.least.size - 1
    if course.stages.reference[last] == 0:
        yield (
            f"The latest result ({say_moment(course.facts[last].at)}) stands alone: no other in "
            "the 7 days before it, so that a fresh injury can be neither shown nor excluded."
        )


def _by_creatinine(course: Course, baseline: Finding) -> Finding:
    least, reference = course.stages.least, course.stages.reference
    compared = reference > 0
    worst = int(np.argmax(least.astype(np.int64)))
    most = int(course.stages.most[compared].max()) if compared.any() else 3
    shown = course.facts[worst] if least[worst] else course.facts[-1]
    # The greatest stage first: it is what stands beside the value on paper.
    order = sorted(range(least.size), key=lambda place: -int(least[place]))
    listed = [
        f"{say_moment(course.facts[n].at)}: {_WORDS[least[n]]} "
        f"({amount(course.facts[n], 'umol/L'):.0f} µmol/L, "
        f"{amount(course.facts[n], 'umol/L') * 1000 / reference[n]:.2f} times its reference)."
        for n in order
        if least[n] > 0 and reference[n] > 0
    ]
    return Finding(
        name="injury-stage-creatinine",
        title="Acute kidney injury by creatinine, greatest stage",
        value=_said(int(least[worst]), most) if compared.any() else None,
        unit=None,
        at=shown.at,
        method=INJURY_BY_CREATININE,
        facts=course.facts,
        findings=(baseline,),
        cautions=(*listed, *_hidden(course)),
        missing=() if compared.any() else ("creatinine",),
    )


def _by_urine(passed: Passed) -> Finding:
    stages = passed.stages
    worst = int(np.argmax(stages.least.astype(np.int64)))
    when = passed.origin + timedelta(hours=float(stages.hours[worst]))
    said = []
    if stages.least[worst]:
        said.append(f"Reached in the window that ended {say_moment(when)}.")
    said += [
        f"No collection covers {say_moment(passed.origin + timedelta(hours=begin))} to "
        f"{say_moment(passed.origin + timedelta(hours=end))}: a gap, not an absence of urine."
        for begin, end in stages.gaps
    ]
    if passed.unplaced:
        said.append(
            f"{passed.unplaced} volume(s) were left out: it is not known since when they were "
            "collected (give the start in the label)."
        )
    whole = stages.hours >= 6
    most = int(stages.most[whole].max()) if whole.any() else int(stages.most.max())
    return Finding(
        name="injury-stage-urine",
        title="Acute kidney injury by urine output, greatest stage",
        value=_said(int(stages.least[worst]), most),
        unit=None,
        at=when if stages.least[worst] else passed.facts[-1].at,
        method=INJURY_BY_URINE,
        facts=(*passed.facts, passed.weight),
        cautions=tuple(said),
    )


def _worth_saying(case: Case, at: date, course: Course | None, passed: Passed | None) -> bool:
    """Return whether there is a course to judge: close results, timed urine, a fresh operation."""
    operated = operation_day(case)
    fresh = operated is not None and timedelta(0) <= at - operated <= timedelta(days=30)
    close = course is not None and bool((course.stages.reference > 0).any())
    return close or passed is not None or fresh or bool(case.series("urine-emptied"))


def _replaced(case: Case) -> Fact | None:
    """Return the fact that renal replacement was started for this injury."""
    started = case.latest("renal-replacement-started").fact
    return started if started is not None and started.value is True else None


def injury_findings(case: Case, at: date, rules: Rules | None = None) -> tuple[Finding, ...]:
    """Return what the record says of acute kidney injury; nothing where there is no course.

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
        ``injury-baseline``, ``injury-stage-creatinine``, ``injury-stage-urine``,
        ``injury-stage``, ``injury-now``, ``injury-persistent``, ``kidney-recovery`` and
        ``kidney-disease-slow``, as far as there is anything to judge.
    """
    rules = rules or kidney_rules()
    if case.truth("on-dialysis")[0] is Truth.MET:
        return ()
    course, passed = creatinine_course(case, rules), urine_course(case, rules)
    started = _replaced(case)
    told = case.latest("acute-kidney-injury").fact
    slow = slow_rise_findings(case, course, rules)
    if not _worth_saying(case, at, course, passed) and started is None and told is None:
        return slow
    found: list[Finding] = []
    if course is not None:
        baseline = _baseline(course, rules)
        found += [baseline, _by_creatinine(course, baseline)]
    if passed is not None:
        found.append(_by_urine(passed))
    now = judge_now(at, course, passed, started, told, rules)
    after = () if course is None else aftermath_findings(course, started, at, rules)
    return (*found, _whole(case, at, found, started), now, *after, *slow)


def _whole(case: Case, at: date, found: list[Finding], started: Fact | None) -> Finding:
    parts = tuple(f for f in found if f.name.startswith("injury-stage"))
    words = [str(f.value) for f in parts if f.value is not None]
    grade = max((g for g in range(4) for w in words if w.startswith(_WORDS[g])), default=0)
    said, missing = [], []
    if not any(f.name == "injury-stage-urine" for f in parts):
        said.append("Urine output is not known hour by hour: it could show a higher stage.")
        missing.append("urine-emptied")
        if case.series("urine-emptied") and case.latest("weight").fact is None:
            missing.append("weight")
    if not any(f.name == "injury-stage-creatinine" and f.value is not None for f in parts):
        said.append("Creatinine cannot be judged: no two results close together.")
        missing.append("creatinine")
    if started is not None:
        grade = 3
        said.append("Renal replacement was started for acute injury: stage 3.")
    open_ended = bool(missing) or any("not excluded" in w for w in words)
    value = _WORDS[grade] if grade or not open_ended else "none shown, not excluded"
    if grade and grade < 3 and open_ended:
        value = f"at least {_WORDS[grade]}"
    return Finding(
        name="injury-stage",
        title="Acute kidney injury, greatest stage on record",
        value=value,
        unit=None,
        at=max((f.at for f in parts), key=moment_key, default=at),
        method=INJURY_STAGE,
        facts=(started,) if started is not None else (),
        findings=parts,
        cautions=tuple(said),
        missing=() if grade == 3 else tuple(missing),
    )

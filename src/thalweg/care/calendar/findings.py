"""Visits and undecided rules as findings, which carry their method and sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from thalweg.record.fact import moment_key, say_moment
from thalweg.record.finding import Finding
from thalweg.record.method import Method

if TYPE_CHECKING:
    from thalweg.care.calendar.rule import Rule
    from thalweg.care.calendar.visit import Calendar, Undecided, Visit

__all__ = ["finding_of", "finding_of_undecided", "findings_of", "method_of"]

COMMON_PRACTICE = "The interval is common practice, not a published rule."


def method_of(rule: Rule) -> Method:
    """Return the rule as the method of its visits' dates."""
    cautions = list(rule.cautions)
    if rule.standing == "common practice":
        cautions.append(COMMON_PRACTICE)
    if rule.local_source:
        cautions.append(f"By this unit's own protocol: {rule.local_source}.")
    start = "the operation"
    if rule.counted_from == "last done":
        start = "the last time on record, else the operation"
    return Method(
        key=f"calendar-{rule.key}",
        title=rule.title,
        formula=(
            f"{rule.schedule}; counted in calendar months, weeks or days from {start}; a day that "
            "the month does not have becomes its last"
        ),
        valid_for=", ".join(rule.diversions)
        + (f"; if {' and '.join(rule.conditions)}" if rule.conditions else ""),
        sources=rule.sources,
        cautions=tuple(cautions),
    )


def _said(visit: Visit) -> str:
    if visit.status == "done":
        late = f", {visit.late_days} days after its window" if visit.late_days else ""
        return f"Done{late}."
    if visit.status == "undated":
        return f"Due {visit.when}; the operation has no date yet."
    window = ""
    if visit.window_from and visit.window_to:
        window = f", window {visit.window_from.isoformat()} to {visit.window_to.isoformat()}"
    lacking = f"; still missing: {', '.join(visit.lacking)}" if visit.lacking else ""
    return f"{visit.status.capitalize()}{window}{lacking}."


def finding_of(visit: Visit, calendar: Calendar) -> Finding:
    """Return a visit as a finding whose value is its due date, in ISO 8601."""
    facts = tuple(
        {f.id: f for f in (calendar.operation_fact, *visit.done_by) if f is not None}.values()
    )
    at = max((fact.at for fact in facts), key=moment_key, default=calendar.today)
    return Finding(
        name=f"calendar-{visit.key}",
        title=f"{visit.rule.title}, {visit.when}",
        value=visit.due.isoformat() if visit.due else None,
        unit=None,
        at=at,
        method=method_of(visit.rule),
        facts=facts,
        cautions=(_said(visit), *calendar.cautions),
        missing=() if visit.due else ("operation-date",),
    )


def finding_of_undecided(undecided: Undecided, calendar: Calendar) -> Finding:
    """Return a rule that may or may not apply as a finding without value."""
    return Finding(
        name=f"calendar-{undecided.rule.key}",
        title=undecided.rule.title,
        value=None,
        unit=None,
        at=calendar.today,
        method=method_of(undecided.rule),
        cautions=(undecided.sentence,),
        missing=undecided.missing,
    )


def findings_of(calendar: Calendar) -> tuple[Finding, ...]:
    """Return every visit, then every undecided rule, as findings."""
    return (
        *(finding_of(visit, calendar) for visit in calendar.visits),
        *(finding_of_undecided(rule, calendar) for rule in calendar.undecided),
    )


def say_done(visit: Visit) -> str:
    """Return in words by which facts a visit is done, or an empty string."""
    return "; ".join(f"{fact.concept}, {say_moment(fact.at)}" for fact in visit.done_by)

"""How complete a case's work-up is, from what was worked out of it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from thalweg.assess.kidney.inputs import KidneyInputs
from thalweg.assess.kidney.report import kidney_findings
from thalweg.assess.rules import KIDNEY_TABLE, kidney_rules
from thalweg.plan.catalogue import catalogue
from thalweg.plan.workup.rehearse import Rehearsal
from thalweg.plan.workup.report import completeness
from thalweg.plan.workup.rulebook import WORKUP_TABLE, workup_rules
from thalweg.plan.workup.standing import Measured, Question
from thalweg.record.reckon import day_of
from thalweg.service.protocol import NO_PROTOCOL

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from thalweg.plan.staging import MeasuredSite
    from thalweg.plan.workup.report import Completeness
    from thalweg.record.case import Case
    from thalweg.record.finding import Finding
    from thalweg.service.protocol import Protocol
    from thalweg.service.ureters import TracedUreter
    from thalweg.service.workup import Workup

__all__ = ["completeness_of", "measured_of", "question_of"]


def question_of(case: Case, at: date) -> tuple[Question, tuple[str, ...]]:
    """Return for which days answers must serve, and what to say of the operation's date."""
    chosen = case.latest("operation-date")
    if chosen.fact is None:
        return Question(at), ((chosen.caution,) if chosen.conflict else ())
    try:
        day = date.fromisoformat(str(chosen.fact.value))
    except ValueError:
        said = f"The date of operation {str(chosen.fact.value)!r} is not a date, and is not used."
        return Question(at), (said,)
    if day < at:
        said = f"The operation's date, {day.isoformat()}, has passed: ages are told as of today."
        return Question(at), (said,)
    return Question(at, day), ()


def measured_of(
    ureters: Iterable[TracedUreter], sites: Sequence[MeasuredSite], marked: int
) -> dict[str, Measured]:
    """Return what was measured on the images; the wall only where it was at every site.

    Parameters
    ----------
    ureters : iterable of TracedUreter
    sites : sequence of MeasuredSite
        Those that could be used.
    marked : int
        How many sites were marked.
    """
    found = {}
    days = []
    for one in ureters:
        if one.findings:
            length = one.findings[0]
            days.append(day_of(one.at))
            found[f"ureter-{one.side}"] = Measured(length.shown(), day_of(length.at))
    if sites and len(sites) == marked:
        days += [day_of(fact.at) for site in sites for fact in site.facts]
        thick = [site.wall_mm for site in sites]
        found["wall"] = Measured(f"{min(thick):.0f} to {max(thick):.0f} mm", min(days))
    return found


def completeness_of(workup: Workup, protocol: Protocol = NO_PROTOCOL) -> Completeness:
    """Return how complete a work-up is, and what each open item could change.

    Parameters
    ----------
    workup : Workup
    protocol : Protocol
        That with which it was worked up.

    Raises
    ------
    InputError
        If a rule of the unit's is not of its form.
    """
    case, at = workup.case, workup.at
    question, said = question_of(case, at)
    limits = kidney_rules(protocol.table(KIDNEY_TABLE))

    def again(supposed: Case) -> tuple[Finding, ...]:
        return kidney_findings(KidneyInputs.from_case(supposed, at, limits), limits)

    rehearsal = Rehearsal(
        case,
        at,
        workup.measures,
        workup.reached,
        catalogue(protocol.table("catalogue")),
        workup.appraisal,
        again,
    )
    measured = measured_of(workup.ureters, workup.sites, len(case.labels("stoma-site")))
    own = workup_rules(protocol.table(WORKUP_TABLE))
    return completeness(rehearsal, own, question, measured, said)

"""Visits in the words of an appointment, for writing them into a calendar file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.care.calendar.findings import method_of, say_done
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite

if TYPE_CHECKING:
    from datetime import date

    from thalweg.care.calendar.visit import Calendar, Visit

__all__ = ["Appointment", "appointments_of"]


@dataclass(frozen=True, slots=True)
class Appointment:
    """One all-day entry.

    Parameters
    ----------
    rule_key, number : str, int
        What identifies the entry within a case, whatever its date.
    due : date
        The day.
    summary, description : str
        As shown; nothing about the person unless a label was asked for.
    categories : tuple of str
        Who does it, and what standing it has.
    tentative : bool
        True while the operation itself lies ahead.
    """

    rule_key: str
    number: int
    due: date
    summary: str
    description: str
    categories: tuple[str, ...]
    tentative: bool


def appointments_of(calendar: Calendar, *, label: str = "") -> tuple[Appointment, ...]:
    """Return every visit as an appointment, done ones too, so that none looks called off.

    Parameters
    ----------
    calendar : Calendar
        With an operation date.
    label : str
        Put before each summary, such as the unit's own number for the person; by default the
        entries say nothing of who they are about.

    Raises
    ------
    InputError
        If the operation has no date.
    """
    if calendar.operation_date is None:
        raise InputError(
            "the calendar has no dates", mend="record the date of operation, planned or done"
        )
    return tuple(_appointment(visit, calendar, label) for visit in calendar.visits)


def _appointment(visit: Visit, calendar: Calendar, label: str) -> Appointment:
    assert visit.due is not None  # noqa: S101 - lay_out dates every visit of a dated operation
    rule = visit.rule
    method = method_of(rule)
    lines = [f"What: {rule.what}", f"Who: {rule.who}", f"Why: {rule.why}"]
    if visit.window_from and visit.window_to:
        lines.append(f"Window: {visit.window_from.isoformat()} to {visit.window_to.isoformat()}")
    if visit.done_by:
        lines.append(f"Done: {say_done(visit)}")
    lines.append(f"Schedule: {rule.schedule} ({rule.standing})")
    lines += [f"Source: {cite(key)}" for key in rule.sources]
    lines += [f"Caution: {words}" for words in (*method.cautions, *calendar.cautions)]
    return Appointment(
        rule_key=rule.key,
        number=visit.number,
        due=visit.due,
        summary=f"{label}: {rule.title}" if label else rule.title,
        description="\n".join(lines),
        categories=("Follow-up", rule.who, rule.standing),
        tentative=calendar.planned,
    )

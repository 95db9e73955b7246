"""Lay out the follow-up of one person: rules and an operation date in, dated visits out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from itertools import pairwise
from typing import TYPE_CHECKING

from thalweg.care.calendar.conditions import (
    CONDITIONS,
    DIVERSIONS,
    conditions_of,
    implied_by,
)
from thalweg.care.calendar.fulfil import said_done, settled
from thalweg.care.calendar.offset import Offset
from thalweg.care.calendar.repeat import changes, visits_after_changes
from thalweg.care.calendar.rule import calendar_rules
from thalweg.care.calendar.visit import Calendar, Undecided, Visit, windowed
from thalweg.errors import InputError
from thalweg.record.truth import Truth, all_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from thalweg.care.calendar.rule import Rule
    from thalweg.record.case import Case
    from thalweg.record.fact import Fact

__all__ = ["HORIZON_YEARS", "calendar_of", "lay_out"]

HORIZON_YEARS = 10

CAUTION = (
    "A calendar supports and does not replace the judgement of the team that knows the person; "
    "a unit's own protocol goes before it, and symptoms before any date."
)

NO_DATE = (
    "The date of operation is not on record: the visits are given as times after it, without dates."
)


def lay_out(
    diversion: str,
    operation_date: date | None,
    conditions: Mapping[str, Truth],
    rules: Iterable[Rule],
    *,
    today: date,
    facts: Sequence[Fact] = (),
    horizon_years: int = HORIZON_YEARS,
    until: date | None = None,
    operation_fact: Fact | None = None,
) -> Calendar:
    """Return every visit the rules ask for, up to a horizon.

    Each date is computed from the operation date (or, for what is changed, from the last change
    on record), so that nothing drifts; see `Offset` for the arithmetic. Nothing dated after
    `today` counts as done.

    Parameters
    ----------
    diversion : str
        Key of the diversion, one of `DIVERSIONS`.
    operation_date : date or None
        Of the diversion; may lie ahead. None lays the calendar out in relative terms, undated.
    conditions : mapping of str to Truth
        Truth by key of `CONDITIONS`; an absent one is not known. What the diversion itself
        implies is added.
    rules : iterable of Rule
        See `calendar_rules`.
    today : date
        The day the statuses speak of.
    facts : sequence of Fact
        The person's facts, among which those that fulfil visits.
    horizon_years : int
        Years to lay out, 1 to 100, counted from the later of operation and `today`.
    until : date, optional
        Last due date, instead of `horizon_years`; only with an operation date.
    operation_fact : Fact, optional
        Where the operation date was read from, for the findings.

    Raises
    ------
    InputError
        If diversion, horizon or a condition's key is not usable, or a rule's windows overlap.
    """
    _check(diversion, conditions, horizon_years, operation_date, until)
    known = {**conditions, **implied_by(diversion)}
    visits: list[Visit] = []
    undecided: list[Undecided] = []
    for rule in rules:
        if diversion not in rule.diversions:
            continue
        truth = all_of(known.get(key, Truth.NOT_KNOWN) for key in rule.conditions)
        laid = _visits(rule, operation_date, today, facts, horizon_years, until)
        if truth is Truth.MET:
            visits += laid
            continue
        # What was once said done stays: a stent that is out now was still changed then.
        visits += [visit for visit in laid if said_done(visit)]
        if truth is Truth.NOT_KNOWN:
            undecided.append(_undecided(rule, known))
    order = _by_due if operation_date is not None else _by_offset
    return Calendar(
        diversion=diversion,
        operation_date=operation_date,
        operation_fact=operation_fact,
        today=today,
        visits=tuple(sorted(visits, key=order)),
        undecided=tuple(undecided),
        cautions=(CAUTION, *_cautions(operation_date, today)),
    )


def calendar_of(
    case: Case,
    diversion: str,
    *,
    today: date,
    rules: Iterable[Rule] | None = None,
    horizon_years: int = HORIZON_YEARS,
    until: date | None = None,
) -> Calendar:
    """Return the calendar of a case, its operation date and conditions read from the record.

    Raises
    ------
    InputError
        If the operation date on record is not an ISO date, and as for `lay_out`.
    """
    chosen = case.latest("operation-date")
    day = None
    if chosen.fact is not None:
        try:
            day = date.fromisoformat(str(chosen.fact.value))
        except ValueError as error:
            raise InputError(
                f"the date of operation {str(chosen.fact.value)!r} is not a date",
                where=str(chosen.fact.origin),
                mend="write it as year-month-day, such as 2026-03-31",
            ) from error
    calendar = lay_out(
        diversion,
        day,
        conditions_of(case, diversion),
        calendar_rules() if rules is None else rules,
        today=today,
        facts=case.facts,
        horizon_years=horizon_years,
        until=until if day is not None else None,
        operation_fact=chosen.fact,
    )
    if not chosen.caution:
        return calendar
    return replace(calendar, cautions=(chosen.caution, *calendar.cautions))


def _check(
    diversion: str,
    conditions: Mapping[str, Truth],
    horizon_years: int,
    operation_date: date | None,
    until: date | None,
) -> None:
    if diversion not in DIVERSIONS:
        raise InputError(
            f"{diversion!r} is no diversion", mend=f"use one of {', '.join(DIVERSIONS)}"
        )
    for key in conditions:
        if key not in CONDITIONS:
            raise InputError(
                f"{key!r} is no condition of the calendar", mend=f"use {', '.join(CONDITIONS)}"
            )
    for day in (operation_date, until):
        if isinstance(day, datetime):
            raise InputError("the calendar counts in days", mend="give a date without a time")
        if day is not None and not 1900 <= day.year <= 2500:
            raise InputError(f"the year {day.year} cannot be right", mend="check the date")
    if not 1 <= horizon_years <= 100:
        raise InputError(f"a horizon of {horizon_years} years", mend="give 1 to 100 years")
    if until is not None and operation_date is None:
        raise InputError(
            "a last date without an operation date", mend="give the horizon in years instead"
        )


def _visits(
    rule: Rule,
    operation_date: date | None,
    today: date,
    facts: Sequence[Fact],
    horizon_years: int,
    until: date | None,
) -> list[Visit]:
    horizon = Offset(months=12 * horizon_years)
    if operation_date is None:
        return [Visit(rule, n, offset) for n, offset in enumerate(rule.offsets(horizon), 1)]
    end = until or horizon.after(max(operation_date, today))
    # Laid out beyond the end, because a visit is late only until the next one's window opens.
    reach = Offset(months=12 * max(0, end.year - operation_date.year) + 36)
    offsets = list(rule.offsets(reach))
    if rule.counted_from == "last done":
        made = changes(rule, facts, operation_date, today)
        visits = visits_after_changes(rule, offsets, operation_date, made)
    else:
        visits = [
            windowed(rule, number, offset, offset.after(operation_date))
            for number, offset in enumerate(offsets, 1)
        ]
    _refuse_overlap(visits)
    return [
        visit
        for visit in settled(rule, visits, facts, after=operation_date, today=today)
        if visit.due is not None and visit.due <= end
    ]


def _refuse_overlap(visits: list[Visit]) -> None:
    open_ones = [visit for visit in visits if not visit.done_by]
    for first, second in pairwise(open_ones):
        if first.window_to and second.window_from and first.window_to >= second.window_from:
            raise InputError(
                f"the windows of visits {first.number} and {second.number} overlap, so that one "
                "result would do both",
                where=f"calendar.toml, [{first.rule.key}]",
                mend="make window_days shorter",
            )


def _undecided(rule: Rule, known: Mapping[str, Truth]) -> Undecided:
    conditions = tuple(
        key for key in rule.conditions if known.get(key, Truth.NOT_KNOWN) is Truth.NOT_KNOWN
    )
    words = " and whether ".join(CONDITIONS[key][0] for key in conditions)
    return Undecided(
        rule=rule,
        conditions=conditions,
        missing=tuple(dict.fromkeys(CONDITIONS[key][1] for key in conditions)),
        sentence=f"{rule.title}: not decided, because it is not on record whether {words}.",
    )


def _cautions(operation_date: date | None, today: date) -> tuple[str, ...]:
    if operation_date is None:
        return (NO_DATE,)
    if operation_date > today:
        planned = f"The operation is planned for {operation_date.isoformat()}"
        return (f"{planned}: if that day moves, every date here moves with it.",)
    return ()


def _by_due(visit: Visit) -> tuple[date, str, int]:
    return visit.due or date.max, visit.rule.key, visit.number


def _by_offset(visit: Visit) -> tuple[int, str, int]:
    return visit.offset.nominal, visit.rule.key, visit.number

"""Visits counted from what was last done: stents and tubes, whose dwell time is what matters.

A change made early or late moves every later one with it. Counted from the operation alone, a
stent changed three weeks late would be asked for again far too soon, and one changed at night
because it had blocked would be called untouched.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from thalweg.care.calendar.fulfil import VISIT_DONE, day_of
from thalweg.care.calendar.offset import Offset
from thalweg.care.calendar.visit import windowed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from thalweg.care.calendar.rule import Rule
    from thalweg.care.calendar.visit import Visit
    from thalweg.record.fact import Fact

__all__ = ["changes", "visits_after_changes"]


def changes(rule: Rule, facts: Iterable[Fact], after: date, today: date) -> list[Fact]:
    """Return the changes on record, oldest first, one for each day on which one was made."""
    found = {
        day_of(fact): fact
        for fact in sorted(facts, key=lambda fact: fact.id)
        if fact.concept == VISIT_DONE
        and fact.label == rule.key
        and fact.value is True
        and after < day_of(fact) <= today
    }
    return [found[day] for day in sorted(found)]


def visits_after_changes(
    rule: Rule, offsets: Sequence[Offset], operation_date: date, made: Sequence[Fact]
) -> list[Visit]:
    """Return the visits of a rule, each change on record doing the next one in turn.

    The visit after a change falls due the schedule's own interval after it; all later ones are
    counted from that same change, so that nothing drifts.
    """
    visits = []
    anchor, reached = operation_date, Offset()
    for index, offset in enumerate(offsets):
        visit = windowed(rule, index + 1, offset, (offset - reached).after(anchor))
        if index < len(made):
            fact = made[index]
            anchor, reached = day_of(fact), offset
            late = max(0, (anchor - visit.window_to).days) if visit.window_to else 0
            visit = replace(visit, status="done", done_by=(fact,), late_days=late)
        visits.append(visit)
    return visits

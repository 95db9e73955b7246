"""Which facts show a visit done, and what the day says of the others."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from itertools import zip_longest
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from thalweg.care.calendar.rule import Rule
    from thalweg.care.calendar.visit import Status, Visit
    from thalweg.record.fact import Fact

__all__ = ["VISIT_DONE", "day_of", "said_done", "settled"]

VISIT_DONE = "visit-done"
STANDS_FOR = {"total-co2": "bicarbonate"}
"""Results that answer a visit in place of another: laboratories measure either, as their own."""


def day_of(fact: Fact) -> date:
    """Return the day of a fact, in the time zone it was recorded in."""
    return fact.at.date() if isinstance(fact.at, datetime) else fact.at


def said_done(visit: Visit) -> bool:
    """Return whether somebody recorded the visit itself as done, not only results."""
    return any(fact.concept == VISIT_DONE for fact in visit.done_by)


def settled(
    rule: Rule, visits: Sequence[Visit], facts: Iterable[Fact], *, after: date, today: date
) -> list[Visit]:
    """Return a rule's visits with their status on a day.

    A visit is done when every concept of the rule has a fact in its window, or when the concept
    ``visit-done`` under the rule's key has. What arrives after the window but before the next
    one opens does it late; what arrives before the window does not do it, since the visit is
    there to look at that time. Facts dated after `today`, or not after the day `after` (of the
    operation), do nothing.

    Parameters
    ----------
    rule : Rule
        The rule of all the visits.
    visits : sequence of Visit
        Dated, in order, windows disjoint. Those already done are left as they are.
    facts : iterable of Fact
        The person's facts.
    after, today : date
        Day of the operation, and the day the statuses speak of.
    """
    wanted = {*rule.fulfilled_by, VISIT_DONE}
    wanted |= {key for key, meant in STANDS_FOR.items() if meant in wanted}
    usable = sorted(
        (
            fact
            for fact in facts
            if fact.concept in wanted and after < day_of(fact) <= today and _counts(rule, fact)
        ),
        key=lambda fact: (day_of(fact), fact.id),
    )
    done = []
    for visit, following in zip_longest(visits, visits[1:]):
        closes = following.window_from if following is not None else None
        done.append(visit if visit.done_by else _one(rule, visit, usable, closes, today))
    return done


def _counts(rule: Rule, fact: Fact) -> bool:
    if fact.concept == VISIT_DONE:
        return fact.label == rule.key and fact.value is True
    return True


def _one(
    rule: Rule, visit: Visit, usable: Sequence[Fact], closes: date | None, today: date
) -> Visit:
    assert visit.window_from is not None and visit.window_to is not None  # noqa: S101, PT018
    first: dict[str, Fact] = {}
    for fact in usable:
        if visit.window_from <= day_of(fact) and (closes is None or day_of(fact) < closes):
            first.setdefault(STANDS_FOR.get(fact.concept, fact.concept), fact)
    results = [first[key] for key in rule.fulfilled_by if key in first]
    complete = bool(rule.fulfilled_by) and len(results) == len(rule.fulfilled_by)
    ways = [[first[VISIT_DONE]]] if VISIT_DONE in first else []
    if complete:
        ways.append(results)
    if ways:
        # Said done by hand, and by results: what was there first.
        shown = min(ways, key=lambda facts: max(day_of(fact) for fact in facts))
        late = (max(day_of(fact) for fact in shown) - visit.window_to).days
        return replace(visit, status="done", done_by=tuple(shown), late_days=max(0, late))
    lacking = tuple(key for key in rule.fulfilled_by if key not in first) if results else ()
    status = _open_status(visit.window_from, visit.window_to, today)
    superseded = status == "overdue" and closes is not None and today >= closes
    return replace(visit, status=status, lacking=lacking, superseded=superseded)


def _open_status(window_from: date, window_to: date, today: date) -> Status:
    if today < window_from:
        return "coming"
    return "due" if today <= window_to else "overdue"

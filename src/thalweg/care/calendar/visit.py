"""What laying out the calendar gives: visits, what is undecided, and groups for a page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import date

    from thalweg.care.calendar.offset import Offset
    from thalweg.care.calendar.rule import Rule
    from thalweg.record.fact import Fact

__all__ = ["Calendar", "Status", "Undecided", "Visit", "VisitGroup", "windowed"]

Status = Literal["done", "due", "overdue", "coming", "undated"]


@dataclass(frozen=True, slots=True)
class Visit:
    """One thing to be done once.

    Parameters
    ----------
    rule : Rule
        Which asks for it.
    number : int
        Its place in the rule's schedule, from 1; stable when dates move.
    offset : Offset
        Time after the operation at which the schedule has it.
    due, window_from, window_to : date or None
        Due date and first and last day of its window; None while the operation has no date.
    status : Status
        ``"done"``; ``"coming"`` before its window, ``"due"`` in it, ``"overdue"`` after it;
        ``"undated"`` while the operation has no date.
    done_by : tuple of Fact
        The facts that show it done.
    late_days : int
        Days after the window's end on which it was done; 0 when in time or not done.
    lacking : tuple of str
        Concepts still missing where only some have arrived.
    superseded : bool
        It is overdue, and the window of the rule's next visit has opened.
    """

    rule: Rule
    number: int
    offset: Offset
    due: date | None = None
    window_from: date | None = None
    window_to: date | None = None
    status: Status = "undated"
    done_by: tuple[Fact, ...] = ()
    late_days: int = 0
    lacking: tuple[str, ...] = ()
    superseded: bool = False

    @property
    def key(self) -> str:
        """The rule's key and the number, unique within a calendar."""
        return f"{self.rule.key}-{self.number}"

    @property
    def when(self) -> str:
        """The time in words, such as ``"6 months after operation"``."""
        return f"{self.offset} after operation"


def windowed(rule: Rule, number: int, offset: Offset, due: date) -> Visit:
    """Return a visit due on a day, with the rule's window about it and nothing settled yet."""
    return Visit(
        rule,
        number,
        offset,
        due=due,
        window_from=due - timedelta(days=rule.before_days),
        window_to=due + timedelta(days=rule.after_days),
        status="coming",
    )


@dataclass(frozen=True, slots=True)
class Undecided:
    """A rule that may or may not apply: what must be known is not on record.

    Parameters
    ----------
    rule : Rule
        The rule in question.
    conditions : tuple of str
        The conditions that are not known.
    missing : tuple of str
        The concepts that would settle them.
    sentence : str
        For the page.
    """

    rule: Rule
    conditions: tuple[str, ...]
    missing: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class VisitGroup:
    """Visits near enough to be printed, and perhaps made, together; each keeps its own date."""

    visits: tuple[Visit, ...]

    @property
    def label(self) -> str:
        """First and last due date, or the time after operation while there is no date."""
        first, last = self.visits[0], self.visits[-1]
        if first.due is None or last.due is None:
            return first.when
        if first.due == last.due:
            return first.due.isoformat()
        return f"{first.due.isoformat()} to {last.due.isoformat()}"


@dataclass(frozen=True, slots=True)
class Calendar:
    """The follow-up of one person under one diversion.

    Parameters
    ----------
    diversion : str
        Key of the diversion.
    operation_date : date or None
        None while it is not set.
    operation_fact : Fact or None
        The fact that the date was read from.
    today : date
        The day the statuses speak of.
    visits : tuple of Visit
        In order of due date, then of the rules.
    undecided : tuple of Undecided
        Rules of which nobody can say whether they apply.
    cautions : tuple of str
        Sentences about the calendar as a whole.
    """

    diversion: str
    operation_date: date | None
    operation_fact: Fact | None
    today: date
    visits: tuple[Visit, ...]
    undecided: tuple[Undecided, ...]
    cautions: tuple[str, ...]

    @property
    def planned(self) -> bool:
        """True while the operation lies ahead or has no date."""
        return self.operation_date is None or self.operation_date > self.today

    def with_status(self, *statuses: Status) -> tuple[Visit, ...]:
        """Return the visits of these statuses, in order; superseded ones among them."""
        return tuple(visit for visit in self.visits if visit.status in statuses)

    def to_act_on(self) -> tuple[Visit, ...]:
        """Return what is due or overdue and not superseded by the rule's next visit."""
        return tuple(v for v in self.with_status("due", "overdue") if not v.superseded)

    def grouped(self, within_days: int = 0) -> tuple[VisitGroup, ...]:
        """Return the visits in groups: those due at most `within_days` after a group's first.

        Without dates, visits at the same time after operation stand together.
        """
        groups: list[list[Visit]] = []
        for visit in self.visits:
            if groups and _near(groups[-1][0], visit, within_days):
                groups[-1].append(visit)
            else:
                groups.append([visit])
        return tuple(VisitGroup(tuple(group)) for group in groups)


def _near(first: Visit, visit: Visit, within_days: int) -> bool:
    if first.due is None or visit.due is None:
        return first.offset == visit.offset
    return (visit.due - first.due).days <= within_days

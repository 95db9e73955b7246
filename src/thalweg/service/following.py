"""The calendar of a case, and its file for calendar programs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from thalweg.care.calendar import (
    Calendar,
    appointments_of,
    calendar_of,
    calendar_rules,
    findings_of,
)
from thalweg.errors import InputError
from thalweg.evidence.bibliography import cite
from thalweg.exchange.icalendar import write_calendar
from thalweg.service.keeping import open_store
from thalweg.service.protocol import NO_PROTOCOL, read_protocol
from thalweg.service.safefile import replace_file
from thalweg.service.workup import require_born

if TYPE_CHECKING:
    from datetime import date
    from pathlib import Path

    from thalweg.plan.appraise import Appraisal
    from thalweg.record.case import Case
    from thalweg.service.protocol import Protocol

__all__ = [
    "LaidCalendar",
    "calendar_for",
    "calendar_of_case",
    "chosen_diversion",
    "issued_file",
    "own_calendar_rules",
]


def chosen_diversion(case: Case, appraisal: Appraisal | None = None) -> tuple[str | None, str]:
    """Return for which diversion to lay the calendar out, and a sentence saying why that one."""
    planned, _ = case.word("planned-diversion")
    if planned is not None:
        return planned, f"Laid out for {planned}, as the record says."
    if appraisal is None:
        return None, "No diversion is on record as made or meant."
    for verdict in ("open", "open with cautions"):
        for row in appraisal.diversions:
            if row.verdict == verdict and row.diversion.standing == "usual":
                return row.diversion.key, (
                    f"No diversion is on record as meant. Laid out for {row.diversion.name}, the "
                    f"first in the catalogue that is {verdict}: an example, not a recommendation."
                )
    return None, "No diversion is on record as meant and none is open: there is no calendar yet."


def calendar_for(
    case: Case, diversion: str, *, at: date, protocol: Protocol = NO_PROTOCOL
) -> Calendar:
    """Return the calendar of a case already read, by the unit's rules where it has its own."""
    rules = calendar_rules(protocol.table("calendar"))
    return calendar_of(case, diversion, today=at, rules=rules)


def issued_file(case_id: str, calendar: Calendar, path: Path, *, issued_at: datetime) -> bytes:
    """Return a calendar as a file for calendar programs, to stand at `path`.

    An earlier issue at `path` is followed on from, so that programs change their entries instead
    of doubling them.

    Raises
    ------
    InputError
        If the operation has no date, or what lies at `path` is no calendar of this case.
    """
    try:
        previous = path.read_bytes() if path.exists() else None
    except OSError as error:
        raise InputError(
            f"cannot be read as the calendar issued before ({error.strerror})",
            where=str(path),
            mend="name a file",
        ) from error
    return write_calendar(
        case_id, appointments_of(calendar), issued_at=issued_at, previous=previous
    )


def own_calendar_rules(protocol: Protocol) -> tuple[str, ...]:
    """Return the sentence that says which rules of the calendar are the unit's own, if any."""
    keys = protocol.table("calendar")
    if not keys:
        return ()
    return (f"This unit's own protocol is used for the calendar: {', '.join(keys)}.",)


@dataclass(frozen=True)
class LaidCalendar:
    """A calendar as a face shows it."""

    calendar: Calendar
    reason: str
    file: Path | None
    notices: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return what a person at the keyboard reads."""
        lines = [self.reason, *self.notices]
        for visit in self.calendar.visits:
            when = visit.due.isoformat() if visit.due else visit.when
            window = ""
            if visit.window_from and visit.window_to:
                window = f"  ({visit.window_from.isoformat()} to {visit.window_to.isoformat()})"
            lines.append(f"{when}  {visit.status:8}  {visit.rule.title}{window}")
        lines += [f"? {one.sentence}" for one in self.calendar.undecided]
        lines += [f"! {caution}" for caution in self.calendar.cautions]
        if self.file is not None:
            lines.append(f"Written for calendar programs: {self.file}")
        return lines

    def to_json(self) -> dict[str, Any]:
        """Return every visit and every undecided rule as findings, with their windows."""
        visits = [
            {
                "key": visit.key,
                "title": visit.rule.title,
                "due": visit.due.isoformat() if visit.due else None,
                "after_operation": visit.when,
                "window_from": visit.window_from.isoformat() if visit.window_from else None,
                "window_to": visit.window_to.isoformat() if visit.window_to else None,
                "status": visit.status,
                "who": visit.rule.who,
                "why": visit.rule.why,
                "standing": visit.rule.standing,
            }
            for visit in self.calendar.visits
        ]
        return {
            "diversion": self.calendar.diversion,
            "reason": self.reason,
            "notices": list(self.notices),
            "visits": visits,
            "undecided": [one.sentence for one in self.calendar.undecided],
            "findings": [finding.to_json(cite) for finding in findings_of(self.calendar)],
            "cautions": list(self.calendar.cautions),
            "file": str(self.file) if self.file else None,
        }


def calendar_of_case(
    case_id: str,
    *,
    home: Path | None,
    diversion: str | None,
    at: date,
    ics: Path | None,
    protocol: Path | None = None,
) -> LaidCalendar:
    """Lay out the calendar of a case on record, and write its file if asked.

    Parameters
    ----------
    case_id : str
    home : Path or None
        Folder of the record; None for the user's own.
    diversion : str or None
        Key of the diversion; None for the one the record says is meant.
    at : date
        Work with what was known on this day.
    ics : Path or None
        Where to write the file for calendar programs.
    protocol : Path or None
        Folder of the unit's own rules.

    Raises
    ------
    InputError
        If there is no such case, no diversion to lay it out for, or no date to write.
    """
    own = read_protocol(protocol)
    with open_store(home) as store:
        case = store.get_case(case_id)
    require_born(case, at)
    case = case.known_on(at)
    reason = f"Laid out for {diversion}, as asked."
    if diversion is None:
        diversion, reason = chosen_diversion(case)
    if diversion is None:
        raise InputError(
            reason.rstrip("."), mend="give --diversion, or planned-diversion in the case file"
        )
    calendar = calendar_for(case, diversion, at=at, protocol=own)
    if ics is not None:
        content = issued_file(case_id, calendar, ics, issued_at=datetime.now(UTC))
        replace_file(ics, content)
    return LaidCalendar(calendar, reason, ics, own_calendar_rules(own))

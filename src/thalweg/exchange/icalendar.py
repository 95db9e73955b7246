"""Write a follow-up calendar as an iCalendar file that updates what an earlier one put there.

The last file issued is the whole memory: given back as `previous`, it says which entries a
person's calendar program already holds and at which SEQUENCE. An entry keeps its UID for ever;
one that moved or changed goes out with a higher SEQUENCE; one that is no longer asked for goes
out cancelled, and stays in later issues cancelled for whoever missed the issue that said so.

Every visit is one all-day event. There are no recurrence rules: RFC 5545 skips a month that lacks
the day, where the calendar takes the month's last day.

Sources: RFC 5545 (format), RFC 5546 section 2.1.4 (SEQUENCE) and 3.2.1 (METHOD:PUBLISH),
RFC 7986 section 5.3 (UID of a calendar), RFC 9562 section 5.5 (UUID version 5).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Protocol
from unicodedata import category
from uuid import UUID, uuid5

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from icalendar import Component

__all__ = ["Entry", "entry_uid", "write_calendar"]

PRODID = "-//Thalweg//Follow-up calendar//EN"

# Made once, at random, for this use; never to be changed, or every UID changes with it.
NAMESPACE = UUID("5a166353-09a3-4c1d-88dd-4568a331537c")

# RFC 5546 wants an organizer; this is the usual URI for one that takes no mail.
NO_ORGANIZER = "invalid:nomail"


class Entry(Protocol):
    """What an entry must offer; `thalweg.care.calendar.Appointment` does."""

    @property
    def rule_key(self) -> str:
        """Key of the rule; with `number` and the case it makes the UID."""

    @property
    def number(self) -> int:
        """Place in the rule's schedule, from 1."""

    @property
    def due(self) -> date:
        """The day."""

    @property
    def summary(self) -> str:
        """One line."""

    @property
    def description(self) -> str:
        """Further lines."""

    @property
    def categories(self) -> tuple[str, ...]:
        """Words to sort by."""

    @property
    def tentative(self) -> bool:
        """Whether the day may still move, as before the operation."""


@dataclass(frozen=True, slots=True)
class _Issued:
    uid: str
    due: date
    summary: str
    description: str
    categories: tuple[str, ...]
    status: str
    sequence: int
    created: datetime
    modified: datetime

    @property
    def content(self) -> tuple[object, ...]:
        return self.due, self.summary, self.description, self.categories, self.status


def entry_uid(case_id: str, rule_key: str, number: int) -> str:
    """Return an entry's UID, which says nothing of the person, the rule or the case."""
    return str(uuid5(NAMESPACE, f"{case_id}\n{rule_key}\n{number}"))


def write_calendar(
    case_id: str,
    entries: Iterable[Entry],
    *,
    issued_at: datetime,
    previous: bytes | None = None,
    name: str = "Follow-up",
    organizer: str = NO_ORGANIZER,
) -> bytes:
    """Return the calendar file of one case.

    Parameters
    ----------
    case_id : str
        Thalweg's own identifier of the case; not readable from the file.
    entries : iterable of Entry
        Every visit there is, done ones too: whatever is left out is issued as cancelled.
    issued_at : datetime
        Aware time of this issue; the only clock used, so that the bytes are reproducible.
    previous : bytes, optional
        The file issued before for the same case; None for the first issue.
    name : str
        Of the calendar, as calendar programs show it; not the person's name.
    organizer : str
        URI of the unit, such as ``"mailto:follow-up@hospital.example"``.

    Raises
    ------
    InputError
        If `previous` is not such a file, is another case's or younger than `issued_at`; if two
        entries are one and the same; or if there is nothing to write.
    """
    if issued_at.tzinfo is None:
        raise InputError("the time of issue has no time zone", mend="give it with its zone")
    now = issued_at.astimezone(UTC).replace(microsecond=0)
    calendar_uid = str(uuid5(NAMESPACE, case_id))
    before = {} if previous is None else _read(previous, calendar_uid, now)
    wanted = _wanted(case_id, entries, now)
    issue = [_followed(before.get(uid), item, now) for uid, item in wanted.items()]
    issue += [_cancelled(item, now) for uid, item in before.items() if uid not in wanted]
    if not issue:
        raise InputError("there is no visit to write", mend="lay out a longer calendar")
    return _bytes(sorted(issue, key=lambda i: (i.due, i.uid)), calendar_uid, name, organizer, now)


def _wanted(case_id: str, entries: Iterable[Entry], now: datetime) -> dict[str, _Issued]:
    wanted: dict[str, _Issued] = {}
    for entry in entries:
        uid = entry_uid(case_id, entry.rule_key, entry.number)
        if uid in wanted:
            raise InputError(
                f"visit {entry.number} of {entry.rule_key!r} stands twice",
                where="calendar",
                mend="give each visit of a rule its own number",
            )
        wanted[uid] = _Issued(
            uid=uid,
            due=entry.due,
            summary=_writable(entry.summary),
            description=_writable(entry.description),
            categories=tuple(_writable(word) for word in entry.categories),
            status="TENTATIVE" if entry.tentative else "CONFIRMED",
            sequence=0,
            created=now,
            modified=now,
        )
    return wanted


def _writable(text: str) -> str:
    # RFC 5545 section 3.1 forbids control characters; a line break is written as one character.
    lines = "\n".join(text.splitlines())
    return "".join(char for char in lines if char == "\n" or category(char) not in {"Cc", "Cs"})


def _followed(before: _Issued | None, item: _Issued, now: datetime) -> _Issued:
    if before is None:
        return item
    if before.content == item.content:
        return before
    return replace(item, sequence=before.sequence + 1, created=before.created, modified=now)


def _cancelled(before: _Issued, now: datetime) -> _Issued:
    if before.status == "CANCELLED":
        return before
    return replace(before, status="CANCELLED", sequence=before.sequence + 1, modified=now)


def _bytes(
    issue: list[_Issued], calendar_uid: str, name: str, organizer: str, now: datetime
) -> bytes:
    from icalendar import Calendar, Event, vUri  # noqa: PLC0415 - half a second to import

    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("uid", calendar_uid)
    calendar.add("name", name)
    calendar.add("last-modified", now)
    for item in issue:
        event = Event()
        event.add("uid", item.uid)
        event.add("dtstamp", now)
        event.add("created", item.created)
        event.add("last-modified", item.modified)
        event.add("sequence", item.sequence)
        event.add("organizer", vUri(organizer))
        event.add("dtstart", item.due)
        event.add("dtend", item.due + timedelta(days=1))
        event.add("summary", item.summary)
        event.add("description", item.description)
        event.add("categories", list(item.categories))
        event.add("status", item.status)
        event.add("transp", "TRANSPARENT")
        event.add("class", "PRIVATE")
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def _read(previous: bytes, calendar_uid: str, now: datetime) -> dict[str, _Issued]:
    from icalendar import Calendar  # noqa: PLC0415 - half a second to import

    where = "the calendar file issued before"
    try:
        calendar = Calendar.from_ical(previous)
        same = str(calendar.get("uid", "")) == calendar_uid
        issued = [_read_event(event) for event in calendar.walk("VEVENT")]
        stamp = calendar.decoded("last-modified")
    except (ValueError, KeyError, AttributeError, TypeError) as error:
        raise InputError(
            "it is not a calendar file of ours", where=where, mend="give the last file issued"
        ) from error
    if not same:
        raise InputError(
            "it belongs to another case",
            where=where,
            mend="give this case's last file or name a new one",
        )
    if stamp > now:
        raise InputError(
            f"it was issued at {stamp.isoformat()}, after this issue",
            where=where,
            mend="check the clock",
        )
    return {item.uid: item for item in issued}


def _read_event(event: Component) -> _Issued:
    categories = event.get("categories")
    return _Issued(
        uid=str(event["uid"]),
        due=event.decoded("dtstart"),
        summary=str(event["summary"]),
        description=str(event["description"]),
        categories=tuple(str(word) for word in categories.cats) if categories else (),
        status=str(event["status"]),
        sequence=int(str(event["sequence"])),
        created=event.decoded("created"),
        modified=event.decoded("last-modified"),
    )

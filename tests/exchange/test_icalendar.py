"""The calendar file read back by parsers not used to write it, and updated issue by issue."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
import recurring_ical_events
import vobject  # type: ignore[import-untyped]
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from thalweg.care.calendar import appointments_of, calendar_rules, lay_out
from thalweg.errors import InputError
from thalweg.exchange.icalendar import entry_uid, write_calendar
from thalweg.record.truth import Truth

FIRST = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
SECOND = FIRST + timedelta(days=7)
THIRD = FIRST + timedelta(days=14)
CASE = "case-0f3a"


@dataclass(frozen=True)
class Note:
    """An entry of the tests' own, so that the writer is tried without the calendar."""

    rule_key: str
    number: int
    due: date
    summary: str = "Ultrasound; both kidneys, please"
    description: str = "Why: so that nothing is missed.\nSource: a guideline"
    categories: tuple[str, ...] = ("Follow-up", "urology, clinic")
    tentative: bool = False


A = Note("imaging", 1, date(2027, 2, 28))
B = Note("imaging", 2, date(2027, 7, 31))
C = Note("bloods", 1, date(2027, 2, 28), summary="Blood")


def read(data: bytes) -> dict[str, dict[str, Any]]:
    """Read by vobject, which shares no code with the library that wrote the file."""
    calendar = vobject.readOne(data.decode())
    found = {}
    for event in calendar.vevent_list:
        found[event.uid.value] = {
            "due": event.dtstart.value,
            "end": event.dtend.value,
            "summary": event.summary.value,
            "description": event.description.value,
            "status": event.status.value,
            "sequence": int(event.sequence.value),
            "modified": event.last_modified.value,
            "created": event.created.value,
            "stamp": event.dtstamp.value,
        }
    assert len(found) == len(calendar.vevent_list)
    return found


def unfolded(data: bytes) -> list[str]:
    return data.decode().replace("\r\n ", "").split("\r\n")[:-1]


def test_what_was_written_is_what_another_parser_reads() -> None:
    found = read(write_calendar(CASE, [A, B, C], issued_at=FIRST))
    assert set(found) == {entry_uid(CASE, n.rule_key, n.number) for n in (A, B, C)}
    for note in (A, B, C):
        event = found[entry_uid(CASE, note.rule_key, note.number)]
        assert event["due"] == note.due
        assert type(event["due"]) is date
        assert event["end"] == note.due + timedelta(days=1)  # RFC 5545 3.6.1: the end is not in it
        assert event["summary"] == note.summary
        assert event["description"] == note.description
        assert event["status"] == "CONFIRMED"
        assert event["sequence"] == 0
        assert event["stamp"] == event["modified"] == event["created"] == FIRST


def test_a_third_reader_finds_each_visit_once_on_its_day() -> None:
    calendar = Calendar.from_ical(write_calendar(CASE, [A, B, C], issued_at=FIRST))
    events = recurring_ical_events.of(calendar).between(date(2027, 1, 1), date(2028, 1, 1))
    days = sorted((event["DTSTART"].dt, str(event["SUMMARY"])) for event in events)
    assert days == sorted((n.due, n.summary) for n in (A, B, C))


def test_the_file_keeps_to_the_standard() -> None:
    data = write_calendar(
        CASE, [replace(A, summary="Überprüfung der Nieren " * 9)], issued_at=FIRST
    )
    # RFC 5545 section 3.1: lines end in CRLF and have at most 75 octets without it.
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    lines = data.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode()  # no character is cut in two by the folding of this file
    plain = unfolded(data)
    # Sections 3.6 and 3.7, and what RFC 5546 section 3.2.1 asks of METHOD:PUBLISH.
    assert plain[0] == "BEGIN:VCALENDAR"
    assert plain[-1] == "END:VCALENDAR"
    for name in (
        "VERSION:2.0", "PRODID:-//Thalweg//", "METHOD:PUBLISH", "ORGANIZER:", "DTSTAMP:",
        "SUMMARY:", "UID:",
        "DTSTART;VALUE=DATE:20270228", "DTEND;VALUE=DATE:20270301", "SEQUENCE:", "LAST-MODIFIED:",
        "TRANSP:TRANSPARENT", "CATEGORIES:Follow-up,urology\\, clinic",
    ):  # fmt: skip
        assert sum(line.startswith(name) for line in plain) >= 1, name
    assert not any(line.startswith(("RRULE", "RDATE")) for line in plain)


@settings(deadline=None, max_examples=50)
@given(
    summary=st.text(min_size=1, max_size=200),
    description=st.text(max_size=400),
    number=st.integers(1, 500),
)
def test_any_text_survives_and_issues_again_unchanged(
    summary: str, description: str, number: int
) -> None:
    note = Note("r", number, date(2027, 3, 1), summary=summary, description=description)
    data = write_calendar(CASE, [note], issued_at=FIRST)
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    (event,) = Calendar.from_ical(data).walk("VEVENT")
    visible = [c for c in summary if c.isalnum()]
    assert [c for c in str(event["SUMMARY"]) if c.isalnum()] == visible
    (again,) = Calendar.from_ical(
        write_calendar(CASE, [note], issued_at=SECOND, previous=data)
    ).walk("VEVENT")
    assert again["SEQUENCE"] == 0


def test_the_same_issue_is_the_same_bytes_in_any_order() -> None:
    data = write_calendar(CASE, [A, B, C], issued_at=FIRST)
    assert write_calendar(CASE, [C, B, A], issued_at=FIRST) == data
    elsewhere = FIRST.astimezone(datetime.strptime("+0530", "%z").tzinfo)
    assert write_calendar(CASE, [A, B, C], issued_at=elsewhere) == data


def test_issuing_again_without_change_keeps_uid_and_sequence() -> None:
    first = write_calendar(CASE, [A, B, C], issued_at=FIRST)
    before, after = (
        read(first),
        read(write_calendar(CASE, [A, B, C], issued_at=SECOND, previous=first)),
    )
    assert set(after) == set(before)
    for event in after.values():
        assert event["sequence"] == 0
        assert event["modified"] == event["created"] == FIRST
        # RFC 5545 3.8.7.2: with a METHOD, DTSTAMP is when this object was made.
        assert event["stamp"] == SECOND


def test_a_visit_that_moves_keeps_its_uid_and_its_sequence_rises() -> None:
    first = write_calendar(CASE, [A, B, C], issued_at=FIRST)
    moved = replace(A, due=date(2027, 3, 7))
    second = write_calendar(CASE, [moved, B, C], issued_at=SECOND, previous=first)
    found = read(second)
    event = found[entry_uid(CASE, "imaging", 1)]
    assert (event["due"], event["sequence"]) == (date(2027, 3, 7), 1)
    assert (event["created"], event["modified"]) == (FIRST, SECOND)
    assert found[entry_uid(CASE, "imaging", 2)]["sequence"] == 0
    # Moved back: RFC 5546 2.1.4, the number only rises.
    third = read(write_calendar(CASE, [A, B, C], issued_at=THIRD, previous=second))
    event = third[entry_uid(CASE, "imaging", 1)]
    assert (event["due"], event["sequence"]) == (A.due, 2)


def test_a_visit_that_vanishes_is_cancelled_stays_so_and_can_come_back() -> None:
    first = write_calendar(CASE, [A, B], issued_at=FIRST)
    second = write_calendar(CASE, [A], issued_at=SECOND, previous=first)
    gone = read(second)[entry_uid(CASE, "imaging", 2)]
    assert (gone["status"], gone["sequence"], gone["due"]) == ("CANCELLED", 1, B.due)
    third = write_calendar(CASE, [A], issued_at=THIRD, previous=second)
    still = read(third)[entry_uid(CASE, "imaging", 2)]
    assert (still["status"], still["sequence"], still["modified"]) == ("CANCELLED", 1, SECOND)
    back = read(write_calendar(CASE, [A, B], issued_at=THIRD, previous=third))
    event = back[entry_uid(CASE, "imaging", 2)]
    assert (event["status"], event["sequence"]) == ("CONFIRMED", 2)


def test_everything_can_be_called_off() -> None:
    first = write_calendar(CASE, [A, B], issued_at=FIRST)
    found = read(write_calendar(CASE, [], issued_at=SECOND, previous=first))
    assert {event["status"] for event in found.values()} == {"CANCELLED"}


ISSUES = st.lists(
    st.dictionaries(st.integers(1, 6), st.dates(date(2027, 1, 1), date(2027, 1, 4)), min_size=1),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=25)
@given(ISSUES)
def test_over_many_issues_no_entry_is_lost_and_no_sequence_falls(
    issues: list[dict[int, date]],
) -> None:
    data: bytes | None = None
    before: dict[str, dict[str, Any]] = {}
    for week, wanted in enumerate(issues):
        notes = [Note("r", number, due) for number, due in wanted.items()]
        data = write_calendar(CASE, notes, issued_at=FIRST + timedelta(weeks=week), previous=data)
        now = read(data)
        assert set(now) >= set(before)
        live = {uid: event["due"] for uid, event in now.items() if event["status"] == "CONFIRMED"}
        assert live == {entry_uid(CASE, "r", number): due for number, due in wanted.items()}
        for uid, event in before.items():
            changed = (event["due"], event["status"]) != (now[uid]["due"], now[uid]["status"])
            assert now[uid]["sequence"] == event["sequence"] + changed
        before = now


def test_uids_are_version_5_uuids_that_differ_and_tell_nothing() -> None:
    uids = {
        entry_uid(case, rule, number)
        for case in ("case-1", "case-2")
        for rule in ("imaging", "imaging-1", "bloods")
        for number in (1, 2, 11)
    }
    assert len(uids) == 18
    assert {UUID(uid).version for uid in uids} == {5}
    data = write_calendar(CASE, [A], issued_at=FIRST)
    assert CASE.encode() not in data


@pytest.mark.parametrize(
    ("previous", "said"),
    [
        (b"", "not a calendar file of ours"),
        (b"nonsense", "not a calendar file of ours"),
        (b"\xff\xfe\x00", "not a calendar file of ours"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n", "not a calendar file of ours"),
    ],
)
def test_an_earlier_file_that_is_none_is_refused(previous: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        write_calendar(CASE, [A], issued_at=FIRST, previous=previous)


def test_another_persons_file_is_refused() -> None:
    other = write_calendar("case-other", [A], issued_at=FIRST)
    with pytest.raises(InputError, match="another case"):
        write_calendar(CASE, [A], issued_at=SECOND, previous=other)


def test_a_clock_that_runs_backwards_is_refused() -> None:
    later = write_calendar(CASE, [A], issued_at=SECOND)
    with pytest.raises(InputError, match="after this issue; check the clock"):
        write_calendar(CASE, [A], issued_at=FIRST, previous=later)


def test_what_cannot_be_written_is_refused() -> None:
    with pytest.raises(InputError, match="no visit to write"):
        write_calendar(CASE, [], issued_at=FIRST)
    with pytest.raises(InputError, match="visit 1 of 'imaging' stands twice"):
        write_calendar(CASE, [A, replace(A, due=B.due)], issued_at=FIRST)
    with pytest.raises(InputError, match="no time zone"):
        write_calendar(CASE, [A], issued_at=datetime(2026, 11, 25))  # noqa: DTZ001


def test_the_follow_up_calendar_is_issued_and_moves_with_the_operation() -> None:
    def issue(operation: date, today: date, previous: bytes | None, at: datetime) -> bytes:
        calendar = lay_out(
            "ileal-conduit", operation, {"bladder-cancer": Truth.MET}, calendar_rules(),
            today=today, until=date(2030, 1, 1),
        )  # fmt: skip
        return write_calendar(CASE, appointments_of(calendar), issued_at=at, previous=previous)

    planned = issue(date(2027, 1, 31), date(2026, 11, 25), None, FIRST)
    made = issue(date(2027, 2, 3), date(2027, 2, 4), planned, FIRST + timedelta(days=71))
    before, after = read(planned), read(made)
    assert {event["status"] for event in before.values()} == {"TENTATIVE"}
    uid = entry_uid(CASE, "bloods-bowel", 1)
    assert (before[uid]["due"], before[uid]["sequence"]) == (date(2027, 2, 28), 0)
    assert (after[uid]["due"], after[uid]["sequence"]) == (date(2027, 3, 3), 1)
    assert after[uid]["status"] == "CONFIRMED"
    assert set(after) == set(before)
    assert re.search(r"Source: .*Caution: ", after[uid]["description"], re.DOTALL)

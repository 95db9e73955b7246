"""Calendar arithmetic against dateutil, an independent implementation, and worked dates."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from thalweg.care.calendar import Offset
from thalweg.errors import InputError

DAYS = st.dates(date(1950, 1, 1), date(2100, 12, 31))
MONTHS = st.integers(0, 1200)


@given(DAYS, MONTHS, st.integers(-400, 4000))
def test_agrees_with_dateutil(day: date, months: int, days: int) -> None:
    # relativedelta adds months first, clamps to the month's end, then adds days: its documentation.
    expected = day + relativedelta(months=months, days=days)
    assert Offset(months, days).after(day) == expected


@pytest.mark.parametrize(
    ("start", "written", "expected"),
    [
        ("2026-01-31", "1 month", "2026-02-28"),
        ("2024-01-31", "1 month", "2024-02-29"),
        ("2026-01-31", "3 months", "2026-04-30"),
        ("2026-01-31", "6 months", "2026-07-31"),
        ("2024-02-29", "1 year", "2025-02-28"),
        ("2024-02-29", "4 years", "2028-02-29"),
        ("2024-02-29", "76 years", "2100-02-28"),  # 2100 is no leap year (Gregorian rule)
        ("2026-12-31", "2 months", "2027-02-28"),
        ("2026-02-28", "1 week", "2026-03-07"),
        ("2024-02-28", "10 days", "2024-03-09"),
    ],
)
def test_worked_dates(start: str, written: str, expected: str) -> None:
    # Counted by hand on a wall calendar.
    assert Offset.parse(written).after(date.fromisoformat(start)) == date.fromisoformat(expected)


@given(DAYS, MONTHS)
def test_the_day_of_the_month_never_drifts(day: date, months: int) -> None:
    due = Offset(months).after(day)
    month_is_over = (due + timedelta(days=1)).day == 1
    assert due.day == day.day or (due.day < day.day and month_is_over)


@given(DAYS, MONTHS, st.integers(1, 60))
def test_later_offsets_give_later_dates(day: date, months: int, more: int) -> None:
    assert Offset(months).after(day) < Offset(months + more).after(day)


@given(st.integers(1, 300), st.integers(1, 300))
def test_order_without_a_date_agrees_with_order_on_average(months: int, days: int) -> None:
    # 400 Gregorian years are 146 097 days: a month is 30.436875 days on average.
    assert (Offset(months).nominal < Offset(0, days).nominal) == (months * 30.436875 < days)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("6 months", "6 months"),
        ("12 months", "1 year"),
        ("18 months", "18 months"),
        ("1 year", "1 year"),
        ("14 days", "2 weeks"),
        ("10 days", "10 days"),
    ],
)
def test_is_said_in_the_largest_whole_unit(written: str, said: str) -> None:
    assert str(Offset.parse(written)) == said


@pytest.mark.parametrize("written", ["", "6", "six months", "-1 month", "1.5 years", "6 Months "])
def test_refuses_what_is_not_a_length_of_time(written: str) -> None:
    with pytest.raises(InputError, match="not a length of time; write it like"):
        Offset.parse(written)


def test_refuses_to_leave_the_calendar() -> None:
    with pytest.raises(OverflowError):
        Offset(12).after(date(9999, 6, 1))


def test_mixed_lengths_are_said_in_full() -> None:
    assert str(Offset(12, 14)) == "1 year and 2 weeks"
    assert str(Offset(1, 1)) == "1 month and 1 day"
    assert str(Offset()) == "0 days"

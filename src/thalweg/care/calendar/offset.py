"""Time after an operation in calendar months and days, and the date it falls on.

Months are added from the one starting day each time, and a day that the month does not have
becomes its last: 31 January + 1 month is 28 (29) February, + 3 months 30 April; 29 February
+ 1 year is 28 February, + 4 years 29 February again. Days follow the months.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from thalweg.errors import InputError

__all__ = ["Offset"]

_WRITTEN = re.compile(r"(\d{1,4}) (day|week|month|year)s?")
_MONTHS = {"month": 1, "year": 12}
_DAYS = {"day": 1, "week": 7}

# 400 Gregorian years have 4800 months and 146 097 days.
MONTHS_IN_ERA = 4800
DAYS_IN_ERA = 146_097


def _counted(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


@dataclass(frozen=True, slots=True)
class Offset:
    """A length of time as the calendar counts it.

    Parameters
    ----------
    months : int
        Whole calendar months.
    days : int
        Days on top of the months; negative in a difference of two offsets.
    """

    months: int = 0
    days: int = 0

    @classmethod
    def parse(cls, written: str) -> Offset:
        """Return the offset written as ``"6 months"``, ``"1 year"``, ``"8 weeks"``, ``"10 days"``.

        Raises
        ------
        InputError
            If it is written otherwise.
        """
        found = _WRITTEN.fullmatch(written)
        if found is None:
            raise InputError(
                f"{written!r} is not a length of time", mend='write it like "6 months" or "8 weeks"'
            )
        number, unit = int(found[1]), found[2]
        return cls(number * _MONTHS.get(unit, 0), number * _DAYS.get(unit, 0))

    def __add__(self, other: Offset) -> Offset:
        return Offset(self.months + other.months, self.days + other.days)

    def __sub__(self, other: Offset) -> Offset:
        return Offset(self.months - other.months, self.days - other.days)

    @property
    def nominal(self) -> int:
        """Length in 4800ths of a day with months of average length, to order offsets exactly."""
        return self.months * DAYS_IN_ERA + self.days * MONTHS_IN_ERA

    def after(self, day: date) -> date:
        """Return the date this long after `day`.

        Raises
        ------
        OverflowError
            If it lies outside the years 1 to 9999.
        """
        year, month0 = divmod(day.year * 12 + day.month - 1 + self.months, 12)
        if not date.min.year <= year <= date.max.year:
            msg = f"{self} after {day.isoformat()} lies outside the calendar"
            raise OverflowError(msg)
        last = monthrange(year, month0 + 1)[1]
        return date(year, month0 + 1, min(day.day, last)) + timedelta(days=self.days)

    def __str__(self) -> str:
        parts = []
        if self.months and self.months % 12 == 0:
            parts.append(_counted(self.months // 12, "year"))
        elif self.months:
            parts.append(_counted(self.months, "month"))
        if self.days and self.days % 7 == 0:
            parts.append(_counted(self.days // 7, "week"))
        elif self.days or not parts:
            parts.append(_counted(self.days, "day"))
        return " and ".join(parts)

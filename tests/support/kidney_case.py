"""Invented cases for the kidneys' course: results by day or minute, nothing else."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.record.case import Case, Person
from thalweg.record.fact import Fact, Origin

if TYPE_CHECKING:
    from thalweg.record.case import Sex
    from thalweg.record.fact import FactValue, Moment

ORIGIN = Origin("by hand", "invented")
NOON = datetime(2026, 3, 10, 12, tzinfo=UTC)


def known(
    key: str, value: str | bool, unit: str | None = None, at: Moment = NOON, label: str = ""
) -> Fact:
    """Return a fact; with a unit the value is a number."""
    held: FactValue = Decimal(value) if unit is not None and isinstance(value, str) else value
    return Fact(key, held, unit, at, ORIGIN, label=label)


def kidney_case(*facts: Fact, born: date = date(1956, 3, 10), sex: Sex = "female") -> Case:
    """Return a case of an invented person, by default a woman of 70."""
    return Case("K1", Person("X-1", "Nobody", born, sex), facts)


def hours_on(hours: float) -> datetime:
    """Return the moment so many hours after the first noon."""
    return NOON + timedelta(hours=hours)

"""What every floor asks of its facts: their day, the youngest, and an amount in a unit."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from thalweg.errors import InputError
from thalweg.record.concept import concept
from thalweg.record.fact import Fact, Moment, moment_key
from thalweg.record.plausible import canonical
from thalweg.record.units import convert

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["amount", "day_of", "youngest"]


def day_of(at: Moment) -> date:
    """Return the day of a moment."""
    return at.date() if isinstance(at, datetime) else at


def youngest(facts: Iterable[Fact]) -> Fact:
    """Return the latest of some facts, of which there is at least one."""
    return max(facts, key=lambda fact: (moment_key(fact.at), fact.id))


def amount(fact: Fact, unit: str) -> float:
    """Return a quantity in `unit`; one already in it keeps its digits exactly.

    Raises
    ------
    InputError
        If the fact is not a quantity.
    UnitError
        If its unit is of another kind.
    """
    if not isinstance(fact.value, Decimal) or fact.unit is None:
        raise InputError(f"{fact.concept} is not a number with a unit", mend="correct the entry")
    row = concept(fact.concept)
    own = canonical(row, fact.value, fact.unit)
    if row.charge != 1 and row.unit is not None:
        # Milliequivalents of such an ion are not millimoles: only its own unit is safe to leave.
        return convert(own, row.unit, unit, molar_mass=row.molar_mass)
    return convert(fact.value, fact.unit, unit, molar_mass=row.molar_mass)

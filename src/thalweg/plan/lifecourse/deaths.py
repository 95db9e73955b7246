"""When each life ends: by the operation, of old age, or of an illness on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from thalweg.plan.lifecourse.rates import Excess, OptionRates, Start
    from thalweg.plan.lifecourse.world import Block

    Floats = NDArray[np.float64]

__all__ = ["DAYS_A_YEAR", "deaths"]

DAYS_A_YEAR = 365.25


def deaths(option: OptionRates, start: Start, block: Block) -> Floats:
    """Return the time of each death, years after the operation, shape (worlds, lives).

    Where the risk of death around the operation is known, it stands alone for its days, and the
    life table and illness apply to those who live through them. Otherwise both apply from the
    first day. What comes first, counts (competing risks).
    """
    from_year = 0.0 if option.death is None else option.death_days / DAYS_A_YEAR
    later = block.once(("later", from_year), lambda: _later(start, from_year, block))
    if option.death is None:
        return later
    dies = block.uniform("death around operation") < block.value(option.death.share)
    when = from_year * block.uniform("day of death around operation")
    return np.where(dies, when, later)


def _later(start: Start, from_year: float, block: Block) -> Floats:
    first = _of_age(start, from_year, block)
    for excess in start.excess:
        first = np.minimum(first, _of_illness(excess, from_year, block))
    return first


def _of_age(start: Start, from_year: float, block: Block) -> Floats:
    """Invert the life table: the age at which the summed rate reaches what this life stands."""
    table = start.table
    stands = table.summed_rate(start.age + from_year) + block.exponential("old age")
    birthdays = np.arange(table.last_age + 1, dtype=np.float64)
    age = np.interp(stands, table.cumulative_rate(), birthdays)
    return np.asarray(np.maximum(age - start.age, from_year))


def _of_illness(excess: Excess, from_year: float, block: Block) -> Floats:
    rate = block.value(excess.per_year)
    with np.errstate(divide="ignore"):
        when = from_year + block.exponential(excess.key) / rate
    return np.where(when <= excess.until_years, when, np.inf)

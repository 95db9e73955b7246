"""Published event rates with the interval that their counts allow."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from thalweg.errors import InputError

if TYPE_CHECKING:
    from thalweg.assess.fitness.form import RateSet

__all__ = ["Rate", "rate_at", "wilson_interval"]

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate in percent, its 95 % interval where the counts allow one, and the counts."""

    percent: float
    interval: tuple[float, float] | None
    events: int | None
    of: int | None


@cache
def wilson_interval(events: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a proportion by Wilson's score method, in percent.

    Parameters
    ----------
    events, of : int
        People with the event, of how many; 0 to `of`, and `of` at least 1.

    Raises
    ------
    InputError
        If the counts cannot be.

    References
    ----------
    Wilson EB. J Am Stat Assoc 1927;22:209-12.
    """
    if not 0 <= events <= of or of < 1:
        raise InputError(f"{events} of {of} is not a count of people", mend="correct the rates")
    # Not through scipy.stats, whose import alone costs more than the whole report.
    from scipy.special import ndtri  # noqa: PLC0415 - a heavy import, only for rates

    z2 = float(ndtri(0.5 + CONFIDENCE / 2)) ** 2
    share = events / of
    centre = share + z2 / (2 * of)
    half = math.sqrt(z2 * (share * (1 - share) + z2 / (4 * of)) / of)
    low, high = (centre - half) / (1 + z2 / of), (centre + half) / (1 + z2 / of)
    # Nobody and everybody lie on the edge, which rounding must not cross.
    return 100.0 * low if events else 0.0, 100.0 * high if events < of else 100.0


def _from_percent(percent: float, decimals: int, of: int) -> tuple[float, float]:
    """Return an interval that covers every count that rounds to the printed percentage."""
    half = 0.5 * 10.0**-decimals
    fits = [k for k in range(of + 1) if abs(100.0 * k / of - percent) <= half]
    if not fits:
        raise InputError(
            f"no count of {of} people makes {percent:g} %", mend="correct the rates or the count"
        )
    return wilson_interval(fits[0], of)[0], wilson_interval(fits[-1], of)[1]


def rate_at(rates: RateSet, total: float) -> Rate:
    """Return the published rate of the group in which a total lies.

    Parameters
    ----------
    rates : RateSet
    total : float
        Points, at least the lowest total of the first group.

    Raises
    ------
    InputError
        If the total lies below every group, or the published figures contradict each other.
    """
    group = bisect_right(rates.least, total) - 1
    if group < 0:
        raise InputError(f"{total:g} points lie below every group of {rates.key}", mend="check it")
    of = rates.of[group] if rates.of else None
    if rates.events and of is not None:
        events = rates.events[group]
        return Rate(100.0 * events / of, wilson_interval(events, of), events, of)
    percent = rates.percent[group]
    interval = None if of is None else _from_percent(percent, rates.decimals, of)
    return Rate(percent, interval, None, of)

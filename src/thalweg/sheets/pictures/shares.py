"""A published share as whole people of a hundred or a thousand, with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Counts", "Share", "counted", "denominator"]

_DIGITS = 9
"""Beyond these a share times a denominator is rounding noise: 0.07 × 100 is 7, not 7.000…01."""


@dataclass(frozen=True, slots=True)
class Share:
    """How often something happens, as published or pooled.

    Parameters
    ----------
    label : str
        What it is the share of: the diversion, say.
    estimate : float or None
        0 to 1; None where it is not known.
    low, high : float or None
        Ends of its interval, 0 to 1; both None where the interval is not known.
    people : int or None
        How many the figure rests on; None where that is not known.
    unit : str
        What was counted: ``"patient"``, ``"renal unit"``, ``"ureter"`` or ``"procedure"``.

    Raises
    ------
    InputError
        If a share lies outside 0 to 1, the order is not low, estimate, high, or one end of the
        interval is missing.
    """

    label: str
    estimate: float | None
    low: float | None = None
    high: float | None = None
    people: int | None = None
    unit: str = "patient"

    def __post_init__(self) -> None:
        ends = (self.low, self.estimate, self.high)
        given = [end for end in ends if end is not None]
        if self.unit not in UNITS:
            raise self._refused(f"counts {self.unit!r}", f"choose {', '.join(UNITS)}")
        if not all(0 <= end <= 1 for end in given):
            raise self._refused("has a share outside 0 to 1", "give 0.12 for 12 of 100")
        if given != sorted(given):
            raise self._refused("has an estimate outside its interval", "check the three numbers")
        if (self.low is None) != (self.high is None):
            raise self._refused("has one end of an interval", "give both ends or neither")
        if self.people is not None and self.people < 1:
            raise self._refused(f"rests on {self.people} people", "leave the number out")
        if self.estimate is None and self.low is not None:
            raise self._refused("has an interval but no estimate", "give the estimate")

    def _refused(self, what: str, mend: str) -> InputError:
        return InputError(f"the share of {self.label!r} {what}", mend=mend)


UNITS = ("patient", "renal unit", "ureter", "procedure")


@dataclass(frozen=True, slots=True)
class Counts:
    """A share in whole ones of `of`.

    Parameters
    ----------
    of : int
        100, 1000 or 10 000.
    estimate : int
        Rounded to the nearest, half away from nought.
    low, high : int or None
        Rounded outwards, so that the interval drawn never is narrower than the one published.
    """

    of: int
    estimate: int
    low: int | None
    high: int | None

    @property
    def bands(self) -> tuple[int, int, int, int]:
        """How many are surely counted, counted by the estimate, perhaps counted, and not.

        Without an interval none is sure, and none beyond the estimate can be told apart from
        those not counted.
        """
        low = 0 if self.low is None else self.low
        high = self.estimate if self.high is None else self.high
        return (low, self.estimate - low, high - self.estimate, self.of - high)


def counted(share: Share, of: int) -> Counts:
    """Return a share in whole ones of `of`.

    Raises
    ------
    ValueError
        If it has no estimate.
    """
    if share.estimate is None:
        msg = f"the share of {share.label!r} is not known"
        raise ValueError(msg)
    low, estimate, high = (
        None if value is None else round(value * of, _DIGITS)
        for value in (share.low, share.estimate, share.high)
    )
    return Counts(
        of,
        math.floor((estimate or 0.0) + 0.5),
        None if low is None else math.floor(low),
        None if high is None else math.ceil(high),
    )


def denominator(shares: Iterable[Share]) -> int:
    """Return the one denominator for all: 100, or 1000 where one is rarer than 1 of 100.

    A share of nought alone stays of 100 unless its interval ends below 1 of 100.
    """
    for share in shares:
        if share.estimate is None:
            continue
        rare = 0 < share.estimate < 0.01
        none = share.estimate == 0 and share.high is not None and 0 < share.high < 0.01
        if rare or none:
            return 1000
    return 100

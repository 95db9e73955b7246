"""Whether a printed percentage or mean can come from whole counts: the granularity test.

A percentage of `n` people printed to `d` decimals can only be one of ``n + 1`` numbers. One that
is none of them holds a slip: in the percentage, in the count of people, or in who was counted.
The arithmetic is exact (fractions); no tolerance hides a slip.

References
----------
Brown NJL, Heathers JAJ. Soc Psychol Personal Sci 2017;8:363-369.
"""

from __future__ import annotations

import re
from fractions import Fraction
from math import ceil, floor
from typing import TYPE_CHECKING, Final, Literal

from thalweg.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["CONVENTIONS", "Convention", "could_print", "possible_counts", "roundings"]

Convention = Literal["half-up", "half-even", "truncated"]
PRINTED: Final = re.compile(r"\d+(?:\.(\d+))?", re.ASCII)


def _half_even(value: Fraction) -> int:
    return round(value)


CONVENTIONS: Final[Mapping[Convention, Callable[[Fraction], int]]] = {
    "half-up": lambda value: floor(value + Fraction(1, 2)),
    "half-even": _half_even,
    "truncated": floor,
}
"""How a number that is not whole becomes one, by the name of the convention."""


def _scaled(printed: str) -> tuple[int, int]:
    """Return the printed number as a whole number, and by which power of ten it was raised."""
    found = PRINTED.fullmatch(printed)
    if not found:
        raise InputError(
            f"{printed!r} is not a percentage as printed", mend='write its digits, such as "15.4"'
        )
    decimals = len(found.group(1) or "")
    return int(printed.replace(".", "")), decimals


def roundings(printed: str, count: int, n: int, *, per: int = 100) -> tuple[Convention, ...]:
    """Return the conventions by which `count` of `n` prints as `printed`.

    Parameters
    ----------
    printed : str
        Digits as printed, without the sign; trailing zeros count.
    count : int
        Those counted (or the sum of whole-number answers), at least 0.
    n : int
        Out of how many, at least 1.
    per : int
        100 for a percentage, 1 for a mean of whole numbers.

    Returns
    -------
    tuple of str
        Of ``"half-up"``, ``"half-even"``, ``"truncated"``; empty where none gives it.

    Raises
    ------
    InputError
        If `printed` is not a plain decimal number.
    """
    whole, decimals = _scaled(printed)
    exact = Fraction(count * per * 10**decimals, n)
    return tuple(name for name, rounded in CONVENTIONS.items() if rounded(exact) == whole)


def possible_counts(
    printed: str,
    n: int,
    *,
    per: int = 100,
    conventions: tuple[Convention, ...] = tuple(CONVENTIONS),
) -> range:
    """Return the whole counts out of `n` that print as `printed` by any of the conventions.

    Parameters
    ----------
    printed : str
        See `roundings`.
    n : int
        Out of how many, at least 1.
    per : int
        See `roundings`; for percentages no count above `n` is possible.
    conventions : tuple of str
        Those considered.

    Returns
    -------
    range
        Empty where no count gives the printed number. The counts always lie side by side, since
        every convention rises with the count.

    Raises
    ------
    InputError
        If `printed` is not a plain decimal number.
    """
    whole, decimals = _scaled(printed)
    one = Fraction(n, per * 10**decimals)
    near = range(max(0, floor((whole - 1) * one)), ceil((whole + 1) * one) + 1)
    most = n if per == 100 else near.stop
    fits = [
        count
        for count in near
        if count <= most and set(roundings(printed, count, n, per=per)) & set(conventions)
    ]
    return range(fits[0], fits[-1] + 1) if fits else range(0)


def could_print(printed: str, n: int, *, per: int = 100) -> bool:
    """Return whether any whole count out of `n` prints as `printed` (see `possible_counts`)."""
    return bool(possible_counts(printed, n, per=per))

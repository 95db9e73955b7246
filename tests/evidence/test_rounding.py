"""The granularity test against enumeration by the decimal module, and published examples.

* Enumeration: every count of every n up to 60, rounded by Python's `decimal` (General Decimal
  Arithmetic: ROUND_HALF_UP, ROUND_HALF_EVEN, ROUND_DOWN), at 0 to 2 decimals.
* Brown and Heathers, Soc Psychol Personal Sci 2017;8:363: a mean of 5.19 of 28 whole numbers
  cannot be, of 32 it can, and 5.21 of 28 can (seen in the documentation of a package citing it).
* Means of 5.27 of 43 and of 5.93 of 49 cannot be (the same documentation; The Economist, 18 June
  2016); 3.48 of 20 throws of a die cannot be (encyclopaedia article on the test).
"""

from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, localcontext

import pytest

from thalweg.errors import InputError
from thalweg.evidence.rounding import CONVENTIONS, could_print, possible_counts, roundings

DECIMAL_WAYS = {
    "half-up": ROUND_HALF_UP,
    "half-even": ROUND_HALF_EVEN,
    "truncated": ROUND_DOWN,
}


def by_decimal(count: int, n: int, decimals: int, way: str) -> str:
    with localcontext() as context:
        context.prec = 60
        exact = Decimal(100 * count) / Decimal(n)
        return str(exact.quantize(Decimal(1).scaleb(-decimals), rounding=DECIMAL_WAYS[way]))


@pytest.mark.parametrize("decimals", [0, 1, 2])
def test_every_count_prints_as_the_decimal_module_rounds_it(decimals: int) -> None:
    for n in range(1, 61):
        for count in range(n + 1):
            for way in DECIMAL_WAYS:
                assert way in roundings(by_decimal(count, n, decimals, way), count, n)


@pytest.mark.parametrize("n", [1, 7, 8, 13, 29, 40, 59])
def test_possible_counts_are_those_of_an_exhaustive_search(n: int) -> None:
    printings = [{by_decimal(k, n, 1, way) for way in DECIMAL_WAYS} for k in range(n + 1)]
    for tenths in range(1001):
        printed = f"{tenths / 10:.1f}"
        searched = [count for count, ways in enumerate(printings) if printed in ways]
        assert list(possible_counts(printed, n)) == searched, (n, printed)


def test_a_tie_separates_the_conventions() -> None:
    # 1 of 8 is 12.5 %, 3 of 8 is 37.5 %: half-up and half-even part at the first only.
    assert roundings("13", 1, 8) == ("half-up",)
    assert roundings("12", 1, 8) == ("half-even", "truncated")
    assert roundings("38", 3, 8) == ("half-up", "half-even")
    assert roundings("37", 3, 8) == ("truncated",)
    assert set(CONVENTIONS) == set(DECIMAL_WAYS)


@pytest.mark.parametrize(
    ("mean", "n", "possible"),
    [
        ("5.19", 28, False),
        ("5.19", 32, True),
        ("5.21", 28, True),
        ("5.27", 43, False),
        ("5.93", 49, False),
        ("3.48", 20, False),
        ("3.50", 20, True),
    ],
)
def test_published_examples_of_means(mean: str, n: int, possible: bool) -> None:
    # The published test rounds up or down at a tie and never cuts off.
    found = possible_counts(mean, n, per=1, conventions=("half-up", "half-even"))
    assert bool(found) is possible


def test_cutting_off_admits_what_rounding_does_not() -> None:
    # 227 of 43 is 5.279: as 5.27 it was cut off, never rounded.
    assert could_print("5.27", 43, per=1)
    assert roundings("5.27", 227, 43, per=1) == ("truncated",)


def test_zeros_that_were_printed_count() -> None:
    # 1 of 3 prints as 33 or 33.3, never as 33.0.
    assert could_print("33", 3)
    assert not could_print("33.0", 3)


def test_no_count_above_n_is_possible() -> None:
    assert not could_print("101", 50)
    assert list(possible_counts("100", 50)) == [50]


@pytest.mark.parametrize("text", ["", "8 %", "-3", "1,5", "1e1", "٣"])
def test_what_is_no_percentage_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="not a percentage as printed"):
        roundings(text, 1, 10)

"""Published rates and their intervals.

Wilson's interval against Newcombe RG. Stat Med 1998;17:857-72, table I (from memory), and against
the closed formula worked with fractions of many digits.
"""

from __future__ import annotations

import mpmath
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.fitness_witness import one, person

from thalweg.assess.fitness.form import RateSet
from thalweg.assess.fitness.rates import rate_at, wilson_interval
from thalweg.assess.fitness.rulebook import rulebook
from thalweg.errors import InputError


def rates_of(rule: str, key: str) -> RateSet:
    """Return one packaged set of rates."""
    (found,) = (
        r for one in rulebook().scores if one.key == rule for r in one.rates if r.key == key
    )
    return found


@pytest.mark.parametrize(
    ("events", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_as_newcombe_prints_it(events: int, of: int, low: float, high: float) -> None:
    found = wilson_interval(events, of)
    assert found == pytest.approx((100 * low, 100 * high), abs=0.005)


@given(st.integers(1, 400_000), st.floats(0, 1))
def test_wilson_against_the_closed_formula(of: int, share: float) -> None:
    events = round(share * of)
    with mpmath.workdps(30):
        z = mpmath.sqrt(2) * mpmath.erfinv(mpmath.mpf("0.95"))
        p, n = mpmath.mpf(events) / of, mpmath.mpf(of)
        centre = (p + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z * mpmath.sqrt(p * (1 - p) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
        expected = (float(100 * (centre - half)), float(100 * (centre + half)))
    assert wilson_interval(events, of) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_denmark() -> None:
    # Andersson 2015, abstract: 742 of 357 396 (0.2 %), 755 of 74 889 (1.0 %), 521 of 11 921 (4 %),
    # 257 of 3146 (8 %).
    rates = rates_of("rcri", "denmark")
    shown = [rate_at(rates, points).percent for points in (0, 1, 2, 3, 6)]
    assert [round(one, 1) for one in shown] == [0.2, 1.0, 4.4, 8.2, 8.2]
    first = rate_at(rates, 0)
    assert first.interval is not None
    assert first.interval[0] < 100 * 742 / 357396 < first.interval[1]


def test_the_counts_of_lee_add_up_to_the_abstract() -> None:
    # Lee 1999, abstract: 1422 people in the validation cohort; 0.4, 0.9, 7 and 11 %.
    rates = rates_of("rcri", "lee-validation")
    assert sum(rates.of) == 1422
    shares = [100 * e / n for e, n in zip(rates.events, rates.of, strict=True)]
    assert [round(shares[0], 1), round(shares[1], 1)] == [0.4, 0.9]
    assert [round(one) for one in shares[2:]] == [7, 11]


def test_the_counts_of_rotterdam_add_up_to_the_abstract() -> None:
    # Boersma 2005, abstract: 108 593 operations, 543 cardiovascular deaths.
    rates = rates_of("rcri", "rotterdam-death")
    assert (sum(rates.events), sum(rates.of)) == (543, 108_593)


def test_an_interval_from_a_rounded_percentage_covers_every_count_it_can_be() -> None:
    # Charlson 1987, abstract: 26 % of 225. 58 and 59 both round to 26.
    found = rate_at(rates_of("charlson", "new-york"), 1)
    low, high = wilson_interval(58, 225)[0], wilson_interval(59, 225)[1]
    assert found.interval == pytest.approx((low, high))
    assert found.events is None
    assert sum(rates_of("charlson", "new-york").of) == 559


def test_rates_without_counts_have_no_interval() -> None:
    found = rate_at(rates_of("ariscat", "europe"), 30)
    assert found.percent == 12.98
    assert found.interval is None


@pytest.mark.parametrize("points", range(8))
def test_ten_year_survival_is_the_formula_s(points: int) -> None:
    with mpmath.workdps(30):
        expected = 100 * mpmath.power(mpmath.mpf("0.983"), mpmath.e ** (mpmath.mpf("0.9") * points))
    found = rate_at(rates_of("charlson-age", "ten-years"), points).percent
    assert found == pytest.approx(float(expected), abs=0.01)


def test_a_range_of_totals_has_a_range_of_rates_and_no_interval() -> None:
    found = one(person({"creatinine": ("1.0", "mg/dL"), "heart-failure": False}), "rcri")
    (denmark,) = (f for f in found.findings if f.name == "rcri-rate-denmark")
    assert denmark.value == "0.2 to 8.2 %"
    assert denmark.interval is None
    assert denmark.missing


def test_every_rate_says_whose_it_is() -> None:
    for rule in rulebook().scores:
        for rates in rule.rates:
            assert len(rates.label.split()) > 5
            assert rates.of or rates.note, (rule.key, rates.key)


def test_counts_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="is not a count of people"):
        wilson_interval(5, 4)
    impossible = RateSet("x", "of nobody", (0.0,), (), (3,), (50.0,), 0, ("lee-1999",), "")
    with pytest.raises(InputError, match="no count of 3 people makes 50 %"):
        rate_at(impossible, 1)


@pytest.mark.parametrize(("events", "of"), [(0, 1), (1, 1), (0, 20), (20, 20), (7, 91), (3, 5000)])
def test_wilson_against_scipy(events: int, of: int) -> None:
    from scipy.stats import binomtest

    found = binomtest(events, of).proportion_ci(confidence_level=0.95, method="wilson")
    expected = (100 * found.low, 100 * found.high)
    assert wilson_interval(events, of) == pytest.approx(expected, rel=1e-12, abs=1e-12)

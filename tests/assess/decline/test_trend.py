"""Slope, interval, break and crossing against analytic truth, plain search and simulation."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from thalweg.assess.decline.trend import Trend, broken, crossing, trend
from thalweg.errors import InputError


def test_an_exact_line_is_found_exactly() -> None:
    years = np.array([0.0, 0.4, 1.1, 2.0, 3.7, 5.0, 6.2])
    found = trend(years, 80.0 - 3.0 * years)
    assert found.slope == pytest.approx(-3.0, abs=1e-12)
    assert found.slope_interval == pytest.approx((-3.0, -3.0), abs=1e-9)
    assert found.level == pytest.approx(80.0 - 3.0 * 6.2, abs=1e-12)
    met = crossing(found, 45.0)
    assert met is not None
    assert met.likely == pytest.approx(35.0 / 3.0 - 6.2, abs=1e-9)


def test_the_worked_series_of_yearly_falls() -> None:
    # 80, 70, 64, 59 a year apart: pair slopes -10, -8, -7, -6, -5.5, -5; median -6.5 by hand. Least
    # squares gives -6.9.
    found = trend([0, 1, 2, 3], [80, 70, 64, 59])
    assert found.slope == pytest.approx(-6.5)
    assert found.slope_interval is None
    assert stats.linregress([0, 1, 2, 3], [80, 70, 64, 59]).slope == pytest.approx(-6.9)


irregular = st.lists(
    st.tuples(st.integers(0, 5000), st.integers(100, 1200)),
    min_size=3,
    max_size=20,
    unique_by=lambda row: row[0],
)


@given(irregular)
def test_slope_is_the_median_over_all_pairs(rows: list[tuple[int, int]]) -> None:
    years, rates = np.array(rows, dtype=float).T / 10
    slopes = [
        (rates[j] - rates[i]) / (years[j] - years[i]) for i, j in combinations(range(len(rows)), 2)
    ]
    assert trend(years, rates).slope == pytest.approx(float(np.median(slopes)), rel=1e-9, abs=1e-9)


@given(irregular, st.randoms(use_true_random=False))
def test_the_order_of_entry_does_not_matter(rows: list[tuple[int, int]], chance: object) -> None:
    mixed = list(rows)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    first, second = (np.array(each, dtype=float).T for each in (rows, mixed))
    assert trend(*first) == trend(*second)


def test_one_bad_day_does_not_move_it_far() -> None:
    years = np.arange(9.0)
    rates = 70 - 2.0 * years
    rates[7] = 18.0
    assert abs(trend(years, rates).slope + 2.0) < 0.3
    # What least squares makes of the same series.
    assert stats.linregress(years, rates).slope < -3.5


@pytest.mark.parametrize("size", [5, 6, 8, 14])
def test_the_interval_covers_as_often_as_it_says(size: int) -> None:
    chance = np.random.default_rng(size)
    held = 0
    rounds = 200
    for _ in range(rounds):
        years = np.sort(chance.uniform(0, 6, size))
        found = trend(years, 60 - 2.0 * years + chance.normal(0, 4, size))
        assert found.slope_interval is not None
        held += found.slope_interval[0] <= -2.0 <= found.slope_interval[1]
    # 95 %, less three standard errors of 200 rounds.
    assert held / rounds >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / rounds)


def test_the_level_interval_is_that_of_signs() -> None:
    # Of 6 values the extremes hold the median with 1 - 2/2**6 = 96.9 %; of 9 the second and the
    # eighth with 96.1 % (binomial; Conover, Practical Nonparametric Statistics, section 3.2).
    six = trend(np.arange(6.0), [60, 61, 59, 62, 58, 60.5])
    assert six.level_interval is not None
    assert 1 - 2 * stats.binom.cdf(1, 9, 0.5) == pytest.approx(0.961, abs=1e-3)
    years = np.arange(9.0)
    rates = np.array([60, 61, 59, 62, 58, 60.5, 59.5, 61.5, 58.5])
    nine = trend(years, rates)
    residual = np.sort(rates - nine.slope * (years - 8.0))
    assert nine.level_interval == pytest.approx((residual[1], residual[7]))


def test_crossing_by_hand() -> None:
    course = Trend(-2.0, (-4.0, -1.0), 50.0, (46.0, 52.0), 0.0, 5.0, 8)
    met = crossing(course, 40.0)
    assert met is not None
    assert (met.earliest, met.likely, met.latest) == (1.5, 5.0, 12.0)
    assert crossing(course, 50.0) is not None
    rising = Trend(1.0, (-1.0, 2.0), 50.0, (46.0, 52.0), 0.0, 5.0, 8)
    never = crossing(rising, 40.0)
    assert never is not None
    assert (never.earliest, never.likely, never.latest) == (6.0, math.inf, math.inf)
    assert crossing(Trend(-2.0, None, 50.0, None, 0.0, 5.0, 4), 40.0) is None


@given(st.floats(10, 80), st.floats(0.1, 40))
def test_a_lower_limit_is_met_later(limit: float, less: float) -> None:
    course = Trend(-2.0, (-4.0, -1.0), 85.0, (82.0, 88.0), 0.0, 5.0, 8)
    high, low = crossing(course, limit), crossing(course, limit - less)
    assert high is not None
    assert low is not None
    earlier = (high.earliest, high.likely, high.latest)
    pairs = zip(earlier, (low.earliest, low.likely, low.latest), strict=True)
    assert all(first <= second for first, second in pairs)
    assert all(a <= b for a, b in pairwise(earlier))


def test_a_break_is_found_where_it_is() -> None:
    chance = np.random.default_rng(3)
    years = np.arange(16.0) / 2
    rates = np.where(years < 4, 75 - 0.5 * years, 64 - 8.0 * (years - 4))
    rates = rates + chance.normal(0, 1, 16)
    found = broken(years, rates)
    assert found is not None
    assert (found.after, found.before) == (3.5, 4.0)
    assert found.p == 1 / 2000
    assert found.slope_earlier == pytest.approx(-0.5, abs=1.0)
    assert found.slope_later == pytest.approx(-8.0, abs=1.0)
    assert broken(years, rates) == found


def test_without_a_break_one_is_claimed_no_more_often_than_said() -> None:
    chance = np.random.default_rng(11)
    years = np.sort(chance.uniform(0, 8, 12))
    claimed = 0
    for _ in range(80):
        found = broken(years, 70 - 2 * years + chance.normal(0, 3, 12))
        assert found is not None
        claimed += found.p < 0.05
    # 5 %, and three standard errors of 80 rounds.
    assert claimed / 80 <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 80)


def test_the_break_statistic_is_that_of_a_plain_search() -> None:
    chance = np.random.default_rng(5)
    years = np.sort(chance.uniform(0, 8, 11))
    rates = 70 - 2 * years + chance.normal(0, 3, 11)

    def left(part: slice) -> float:
        fit = np.polyfit(years[part], rates[part], 1)
        return float(np.sum((rates[part] - np.polyval(fit, years[part])) ** 2))

    best = min(range(3, 9), key=lambda k: left(slice(0, k)) + left(slice(k, None)))
    found = broken(years, rates)
    assert found is not None
    assert (found.after, found.before) == (years[best - 1], years[best])


def test_too_little_is_refused_or_left_out() -> None:
    with pytest.raises(InputError, match="3 results"):
        trend([0, 1], [60, 50])
    with pytest.raises(InputError, match="3 results"):
        trend([1, 1, 1], [60, 50, 40])
    with pytest.raises(InputError, match="one number a time"):
        trend([0, 1, 2], [60, math.nan, 40])
    assert broken(range(7), range(7)) is None

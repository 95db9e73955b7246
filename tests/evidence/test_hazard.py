"""Rates over time: exact Poisson limits against published tables, and closed forms.

* Limits for 0, 1, 10 and 50 events: Garwood, Biometrika 1936, as widely tabulated (from memory).
* Their definition: P(X >= events | low) = P(X <= events | high) = 0.025, by SciPy's Poisson
  distribution, which shares no formula with the chi-squared quantiles used.
"""

from __future__ import annotations

from math import exp

import pytest
from scipy.stats import poisson

from thalweg.errors import InputError
from thalweg.evidence.hazard import hazard, hazard_of, hazard_of_share, poisson_interval
from thalweg.evidence.series import packaged


@pytest.mark.parametrize(
    ("events", "low", "high"),
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (10, 4.795, 18.390), (50, 37.11, 65.92)],
)
def test_garwood_s_table(events: int, low: float, high: float) -> None:
    found = poisson_interval(events)
    assert found[0] == pytest.approx(low, abs=0.005)
    assert found[1] == pytest.approx(high, abs=0.005)


@pytest.mark.parametrize("events", [1, 2, 5, 17, 163])
@pytest.mark.parametrize("level", [0.9, 0.95])
def test_each_limit_leaves_half_of_the_doubt_outside(events: int, level: float) -> None:
    low, high = poisson_interval(events, level=level)
    assert poisson.sf(events - 1, low) == pytest.approx((1 - level) / 2, rel=1e-9)
    assert poisson.cdf(events, high) == pytest.approx((1 - level) / 2, rel=1e-9)


def test_a_rate_is_events_over_person_years_and_says_what_it_assumes() -> None:
    found = hazard(20, 100, 24, kind="median")
    assert found.person_years == pytest.approx(200)
    assert found.per_person_year == pytest.approx(0.1)
    assert found.interval is not None
    assert found.interval[0] < 0.1 < found.interval[1]
    assert any("constant" in one for one in found.all_cautions)
    assert any("median" in one for one in found.all_cautions)
    assert not any("median" in one for one in hazard(20, 100, 24, kind="mean").all_cautions)


def test_no_events_still_allow_a_rate_above_nothing() -> None:
    found = hazard(0, 30, 12, kind="mean")
    assert found.per_person_year == 0
    assert found.interval is not None
    assert found.interval[1] == pytest.approx(3.689 / 30, rel=1e-3)


def test_a_share_comes_back_from_its_rate() -> None:
    found = hazard_of_share(61.3, 60)
    assert 100 * exp(-5 * found.per_person_year) == pytest.approx(61.3)
    assert found.interval is None


def test_the_limits_of_a_share_change_places() -> None:
    found = hazard_of_share(91.7, 60, (90.5, 92.9))
    assert found.interval is not None
    least, most = found.interval
    assert 100 * exp(-5 * least) == pytest.approx(92.9)
    assert 100 * exp(-5 * most) == pytest.approx(90.5)
    nobody = hazard_of_share(100, 12)
    assert str(nobody.per_person_year) == "0.0"


@pytest.mark.parametrize(
    ("events", "n", "months", "kind"),
    [(5, 4, 12, "mean"), (-1, 4, 12, "mean"), (1, 4, 0, "mean"), (1, 4, 12, "minimum")],
)
def test_impossible_rates_are_refused(events: int, n: int, months: float, kind: str) -> None:
    with pytest.raises(InputError):
        hazard(events, n, months, kind=kind)


@pytest.mark.parametrize(
    ("share", "months", "interval"),
    [(0, 12, None), (101, 12, None), (50, 0, None), (50, 12, (60, 70))],
)
def test_impossible_shares_are_refused(
    share: float, months: float, interval: tuple[float, float] | None
) -> None:
    with pytest.raises(InputError):
        hazard_of_share(share, months, interval)


def test_a_series_gives_a_rate_only_where_its_time_allows_one() -> None:
    rows = {one.key: one for one in packaged()}
    counted = hazard_of(rows["madersbacher-2003-stoma"])
    assert counted is not None
    assert counted.per_person_year == pytest.approx(32 / (131 * 98 / 12))
    share = hazard_of(rows["zabell-2015-failure-5-years"])
    assert share is not None
    assert share.interval is not None
    # Only a least follow-up, and no follow-up at all: no person-time follows.
    assert hazard_of(rows["kouba-2007-hernia"]) is None
    assert hazard_of(rows["tombul-2019-stenosis"]) is None

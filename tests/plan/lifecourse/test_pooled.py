"""Rates from published counts: closed forms, a published pool, and the series' own figures."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest

from thalweg.evidence.series import packaged
from thalweg.plan.catalogue import catalogue
from thalweg.plan.lifecourse.pooled import Seen, log_odds, log_rate, pooled
from thalweg.plan.lifecourse.rulebook import life_rules, rates_for
from thalweg.plan.lifecourse.shape import EVEN, Shape

BCG = (
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
    (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892),
    (29, 7470, 45, 7232), (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338),
    (27, 16886, 29, 17825),
)  # fmt: skip
"""Thirteen trials of BCG (Colditz GA, et al. JAMA 1994;271:698-702), from memory."""


def test_paule_and_mandel_solve_their_own_equation_on_the_bcg_trials() -> None:
    """At their tau squared the weighted scatter is k - 1; between the moments' 0.3088 and 0.35."""
    effects = []
    for a, b, c, d in BCG:
        value = log(a / (a + b)) - log(c / (c + d))
        effects.append((value, 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)))
    middle, spread = pooled(effects, least_tau=0.0)
    values, variances = np.array(effects).T

    def at(tau2: float) -> tuple[float, float, float]:
        weights = 1 / (variances + tau2)
        mean = float(np.average(values, weights=weights))
        return float(np.sum(weights * (values - mean) ** 2)), mean, float(1 / weights.sum())

    grid = np.linspace(0.2, 0.5, 30001)
    tau2 = grid[np.argmin([abs(at(each)[0] - 12.0) for each in grid])]
    assert 0.30 < tau2 < 0.35
    assert middle == pytest.approx(at(tau2)[1], abs=1e-5)
    assert middle == pytest.approx(-0.7145, abs=0.003)
    assert spread**2 == pytest.approx(tau2 + at(tau2)[2], abs=1e-4)


def test_one_series_gives_its_own_rate_back() -> None:
    """-ln(1 - 38/100) over 4 years; variance p / (n (1 - p) H²) by the delta method."""
    value, variance = log_rate(Seen(38, 100, 4.0), EVEN)
    summed = -log(0.62)
    assert exp(value) == pytest.approx(summed / 4.0)
    assert variance == pytest.approx(0.38 / (100 * 0.62 * summed**2))
    middle, spread = pooled([(value, variance)], least_tau=0.5)
    assert middle == pytest.approx(value)
    # A new setting differs from the mean by 0.5, and the one series from it by as much again.
    assert spread**2 == pytest.approx(0.25 + 0.25 + variance)


def test_the_delta_variance_is_that_of_many_samples() -> None:
    chance = np.random.default_rng(3)
    events = chance.binomial(400, 0.3, size=40_000)
    rates = np.log(-np.log(1 - events / 400) / 4.0)
    assert np.var(rates) == pytest.approx(log_rate(Seen(120, 400, 4.0), EVEN)[1], rel=0.03)


def test_nothing_seen_is_not_nothing() -> None:
    assert exp(log_rate(Seen(0, 20, 1.0), EVEN)[0]) == pytest.approx(-log(1 - 0.5 / 21))
    assert log_odds(Seen(0, 20))[0] == pytest.approx(log(0.5 / 20.5))


def test_the_shape_does_not_change_what_a_series_saw_at_its_own_time() -> None:
    shape = Shape((0.0, 1.0), (0.0, 0.6), 0.05)
    for years in (0.4, 1.0, 6.0):
        rate = exp(log_rate(Seen(30, 100, years), shape)[0])
        assert 1 - exp(-rate * float(shape.at(years))) == pytest.approx(0.3)
        assert float(shape.when(shape.at(years))) == pytest.approx(years)


OPTIONS = [(one.key, one.name) for one in catalogue().diversions]


def test_every_option_reproduces_the_series_it_rests_on() -> None:
    """The published share at each series' own follow-up lies within the drawn rates' reach."""
    series = {one.key: one for one in packaged()}
    seen = 0
    for option in rates_for(OPTIONS).options:
        for event in option.late:
            low, high = event.rate.interval
            for key in event.rate.basis.series:
                one = series[key]
                months = one.at_months or one.follow_up_months
                assert months is not None
                course = float(event.shape.at(months / 12))
                share = (
                    one.events / one.n
                    if one.events is not None
                    else 1 - (one.survival_percent or 0) / 100
                )
                reach = 1.96 * (share * (1 - share) / one.n) ** 0.5
                assert 1 - exp(-low * course) <= share + reach, (option.key, key)
                assert share - reach <= 1 - exp(-high * course), (option.key, key)
                seen += 1
    assert seen > 30


def test_one_pool_is_one_unknown_and_another_is_another() -> None:
    rates = {one.key: one for one in rates_for(OPTIONS).options}
    marks = {
        key: next(event.rate.key for event in rates[key].late if event.key == "infection")
        for key in ("cutaneous-bilateral", "cutaneous-double-barrel", "ileal-conduit")
    }
    assert marks["cutaneous-bilateral"] == marks["cutaneous-double-barrel"]
    assert marks["cutaneous-bilateral"] != marks["ileal-conduit"]


def test_what_is_not_known_is_said_and_never_nothing() -> None:
    for option in rates_for(OPTIONS).options:
        for known, word in (
            (option.operations, "operations"),
            (option.nights, "nights"),
            (option.tube, "tube"),
            (option.lost_unit, "lost-unit"),
            (option.gfr_change, "gfr"),
            (option.death, "death"),
        ):
            if known is None:
                assert option.unknown[word], (option.key, word)
        for event in option.late:
            assert event.rate.middle > 0
            assert event.rate.basis.sources


def test_a_unit_puts_its_own_rows_in_place() -> None:
    row = {"low": 3.0, "high": 5.0, "unit": "d", "source": "our wards, 2025"}
    rules = life_rules({"amount": {"nights-infection": row}})
    rates = rates_for([("ileal-conduit", "Ileal conduit")], rules)
    nights = next(one for one in rates.options[0].nights or () if one.event == "infection")
    assert nights.each.interval == pytest.approx((3.0, 5.0))
    assert nights.each.basis.local == "our wards, 2025"
    assert "nights-infection" in rates.notices[0]

"""Counts with normal logits against an independent program, direct integration and analytic limits.

lme4 through metafor 3.8-1 under R 4.2.2, run for this test: ``rma.glmm(measure="PLO", xi, ni,
nAGQ=25)``. Its optimiser ends some 1e-5 from the peak; integrals as plain sums over 20 001 points,
which share nothing with our quadrature, show how near ours is.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from thalweg.evidence.pooling.binomial_normal import binomial_normal

SETS = [
    ((5, 3, 8, 0, 4), (69, 40, 120, 25, 66), -2.7080502011, 0.230940090791, 0.0),
    ((63, 3, 1), (83, 36, 27), -1.49943005077, 1.20975412542, 3.90397279637),
    ((22, 10, 9, 22, 8), (124, 45, 98, 78, 90), -1.66155573161, 0.249119989587, 0.213942190756),
    ((936, 16, 0), (37366, 823, 721), -4.99935130522, 1.20692236504, 3.21401633894),
    ((32, 20, 163, 17, 1), (131, 137, 1057, 100, 145), -2.0797458, 0.507535726553, 1.14379329904),
    ((58, 73, 20, 108), (199, 107, 194, 361), -0.787021243871, 0.51700575288, 1.03584055986),
]


def arrays(x: tuple[int, ...], n: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    return np.array(x, dtype=np.float64), np.array(n, dtype=np.float64)


FINE = np.linspace(-12.0, 12.0, 20_001)


def integrated(x: tuple[int, ...], n: tuple[int, ...], mu: float, tau: float) -> float:
    """Return the log-likelihood without binomial coefficients, by plain sums over a fine grid."""
    total = 0.0
    logits = mu + tau * FINE
    for events, size in zip(x, n, strict=True):
        exponent = events * logits - size * np.logaddexp(0.0, logits) - FINE**2 / 2
        top = exponent.max()
        area = np.trapezoid(np.exp(exponent - top), FINE) / sqrt(2 * np.pi)
        total += float(top + np.log(area))
    return total


@pytest.mark.parametrize(("x", "n", "mu", "se", "between"), SETS)
def test_against_an_independent_program(
    x: tuple[int, ...], n: tuple[int, ...], mu: float, se: float, between: float
) -> None:
    found = binomial_normal(*arrays(x, n))
    assert found.mu == pytest.approx(mu, abs=3e-5)
    assert found.se == pytest.approx(se, rel=5e-4)
    assert found.tau**2 == pytest.approx(between, rel=5e-4, abs=1e-9)


@pytest.mark.parametrize(("x", "n"), [SETS[1][:2], SETS[2][:2]])
def test_the_peak_is_a_peak_of_the_integrals(x: tuple[int, ...], n: tuple[int, ...]) -> None:
    found = binomial_normal(*arrays(x, n))
    top = integrated(x, n, found.mu, found.tau)
    assert found.log_likelihood == pytest.approx(top, abs=1e-6)
    step = 1e-3
    for by_mu, by_tau in ((step, 0), (-step, 0), (0, step), (0, -step)):
        assert integrated(x, n, found.mu + by_mu, found.tau + by_tau) < top
    # Where the profile has fallen by half the chi-squared quantile 3.841459 of one degree.
    low = found.tau_interval[0]
    falls = max(integrated(x, n, found.mu + d, low) for d in np.linspace(-0.5, 0.5, 51))
    assert top - falls == pytest.approx(3.841459 / 2, abs=2e-3)


def test_series_that_agree_are_one_binomial() -> None:
    # Analytic: at tau = 0 the estimate is the logit of all counts, its variance 1/20 + 1/300.
    found = binomial_normal(*arrays(*SETS[0][:2]))
    assert found.tau == 0
    assert found.mu == pytest.approx(np.log(20 / 300), rel=1e-12)
    assert found.se == pytest.approx(sqrt(1 / 20 + 1 / 300), rel=1e-9)
    assert found.tau_interval[0] == 0


def test_the_other_side_is_the_mirror_image() -> None:
    x, n = arrays(*SETS[4][:2])
    one, other = binomial_normal(x, n), binomial_normal(n - x, n)
    assert other.mu == pytest.approx(-one.mu, rel=1e-7)
    assert (other.tau, other.se) == pytest.approx((one.tau, one.se), rel=1e-7)
    assert other.tau_interval == pytest.approx(one.tau_interval, rel=1e-5)


def test_large_counts_are_normal() -> None:
    # With thousands in every series logits hardly stray from normal: maximum likelihood of the
    # normal model, worked out here, is the limit.
    shares = np.array([0.1, 0.15, 0.2, 0.12, 0.3])
    n = np.full(5, 2_000_000.0)
    x = np.round(shares * n)
    y = np.log(x / (n - x))
    found = binomial_normal(x, n)
    assert found.mu == pytest.approx(y.mean(), abs=1e-5)
    assert found.tau**2 == pytest.approx(np.var(y), rel=1e-4)
    assert found.se == pytest.approx(np.std(y) / sqrt(5), rel=1e-4)

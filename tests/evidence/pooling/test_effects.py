"""Random effects against an independent program and against published worked examples.

* BCG vaccine: log risk ratios of 13 trials (Colditz GA et al. JAMA 1994;271:698-702), the customary
  example. Answers of metafor 3.8-1 under R 4.2.2, run for this test: ``rma(yi, vi, method=…,
  test="adhoc")``, ``predict``, ``confint``.
* Diuretics in pre-eclampsia: Collins 1985 as in Viechtbauer W. Stat Med 2007;26:37-52, table II,
  page 44: tau2 0.2297 (DL), 0.3008 (REML); Q-profile 0.0723 to 2.2027.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.stats import chi2

from thalweg.errors import InputError
from thalweg.evidence.pooling.intervals import (
    knapp_hartung_factor,
    prediction_interval,
    q_profile,
    student_interval,
)
from thalweg.evidence.pooling.moderators import along_effects
from thalweg.evidence.pooling.normal import (
    Estimator,
    fitted,
    generalised_q,
    i_squared,
    studies,
    tau2,
)

BCG = np.array(
    [
        (4, 119, 11, 128, 44),
        (6, 300, 29, 274, 55),
        (3, 228, 11, 209, 42),
        (62, 13536, 248, 12619, 52),
        (33, 5036, 47, 5761, 13),
        (180, 1361, 372, 1079, 44),
        (8, 2537, 10, 619, 19),
        (505, 87886, 499, 87892, 13),
        (29, 7470, 45, 7232, 27),
        (17, 1699, 65, 1600, 42),
        (186, 50448, 141, 27197, 18),
        (5, 2493, 3, 2338, 33),
        (27, 16886, 29, 17825, 33),
    ],
    dtype=np.float64,
)
"""Vaccinated with and without tuberculosis, not vaccinated with and without; latitude, degrees."""
COLLINS = np.array(
    [
        (14, 131, 14, 136),
        (21, 385, 17, 134),
        (14, 57, 24, 48),
        (6, 38, 18, 40),
        (12, 1011, 35, 760),
        (138, 1370, 175, 1336),
        (15, 506, 20, 524),
        (6, 108, 2, 103),
        (65, 153, 40, 102),
    ],
    dtype=np.float64,
)
"""Treated with pre-eclampsia of all, controls of all."""


def log_risk_ratios() -> tuple[np.ndarray, np.ndarray]:
    a, b, c, d, _ = BCG.T
    return np.log((a / (a + b)) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


@pytest.mark.parametrize(
    ("method", "mu", "se", "between", "i2", "interval", "prediction"),
    [
        (
            "reml",
            -0.714532348365,
            0.180791745519,
            0.313243325981,
            0.92221386075,
            (-1.108443723, -0.32062097373),
            (-1.99601696702, 0.566952270292),
        ),
        (
            "pm",
            -0.714970405632,
            0.180897984126,
            0.318093711863,
            0.923309002899,
            (-1.10911325431, -0.320827556958),
            (-2.00547849036, 0.575537679096),
        ),
        (
            "dl",
            -0.714117222073,
            0.180696628336,
            0.308760262862,
            0.921173468546,
            (-1.10782135417, -0.320413089978),
            (-1.98720696343, 0.558972519284),
        ),
    ],
)
def test_the_vaccine_trials(
    method: Estimator,
    mu: float,
    se: float,
    between: float,
    i2: float,
    interval: tuple[float, float],
    prediction: tuple[float, float],
) -> None:
    given = studies(*log_risk_ratios())
    fit = fitted(given, tau2(given, method))
    # metafor's iterations end some 1e-6 from the answer, its root for Paule and Mandel 1e-4.
    close = {"reml": 2e-6, "pm": 2e-4, "dl": 1e-10}[method]
    assert fit.tau2 == pytest.approx(between, rel=close)
    assert fit.coefficients[0] == pytest.approx(mu, rel=close)
    error = sqrt(knapp_hartung_factor(given, fit) * fit.covariance[0, 0])
    assert error == pytest.approx(se, rel=close)
    assert i_squared(given, fit.tau2) == pytest.approx(i2, rel=close)
    assert student_interval(mu, error, 12, 0.95) == pytest.approx(interval, rel=close)
    assert prediction_interval(mu, error, fit.tau2, 12, 0.95) == pytest.approx(
        prediction, rel=close
    )


def test_scatter_and_the_interval_of_heterogeneity_of_the_vaccine_trials() -> None:
    given = studies(*log_risk_ratios())
    assert generalised_q(given, 0.0) == pytest.approx(152.23300808, rel=1e-9)
    assert fitted(given, 0.0).coefficients[0] == pytest.approx(-0.4302851637, rel=1e-9)
    # metafor's roots end some 1e-4 away; ours must give the chi-squared quantiles themselves.
    low, high = q_profile(given, 0.95)
    assert (low, high) == pytest.approx((0.119695312817, 1.11148626222), rel=3e-4)
    assert generalised_q(given, low) == pytest.approx(chi2.ppf(0.975, 12), rel=1e-12)
    assert generalised_q(given, high) == pytest.approx(chi2.ppf(0.025, 12), rel=1e-12)
    # So must the equation of Paule and Mandel, and the restricted likelihood have its peak.
    assert generalised_q(given, tau2(given, "pm")) == pytest.approx(12, rel=1e-12)
    peak = tau2(given, "reml")
    assert restricted(peak) > max(restricted(peak * 1.001), restricted(peak / 1.001))


def restricted(between: float) -> float:
    """Return the restricted log-likelihood of the vaccine trials, from its textbook form."""
    y, v = log_risk_ratios()
    w = 1 / (v + between)
    mu = (w @ y) / w.sum()
    return float(0.5 * np.log(w).sum() - 0.5 * np.log(w.sum()) - 0.5 * (w @ (y - mu) ** 2))


@pytest.mark.parametrize(
    ("method", "intercept", "slope", "errors", "between"),
    [
        ("reml", 0.251464294374, -0.029101660928, (0.283930037419, 0.00820154179601), 0.0763546947),
        ("pm", 0.221916199906, -0.0285645305411, (0.317473442155, 0.00907018235643), 0.1421312632),
        ("dl", 0.259543712434, -0.0292287387552, (0.273874502068, 0.00793775578621), 0.0633005024),
    ],
)
def test_the_vaccine_trials_along_latitude(
    method: Estimator, intercept: float, slope: float, errors: tuple[float, float], between: float
) -> None:
    # metafor: rma(yi, vi, mods = ~ ablat, method = …, test = "knha").
    line = along_effects(*log_risk_ratios(), BCG[:, 4], method=method, never_narrower=False)
    close = {"reml": 1e-4, "pm": 2e-4, "dl": 1e-8}[method]
    assert line.tau2 == pytest.approx(between, rel=close)
    assert (line.intercept, line.slope) == pytest.approx((intercept, slope), rel=close)
    assert (line.intercept_error, line.slope_error) == pytest.approx(errors, rel=close)


def test_the_trials_of_diuretics_against_the_published_table() -> None:
    a, n, c, m = COLLINS.T
    effects = np.log(a / (n - a)) - np.log(c / (m - c))
    given = studies(effects, 1 / a + 1 / (n - a) + 1 / c + 1 / (m - c))
    assert round(tau2(given, "dl"), 4) == 0.2297
    assert round(tau2(given, "reml"), 4) == 0.3008
    assert tuple(round(end, 4) for end in q_profile(given, 0.95)) == (0.0723, 2.2027)


def test_estimates_of_equal_variance_are_those_of_the_sample() -> None:
    # Analytic: with one variance v, every estimator gives the sample variance less v, and the
    # standard error of Knapp and Hartung is that of a mean.
    effects = np.array([0.1, 0.9, 1.4, 2.2, 0.3])
    methods: tuple[Estimator, ...] = ("reml", "pm", "dl")
    for method in methods:
        given = studies(effects, np.full(5, 0.04))
        fit = fitted(given, tau2(given, method))
        assert fit.tau2 == pytest.approx(np.var(effects, ddof=1) - 0.04, rel=1e-12)
        assert fit.coefficients[0] == pytest.approx(effects.mean(), rel=1e-12)
        error = sqrt(knapp_hartung_factor(given, fit) * fit.covariance[0, 0])
        assert error == pytest.approx(np.std(effects, ddof=1) / sqrt(5), rel=1e-12)


def test_an_even_set_is_not_made_surer_than_its_counts() -> None:
    given = studies([1.0, 1.001, 0.999], [0.1, 0.1, 0.1])
    fit = fitted(given, tau2(given, "reml"))
    assert fit.tau2 == 0
    assert knapp_hartung_factor(given, fit) == 1
    assert knapp_hartung_factor(given, fit, never_narrower=False) < 1e-4
    assert q_profile(given, 0.95) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("effects", "variances", "sentence"),
    [
        ([1.0, 2.0], [0.1], "not of one length"),
        ([], [], "not of one length"),
        ([1.0, float("nan")], [0.1, 0.1], "not a number"),
        ([1.0, 2.0], [0.1, 0.0], "not above 0"),
    ],
)
def test_estimates_that_cannot_be(
    effects: list[float], variances: list[float], sentence: str
) -> None:
    with pytest.raises(InputError, match=sentence):
        studies(effects, variances)
    with pytest.raises(InputError, match="tell the coefficients apart"):
        studies([1.0, 2.0, 3.0], [0.1, 0.1, 0.1], [7, 7, 7])
    with pytest.raises(InputError, match="more series"):
        tau2(studies([1.0], [0.1]), "reml")

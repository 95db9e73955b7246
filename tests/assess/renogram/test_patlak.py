"""The Rutland–Patlak line against worked points, scipy's fit and exact curves."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import kstest
from tests.support.renograms import exact

from thalweg.assess.renogram.draws import drawn
from thalweg.assess.renogram.patlak import Uptake, line, patlak
from thalweg.assess.renogram.rules import renogram_rules
from thalweg.assess.renogram.share import share_percent
from thalweg.record.renogram import Renogram


def blood_at(t: np.ndarray) -> np.ndarray:
    return 1000.0 * np.exp(-t / 240.0)


def blood_sum(t: np.ndarray) -> np.ndarray:
    return 1000.0 * 240.0 * -np.expm1(-t / 240.0)


def test_worked_points_give_slopes_two_and_three() -> None:
    # Made by hand: kidneys of 2 and 3 times the integral plus 0.4 and 0.5 times the blood.
    blood = np.array([1000.0, 950, 905, 865, 830])
    total = np.array([900.0, 1387.5, 1851.25, 2293.75, 2717.5])
    kidneys = np.array([2 * total + 0.4 * blood, 3 * total + 0.5 * blood])
    found = line(np.tile(total / blood, (2, 1)), kidneys / blood, np.ones(5))
    assert found.slope == pytest.approx([2.0, 3.0], abs=1e-12)
    assert found.intercept == pytest.approx([0.4, 0.5], abs=1e-12)
    assert float(share_percent(*found.slope)) == pytest.approx(40.0, abs=1e-10)


def test_line_and_its_errors_are_those_of_scipy() -> None:
    rng = np.random.default_rng(5)
    x = np.sort(rng.uniform(60, 260, 9))
    sd = rng.uniform(0.01, 0.05, 9)
    y = 0.012 * x + 0.3 + rng.normal(0, sd)
    best, spread = curve_fit(lambda t, a, b: a * t + b, x, y, sigma=sd, absolute_sigma=True)
    found = line(x, y, 1 / sd**2)
    assert [float(found.slope), float(found.intercept)] == pytest.approx(best, rel=1e-6)
    assert [float(found.slope_se), float(found.intercept_se)] == pytest.approx(
        np.sqrt(np.diag(spread)), rel=1e-6
    )


def study_of(leaves_at: float = 1e9) -> Renogram:
    def kidney(t: np.ndarray) -> np.ndarray:
        gone = 0.006 * (blood_sum(t) - blood_sum(np.array(leaves_at)))
        return 0.004 * blood_sum(t) + 0.3 * blood_at(t) - np.where(t > leaves_at, gone, 0.0)

    return exact({"left": kidney, "right": kidney, "blood": blood_at}, until_s=600.0)


def fitted(study: Renogram, side: str = "left") -> Uptake | str:
    rules = renogram_rules()
    found = drawn(study, rules)
    assert found.blood is not None
    assert found.blood_variance is not None
    return patlak(
        study, found.kidneys[side], found.variance[side], found.blood, found.blood_variance, rules
    )


def test_an_exact_kidney_is_found_with_its_own_blood_apart() -> None:
    found = fitted(study_of())
    assert isinstance(found, Uptake)
    assert found.line.slope == pytest.approx(0.004, rel=1e-3)
    assert found.line.intercept == pytest.approx(0.3, rel=1e-3)
    assert found.line.window_s == (60.0, 150.0)
    assert not found.line.shrunk
    assert found.line.used.sum() == 9
    assert found.slopes[1:].std() / 0.004 < 0.2


def test_the_window_shrinks_where_tracer_leaves_early() -> None:
    found = fitted(study_of(leaves_at=110.0))
    assert isinstance(found, Uptake)
    assert found.line.shrunk
    assert found.line.window_s[1] <= 120.0
    shown = found.line
    whole = shown.x_s[6:15], shown.y[6:15]
    unshrunk = float(np.polyfit(*whole, 1)[0])
    assert abs(shown.slope - 0.004) < 0.25 * abs(unshrunk - 0.004)
    assert shown.slope == pytest.approx(0.004, rel=0.08)


def test_probabilities_of_misfit_are_even_where_the_line_is_true() -> None:
    # By definition of a p value; Kolmogorov and Smirnov's test, scipy.
    study, rng, rules = study_of(), np.random.default_rng(11), renogram_rules()
    misfits, bends = [], []
    for _ in range(150):
        rates, spread = [], []
        for role in ("left", "blood"):
            counts = rng.poisson(study.counts[role])
            rates.append(np.tile(counts / 10.0, (2, 1)))
            spread.append(counts / 100.0)
        found = patlak(study, rates[0], spread[0], rates[1], spread[1], rules)
        assert isinstance(found, Uptake)
        if not found.line.shrunk:
            misfits.append(found.line.lack_of_fit)
            bends.append(found.line.curvature)
    assert kstest(misfits, "uniform").pvalue > 0.01
    # Bends downwards beyond 5 % two-sided shrink the window: 2.5 % of true lines do.
    assert len(misfits) >= 140
    assert kstest(bends, "uniform").pvalue > 0.005


def test_refusals_say_why() -> None:
    study = study_of()
    late = Renogram(
        starts_s=study.starts_s + 20.0,
        durations_s=study.durations_s,
        counts=study.counts,
        decay_corrected=True,
    )
    assert "lacks its start" in str(fitted(late))
    coarse = exact(dict.fromkeys(("left", "blood"), blood_at), frame_s=30.0, until_s=600.0)
    assert "only 3 whole frames" in str(fitted(coarse))
    faint = exact({"left": blood_at, "blood": lambda t: 1e-3 * blood_at(t)}, until_s=600.0)
    assert "lost in the noise" in str(fitted(faint))

"""What is left and what has gone: worked numbers, exact studies, frames and windows."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from tests.support.renograms import exact

from thalweg.assess.renogram.amounts import efficiency_percent, residual_ratio
from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.frames import (
    continuous_until,
    mean_rate,
    overlap_s,
    running_integral,
    why_not,
)
from thalweg.assess.renogram.study import analysed
from thalweg.errors import InputError
from thalweg.record.renogram import Renogram


def test_worked_residuals_and_efficiencies() -> None:
    # By hand: 36 000 and 4 800 of 60 000 counts; 9 000 and 20 000 left of 50 000.
    assert residual_ratio([36_000, 4_800], 60_000) == pytest.approx([0.60, 0.08], abs=1e-12)
    assert efficiency_percent(50_000, [9_000, 20_000]) == pytest.approx([82.0, 60.0], abs=1e-12)
    with pytest.raises(InputError, match="second minute"):
        residual_ratio(1.0, 0.0)
    with pytest.raises(InputError, match="taken up"):
        efficiency_percent([5.0, 0.0], 1.0)


def blood(t: np.ndarray) -> np.ndarray:
    return np.asarray(900 * np.exp(-t / 100.0) + 300 * np.exp(-t / 900.0))


def blood_sum(t: np.ndarray) -> np.ndarray:
    return np.asarray(90_000 * -np.expm1(-t / 100.0) + 270_000 * -np.expm1(-t / 900.0))


def keeps(part: float) -> Renogram:
    """Return a study whose kidneys keep everything until 10 min, and `part` of it from then on."""

    def kidney(t: np.ndarray) -> np.ndarray:
        kept = np.where(t < 600, 1.0, part)
        return np.asarray(kept * 0.003 * blood_sum(t) + 0.2 * blood(t))

    return exact({"left": kidney, "right": kidney, "blood": blood}, furosemide_s=0.0)


@pytest.mark.parametrize("part", [0.1, 0.35, 0.9])
def test_output_efficiency_of_an_exact_study(part: float) -> None:
    found = analysed(keeps(part)).kidneys["left"].efficiencies
    assert [e.at_s for e in found] == [1200.0, 1800.0]
    for efficiency in found:
        assert efficiency.percent.value == pytest.approx(100 * (1 - part), abs=0.3)
        low, high = efficiency.percent.interval
        assert low <= 100 * (1 - part) <= high


def test_residuals_of_an_exact_study() -> None:
    study = keeps(0.35)
    result = analysed(study, Circumstances(emptied_s=2100.0)).kidneys["left"]
    early = quad(lambda t: 0.003 * blood_sum(t) + 0.2 * blood(t), 60, 120)[0]
    windows = {
        "20 min": (1170, 1230),
        "end of furosemide": (2040, 2100),
        "after emptying": (2340, 2400),
    }
    assert [r.moment for r in result.residuals] == list(windows)
    for residual in result.residuals:
        low, high = windows[residual.moment]
        late = quad(lambda t: 0.35 * 0.003 * blood_sum(t) + 0.2 * blood(t), low, high)[0]
        assert residual.ratio.value == pytest.approx(late / early, rel=2e-3)
        assert residual.at_s == pytest.approx((low + high) / 2)
    # The published 90th percentiles of normal and dilated unobstructed kidneys (Piepsz 2002).
    assert [(r.normal, r.dilated) for r in result.residuals] == [
        (0.70, 3.92),
        (0.23, 2.91),
        (0.10, 1.99),
    ]


def test_frames_are_shared_out_over_a_window() -> None:
    study = exact({"left": lambda t: t, "right": lambda t: t}, frame_s=25.0, given_s=5.0)
    seconds = overlap_s(study, (60.0, 120.0))
    # Frames begin at -5, 20, 45, 70, 95, 120: the third lies in the window for 10 s.
    assert seconds[:6] == pytest.approx([0, 0, 10, 25, 25, 0])
    rate = study.counts["left"] / study.durations_s
    assert float(mean_rate(rate, seconds)) == pytest.approx(
        (10 * 62.5 + 25 * 87.5 + 25 * 112.5) / 60
    )
    assert why_not(study, (60.0, 120.0), 0.95, 60.0) == ""
    assert "longer than 20 s" in why_not(study, (60.0, 120.0), 0.95, 20.0)
    assert "cover 0 of the 60 s" in why_not(study, (5000.0, 5060.0), 0.95, 60.0)


def test_the_running_integral_is_that_of_quad() -> None:
    study = exact({"left": blood, "right": blood})
    rate = study.counts["left"] / study.durations_s
    found = running_integral(rate, study.starts_s, study.durations_s)
    for place in (6, 12, 60, 200):
        middle = float(study.middles_s[place])
        whole = quad(blood, 0, middle, limit=200)[0]
        assert float(found[place]) == pytest.approx(whole, rel=2e-4)


def test_a_pause_ends_the_continuous_study_and_is_bridged_in_integrals() -> None:
    starts = np.array([0.0, 10, 20, 120, 130])
    study = Renogram(starts, np.full(5, 10.0), {"left": np.full(5, 70.0)})
    assert continuous_until(study, 60.0, None) == 30.0
    assert continuous_until(study, 100.0, None) == 140.0
    assert continuous_until(study, 100.0, 95.0) == 95.0
    total = running_integral(np.full(5, 7.0), starts, study.durations_s)
    assert total == pytest.approx(7.0 * (starts + 5.0))

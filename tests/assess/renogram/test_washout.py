"""Half-times against worked numbers, exact exponentials and scipy's fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from tests.support.renograms import exact

from thalweg.assess.renogram.circumstances import Circumstances
from thalweg.assess.renogram.rules import renogram_rules
from thalweg.assess.renogram.smooth import smoother
from thalweg.assess.renogram.study import analysed
from thalweg.assess.renogram.washout import fall_per_s, half_time_between, stretch_of
from thalweg.errors import InputError

if TYPE_CHECKING:
    from thalweg.record.renogram import Renogram


def test_worked_half_times_of_two_points() -> None:
    # By hand: 15 ln 2 / ln 2.5 = 11.347 min; 20 ln 2 / ln(10/7) = 38.867 min.
    found = half_time_between([10_000, 10_000], [4_000, 7_000], [900, 1200]) / 60
    assert found == pytest.approx([11.347, 38.867], abs=5e-4)
    assert np.isinf(half_time_between(5_000, 5_000, 60)).all()
    assert np.isinf(half_time_between(5_000, 6_000, 60)).all()
    with pytest.raises(InputError, match="above background"):
        half_time_between(5_000, 0, 60)


@given(st.floats(1e-4, 5e-3), st.floats(10, 1000), st.floats(60, 900))
def test_two_points_of_an_exponential_give_its_half_time(k: float, a: float, apart: float) -> None:
    assert float(half_time_between(a, a * np.exp(-k * apart), apart)) == pytest.approx(
        np.log(2) / k, rel=1e-6
    )


def test_the_fit_is_that_of_scipy() -> None:
    rng = np.random.default_rng(8)
    time = np.arange(0.0, 900.0, 20.0)
    counts = rng.poisson(20 * (400 * np.exp(-0.0011 * time) + 50))
    rate, variance = counts / 20 - 50, counts / 400
    best, _ = curve_fit(
        lambda t, a, k: a * np.exp(-k * t), time, rate, p0=(300, 0.002), sigma=np.sqrt(variance)
    )
    amplitude, fall, misfit = fall_per_s(time, rate[None], variance)
    assert [float(amplitude[0]), float(fall[0])] == pytest.approx(best, rel=1e-4)
    assert 0.5 < misfit < 1.7


def rises_then(half_min: float, top_s: float = 240.0) -> Renogram:
    """Return a study that rises to a top and then falls by one exponential, both sides alike."""

    def kidney(t: np.ndarray) -> np.ndarray:
        return np.where(t < top_s, 800 * t / top_s, 800 * 2.0 ** (-(t - top_s) / 60 / half_min))

    return exact({"left": kidney, "right": kidney})


@pytest.mark.parametrize("half_min", [3.0, 9.0, 15.0, 40.0])
def test_one_exponential_is_found_whole(half_min: float) -> None:
    half = analysed(rises_then(half_min)).kidneys["left"].half_time
    assert half.time_s is not None
    assert half.time_s.value / 60 == pytest.approx(half_min, rel=0.01)
    assert half.time_s.interval[0] / 60 < half_min < half.time_s.interval[1] / 60
    assert half.after == "peak"
    assert half.window_s is not None
    assert half.start_rate is not None
    assert half.fall_per_s is not None
    at = half.window_s[0] + 60.0
    drawn_line = half.start_rate * np.exp(-half.fall_per_s.value * 60.0)
    assert drawn_line == pytest.approx(800 * 2.0 ** (-(at - 240) / 60 / half_min), rel=0.01)


def test_a_curve_that_rises_or_barely_falls_reaches_no_half_time() -> None:
    slow = analysed(rises_then(400.0)).kidneys["left"].half_time
    assert slow.state == "not reached"
    assert slow.time_s is None
    assert "half-time is not reached" in slow.said
    rising = exact({"left": lambda t: 100 + 0.2 * t, "right": lambda t: 100 + 0.2 * t})
    kidney = analysed(rising).kidneys["left"]
    assert kidney.half_time.state == "not looked for"
    assert kidney.peak.time_s is None
    assert "still rose" in kidney.peak.said


def test_which_stretch_is_fitted_depends_on_furosemide() -> None:
    rules = renogram_rules()
    time = np.arange(5.0, 2400.0, 10.0)
    smooth = smoother(time, np.full(time.size, 10.0), 60.0, 2395.0)
    filling = np.where(
        time < 1320, 1000 * np.minimum(time / 600, 1), 1000 * 2 ** (-(time - 1320) / 240)
    )
    late = stretch_of(smooth, filling, 1200.0, rules)
    assert late.after == "furosemide"
    assert late.window_s is not None
    assert 1320 <= late.window_s[0] < 1440
    itself = np.where(time < 240, time / 240, 2 ** (-(time - 240) / 300.0)) * 1000
    early = stretch_of(smooth, itself, 1200.0, rules)
    assert early.after == "peak"
    assert early.window_s is not None
    assert early.window_s[1] <= 1320
    before = stretch_of(smooth, itself, -900.0, rules)
    assert before.after == "furosemide"
    assert before.window_s is not None
    assert 240 < before.window_s[0] < 320
    too_late = stretch_of(smooth, itself, 2350.0, rules)
    assert too_late.window_s is None
    assert "could work" in too_late.said


def test_emptying_ends_where_the_bladder_was_emptied() -> None:
    half = analysed(rises_then(15.0), Circumstances(emptied_s=600.0)).kidneys["left"].half_time
    assert half.window_s is not None
    assert half.window_s[1] <= 600.0

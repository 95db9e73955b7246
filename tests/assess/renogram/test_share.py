"""Shares of two uptakes: worked numbers, Fieller's interval against search, symmetry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from thalweg.assess.renogram.share import (
    share_interval_percent,
    share_percent,
    share_sd_percent,
)
from thalweg.errors import InputError

uptakes = st.floats(1e2, 1e7)


def test_worked_shares() -> None:
    # By hand: 30 000 against 45 000 counts is 30/75; equal counts are halves.
    assert share_percent(30_000, 45_000) == pytest.approx(40.0, abs=1e-12)
    assert share_percent([22_000, 0.0], [22_000, 5.0]) == pytest.approx([50.0, 0.0], abs=1e-12)


def test_nothing_taken_up_has_no_share() -> None:
    with pytest.raises(InputError, match="took up nothing"):
        share_percent([10.0, 5.0], [3.0, -5.0])


@given(uptakes, uptakes, st.floats(0.01, 100.0))
def test_sides_mirror_and_the_dose_cancels(left: float, right: float, dose: float) -> None:
    share = float(share_percent(left, right))
    assert float(share_percent(right, left)) == pytest.approx(100.0 - share)
    assert float(share_percent(dose * left, dose * right)) == pytest.approx(share)
    assert 0.0 <= share <= 100.0


@given(uptakes, st.floats(0.05, 0.95), st.floats(0.001, 0.15), st.floats(0.001, 0.15))
def test_the_interval_solves_fiellers_equation(
    whole: float, part: float, relative_left: float, relative_right: float
) -> None:
    left, right = part * whole, (1 - part) * whole
    var_left, var_right = (relative_left * left) ** 2, (relative_right * right) ** 2
    low, high = share_interval_percent(left, right, var_left, var_right)

    def distance(share: float) -> float:
        p = share / 100.0
        off = left * (1 - p) - right * p
        return off**2 - 1.959963984540054**2 * ((1 - p) ** 2 * var_left + p**2 * var_right)

    middle = 100.0 * part
    assert float(low) == pytest.approx(brentq(distance, -50.0, middle), abs=1e-5)
    assert float(high) == pytest.approx(brentq(distance, middle, 150.0), abs=1e-5)
    mirrored = share_interval_percent(right, left, var_right, var_left)
    assert (100 - float(mirrored[1]), 100 - float(mirrored[0])) == pytest.approx(
        (float(low), float(high))
    )


def test_spread_agrees_with_simulation_with_common_noise() -> None:
    rng = np.random.default_rng(3)
    common = rng.normal(0.0, 300.0, 400_000)
    left = 20_000 + rng.normal(0, 500, common.size) + common
    right = 30_000 + rng.normal(0, 800, common.size) + common
    expected = float(np.std(100 * left / (left + right)))
    sd = share_sd_percent(20_000, 30_000, 500**2 + 300**2, 800**2 + 300**2, 300**2)
    assert float(sd) == pytest.approx(expected, rel=0.01)


def test_a_kidney_lost_in_noise_gets_an_interval_from_nought() -> None:
    low, high = share_interval_percent(100.0, 50_000.0, 400.0**2, 900.0**2)
    assert float(low) == 0.0
    assert 1.0 < float(high) < 3.0
    with pytest.raises(InputError, match="cannot be told from nothing"):
        share_interval_percent(10.0, 12.0, 100.0, 100.0)

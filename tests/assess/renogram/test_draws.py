"""The model of doubt against analytic Poisson spreads; background and decay by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.support.renograms import exact

from thalweg.assess.renogram.draws import DRAWS, decay_factor, drawn
from thalweg.assess.renogram.rules import renogram_rules
from thalweg.assess.renogram.study import analysed

if TYPE_CHECKING:
    from thalweg.record.renogram import Renogram

NO_DOUBT = {"source": "test"}


def flat(**more: Any) -> Renogram:
    levels = {"left": 50.0, "left-background": 4.0, "right": 30.0, "background": 6.0, "blood": 80.0}
    pixels = {"left": 100.0, "left-background": 40.0, "right": 90.0, "background": 60.0}
    pixels["blood"] = 30.0
    curves = {
        role: (lambda t, level=level: np.full(t.shape, level)) for role, level in levels.items()
    }
    return exact(curves, until_s=1300.0, pixels=pixels, **more)


def test_background_is_taken_off_by_area_the_near_one_first() -> None:
    found = drawn(flat(), renogram_rules())
    # By hand: 50 − 4 × 100/40; 30 − 6 × 90/60; 80 − (4 + 6) × 30 / (40 + 60).
    assert found.kidneys["left"][0] == pytest.approx(40.0)
    assert found.kidneys["right"][0] == pytest.approx(21.0)
    assert found.blood is not None
    assert found.blood[0] == pytest.approx(77.0)
    assert (found.backgrounds["left"].role, found.backgrounds["right"].role) == (
        "left-background",
        "background",
    )
    assert found.backgrounds["left"].kidney_to_background == pytest.approx((50 / 100) / (4 / 40))
    assert "too little" in found.backgrounds["right"].said


def test_without_an_area_nothing_is_taken_off_and_it_is_said() -> None:
    study = flat()
    bare = replace(study, pixels={"left": 100.0})
    found = drawn(bare, renogram_rules())
    assert found.kidneys["left"][0] == pytest.approx(50.0)
    assert found.backgrounds["left"].role == ""
    assert "the area of left-background is not stated" in found.backgrounds["left"].said
    assert found.backgrounds["left"].kidney_to_background is None
    assert any("no background could be taken off" in s for s in analysed(bare).said)


def test_counting_noise_is_poisson() -> None:
    rules = renogram_rules(
        {
            "background-doubt": {"share": 0, "common_share": 0, "blood_share": 0, **NO_DOUBT},
            "region-doubt": {"share": 0, **NO_DOUBT},
        }
    )
    study = flat()
    found = drawn(study, rules)
    frames = study.starts_s.size
    # Variance of a rate over 10 s: level / 10; of background by the square of the area's factor.
    expected = {"left": 50 / 10 + 2.5**2 * 4 / 10, "right": 30 / 10 + 1.5**2 * 6 / 10}
    # Counts corrected before were fewer by that factor, and scatter by more for being corrected.
    decay = decay_factor(study.middles_s, study.half_life_s)
    for side, variance in expected.items():
        assert found.variance[side] == pytest.approx(variance * decay)
        seen = (found.kidneys[side][1:].var(axis=0) / decay).mean()
        assert seen == pytest.approx(variance, rel=5 / np.sqrt(DRAWS * frames))
    assert found.blood_variance == pytest.approx((80 / 10 + 0.3**2 * (4 + 6) / 10) * decay)


def test_doubt_of_background_and_region_is_what_the_rule_says() -> None:
    found = drawn(flat(), renogram_rules())
    means = found.kidneys["left"][1:].mean(axis=1)
    # 20 % of the 10 counts/s taken off and 3 % of the 40 left, with a little counting noise.
    counting = found.variance["left"][0] / found.variance["left"].size
    expected = np.sqrt((0.2 * 10) ** 2 + (0.03 * 40) ** 2 + counting)
    assert means.std() == pytest.approx(expected, rel=0.12)
    assert found.background_sd["left"] == pytest.approx(2.0)


@pytest.mark.parametrize("corrected", [True, False])
def test_decay_is_undone_once(corrected: bool) -> None:
    study = flat(decay_corrected=corrected)
    found = drawn(study, renogram_rules())
    # Technetium-99m, 6.0067 h: 2^(t/T) by hand.
    factor = 2.0 ** (study.middles_s / (6.0067 * 3600))
    assert decay_factor(study.middles_s, study.half_life_s) == pytest.approx(factor)
    assert found.kidneys["left"][0] == pytest.approx(40.0 if corrected else 40.0 * factor)


def test_unknown_decay_widens_what_depends_on_it_and_keeps_the_share() -> None:
    def kidney(t: np.ndarray) -> np.ndarray:
        return np.asarray(5e4 * np.where(t < 200, t / 200, 2.0 ** (-(t - 200) / 900.0)))

    known, unknown = (
        analysed(exact({"left": kidney, "right": kidney}, decay_corrected=corrected))
        for corrected in (True, None)
    )
    halves = [r.kidneys["left"].half_time.time_s for r in (known, unknown)]
    assert halves[0] is not None
    assert halves[1] is not None
    # Uncorrected counts would have had a true half-time of 1 / (1/15 − 1/360.4) = 15.65 min.
    low, high = halves[1].interval
    assert low < 900.0
    assert high > 15.65 * 60
    assert halves[0].interval[1] < 15.65 * 60
    assert known.share_left is not None
    assert unknown.share_left is not None
    assert unknown.share_left.value == pytest.approx(known.share_left.value, abs=1e-9)
    assert "3.8 % too low" in unknown.decay
    assert "reads 18.9 min" in unknown.decay

"""The artificial renogram against quadrature, differential equations and counting statistics."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.signal import fftconvolve
from scipy.stats import gamma

from thalweg.phantom.renogram import Phase, RenogramSpec, renogram, renogram_image, renogram_truth
from thalweg.phantom.tracer import (
    BloodInput,
    KidneySpec,
    TissueSpec,
    kidney_tracer,
    tissue_amount,
)

BLOOD = BloodInput()
HEALTHY = KidneySpec()


def test_blood_begins_at_nought_and_its_integral_is_quadratures() -> None:
    assert float(BLOOD.amount(0.0)) == pytest.approx(0.0, abs=1e-12)
    assert float(BLOOD.amount(-5.0)) == 0.0
    for until in (20.0, 90.0, 600.0):
        assert float(BLOOD.integral(until)) == pytest.approx(
            quad(lambda t: float(BLOOD.amount(t)), 0, until, limit=200)[0], rel=1e-9
        )


def test_interstitium_solves_its_equation() -> None:
    tissue = TissueSpec()

    def change(t: float, held: np.ndarray) -> np.ndarray:
        return tissue.into_per_s * BLOOD.amount(t) - tissue.back_per_s * held

    times = np.array([60.0, 300.0, 1500.0])
    solved = solve_ivp(change, (0, 1500), [0.0], t_eval=times, rtol=1e-10, atol=1e-14).y[0]
    assert tissue_amount(tissue, BLOOD, times) - BLOOD.amount(times) == pytest.approx(solved)


def test_parenchyma_is_uptake_convolved_with_survival() -> None:
    found = kidney_tracer(HEALTHY, BLOOD, None, 1800.0)
    # Independently: transit times of a shifted gamma distribution (scipy.stats), on a finer grid.
    step = 0.25
    time = np.arange(0.0, 1800.0, step)
    survival = gamma.sf(time, 3.0, loc=120.0, scale=60.0 / 3.0)
    held = fftconvolve(HEALTHY.uptake_per_s * BLOOD.amount(time), survival)[: time.size] * step
    for at in (60.0, 180.0, 400.0, 1200.0):
        assert float(np.interp(at, found.time_s, found.parenchyma)) == pytest.approx(
            float(np.interp(at, time, held)), rel=0.005
        )


@pytest.mark.parametrize("furosemide", [None, 600.0])
@pytest.mark.parametrize("kidney", [HEALTHY.dilated(), HEALTHY.obstructed()])
def test_the_pelvis_is_a_stirred_vessel(kidney: KidneySpec, furosemide: float | None) -> None:
    found = kidney_tracer(kidney, BLOOD, furosemide, 2400.0)
    passed = found.taken_up - found.parenchyma

    def change(t: float, held: np.ndarray) -> np.ndarray:
        entering = np.interp(t + 1.0, found.time_s, passed) - np.interp(
            t - 1.0, found.time_s, passed
        )
        rate = kidney.flow(np.array(t), furosemide) / 60 / kidney.pelvis_ml
        return np.asarray(entering / 2.0 - rate * held)

    times = np.array([300.0, 900.0, 1500.0, 2300.0])
    solved = solve_ivp(change, (0, 2400), [0.0], t_eval=times, max_step=2.0).y[0]
    assert np.interp(times, found.time_s, found.pelvis) == pytest.approx(solved, rel=0.01)
    assert found.parenchyma + found.pelvis + found.gone == pytest.approx(found.taken_up)
    assert (np.diff(found.gone) > -1e-12).all()


def test_physiology_gives_the_shapes_it_should() -> None:
    truths = {
        name: renogram_truth(RenogramSpec(left=kidney, furosemide_s=1200.0))
        for name, kidney in (
            ("normal", HEALTHY),
            ("dilated", HEALTHY.dilated()),
            ("obstructed", HEALTHY.obstructed()),
        )
    }
    peaks = {name: truth.peak_s("left") / 60 for name, truth in truths.items()}
    # MAG3 peaks from 3 to 5 minutes in health (encyclopaedic, secondary).
    assert 3 <= peaks["normal"] <= 5 < peaks["dilated"] < peaks["obstructed"]
    washout = {name: t.half_time_s("left", 1400, 1900) / 60 for name, t in truths.items()}
    assert washout["dilated"] < 10
    assert washout["obstructed"] > 20
    gone = {name: t.efficiency_percent("left", 1800) for name, t in truths.items()}
    assert gone["normal"] > gone["dilated"] > 78
    assert gone["obstructed"] < 40
    left = {name: t.residual("left", 1170, 1230) for name, t in truths.items()}
    assert left["normal"] < 0.70 < left["dilated"] < left["obstructed"]


def test_truth_of_the_share_and_of_one_exponential() -> None:
    truth = renogram_truth(RenogramSpec(left=replace(HEALTHY, uptake_per_s=0.00125 / 3)))
    assert truth.share_left_percent == pytest.approx(25.0)
    slow = replace(HEALTHY, pelvis_ml=2.0)
    quick = BloodInput((1.0,), (20.0,), 5.0)
    late = renogram_truth(RenogramSpec(left=replace(slow, flow_ml_min=0.4), blood=quick))
    # After all uptake has passed, a pelvis of 2 mL empties at 0.4 mL/min: ln 2 × 5 min.
    assert late.half_time_s("left", 900, 1500) / 60 == pytest.approx(5 * np.log(2), rel=0.005)


def test_counts_are_poisson_seeded_and_decay() -> None:
    spec = RenogramSpec(phases=(Phase(0.0, 30, 10.0),), decays=False)
    many = np.array([renogram(spec, seed)[0].counts["left"] for seed in range(300)])
    assert many.var(axis=0).mean() == pytest.approx(many.mean(), rel=0.05)
    first, again = (renogram(spec, 5)[0].counts["left"] for _ in range(2))
    assert (first == again).all()
    assert (first != renogram(spec, 6)[0].counts["left"]).any()
    long = RenogramSpec(phases=(Phase(0.0, 2, 10.0), Phase(2400.0, 2, 60.0)), counts_per_s=1e9)
    with_decay, without = (renogram(replace(long, decays=d), 1)[0] for d in (True, False))
    # Technetium-99m, 6.0067 h: 2430 s are 0.1124 half-lives.
    ratio = with_decay.counts["bladder"][2] / without.counts["bladder"][2]
    assert ratio == pytest.approx(2.0 ** (-2430 / (6.0067 * 3600)), rel=1e-4)
    assert (with_decay.decay_corrected, without.decay_corrected) == (False, True)


def test_pictures_and_their_regions_agree_with_the_curves() -> None:
    spec = RenogramSpec(
        left=HEALTHY.dilated(), phases=(Phase(0.0, 40, 30.0),), blur_mm=0.0, counts_per_s=50_000
    )
    image, masks, truth = renogram_image(spec, 3)
    drawn, same = image.curves(masks), renogram(spec, 3)[0]
    assert truth.share_left_percent == pytest.approx(50.0)
    for role in ("left", "right", "left-background", "right-background", "bladder"):
        assert drawn.pixels[role] == same.pixels[role]
        assert drawn.counts[role].sum() == pytest.approx(same.counts[role].sum(), rel=0.02)
    assert drawn.phantom
    assert not (masks["left"] & masks["right"]).any()
    assert not (masks["left"] & masks["left-background"]).any()
    columns = np.arange(128)
    assert (masks["left"] * columns).sum() / masks["left"].sum() < 63.5
    assert image.left_at == "left"


def test_blur_keeps_counts_and_views_mirror() -> None:
    spec = RenogramSpec(phases=(Phase(60.0, 2, 60.0),), pixels=64, pixel_mm=9.6)
    sharp = renogram_image(replace(spec, blur_mm=0.0), 1)[0].counts.sum()
    assert renogram_image(spec, 1)[0].counts.sum() == pytest.approx(sharp, rel=0.02)
    front, masks, _ = renogram_image(replace(spec, view="anterior"), 1)
    behind = renogram_image(spec, 1)[1]
    assert front.left_at == "right"
    assert (masks["left"] == behind["left"][:, ::-1]).all()


def test_a_missing_kidney_is_nowhere() -> None:
    spec = RenogramSpec(left=None, phases=(Phase(0.0, 20, 10.0),))
    assert set(renogram(spec, 1)[0].counts) == {"right", "right-background", "blood", "bladder"}
    assert "left" not in renogram_image(spec, 1)[1]

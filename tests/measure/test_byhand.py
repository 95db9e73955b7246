"""Courses placed by hand against curves of known length, clicked on with a known scatter.

Truths: line; helix (turns times hypot(2 pi radius, pitch), elementary geometry); sine waves, whose
length scipy's quadrature gives; courses of the artificial abdomens, summed from their own dense
points. The clicks are independent normal deviates, of 1 to 2 mm on each axis.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.interpolate import make_smoothing_spline
from scipy.spatial.transform import Rotation
from tests.support import tubes

from thalweg.measure import byhand
from thalweg.measure.byhand import fitted_by_hand
from thalweg.measure.trace import course_from_points
from thalweg.phantom.scenario import adult, hard_adult, infant
from thalweg.record.image import ImageVolume

Array = NDArray[np.float64]
Clicked = tuple[Array, float]
SEEDS = 5


def _wave(height_mm: float, waves: float, long_mm: float) -> Clicked:
    rate = 2 * np.pi * waves / long_mm
    along = np.linspace(0.0, long_mm, 4000)
    points = np.stack([height_mm * np.sin(rate * along), 0 * along, -along], axis=1)
    length, _ = quad(lambda s: np.hypot(1.0, height_mm * rate * np.cos(rate * s)), 0, long_mm)
    return points, float(length)


@cache
def curves() -> dict[str, Clicked]:
    """Return each curve and its length in mm."""
    found = {
        "line": (tubes.line(200.0), 200.0),
        "arc": (tubes.arc(80.0, 2.0), 160.0),
        "helix": (tubes.helix(8.0, 80.0, 3.0), 3.0 * float(np.hypot(2 * np.pi * 8, 80))),
        "wave": _wave(20.0, 1.0, 220.0),
    }
    for name, body in (("adult", adult()), ("infant", infant()), ("hard", hard_adult())):
        for side, tube in (("left", body.left), ("right", body.right)):
            found[f"{name}, {side}"] = (tube.centreline.points_mm, tube.length_mm)
    return found


def clicked(points: Array, count: int, rng: np.random.Generator) -> Array:
    """Return clicks near a curve: about evenly apart, each off by 1 to 2 mm on each axis."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    at = np.linspace(0.0, run[-1], count)
    at[1:-1] += rng.normal(0.0, 0.1 * run[-1] / count, count - 2)
    on = np.stack([np.interp(at, run, axis) for axis in points.T], axis=1)
    return np.asarray(on + rng.normal(0.0, rng.uniform(1.0, 2.0), on.shape))


@cache
def errors(count: int) -> tuple[Array, Array]:
    """Return error and stated SD of the length in mm, over every curve and seed."""
    rng = np.random.default_rng(1000 + count)
    rows = []
    for points, length in curves().values():
        for _ in range(SEEDS):
            fit = fitted_by_hand(clicked(points, count, rng), 1.0)
            steps = np.linalg.norm(np.diff(fit.points_mm, axis=0), axis=1)
            rows.append((steps.sum() - length, fit.length_sd_mm))
    found = np.array(rows)
    return found[:, 0], found[:, 1]


@pytest.mark.parametrize("count", [2, 5, 8, 12, 24])
def test_the_true_length_lies_in_the_stated_interval(count: int) -> None:
    error, sd = errors(count)
    assert np.mean(np.abs(error) < 1.96 * sd) >= 0.93
    # Too wide is a defect as well: an interval of twice the width would pass the line above.
    assert 0.5 < np.sqrt(np.mean(np.square(error / sd))) < 1.25


def test_more_points_leave_less_doubt() -> None:
    typical = [float(np.median(errors(count)[1])) for count in (2, 5, 8, 12, 24)]
    assert typical == sorted(typical, reverse=True)
    assert typical[0] > 25
    assert typical[-1] < 7


def test_a_spiral_with_less_than_a_click_a_half_turn_cannot_be_known_and_is_said_to_be_longer() -> (
    None
):
    points = tubes.helix(11.0, 46.0, 2.5)
    course = course_from_points(clicked(points, 6, np.random.default_rng(4)))
    assert any("Points lie up to" in caution for caution in course.cautions)
    assert any("rather longer than given" in caution for caution in course.cautions)


def test_the_curve_is_the_smoothing_spline_of_another_library(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is scipy's smoothing spline with a penalty of s²/q on the squared second derivative."""
    q, s = 0.01, 1.3
    monkeypatch.setattr(byhand, "WANDERINGS", (q,))
    monkeypatch.setattr(byhand, "CLICKS_MM", (s,))
    monkeypatch.setattr(byhand, "ROUNDS", 1)
    monkeypatch.setattr(byhand, "NODE_MM", 0.5)
    points, _ = curves()["adult, left"]
    placed = clicked(points, 14, np.random.default_rng(6))
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(placed, axis=0), axis=1))])
    other = make_smoothing_spline(run, placed, lam=s**2 / q)(np.linspace(0, run[-1], 3000))
    ours = fitted_by_hand(placed, 1.0).points_mm
    apart = np.linalg.norm(ours[:, None] - other[None], axis=-1).min(axis=1)
    assert apart.max() < 0.1


def test_turning_moving_and_mirroring_the_points_changes_nothing() -> None:
    points, _ = curves()["adult, left"]
    placed = clicked(points, 11, np.random.default_rng(9))
    course = course_from_points(placed)
    turn = Rotation.from_euler("xyz", [20, -35, 70], degrees=True).as_matrix()
    far = np.array([300.0, -1200.0, 900.0])
    for change in (turn, turn @ np.diag([-1.0, 1.0, 1.0])):
        moved = course_from_points(placed @ change.T + far)
        assert moved.length_mm == pytest.approx(course.length_mm, abs=1e-6)
        assert moved.length_sd_mm == pytest.approx(course.length_sd_mm, rel=1e-6)
        assert np.allclose(moved.points_mm, course.points_mm @ change.T + far, atol=1e-6)
    back = course_from_points(placed[::-1])
    assert back.length_mm == pytest.approx(course.length_mm, rel=1e-3)


def test_clicks_beside_the_contrast_keep_their_course_and_measure_the_calibre_beside_it() -> None:
    points = tubes.arc(70.0, 1.4)
    shape, to_lps = tubes.grid(points, (1.0, 0.72, 0.72))
    tube = tubes.Tube(points, tubes.constant(2.1), tubes.constant(420.0))
    volume = tubes.render([tube], shape, to_lps, noise_hu=15.0)
    off = np.array([0.0, 1.8, 0.0])
    placed = points[:: len(points) // 9] + off
    with_image, alone = course_from_points(placed, volume), course_from_points(placed)
    assert np.array_equal(with_image.points_mm, alone.points_mm)
    assert with_image.length_sd_mm == alone.length_sd_mm
    assert np.abs(with_image.points_mm[:, 1] - 1.8).max() < 0.3
    assert np.nanmedian(with_image.calibre_mm) == pytest.approx(4.2, abs=0.3)
    assert np.isfinite(with_image.calibre_mm).mean() > 0.9
    assert np.isnan(alone.calibre_mm).all()


def test_on_another_modality_only_the_length_is_given() -> None:
    volume = ImageVolume(np.zeros((40, 40, 40), np.int16), np.eye(4), modality="US")
    course = course_from_points([[5, 5, 5], [6, 15, 9], [5, 30, 8]], volume)
    assert course.by_hand
    assert course.length_mm == pytest.approx(25.4, abs=1.0)
    assert np.isnan(course.calibre_mm).all()
    assert any("are not known" in caution for caution in course.cautions)
